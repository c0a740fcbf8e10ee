// What can be logged on the weigh page: what is wrong with an entry, and what is asked about before it is logged.
"use strict";
const judge = (() => {
  // Grams as text with a decimal point, or null. At most two decimals: 1.250 could be meant as 1250.
  const grams = (text) => {
    const plain = text.trim().replace(/\s*g$/i, "");
    return /^\d{1,7}([.,]\d{1,2})?$/.test(plain) ? String(Number(plain.replace(",", "."))) : null;
  };

  // [what is wrong, the field to mend], or null. `typed` holds the texts of the fields as they were typed.
  const wrong = (cells, typed) => {
    const weight = Number(cells.fresh_weight_g);
    if (cells.fresh_weight_g === null) return [`Weight: write grams like 412 or ${words.marked("412.5")}, thousands without a mark.`, "weight"];
    if (weight === 0) return ["Weight: 0 g is no picking.", "weight"];
    if (typed.culled && cells.culled_g === "") return ["Culled: write grams, like 35.", "culled"];
    if (Number(cells.culled_g) > weight) return ["Culled: it is part of the weight, and cannot be more.", "culled"];
    if (!cells.picked_on) return ["Date: choose a day.", "date"];
    if (cells.picked_on > words.today()) return ["Date: that day is still to come.", "date"];
    if (!/^([1-9]\d?)?$/.test(cells.flush)) return ["Flush: write a whole number, like 2, or leave it blank.", "flush"];
    return null;
  };

  // The thresholds of gillbook check and gillbook weigh.
  const unlikeUsual = (cells) => {
    const times = Number(cells.fresh_weight_g) / page.usual_weight_g;
    return page.usual_weight_g !== null && (times >= page.unlike_usual.times_more || times <= 1 / page.unlike_usual.times_less);
  };
  const doubts = (cells, unit) => {
    const again = (entry) => entry.fresh_weight_g === cells.fresh_weight_g && Date.now() - entry.at < page.same_within_ms;
    const early = unit.inoculated_on && cells.picked_on < unit.inoculated_on;
    return words.joined(
      [
        unit.container !== null && unlikeUsual(cells)
          ? `${words.marked(cells.fresh_weight_g)} g is unlike the usual ${Math.round(page.usual_weight_g)} g.`
          : "",
        shelf.weighedOn(unit, cells.picked_on).some(again)
          ? `${unit.called}, ${words.marked(cells.fresh_weight_g)} g was logged a moment ago.`
          : "",
        early ? `Its batch was inoculated later, on ${words.shortDay(unit.inoculated_on)}.` : "",
      ],
      " ",
    );
  };

  return { grams, wrong, doubts };
})();
