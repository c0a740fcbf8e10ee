// Filters the page by recipe, strain and kind of container: rows of tables, and what charts draw. Tiles and charts that are made
// of parts are added up anew (sums.js). What is of more than is chosen stays, and says so: no figure is silently of another set.
drawing.whenReady(() => {
  "use strict";
  const form = document.getElementById("filter");
  if (!form) return;
  const { combinations, sets } = drawing.whose;
  const fields = [...form.querySelectorAll("select")];
  const status = document.getElementById("filtered");
  const AVERAGE = "on average, without a range";
  const NAMED = 6; // names in a list of what is also of others
  form.hidden = false;

  const note = (kind, text) => {
    const made = document.createElement("span");
    made.className = "marked " + kind;
    made.textContent = text;
    return made;
  };
  const tables = [...document.querySelectorAll("table[data-table]")].filter((each) => each.querySelector("[data-in]"));
  const drawn = (spec) => [...Object.values(spec.datasets ?? {}), spec.data?.values ?? []].flat();
  const filtered = Object.entries(drawing.specs).filter(([, spec]) => drawn(spec).some((each) => each.in));
  const summed = Object.entries(drawing.specs).filter(([id]) => sums.has(id));
  // Sentences, and charts and tables of the whole farm: what they say stays as it is.
  const whole = () => {
    const ids = new Set([...filtered, ...summed].map(([id]) => "chart-" + id));
    const captions = [...document.querySelectorAll("figure.chart")].filter(
      (each) => !ids.has(each.querySelector(".drawing").id),
    );
    const closed = [...document.querySelectorAll("details.behind")].filter(
      (each) => each.querySelector("table") && !tables.some((table) => each.contains(table)),
    );
    const sentences = "main .headline, .shown, .warning, #first h2, section[id] .finding";
    return [
      ...document.querySelectorAll(sentences + ", .note:has(.figure), .note:has(time)"),
      ...captions.map((each) => each.querySelector("figcaption")),
      ...closed.map((each) => each.querySelector("summary")),
    ].filter((each) => !each.closest("#definitions, #cautions"));
  };

  // Of each mark: whether what carries it is within what is chosen, also of others (part), or out of it.
  const fates = (chosen) => {
    const wanted = combinations.map((each) => each.every((at, place) => chosen[place] === "" || +chosen[place] === at));
    return sets.map((each) => {
      const hits = each.filter((at) => wanted[at]).length;
      return hits === 0 ? "out" : hits === each.length ? "in" : "part";
    });
  };

  const filterRows = (fate, on) => {
    let shown = 0;
    let all = 0;
    for (const table of tables) {
      const rows = [...table.tBodies[0].rows];
      for (const row of rows) {
        const found = fate(row.dataset.in ?? 0);
        row.hidden = found === "out";
        if (found === "part") row.cells[0].append(note("part", "also of others"));
      }
      const left = rows.filter((each) => !each.hidden).length;
      if (on) table.closest("details")?.querySelector("summary").append(note("count", left + " shown"));
      shown += left;
      all += rows.length;
    }
    return [shown, all];
  };

  // A tile is added up anew where its figure is made of parts; what else it says is of the whole farm.
  const heads = document.querySelector(".heads");
  const asDrawn = heads.cloneNode(true);
  const filterTiles = (fate, on) => {
    heads.replaceChildren(...asDrawn.cloneNode(true).childNodes);
    if (!on) return;
    for (const tile of heads.children) {
      const own = tile.querySelector("dd .figure");
      const found = own && sums.isSummed(own) ? sums.show(own, fate) : null;
      const average = found?.average;
      if (!found) tile.querySelector("dt").append(note("whole", "whole farm"));
      const lines = [...tile.querySelectorAll(".rests")];
      const also = found?.also ? [[sums.brief(found.also, found.decimals), found.unit, "also of others"].join(" ")] : [];
      for (const each of [...(average ? [AVERAGE] : []), ...also]) {
        const line = document.createElement("dd");
        line.className = "rests";
        line.append(note("part", each));
        own.parentElement.after(line);
      }
      for (const line of lines) {
        const figures = [...line.querySelectorAll(".figure")];
        if (found && figures.length && figures.every(sums.isSummed)) figures.forEach((each) => sums.show(each, fate));
        else if (average) line.hidden = true;
        else if (found && figures.length) line.append(note("whole", "whole farm"));
      }
    }
  };

  // The lanes that stay keep their height; a specification without anything to draw is none.
  const thinned = (spec, fate) => {
    const stays = (each) => fate(each.in ?? 0) !== "out";
    const before = drawn(spec);
    const lanes = new Set(before.filter((each) => each.lane !== undefined && stays(each)).map((each) => each.lane));
    const every = new Set(before.flatMap((each) => (each.lane === undefined ? [] : [each.lane])));
    if (!before.some((each) => ("in" in each || "row" in each) && stays(each))) return null;
    const made = structuredClone(spec);
    const filter = (rows) => rows.filter((each) => stays(each) && (each.lane === undefined || lanes.has(each.lane)));
    for (const name of Object.keys(made.datasets ?? {})) made.datasets[name] = filter(made.datasets[name]);
    if (made.data?.values) made.data.values = filter(made.data.values);
    // What has nothing to draw has no ends of a scale either.
    if (made.layer) made.layer = made.layer.filter(({ data }) => !data?.name || made.datasets[data.name].length);
    if (every.size) {
      made.height = (made.height / every.size) * lanes.size;
      for (const { encoding } of made.layer ?? []) {
        const scale = encoding?.y?.scale;
        if (encoding?.y?.field === "lane" && scale?.domain) scale.domain = scale.domain.filter((each) => lanes.has(each));
      }
    }
    return made;
  };

  const ofPlace = (read) => new Map([...filtered, ...summed].map(([id]) => [id, read(document.getElementById("chart-" + id))]));
  const alternatives = ofPlace((place) => place.ariaLabel);
  const titles = ofPlace((place) => place.parentElement.querySelector("figcaption").textContent);
  const say = (id, on, seen) => {
    const place = document.getElementById("chart-" + id);
    place.ariaLabel = on ? "Chart. " + titles.get(id) + ". Filtered: " + seen + "." : alternatives.get(id);
  };
  const sumCharts = (fate, on) => {
    const changed = summed.map(([id, spec]) => [id, on ? sums.chart(id, spec, fate) : { spec }]);
    for (const [id, { spec, facts, average, also }] of changed) {
      const place = document.getElementById("chart-" + id);
      const key = place.parentElement.querySelector(".key");
      if (key) key.hidden = Boolean(average);
      if (average) place.parentElement.querySelector("figcaption").append(note("part", "expected, " + AVERAGE));
      if (also) place.after(note("part", "Also of others, and not drawn: " + also + "\u00a0kg."));
      say(id, on, spec ? facts?.join("; ") : "nothing of what is chosen");
    }
    return changed.map(([id, found]) => [id, found.spec]);
  };
  const filterCharts = (fate, on) => {
    const changed = filtered.map(([id, spec]) => [id, on ? thinned(spec, fate) : spec]);
    for (const [id, spec] of changed) {
      const place = document.getElementById("chart-" + id);
      const parts = spec && on ? drawn(spec).filter((each) => each.name && fate(each.in ?? 0) === "part") : [];
      const names = [...new Set(parts.map((each) => each.name))];
      const more = names.length > NAMED ? " and " + (names.length - NAMED) + " more" : "";
      if (names.length) {
        place.after(note("part", "Also of others: " + names.slice(0, NAMED).join(", ") + more + "."));
      }
      const facts = spec && on ? drawn(spec).flatMap((each) => (each.all ? [each.all] : [])) : [];
      say(id, on, spec ? facts.join("; ") || "only what is chosen" : "nothing of what is chosen");
    }
    return drawing.redraw([...sumCharts(fate, on), ...changed]);
  };

  const apply = () => {
    for (const each of document.querySelectorAll(".marked")) each.remove();
    const found = fates(fields.map((each) => each.value));
    const on = found[0] !== "in" && fields.some((each) => each.value !== "");
    const fate = (mark) => (on ? found[mark] : "in");
    document.documentElement.classList.toggle("filtered", on);
    const [shown, all] = filterRows(fate, on);
    if (on) for (const each of whole()) each.append(note("whole", "whole farm"));
    const chosen = fields.flatMap((each) => (each.value === "" ? [] : [each.selectedOptions[0].textContent]));
    const rest = " What is marked \u201cwhole farm\u201d is not filtered.";
    const none = found[0] === "out" ? " No batch is of all of these." : "";
    status.textContent = on ? shown + " of " + all + " rows shown: " + chosen.join(", ") + "." + none + rest : "";
    filterTiles(fate, on);
    filterCharts(fate, on);
  };
  form.addEventListener("change", apply);
  form.addEventListener("reset", () => setTimeout(apply));
  form.addEventListener("submit", (event) => event.preventDefault());
});
