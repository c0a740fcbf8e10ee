// The containers of the weigh page, in the order of the shelves: which one is meant, and what is known of it.
"use strict";
const shelf = (() => {
  const units = page.rooms.flatMap((room) => room.units);
  const nameOf = (unit) => unit.container ?? unit.batch;
  const isOf = (unit) => (entry) => entry.container === (unit.container ?? "") && entry.batch === unit.batch;

  // The entries of each unit, sorted out once for each change of the record.
  const keyOf = (batch, container) => JSON.stringify([batch, container]);
  let [sorted, own] = [null, new Map()];
  const entriesOf = (unit) => {
    if (sorted !== record.all()) {
      sorted = record.all();
      own = new Map();
      for (const each of sorted) {
        const key = keyOf(each.batch, each.container);
        if (!own.has(key)) own.set(key, []);
        own.get(key).push(each);
      }
    }
    return own.get(keyOf(unit.batch, unit.container ?? "")) ?? [];
  };

  const weighedOn = (unit, day) => entriesOf(unit).filter((entry) => entry.picked_on === day);

  // Which flush will the ledger count a picking of that day for (pipeline/models/ledger/derived_flushes.sql)? Null where it
  // cannot be known here: before a day on which it was picked already.
  const flushOn = (unit, day) => {
    let last = unit.last_picked_on;
    let flush = unit.last_flush ?? 1;
    const later = entriesOf(unit).filter((entry) => !last || entry.picked_on > last);
    const step = (on) => {
      if (last && words.daysBetween(last, on) >= page.new_flush_after_days) flush += 1;
      last = on;
    };
    for (const entry of later.sort((a, b) => (a.picked_on < b.picked_on ? -1 : 1))) {
      step(entry.picked_on);
      if (entry.flush) flush = Number(entry.flush);
    }
    if (last && day < last) return null;
    step(day);
    return flush;
  };

  // Was this flush of it picked before, here or by what the farm's files say?
  const pickedIn = (unit, flush) =>
    unit.last_flushes.includes(flush) ||
    entriesOf(unit).some((entry) => (Number(entry.flush) || flushOn(unit, entry.picked_on)) === flush);

  const facts = (unit, day) => {
    if (unit.typed) return "not among the containers of this page";
    const flush = flushOn(unit, day);
    const last = unit.last_weights.map(words.inUnit).join(" / ");
    return words.joined(
      [
        unit.container === null ? "" : unit.batch_called,
        flush ? "flush " + flush : "",
        last ? last + " " + page.unit.name : "not picked yet",
        last ? words.shortDay(unit.last_picked_on) : "",
      ],
      " · ",
    );
  };

  // What the list can be narrowed to, as it is known and called: those that are due, a batch, a shelf.
  const shelfOf = (unit, room) => words.joined([room, unit.shelf], ", ");
  const groups = () => {
    const found = new Map();
    for (const { room, units: inRoom } of page.rooms) {
      for (const unit of inRoom) {
        if (unit.due) found.set("due", "due today");
        found.set("batch:" + unit.batch, "batch " + unit.batch_called);
        if (shelfOf(unit, room)) found.set("shelf:" + shelfOf(unit, room), "shelf " + shelfOf(unit, room));
      }
    }
    const kinds = ["due", "batch", "shelf"];
    return [...found].sort(([a], [b]) => kinds.indexOf(a.split(":")[0]) - kinds.indexOf(b.split(":")[0]));
  };
  const isIn = (unit, room, group) =>
    !group || (group === "due" && unit.due) || group === "batch:" + unit.batch || group === "shelf:" + shelfOf(unit, room);
  // Those that fit what is typed (every word of it somewhere in the names or the place), in the group, and where only what
  // is left is wanted (`left`: the day), without those that were logged on that day.
  const fitting = (text, group = "", left = "") => {
    const wanted = text.toLowerCase().split(/\s+/).filter(Boolean);
    const fits = (room) => (unit) => {
      const where = [nameOf(unit), unit.called, unit.batch, unit.place, room].join(" ").toLowerCase();
      return wanted.every((word) => where.includes(word)) && isIn(unit, room, group) && !(left && weighedOn(unit, left).length);
    };
    const found = page.rooms.map((each) => ({ room: each.room, units: each.units.filter(fits(each.room)) }));
    return found.filter((each) => each.units.length);
  };
  // A scanner types a name as it stands on the label; a hand may not care for capitals.
  const exactly = (text) => {
    const same = units.filter((unit) => nameOf(unit) === text);
    return same.length ? same : units.filter((unit) => nameOf(unit).toLowerCase() === text.toLowerCase());
  };
  const ofEntry = (entry) => units.find((unit) => isOf(unit)(entry)) ?? typed(entry.container, entry.batch, entry.called);
  const typed = (container, batch = "", called = container) => ({ container, batch, called, typed: true, last_flushes: [] });

  return { units, flushOn, pickedIn, facts, groups, fitting, exactly, weighedOn, ofEntry, typed };
})();
