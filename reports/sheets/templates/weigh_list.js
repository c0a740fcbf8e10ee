// The list of containers on the weigh page: in the order of the shelves, narrowed by what is typed and what is left to do,
// with the next one outlined.
//
// The first rows are drawn at once and the rest between other work, so that a long list is as quick to see and to tap.
"use strict";
const list = (() => {
  const AT_ONCE = 24;
  const { $, made, button, show } = talk;

  let drawnFor = ""; // what was typed when the list was drawn
  let shown = []; // the units of the list, in order
  let rows = new Map(); // their buttons, as far as they are drawn
  let waiting = []; // what is still to be drawn: [room, unit]
  let drawing = 0; // of several beginnings only the last goes on
  let room = null; // the one that is being filled, and its name
  let next = null;
  let chosen = () => {};

  const inList = (name, beside, below, action) => {
    const one = button("", action, "unit");
    one.tabIndex = -1;
    one.append(made("bdi", name), beside, made("span", below, "soft below"));
    return one;
  };
  const unitRow = (unit) => {
    const day = $("date").value;
    const weights = shelf.weighedOn(unit, day).map((entry) => words.inUnit(entry.fresh_weight_g));
    const logged = `logged ${weights.join(" + ")} ${page.unit.name}`;
    const beside = weights.length ? made("span", logged, "done") : made("span", unit.due ? words.joined(["due", unit.place], ", ") : unit.place, "soft");
    return inList(unit.called, beside, shelf.facts(unit, day), () => chosen(unit));
  };
  const put = (name, unit) => {
    if (!room || room.name !== name) {
      room = { name, box: made("div", "", "room") };
      if (name) room.box.append(made("p", name, "soft"));
      $("list").append(room.box);
    }
    const row = unitRow(unit);
    row.classList.toggle("next", unit === next);
    rows.set(unit, row);
    room.box.append(row);
  };
  const drawSome = (number) => {
    for (const [name, unit] of waiting.splice(0, number)) put(name, unit);
  };
  const drawRest = (mine) => {
    if (mine !== drawing) return;
    drawSome(AT_ONCE);
    if (waiting.length) return void setTimeout(drawRest, 0, mine);
    // For whoever checks it by a program: once it is painted, for a browser takes no taps before.
    requestAnimationFrame(() => setTimeout(() => (document.documentElement.dataset.drawn = String(shelf.units.length))));
  };

  const left = () => ($("left").checked ? $("date").value : "");
  const draw = () => {
    const text = $("container").value.trim();
    const found = shelf.fitting(text, $("group").value, left());
    drawnFor = text;
    shown = found.flatMap((each) => each.units);
    waiting = found.flatMap((each) => each.units.map((unit) => [each.room, unit]));
    rows = new Map();
    room = null;
    next = shown.includes(next) ? next : (shown[0] ?? null);
    $("list").replaceChildren();
    drawSome(AT_ONCE);
    drawing += 1;
    setTimeout(drawRest, 0, drawing);
    if (text && !shelf.exactly(text).length) {
      $("list").prepend(inList(text, "", "is not in this list; use it all the same", () => chosen(text)));
    }
    tell(text);
  };
  const tell = (text) => {
    const first = $("list").querySelector("button");
    for (const each of rows.values()) each.tabIndex = -1;
    if (first) (rows.get(next) ?? first).tabIndex = 0; // one stop of the Tab key; arrows walk on
    $("list").hidden = !first;
    const number = shown.length;
    const narrowed = $("group").value || left();
    const fits = text ? words.several(number, "container") + (number === 1 ? " fits" : " fit") : "";
    const toDo = number ? `${number} of ${words.several(shelf.units.length, "container")}` : "All done here.";
    show("fits", shelf.units.length ? fits || (narrowed ? toDo : "") : "Nothing is running. Type the container's name.");
    const away = next && !text && $("form").classList.contains("choosing");
    show("go", away ? "Next: " + next.called : "");
  };
  // One unit was logged or taken back: its row alone is drawn anew, and where only what is left is shown, it goes.
  const refresh = (unit) => {
    const row = rows.get(unit);
    const gone = left() && shelf.weighedOn(unit, left()).length;
    if (gone) {
      shown = shown.filter((each) => each !== unit);
      waiting = waiting.filter(([, each]) => each !== unit);
      rows.delete(unit);
      row?.remove();
    } else if (row) {
      const fresh = unitRow(unit);
      rows.set(unit, fresh);
      row.replaceWith(fresh);
    } else if (left()) return draw(); // taken back: it is to be done again
    return mark(next);
  };
  const mark = (unit) => {
    if ($("container").value.trim() !== drawnFor) {
      next = unit;
      return draw();
    }
    rows.get(next)?.classList.remove("next");
    next = unit && shown.includes(unit) ? unit : (shown[0] ?? null);
    rows.get(next)?.classList.add("next");
    tell($("container").value.trim());
  };
  // The one behind this along the shelves; behind the last one, the first.
  const order = new Map(shelf.units.map((unit, at) => [unit, at]));
  const after = (unit) => shown.find((each) => order.get(each) > order.get(unit)) ?? shown.find((each) => each !== unit) ?? null;
  const fillGroups = () => {
    for (const [group, called] of shelf.groups()) $("group").append(new Option(called, group));
  };

  return {
    draw,
    refresh,
    mark,
    after,
    fillGroups,
    next: () => next,
    row: (unit) => rows.get(unit),
    whenChosen: (action) => (chosen = action),
  };
})();
