// The containers of the weigh page, in the order of the shelves: which one is meant, and what is known of it.
"use strict";
const shelf = (() => {
  const units = page.rooms.flatMap((room) => room.units);
  const nameOf = (unit) => unit.container ?? unit.batch;
  const isOf = (unit) => (entry) => entry.container === (unit.container ?? "") && entry.batch === unit.batch;

  // Which flush will the ledger count a picking of that day for (pipeline/models/ledger/derived_flushes.sql)? Null where it
  // cannot be known here: before a day on which it was picked already.
  const flushOn = (unit, day) => {
    let last = unit.last_picked_on;
    let flush = unit.last_flush ?? 1;
    const own = record.all().filter((entry) => isOf(unit)(entry) && (!last || entry.picked_on > last));
    const step = (on) => {
      if (last && words.daysBetween(last, on) >= page.new_flush_after_days) flush += 1;
      last = on;
    };
    for (const entry of own.sort((a, b) => (a.picked_on < b.picked_on ? -1 : 1))) {
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
    record.all().some((entry) => isOf(unit)(entry) && (Number(entry.flush) || flushOn(unit, entry.picked_on)) === flush);

  const facts = (unit, day) => {
    if (unit.typed) return "not among the containers of this page";
    const flush = flushOn(unit, day);
    const last = unit.last_weights;
    return words.joined(
      [
        unit.container === null ? "" : unit.batch_called,
        flush ? "flush " + flush : "",
        last ? last + " g" : "not picked yet",
        last ? words.shortDay(unit.last_picked_on) : "",
      ],
      " · ",
    );
  };

  // Those that fit what is typed: every word of it somewhere in the names or the place.
  const fitting = (text) => {
    const wanted = text.toLowerCase().split(/\s+/).filter(Boolean);
    const fits = (room) => (unit) => {
      const where = [nameOf(unit), unit.called, unit.batch, unit.place, room].join(" ").toLowerCase();
      return wanted.every((word) => where.includes(word));
    };
    const found = page.rooms.map((each) => ({ room: each.room, units: each.units.filter(fits(each.room)) }));
    return found.filter((each) => each.units.length);
  };
  // A scanner types a name as it stands on the label; a hand may not care for capitals.
  const exactly = (text) => {
    const same = units.filter((unit) => nameOf(unit) === text);
    return same.length ? same : units.filter((unit) => nameOf(unit).toLowerCase() === text.toLowerCase());
  };
  const weighedOn = (unit, day) => record.all().filter((entry) => isOf(unit)(entry) && entry.picked_on === day);
  const ofEntry = (entry) => units.find((unit) => isOf(unit)(entry)) ?? { ...entry, typed: true };
  const typed = (text) => ({ container: text, batch: "", called: text, typed: true });

  return { units, isOf, flushOn, pickedIn, facts, fitting, exactly, weighedOn, ofEntry, typed };
})();
