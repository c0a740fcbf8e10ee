// What the weigh page was made with, and its words: days, numbers and masses as they are shown.
//
// Masses are kept in grams. What is typed and shown is in the farm's own unit (page.unit), and in no other.
"use strict";
const page = JSON.parse(document.getElementById("page-data").textContent);

const words = (() => {
  const DAY_MS = 86400000;
  const KEPT = 1000; // a mass is kept to a thousandth of a gram
  const pad2 = (number) => String(number).padStart(2, "0");
  const isoDay = (day) => [day.getFullYear(), pad2(day.getMonth() + 1), pad2(day.getDate())].join("-");
  const marked = (number) => String(number).replace(".", page.decimal_mark);
  const { name, grams, decimals, large, large_grams } = page.unit;
  // A mass in grams as it is typed: in the farm's unit, no zeros at the end.
  const inUnit = (mass) => (mass === "" || mass === null ? "" : marked(Number((Number(mass) / grams).toFixed(decimals))));
  const mass = (each) => inUnit(each) + " " + name;
  const weightOf = (entry) => entry.weight_g ?? entry.fresh_weight_g;
  const money = (amount) => joined([marked(amount), page.sell?.currency], " ");
  const partsOfSale = (entry) => [
    entry.buyer,
    mass(entry.weight_g) + (entry.strain ? " of " + entry.strain : ""),
    (entry.kind ?? "").replace("_", " "),
    entry.price_per_kg ? `at ${money(entry.price_per_kg)} a kg` : "",
    entry.amount ? "for " + money(entry.amount) : "",
    entry.batch ? "batch " + entry.batch : "",
  ];
  const parts = (entry) => [
    entry.called + ", " + mass(entry.fresh_weight_g),
    entry.cap_stage.replace("_", " "),
    entry.culled_g ? mass(entry.culled_g) + " culled" : "",
    entry.flush ? "flush " + entry.flush : "",
  ];
  const joined = (texts, between) => texts.filter(Boolean).join(between);
  return {
    today: () => isoDay(new Date()),
    now: () => isoDay(new Date()) + "-" + pad2(new Date().getHours()) + pad2(new Date().getMinutes()),
    shortDay: (iso) => Number(iso.slice(8)) + " " + page.months[Number(iso.slice(5, 7)) - 1],
    daysBetween: (from, to) => Math.round((Date.parse(to) - Date.parse(from)) / DAY_MS),
    several: (number, word) => number + " " + (number === 1 ? word : word.replace(/([^aeiou])y$/, "$1ie") + "s"),
    joined,
    marked, // a number as text, with the farm's own decimal mark
    inUnit,
    mass,
    // about so much
    whole: (each) => marked(name === "g" ? Math.round(each) : Number((each / grams).toPrecision(3))) + " " + name,
    grams: (number) => String(Math.round(Number(number) * grams * KEPT) / KEPT), // of a number in the farm's unit
    total: (entries) =>
      marked((entries.reduce((sum, each) => sum + Number(weightOf(each)), 0) / large_grams).toFixed(2)) + " " + large,
    summary: (entry) => joined((entry.sold_on ? partsOfSale : parts)(entry), ", "),
  };
})();
