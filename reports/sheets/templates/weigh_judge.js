// What can be logged on the weigh page: what is wrong with an entry, and what is asked about before it is logged.
"use strict";
const judge = (() => {
  const { name, decimals, example } = page.unit;
  const NUMBER = new RegExp(`^\\d{1,7}([.,]\\d{1,${decimals}})?$`);
  const UNIT = new RegExp(`\\s*${name}$`, "i");
  // What is typed in the farm's unit, in grams as text with a decimal point; or null. Of another unit nothing is taken. So
  // few decimals that 1.250 g is none, for it could be meant as 1250.
  const grams = (text) => {
    const plain = text.trim().replace(UNIT, "");
    return NUMBER.test(plain) ? words.grams(plain.replace(",", ".")) : null;
  };

  // What is wrong with a weight in grams (null: what was typed is none); "" for nothing.
  const wrongWeight = (weight, none) => {
    const like = example.map(words.marked);
    if (weight === null) return `Weight: write ${name === "g" ? "grams" : name} like ${like[0]} or ${like[1]}, thousands without a mark.`;
    return Number(weight) === 0 ? `Weight: 0 ${name} is ${none}.` : "";
  };
  // [what is wrong, the field to mend], or null. `typed` holds the texts of the fields as they were typed.
  const wrong = (cells, typed) => {
    const weight = Number(cells.fresh_weight_g);
    const like = example.map(words.marked);
    const heavy = wrongWeight(cells.fresh_weight_g, "no picking");
    if (heavy) return [heavy, "weight"];
    if (typed.culled && cells.culled_g === "") return [`Culled: write ${name === "g" ? "grams" : name}, like ${like[2]}.`, "culled"];
    if (Number(cells.culled_g) > weight) return ["Culled: it is part of the weight, and cannot be more.", "culled"];
    if (!cells.picked_on) return ["Date: choose a day.", "date"];
    if (cells.picked_on > words.today()) return ["Date: that day is still to come.", "date"];
    if (!/^([1-9]\d?)?$/.test(cells.flush)) return ["Flush: write a whole number, like 2, or leave it blank.", "flush"];
    return null;
  };

  // What is unlike the farm's usual weight, or where none is known, more than its fill gives at once: the limits of
  // gillbook check and gillbook weigh (schemas/pickings.py); "" for nothing.
  const unlikeUsual = (cells, unit) => {
    const [weight, usual] = [Number(cells.fresh_weight_g), page.usual_weight_g];
    const shown = words.mass(cells.fresh_weight_g);
    if (unit.container === null || unit.typed) return "";
    if (usual === null) {
      const more = `${shown} is more than a container of its fill gives at once, ${words.whole(unit.most_g)} at the most.`;
      return weight > unit.most_g ? more : "";
    }
    const { times_more, times_less } = page.unlike_usual;
    const like = weight > usual / times_less && weight < usual * times_more;
    return like ? "" : `${shown} is unlike the usual ${words.whole(usual)}.`;
  };
  // What is unlike this container's own (schemas/own_weights.py, which made the numbers and the words); "" for nothing.
  const unlikeOwn = (cells, unit) => {
    const flush = Number(cells.flush) || shelf.flushOn(unit, cells.picked_on);
    if (!flush || !unit.usual_g?.length) return "";
    const usual = unit.usual_g[Math.min(flush, unit.usual_g.length) - 1];
    const less = shelf.pickedIn(unit, flush) ? page.unlike_own.times_less_of_rest : page.unlike_own.times_off;
    const weight = Number(cells.fresh_weight_g);
    if (weight > usual / less && weight < usual * page.unlike_own.times_off) return "";
    const texts = {
      weight: words.mass(cells.fresh_weight_g),
      container: unit.called,
      before: unit.last_weights.map(words.inUnit).join(", ") + " " + name,
      usual: words.whole(usual),
      flush: String(flush),
    };
    const said = unit.last_weights.length ? page.unlike_own.like_before : page.unlike_own.like_its_fill;
    return said.replace(/\{(\w+)\}/g, (_, each) => texts[each]) + ".";
  };
  const doubts = (cells, unit) => {
    const again = (entry) => entry.fresh_weight_g === cells.fresh_weight_g && Date.now() - entry.at < page.same_within_ms;
    const early = unit.inoculated_on && cells.picked_on < unit.inoculated_on;
    return words.joined(
      [
        unlikeUsual(cells, unit) || unlikeOwn(cells, unit),
        shelf.weighedOn(unit, cells.picked_on).some(again)
          ? `${unit.called}, ${words.mass(cells.fresh_weight_g)} was logged a moment ago.`
          : "",
        early ? `Its batch was inoculated later, on ${words.shortDay(unit.inoculated_on)}.` : "",
      ],
      " ",
    );
  };

  return { grams, wrong, wrongWeight, doubts };
})();
