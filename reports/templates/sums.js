// Adds up, of what is chosen, those figures and charts of the whole farm that are made of parts: by recipe, strain and kind
// of container. What is of others too (weighed together, or not yet begun) is left out, and said beside.
const sums = (() => {
  "use strict";
  const MATTER = 3; // digits of a figure in a tile
  const LEAST = 0.05; // kg: less would be 0.0 with one digit
  const HEADROOM = 1.1; // over the highest point
  const cells = () => drawing.whose.sums;
  const fieldsOf = (id) => drawing.whose.summed[id];

  // As the page's figures are rounded: what lies midway goes to the even digit.
  const rounded = (value, decimals) => {
    const halves = value * 10 ** decimals * 2;
    const midway = Number.isInteger(value * 2 ** (decimals + 1)) && Math.abs(halves % 2) === 1;
    return midway ? (2 * Math.round(halves / 4)) / 10 ** decimals : Number(value.toFixed(decimals));
  };
  const text = (value, decimals) => {
    const [whole, rest] = rounded(value, decimals).toFixed(decimals).split(".");
    const spaced = whole.replace(/\B(?=(\d{3})+$)/g, "\u202f");
    return rest ? spaced + "." + rest : spaced;
  };
  const brief = (value, decimals) => {
    if (!value) return "0";
    const whole = Math.trunc(rounded(value, decimals)) || "";
    return text(value, Math.min(decimals, Math.max(0, MATTER - String(whole).length)));
  };

  const added = (parts, fate, wanted) => {
    const sum = parts.reduce((before, [mark, amount]) => before + (fate(mark) === wanted ? amount : 0), 0);
    return Number(sum.toPrecision(12)); // of decimals, as they are written
  };
  // What a cell is of what is chosen, in the unit shown; null where that is nothing. And how much is of others too.
  const of = (cell, fate) => {
    const { parts, over, divisor, ...how } = cells()[cell];
    const own = added(parts, fate, "in");
    if (!over) return { ...how, value: own / divisor, also: added(parts, fate, "part") / divisor };
    const whole = added(over, fate, "in");
    return { ...how, value: own && whole ? (100 * own) / whole : null, also: 0 };
  };

  const isSummed = (figure) => figure.dataset.cell in cells();
  // Shows a figure of a tile anew, with the word that follows it.
  const show = (figure, fate) => {
    const found = of(figure.dataset.cell, fate);
    const [, unit] = figure.textContent.split("\u00a0");
    const none = found.value === null || (!found.value && found.also); // it may have a part of what is of others too
    const shown = none ? "\u2013" : brief(found.value, found.decimals);
    const nothing = found.unit === "kg" && found.value === 0 && !found.also;
    figure.textContent = unit ? (nothing ? "nothing" : shown + "\u00a0" + unit) : shown;
    figure.dataset.sum = figure.dataset.cell;
    figure.dataset.value = JSON.stringify(found.value);
    delete figure.dataset.cell;
    const next = figure.nextSibling;
    if (none && next?.data.trim() === found.unit) next.remove();
    else if (next?.data) next.data = next.data.replace(/^( container)s?\b/, found.value === 1 ? "$1" : "$1s");
    return found;
  };

  // The row of a chart with what is chosen in the place of what the whole farm has.
  const summedRow = (row, fields, fate) => {
    const made = { ...row };
    for (const { field, cell, row: key, said } of fields) {
      if (!(key in row)) continue;
      const { value, also } = of(cell.replace("*", row[key]), fate);
      made[field] = value;
      made.also ??= also;
      if (said in row) made[said] = value ? text(value, value < LEAST ? 2 : 1) : "";
    }
    return made;
  };
  // The layers that draw what is added up: a range is no sum, and a tooltip tells no range.
  const summedLayers = (layers, fields) => {
    const names = new Set(fields.flatMap(({ field, said }) => [field, said ?? field]));
    const draws = ({ mark, encoding: { tooltip, y2, ...channels } }) =>
      mark.type !== "area" && !y2 && Object.values(channels).some((each) => names.has(each.field));
    const kept = layers.filter(draws);
    for (const { encoding } of kept) {
      encoding.tooltip &&= encoding.tooltip
        .filter((each) => names.has(each.field) || each.type === "nominal")
        .map((each) => (each.title?.startsWith("median") ? { ...each, title: "expected, kg" } : each));
    }
    return kept;
  };
  const factOf = (row, fields) => {
    const parts = fields.map(({ field, opens, closes }) => (row[field] ? opens + text(row[field], 2) + closes : ""));
    return (row.shown ?? row.label) + parts.join("");
  };

  // A chart of what is chosen: its specification (null where nothing is left), what it says, and how much is of others too.
  const chart = (id, spec, fate) => {
    const fields = fieldsOf(id);
    const made = structuredClone(spec);
    made.layer = summedLayers(made.layer, fields);
    const used = new Set(made.layer.map((each) => each.data.name));
    const kept = Object.entries(made.datasets).filter(([name]) => used.has(name));
    made.datasets = Object.fromEntries(
      kept.map(([name, rows]) => [name, rows.map((row) => summedRow(row, fields, fate)).filter((row) => row.said !== "")]),
    );
    const rows = [...new Map(Object.values(made.datasets).flat().map((row) => [row.row, row])).values()];
    const [{ field, cell }] = fields;
    const { average } = cells()[cell.replace("*", rows[0].row)];
    const also = rows.reduce((sum, row) => sum + (row.also ?? 0), 0);
    const some = rows.filter((row) => row[field]);
    if (average) fit(made, Math.max(...rows.map((row) => row[field])), rows);
    const facts = some.filter((row) => rounded(row[field], 2)).map((row) => factOf(row, fields));
    return { spec: some.length ? made : null, facts, average, also: also ? text(also, 2) : "" };
  };
  // What was drawn beside what is added up is gone: the scales end with what is left.
  const fit = (spec, highest, rows) => {
    const left = new Set(rows.map((row) => row.label));
    for (const { encoding } of spec.layer) {
      encoding.y.scale.domain = [0, highest * HEADROOM];
      encoding.x.scale.domain = encoding.x.scale.domain.filter((each) => left.has(each));
    }
  };
  return { isSummed, show, chart, has: (id) => Boolean(fieldsOf(id)), brief };
})();
