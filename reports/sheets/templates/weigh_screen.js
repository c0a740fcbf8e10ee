// The screen of the weigh page: choosing a container, the number pad, logging, undo, and the export.
"use strict";
(() => {
  const SHOWN_ENTRIES = 40;
  const HANDED_OVER_MS = 60000;

  const { $, made, button, show, say, trouble, ask } = talk;

  let chosen = null; // a unit of the shelf, or one typed by hand
  let dayTouched = false; // until someone sets the date, it is today, also after midnight
  let byKeyboard = false;

  // ---- choosing a container

  const inList = (name, beside, below, action) => {
    const one = button("", action, "unit");
    one.tabIndex = -1;
    one.append(made("bdi", name), beside, made("span", below, "soft below"));
    return one;
  };
  const unitButton = (unit) => {
    const weights = shelf.weighedOn(unit, $("date").value).map((entry) => words.marked(entry.fresh_weight_g));
    const beside = weights.length ? made("span", "logged " + weights.join(" + ") + " g", "done") : made("span", unit.place, "soft");
    return inList(unit.called, beside, shelf.facts(unit, $("date").value), () => choose(unit));
  };
  const drawList = () => {
    const text = $("container").value.trim();
    const found = shelf.fitting(text);
    const number = found.reduce((sum, each) => sum + each.units.length, 0);
    const rooms = found.map((each) => {
      const room = made("div", "", "room");
      if (each.room) room.append(made("p", each.room, "soft"));
      room.append(...each.units.map(unitButton));
      return room;
    });
    const other = () => inList(text, "", "is not in this list; use it all the same", () => chooseTyped(text));
    $("list").replaceChildren(...rooms, ...(text && !shelf.exactly(text).length ? [other()] : []));
    const first = $("list").querySelector("button");
    if (first) first.tabIndex = 0; // one stop of the Tab key; arrows walk on
    $("list").hidden = !first;
    const fits = text ? words.several(number, "container") + (number === 1 ? " fits" : " fit") : "";
    show("fits", shelf.units.length ? fits : "Nothing is running. Type the container's name.");
  };
  const choose = (unit) => {
    chosen = unit;
    $("form").classList.toggle("choosing", !unit);
    $("which").hidden = Boolean(unit);
    $("chosen").hidden = !unit;
    if (!unit) return drawList();
    show("chosen-name", unit.called);
    describe();
    trouble("");
    $("chosen").scrollIntoView(); // so that all down to Log fits on a small screen
    return $("weight").focus({ preventScroll: true });
  };
  const describe = () => show("chosen-facts", shelf.facts(chosen, $("date").value));
  const chooseTyped = async (text) => {
    const sure = await ask(`${text} is not among the containers that are running. Log it all the same?`, "Yes, use it");
    return sure ? choose(shelf.typed(text)) : $("container").focus();
  };
  // Takes what is typed or scanned: the one with that name, or the only one that it fits.
  const take = () => {
    const text = $("container").value.trim();
    const same = shelf.exactly(text);
    const fit = same.length ? same : shelf.fitting(text).flatMap((each) => each.units);
    if (!text) return trouble("Choose a container.", "container");
    if (fit.length === 1) return choose(fit[0]);
    if (!fit.length) return chooseTyped(text);
    return trouble(words.several(fit.length, "container") + " fit. Choose one.", "container");
  };

  // ---- logging

  const cellsOfForm = () => ({
    picked_on: $("date").value,
    fresh_weight_g: judge.grams($("weight").value),
    container: chosen.container ?? "",
    batch: chosen.batch,
    flush: $("flush").value.trim(),
    cap_stage: document.querySelector("[name=stage]:checked").value,
    culled_g: judge.grams($("culled").value) ?? "",
    picker: $("picker").value.trim(),
    note: $("note").value.trim(),
  });
  const log = async () => {
    if (!chosen) take();
    if (!chosen) return;
    followToday();
    const cells = cellsOfForm();
    const problem = judge.wrong(cells, { culled: $("culled").value.trim() });
    if (problem) return void trouble(...problem);
    const doubts = judge.doubts(cells, chosen);
    if (doubts && !(await ask(doubts + " Log it?", "Yes, log it"))) return void $("weight").focus();
    const unit = chosen;
    const { entry, saved } = record.add({ ...cells, called: unit.called });
    const ofDay = record.all().filter((each) => each.picked_on === entry.picked_on);
    const day = dayTouched ? "on " + words.shortDay(entry.picked_on) : "today";
    const sum = `${words.several(ofDay.length, "entry")} ${day}, ${words.kilograms(ofDay)} kg`;
    emptyForm();
    redraw();
    goOn(unit); // the next may be weighed while this one is written
    await saved;
    $("unkept").hidden = record.kept();
    say(`Logged ${words.summary(entry)}. ${sum}.`);
  };
  const emptyForm = () => {
    for (const id of ["container", "weight", "culled", "note", "flush"]) $(id).value = "";
    setStage("");
    trouble("");
    choose(null);
  };
  const setStage = (stage) => {
    for (const each of document.querySelectorAll("[name=stage]")) each.checked = each.value === stage;
    $("late").textContent = page.late.includes(stage) ? $("spores").content.textContent : "";
  };
  // After a key: back to the field into which a scanner types. After a tap: to the next container along the shelf, and
  // no keyboard over the screen.
  const goOn = (unit) => {
    if (byKeyboard) return $("container").focus();
    const buttons = [...$("list").querySelectorAll("button")];
    const next = buttons[shelf.units.indexOf(unit) + 1] ?? buttons[0];
    next?.focus({ preventScroll: true });
    next?.scrollIntoView({ block: "nearest" });
    return scrollTo(0, 0);
  };
  const takeBack = async (entry) => {
    const gone = record.remove([entry]);
    choose(shelf.ofEntry(entry));
    const fields = { weight: "fresh_weight_g", culled: "culled_g", flush: "flush" };
    for (const [id, name] of Object.entries(fields)) $(id).value = words.marked(entry[name]);
    for (const id of ["note", "picker"]) $(id).value = entry[id];
    setStage(entry.cap_stage);
    setDay(entry.picked_on);
    redraw();
    await gone;
    say(`Taken back: ${words.summary(entry)}. It stands in the fields again.`);
  };

  // ---- what is logged

  const entryLine = (entry) => {
    const line = made("li", "");
    const status = entry.exported ? "exported" : "not exported";
    const text = made("div", "");
    text.append(made("bdi", words.summary(entry)));
    text.append(made("span", words.joined([words.shortDay(entry.picked_on), entry.note, status], " · "), "soft"));
    line.append(text);
    if (entry.exported) return line;
    const back = button("Take back", () => takeBack(entry));
    back.ariaLabel = "Take back " + words.summary(entry);
    line.append(back);
    return line;
  };
  const redraw = () => {
    const [all, fresh] = [record.all(), record.fresh()];
    const exported = all.length - fresh.length;
    show("count", fresh.length ? fresh.length + " to export" : exported ? "All exported" : "Nothing logged");
    $("count").classList.toggle("due", fresh.length > 0);
    $("undo").hidden = !fresh.length;
    show("export", fresh.length ? "Export " + words.several(fresh.length, "entry") : "");
    $("share").hidden = !fresh.length || !navigator.canShare?.({ files: [fileOf([])] });
    $("again").hidden = $("clear").hidden = !exported;
    const earlier = all.length - SHOWN_ENTRIES;
    $("log-list").start = all.length;
    $("log-list").replaceChildren(...all.slice(-SHOWN_ENTRIES).reverse().map(entryLine));
    show("earlier", earlier > 0 ? "and " + words.several(earlier, "earlier entry") : "");
    $("unkept").hidden = record.kept();
    if (chosen) describe();
    else drawList();
  };

  // ---- export

  const fileOf = (entries) => new File([record.csv(entries)], record.fileName(), { type: "text/csv" });
  const exported = async (entries, file) => {
    await record.markExported(entries, file.name);
    redraw();
    say(`${words.several(entries.length, "entry")} in ${file.name}.`);
    const twice = "They stay here until you clear them; an entry that stands in two files counts once.";
    show("where", `Put ${file.name} into the farm's folder harvests. ${twice}`);
  };
  const download = (entries) => {
    const file = fileOf(entries);
    const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(file), download: file.name });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), HANDED_OVER_MS);
    exported(entries, file);
  };
  const share = async (entries) => {
    const file = fileOf(entries);
    try {
      await navigator.share({ files: [file] });
    } catch {
      return say("Not shared. The entries are still here.");
    }
    return exported(entries, file);
  };
  const clear = async () => {
    const gone = record.all().filter((entry) => entry.exported);
    const number = words.several(gone.length, "exported entry");
    if (!(await ask(`Clear ${number} from this page? Only once the file is in harvests.`, "Yes, clear"))) return;
    await record.remove(gone);
    show("where", "");
    redraw();
    say(`Cleared ${number} from this page.`);
  };

  // ---- the day

  const setDay = (day) => {
    $("date").value = day;
    dayChanged();
  };
  const dayChanged = () => {
    const day = $("date").value;
    dayTouched = day !== words.today();
    show("log", day && dayTouched ? "Log for " + words.shortDay(day) : "Log");
    if (chosen) describe();
    else drawList();
  };
  const followToday = () => {
    $("date").max = words.today();
    if (!dayTouched && $("date").value !== words.today()) setDay(words.today());
  };

  // ---- hands

  const press = (key) => {
    const field = $("weight");
    if (key === "back") field.value = field.value.slice(0, -1);
    else if (key !== ".") field.value += key;
    else if (!/[.,]/.test(field.value)) field.value += page.decimal_mark;
  };
  const walkList = (event) => {
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (!step) return;
    event.preventDefault();
    const buttons = [...$("list").querySelectorAll("button")];
    const next = buttons.indexOf(document.activeElement) + step;
    if (next < 0) $("container").focus();
    else buttons[next]?.focus();
  };
  // A scanner types wherever the focus is. With none, or in the list, what it types goes to the container.
  const lead = (event) => {
    byKeyboard = true;
    const typing = event.key.length === 1 && event.key !== " " && !event.ctrlKey && !event.metaKey && !event.altKey;
    const idle = document.activeElement === document.body || $("list").contains(document.activeElement);
    if (typing && idle && !chosen && !$("ask").open) $("container").focus();
  };
  const on = (id, kind, action) => $(id).addEventListener(kind, action);

  on("pad", "click", (event) => press(event.target.closest("[data-key]")?.dataset.key ?? ""));
  on("pad", "pointerdown", (event) => event.preventDefault()); // the weight keeps the focus
  on("container", "input", drawList);
  on("container", "keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    take();
  });
  on("which", "keydown", walkList);
  on("change", "click", () => {
    choose(null);
    $("container").focus();
  });
  on("form", "submit", (event) => {
    event.preventDefault();
    log();
  });
  on("form", "change", (event) => event.target.name === "stage" && setStage(event.target.value));
  on("date", "input", dayChanged);
  on("undo", "click", () => takeBack(record.fresh().at(-1)));
  on("export", "click", () => download(record.fresh()));
  on("share", "click", () => share(record.fresh()));
  on("again", "click", () => download(record.all()));
  on("clear", "click", clear);
  addEventListener("pointerdown", () => (byKeyboard = false), true);
  addEventListener("keydown", lead, true);
  addEventListener("focus", async () => {
    if (await record.read()) redraw();
  });
  addEventListener("beforeunload", (event) => {
    if (!record.kept() && record.fresh().length) event.preventDefault();
  });
  document.addEventListener("visibilitychange", followToday);

  const old = words.daysBetween(page.as_of, words.today());
  show("stale", old > 0 ? `Containers as of ${words.shortDay(page.as_of)}, ${words.several(old, "day")} ago: make a fresh page.` : "");
  followToday();
  choose(null);
  record.ready.then(() => {
    const kept = record.all().length;
    if (kept) say(`${words.several(kept, "entry")} kept here, ${record.fresh().length} not exported.`);
    redraw();
    document.documentElement.dataset.drawn = String(shelf.units.length); // for whoever checks it by a program
  });
})();
