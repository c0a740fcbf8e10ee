// Logging what leaves the farm on the weigh page: sold, given away, eaten, discarded, come back. Only for farms that sell.
//
// Money stays text from the key to the file: no amount is ever a binary fraction.
"use strict";
const sale = (() => {
  const KEY = "sale"; // of what is half typed
  const FIELDS = ["weight", "price", "amount", "buyer", "strain", "kind", "batch", "picked", "note"];
  const CHIPS = 3; // buyers that are a tap away
  const SOLD = "sold";
  // At most two decimals, so that 1.250 is none, for it could be meant as 1250.
  const MONEY = /^\d{1,9}([.,]\d{1,2})?$/;
  const { $, made, button, show, ask } = talk;

  const id = (name) => "sale-" + name;
  const value = (name) => $(id(name)).value.trim();
  const say = (text) => talk.say(text, id("said"));
  const trouble = talk.troubleOf(id("trouble"), [...FIELDS, "date"].map(id), id("more"));
  let dayTouched = false; // until someone sets the date, it is today, also after midnight
  let target = "weight"; // what the pad types into
  const paid = () => $(id("kind")).value === SOLD || $(id("kind")).value === "returned";
  const same = (a, b) => a.toLowerCase() === b.toLowerCase();

  // ---- buyers

  // Those of this phone first, the latest first; then those of the farm's files. Each with what a kilogram brought last.
  const buyers = () => {
    const here = record.sales().reverse().filter((entry) => entry.buyer).map((entry) => [entry.buyer, entry.price_per_kg]);
    const found = new Map();
    for (const [name, price] of [...here, ...page.sell.buyers]) {
      const known = found.get(name.toLowerCase());
      if (!known) found.set(name.toLowerCase(), [name, price]);
      else known[1] ||= price;
    }
    return [...found.values()];
  };
  const offer = () => {
    const typed = value("buyer").toLowerCase();
    const known = buyers();
    const exact = known.some(([name]) => same(name, typed));
    const near = known.filter(([name]) => !exact && name.toLowerCase().includes(typed)).slice(0, CHIPS);
    $(id("buyers")).replaceChildren(...near.map(([name]) => chip(name)));
    const [, price] = known.find(([name]) => same(name, typed)) ?? [];
    const wanted = price && paid() && !value("price") && !value("amount");
    show(id("last"), wanted ? `${words.marked(price)} a kg, as last time` : "");
    $(id("last")).value = price ?? "";
  };
  const chip = (name) => {
    const one = button("", () => {
      $(id("buyer")).value = name;
      changed();
      $(id("weight")).focus({ preventScroll: true });
    });
    one.append(made("bdi", name));
    return one;
  };

  // ---- what is typed

  const money = (name) => {
    const typed = value(name);
    if (!typed || !paid()) return "";
    return MONEY.test(typed) ? typed.replace(",", ".") : null;
  };
  const cellsOfForm = () => ({
    sold_on: $(id("date")).value,
    weight_g: judge.grams(value("weight")),
    buyer: value("buyer").replace(/\s+/g, " "),
    strain: value("strain"),
    price_per_kg: money("price"),
    amount: money("amount"),
    kind: value("kind") === SOLD ? "" : value("kind"),
    batch: value("batch"),
    picked_on: $(id("picked")).value,
    note: value("note"),
  });
  // [what is wrong, the field to mend], or null.
  const wrong = (cells) => {
    const weight = judge.wrongWeight(cells.weight_g, "nothing");
    const like = words.marked("12.5");
    if (weight) return [weight, id("weight")];
    if (cells.price_per_kg === null) return [`Price: write it like ${like}, with two decimals at most and thousands without a mark.`, id("price")];
    if (cells.amount === null) return [`For all: write it like ${like}, with two decimals at most and thousands without a mark.`, id("amount")];
    if (!cells.sold_on) return ["Date: choose a day.", id("date")];
    if (cells.sold_on > words.today()) return ["Date: that day is still to come.", id("date")];
    if (cells.picked_on > cells.sold_on) return ["Picked on: that is after the day on which it left.", id("picked")];
    return null;
  };
  // A decimal number as whole steps of its last place.
  const steps = (text, places) => {
    const [whole, part = ""] = text.split(".");
    return BigInt(whole + part.padEnd(places, "0"));
  };
  const CENT = 1000000n; // thousandths of a g times hundredths a kg
  const disagrees = ({ weight_g, price_per_kg, amount }) => {
    if (!price_per_kg || !amount) return false;
    const apart = steps(weight_g, 3) * steps(price_per_kg, 2) - steps(amount, 2) * CENT;
    return apart > CENT || apart < -CENT;
  };
  const doubts = (cells) => {
    const alike = (entry) => Object.keys(cells).every((name) => cells[name] === entry[name]);
    const again = record.sales().some((entry) => Date.now() - entry.at < page.same_within_ms && alike(entry));
    const known = !cells.batch || page.sell.batches.some((name) => same(name, cells.batch));
    return words.joined(
      [
        disagrees(cells) ? `${words.marked(cells.amount)} is not weight times price; it would count.` : "",
        known ? "" : `${cells.batch} is none of the batches of this page.`,
        again ? `The same, ${words.summary(cells)}, was logged a moment ago.` : "",
      ],
      " ",
    );
  };

  // ---- logging and taking back

  const log = async () => {
    followToday();
    const cells = cellsOfForm();
    const problem = wrong(cells);
    if (problem) return void trouble(...problem);
    const asked = doubts(cells);
    if (asked && !(await ask(asked + " Log it?", "Yes, log it"))) return void $(id("weight")).focus();
    const { entry, saved } = record.add(cells);
    const ofDay = record.sales().filter((each) => each.sold_on === entry.sold_on);
    const day = dayTouched ? "on " + words.shortDay(entry.sold_on) : "today";
    fill({});
    trouble("");
    screening.redraw();
    show(id("done"), words.joined([entry.buyer, words.mass(entry.weight_g)], ": "));
    $(id("weight")).focus({ preventScroll: true });
    await saved;
    feel.logged();
    $("unkept").hidden = record.kept();
    say(`Logged ${words.summary(entry)}. ${words.several(ofDay.length, "entry")} ${day}, ${words.total(ofDay)}.`);
  };
  const fill = (cells) => {
    for (const name of FIELDS) {
      const one = $(id(name));
      const text = cells[name] ?? (name === "kind" ? SOLD : "");
      if (one.options && text && ![...one.options].some((each) => each.value === text)) one.append(new Option(text, text));
      one.value = text;
    }
    changed();
  };
  const takeBack = async (entry) => {
    const gone = record.takeBack(entry);
    turn(true);
    const { price_per_kg, amount, picked_on } = entry;
    const typed = { weight: words.inUnit(entry.weight_g), price: words.marked(price_per_kg), amount: words.marked(amount) };
    fill({ ...entry, ...typed, picked: picked_on, kind: entry.kind || SOLD });
    $(id("date")).value = entry.sold_on;
    dayChanged();
    screening.redraw();
    await gone;
    screening.redraw();
    keep();
    say(`Taken back: ${words.summary(entry)}. It stands in the fields again.`);
  };

  // ---- what stays through a reload, and which of the two forms is seen

  const keep = () => {
    const typed = Object.fromEntries(FIELDS.map((name) => [name, $(id(name)).value]));
    return draft.keep({ typed, day: dayTouched ? $(id("date")).value : "", selling: !$("sale-form").hidden }, KEY);
  };
  const changed = () => {
    show(id("done"), "");
    $(id("money")).hidden = !paid();
    if (!paid()) target = "weight";
    offer();
    keep();
  };
  const dayChanged = () => {
    const day = $(id("date")).value;
    dayTouched = day !== words.today();
    show(id("log"), day && dayTouched ? "Log for " + words.shortDay(day) : "Log");
    keep();
  };
  const followToday = () => {
    for (const name of ["date", "picked"]) $(id(name)).max = words.today();
    if (!dayTouched) $(id("date")).value = words.today();
  };
  const turn = (selling) => {
    $("form").hidden = selling;
    $("sale-form").hidden = !selling;
    $("title").textContent = selling ? "Sell" : "Weigh";
    $("mode-sell").ariaPressed = String(selling);
    $("mode-weigh").ariaPressed = String(!selling);
    keep();
    if (selling) $("sale-form").scrollIntoView(); // so that all down to Log fits on a small screen
    else scrollTo(0, 0);
  };
  const redraw = () => {
    $(id("undo")).hidden = !last();
    offer();
  };
  const last = () => record.fresh().findLast((entry) => record.isSale(entry) && !entry.takes_back);

  const press = (key) => {
    const field = $(id(target));
    if (key === "back") field.value = field.value.slice(0, -1);
    else if (key !== ".") field.value += key;
    else if (!/[.,]/.test(field.value)) field.value += page.decimal_mark;
    changed();
  };
  const on = (one, kind, action) => $(one).addEventListener(kind, action);
  for (const name of ["weight", "price", "amount"]) on(id(name), "focus", () => (target = name));
  on("sale-pad", "click", (event) => press(event.target.closest("[data-key]")?.dataset.key ?? ""));
  on("sale-pad", "pointerdown", (event) => event.preventDefault()); // the field keeps the focus
  on("sale-form", "input", changed);
  on("sale-form", "change", changed);
  on("sale-form", "submit", (event) => {
    event.preventDefault();
    log();
  });
  on(id("last"), "click", () => {
    $(id("price")).value = words.marked($(id("last")).value);
    changed();
  });
  on(id("date"), "input", dayChanged);
  on(id("undo"), "click", () => takeBack(last()));
  on("mode-weigh", "click", () => turn(false));
  on("mode-sell", "click", () => turn(true));
  document.addEventListener("visibilitychange", followToday);

  for (const each of page.sell.strains) $(id("strain")).append(new Option(each, each));
  $(id("batches")).append(...page.sell.batches.map((name) => new Option(name)));
  followToday();
  draft.read(KEY).then((was) => {
    if (was) {
      fill(was.typed);
      if (was.day) $(id("date")).value = was.day;
      if (was.selling) turn(true);
    }
    dayChanged();
    changed();
  });
  return { takeBack, redraw };
})();
