// The screen of the weigh page: choosing a container, the number pad, logging, and taking back.
"use strict";
const screening = (() => {
  const SHOWN_ENTRIES = 40;
  const MOST_PICKERS = 12;

  const { $, made, button, show, say, trouble, ask } = talk;

  let chosen = null; // a unit of the shelf, or one typed by hand
  let dayTouched = false; // until someone sets the date, it is today, also after midnight
  let byKeyboard = false;
  let culling = false; // whether the pad types what was culled; all of it, until a part is typed

  // ---- choosing a container

  const choose = (unit) => {
    chosen = unit;
    $("form").classList.toggle("choosing", !unit);
    $("which").hidden = Boolean(unit);
    $("chosen").hidden = !unit;
    if (!unit) return list.mark(list.next());
    show("done", "");
    show("go", "");
    show("chosen-name", unit.called);
    describe();
    trouble("");
    keep();
    $("chosen").scrollIntoView(); // so that all down to Log fits on a small screen
    return $("weight").focus({ preventScroll: true });
  };
  const describe = () => {
    show("chosen-facts", shelf.facts(chosen, $("date").value));
    const behind = chosen.typed ? list.next() : list.after(chosen);
    show("chosen-next", behind && behind !== chosen ? "then " + behind.called : "");
  };
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
    culled_g: judge.grams(culled()) ?? "",
    picker: $("picker").value.trim(),
    note: $("note").value.trim(),
  });
  const culled = () => (culling && !$("culled").value.trim() ? $("weight").value : $("culled").value).trim();
  const log = async () => {
    if (!chosen) take();
    if (!chosen) return;
    followToday();
    const cells = cellsOfForm();
    const problem = judge.wrong(cells, { culled: culled() });
    if (problem) return void trouble(...problem);
    const doubts = judge.doubts(cells, chosen);
    if (doubts && !(await ask(doubts + " Log it?", "Yes, log it"))) return void $("weight").focus();
    const unit = chosen;
    const { entry, saved } = record.add({ ...cells, called: unit.called });
    const ofDay = record.all().filter((each) => each.picked_on === entry.picked_on);
    const day = dayTouched ? "on " + words.shortDay(entry.picked_on) : "today";
    const sum = `${words.several(ofDay.length, "entry")} ${day}, ${words.total(ofDay)}`;
    const behind = unit.typed ? list.next() : list.after(unit);
    emptyForm();
    list.refresh(unit);
    list.mark(behind);
    redraw();
    show("done", `${unit.called}: ${words.mass(entry.fresh_weight_g)}`);
    goOn(); // the next may be weighed while this one is written
    await saved;
    feel.logged();
    $("unkept").hidden = record.kept();
    say(`Logged ${words.summary(entry)}. ${sum}.`);
  };
  const emptyForm = () => {
    for (const id of ["container", "weight", "culled", "note", "flush"]) $(id).value = "";
    cull(false);
    setStage("");
    trouble("");
    choose(null);
    notePicker();
    keep();
  };
  const setStage = (stage) => {
    for (const each of document.querySelectorAll("[name=stage]")) each.checked = each.value === stage;
    $("late").textContent = page.late.includes(stage) ? $("spores").content.textContent : "";
  };
  // After a key: back to the field into which a scanner types. After a tap: to the next container along the shelf, and
  // no keyboard over the screen.
  const goOn = () => {
    if (byKeyboard) return $("container").focus();
    const row = list.row(list.next());
    row?.focus({ preventScroll: true });
    row?.scrollIntoView({ block: "nearest" });
    return scrollTo(0, 0);
  };
  const takeBack = async (entry) => {
    const sure = "It is exported already. Take it back by a row in the next export?";
    if (entry.exported && !(await ask(sure, "Yes, take it back"))) return;
    if (record.isSale(entry) && page.sell) return sale.takeBack(entry);
    const gone = record.takeBack(entry);
    if (record.isSale(entry)) return gone.then(redraw); // of a farm that has no sales any more
    choose(shelf.ofEntry(entry));
    cull(false);
    for (const [id, name] of Object.entries({ weight: "fresh_weight_g", culled: "culled_g" })) $(id).value = words.inUnit(entry[name]);
    for (const id of ["note", "picker", "flush"]) $(id).value = entry[id];
    setStage(entry.cap_stage);
    setDay(entry.picked_on);
    if (!chosen.typed) list.refresh(chosen);
    show("go", "");
    redraw();
    await gone;
    redraw();
    keep();
    say(`Taken back: ${words.summary(entry)}. It stands in the fields again.`);
  };

  // ---- what is logged

  const entryLine = (entry) => {
    const line = made("li", "");
    const status = entry.exported ? "exported" : "not exported";
    const text = made("div", "");
    text.append(made("bdi", words.summary(entry)));
    text.append(made("span", words.joined([words.shortDay(entry.sold_on ?? entry.picked_on), entry.note, status], " · "), "soft"));
    line.append(text);
    const back = button("Take back", () => takeBack(entry));
    back.ariaLabel = "Take back " + words.summary(entry);
    line.append(back);
    return line;
  };
  const redraw = () => {
    const [all, fresh] = [record.logged(), record.fresh()];
    const [pickings, sales] = [handOver.ofKind(fresh, false).length, handOver.ofKind(fresh, true).length];
    const exported = record.everything().length - fresh.length;
    show("count", fresh.length ? fresh.length + " to export" : exported ? "All exported" : "Nothing logged");
    $("count").classList.toggle("due", fresh.length > 0);
    $("undo").hidden = !lastOfAll();
    show("export", pickings ? "Export " + words.several(pickings, "entry") : "");
    show("export-sales", sales ? "Export " + words.several(sales, "sale") : "");
    $("share").hidden = !fresh.length || !handOver.canShare();
    const out = record.everything().filter((entry) => entry.exported);
    $("again").hidden = !handOver.ofKind(out, false).length;
    $("again-sales").hidden = !handOver.ofKind(out, true).length;
    $("clear").hidden = !exported;
    const earlier = all.length - SHOWN_ENTRIES;
    $("log-list").start = all.length;
    $("log-list").replaceChildren(...all.slice(-SHOWN_ENTRIES).reverse().map(entryLine));
    show("earlier", earlier > 0 ? "and " + words.several(earlier, "earlier entry") : "");
    $("unkept").hidden = record.kept();
    if (chosen) describe();
    if (page.sell) sale.redraw();
  };
  const lastOfAll = () => record.fresh().findLast((entry) => !entry.takes_back && !record.isSale(entry));

  // ---- the day

  const setDay = (day) => {
    $("date").value = day;
    dayChanged();
  };
  const dayChanged = () => {
    const day = $("date").value;
    dayTouched = day !== words.today();
    show("log", day && dayTouched ? "Log for " + words.shortDay(day) : "Log");
    list.draw();
    if (chosen) describe();
  };
  const followToday = () => {
    $("date").max = words.today();
    if (!dayTouched && $("date").value !== words.today()) setDay(words.today());
  };

  // ---- what stays through a reload

  const TYPED = ["container", "weight", "culled", "flush", "note", "picker", "group"];
  let pickers = [];
  const keep = () =>
    draft.keep({
      typed: Object.fromEntries(TYPED.map((id) => [id, $(id).value])),
      chosen: chosen && [chosen.batch, chosen.container],
      culling,
      stage: document.querySelector("[name=stage]:checked").value,
      day: dayTouched ? $("date").value : "",
      left: $("left").checked,
      sound: $("sound").checked,
      pickers,
    });
  const restore = (was) => {
    if (!was) return;
    for (const id of TYPED) $(id).value = was.typed[id] ?? "";
    if ($("group").selectedIndex < 0) $("group").value = ""; // a batch that is not on this page
    $("left").checked = was.left;
    $("sound").checked = was.sound;
    feel.sound(was.sound);
    pickers = was.pickers;
    offerPickers();
    if (was.day) setDay(was.day);
    setStage(was.stage);
    culling = was.culling;
    $("cull").ariaPressed = String(culling);
    tellCulled();
    if (!was.chosen) return;
    const [batch, container] = was.chosen;
    choose(shelf.units.find((unit) => unit.batch === batch && unit.container === container) ?? shelf.typed(container, batch));
  };
  const offerPickers = () => $("pickers").replaceChildren(...pickers.map((name) => new Option(name)));
  // The latest first, so that each is a tap away.
  const notePicker = () => {
    const name = $("picker").value.trim();
    if (!name) return;
    pickers = [name, ...pickers.filter((each) => each !== name)].slice(0, MOST_PICKERS);
    offerPickers();
  };

  // ---- hands

  const press = (key) => {
    const field = $(culling ? "culled" : "weight");
    if (key === "back") field.value = field.value.slice(0, -1);
    else if (key !== ".") field.value += key;
    else if (!/[.,]/.test(field.value)) field.value += page.decimal_mark;
    tellCulled();
    keep();
  };
  // One tap: all of it is culled. What is typed then is the part of it that is; a second tap takes that back.
  const cull = (wanted) => {
    culling = wanted;
    if (!wanted) $("culled").value = "";
    $("cull").ariaPressed = String(wanted);
    tellCulled();
  };
  const tellCulled = () => {
    const part = $("culled").value.trim();
    $("cull").textContent = culling ? (part ? `Culled ${part} ${page.unit.name}` : "All culled") : "Culled";
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
    const at = document.activeElement;
    const idle = at === document.body || at === $("go") || $("list").contains(at);
    if (typing && idle && !chosen && !$("form").hidden && !$("ask").open) $("container").focus();
  };
  const on = (id, kind, action) => $(id).addEventListener(kind, action);

  on("pad", "click", (event) => press(event.target.closest("[data-key]")?.dataset.key ?? ""));
  on("pad", "pointerdown", (event) => event.preventDefault()); // the weight keeps the focus
  on("cull", "click", () => {
    cull(!culling);
    keep();
  });
  on("container", "input", list.draw);
  on("container", "keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    take();
  });
  on("which", "keydown", walkList);
  on("change", "click", () => {
    choose(null);
    keep();
    $("container").focus();
  });
  on("go", "click", () => choose(list.next()));
  on("group", "change", list.draw);
  on("left", "change", list.draw);
  on("sound", "change", () => feel.sound($("sound").checked));
  on("form", "submit", (event) => {
    event.preventDefault();
    log();
  });
  on("form", "input", keep);
  on("form", "change", (event) => {
    if (event.target.name === "stage") setStage(event.target.value);
    keep();
  });
  on("culled", "input", tellCulled);
  on("date", "input", dayChanged);
  on("undo", "click", () => takeBack(lastOfAll()));
  addEventListener("pointerdown", () => (byKeyboard = false), true);
  addEventListener("keydown", lead, true);
  addEventListener("focus", async () => {
    if (!(await record.read())) return;
    redraw();
    list.draw();
  });
  addEventListener("sent-home", redraw);
  addEventListener("beforeunload", (event) => {
    if (!record.kept() && record.fresh().length) event.preventDefault();
  });
  document.addEventListener("visibilitychange", followToday);

  list.whenChosen((unit) => (typeof unit === "string" ? chooseTyped(unit) : choose(unit)));
  const old = words.daysBetween(page.as_of, words.today());
  show("stale", old > 0 ? `Containers as of ${words.shortDay(page.as_of)}, ${words.several(old, "day")} ago: make a fresh page.` : "");
  list.fillGroups();
  $("date").max = words.today();
  $("date").value = words.today();
  $("form").classList.add("choosing");
  const ready = Promise.all([record.ready, draft.read()]).then(([, was]) => {
    const kept = record.logged().length;
    if (kept) say(`${words.several(kept, "entry")} kept here, ${record.fresh().length} not exported.`);
    restore(was);
    list.draw();
    const last = record.all().at(-1);
    if (last?.picked_on === $("date").value) list.mark(list.after(shelf.ofEntry(last))); // on from where it was left
    redraw();
  });
  return { redraw, ready };
})();
