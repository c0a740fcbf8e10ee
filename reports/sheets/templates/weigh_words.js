// What the weigh page was made with, and its words: days, numbers and masses as they are shown.
"use strict";
const page = JSON.parse(document.getElementById("page-data").textContent);

const words = (() => {
  const DAY_MS = 86400000;
  const pad2 = (number) => String(number).padStart(2, "0");
  const isoDay = (day) => [day.getFullYear(), pad2(day.getMonth() + 1), pad2(day.getDate())].join("-");
  const marked = (number) => number.replace(".", page.decimal_mark);
  const parts = (entry) => [
    entry.called + ", " + marked(entry.fresh_weight_g) + " g",
    entry.cap_stage.replace("_", " "),
    entry.culled_g ? marked(entry.culled_g) + " g culled" : "",
    entry.flush ? "flush " + entry.flush : "",
  ];
  return {
    today: () => isoDay(new Date()),
    now: () => isoDay(new Date()) + "-" + pad2(new Date().getHours()) + pad2(new Date().getMinutes()),
    shortDay: (iso) => Number(iso.slice(8)) + " " + page.months[Number(iso.slice(5, 7)) - 1],
    daysBetween: (from, to) => Math.round((Date.parse(to) - Date.parse(from)) / DAY_MS),
    several: (number, word) => number + " " + (number === 1 ? word : word.replace(/([^aeiou])y$/, "$1ie") + "s"),
    joined: (texts, between) => texts.filter(Boolean).join(between),
    marked, // a number as text, with the farm's own decimal mark
    kilograms: (entries) => marked((entries.reduce((sum, each) => sum + Number(each.fresh_weight_g), 0) / 1000).toFixed(2)),
    summary: (entry) => parts(entry).filter(Boolean).join(", "),
  };
})();
