// Draws every chart of the page, and fits them to the paper when printed. The page's policy allows this script by its
// hash and no other; `ast` keeps Vega from making code out of text. `drawing` is what the page's other scripts ask.
const drawing = (() => {
  "use strict";
  const PAPER_PX = 680; // what A4 leaves between its margins
  const FIRST_PX = 735; // and on page one, which is set a little smaller
  const COLUMN_PX = 500; // and of two columns each, which are set smaller
  const shared = {}; // specs: of each chart; whose: whose each mark is, and where it stands
  const options = {
    mode: "vega-lite",
    renderer: "svg",
    actions: false,
    ast: true,
    defaultStyle: false,
    tooltip: { disableDefaultStyle: true, theme: "plain" },
  };
  const views = new Map();
  const wanted = new Map(); // charts that are drawn otherwise by now: id -> specification, null for none
  const pressed = []; // what is told of a chart and of what was pressed in it
  const turns = new Map(); // how often a chart was drawn: an earlier drawing that comes late is thrown away
  const place = (id) => document.getElementById("chart-" + id);
  const specOf = (id) => (wanted.has(id) ? wanted.get(id) : shared.specs[id]);
  const draw = async (id) => {
    const mine = (turns.get(id) ?? 0) + 1;
    turns.set(id, mine);
    const canvas = document.createElement("div"); // Vega names what it draws into: the text alternative is the place's
    canvas.ariaHidden = "true";
    place(id).replaceChildren(canvas);
    const spec = specOf(id);
    if (!spec) {
      canvas.textContent = "Nothing here of what is chosen.";
      return;
    }
    try {
      const { view } = await vegaEmbed(canvas, structuredClone(spec), options);
      if (mine !== turns.get(id)) return view.finalize();
      views.set(place(id), view);
      view.addEventListener("click", (event, item) => {
        if (!item?.datum) return;
        // A finger that is lifted takes away what is shown beside it: so that is shown again.
        if (item.tooltip) view.tooltip()(null, event, item, item.tooltip);
        for (const each of pressed) each(id, item.datum);
      });
    } catch (problem) {
      place(id).textContent = "This chart could not be drawn; its figures are in the table.";
      console.error(problem);
    }
  };
  // What is folded away has no width to be drawn in: it is drawn when it is opened.
  const waiting = new Set();
  const folded = (id) => place(id).closest("details:not([open])");
  const drawShown = () => {
    const shown = [...waiting].filter((id) => !folded(id));
    for (const id of shown) waiting.delete(id);
    // One after the other, so that the first stands early. The page says how many it drew, for whoever prints or checks it
    // by a program.
    const one = (before, id) => before.then(() => draw(id));
    return shown.reduce(one, Promise.resolve()).then(() => {
      document.documentElement.dataset.drawn = String(views.size);
    });
  };
  // Draws these charts as they are wanted now, and leaves the others.
  const redraw = (changed) => {
    for (const [id, spec] of changed) {
      wanted.set(id, spec);
      views.get(place(id))?.finalize();
      views.delete(place(id));
      waiting.add(id);
    }
    return drawShown();
  };
  // What the page draws with, and what it draws, are packed: charts' data are a sixth so.
  const unpacked = (id) => {
    const text = document.getElementById(id).textContent;
    const packed = Uint8Array.fromBase64?.(text) ?? Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
    return new Response(new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"))).text();
  };
  // The policy lets the library run for its hash.
  const load = async () => {
    const script = document.createElement("script");
    script.textContent = await unpacked("library");
    document.head.append(script);
  };
  const read = async () => {
    const { charts, all, whose } = JSON.parse(await unpacked("specs"));
    options.config = all.config;
    Object.assign(shared, { specs: charts, whose });
    for (const id of Object.keys(charts)) waiting.add(id);
  };
  const sayNone = (problem) => {
    for (const each of document.querySelectorAll(".drawing")) {
      each.textContent = "This browser is too old for the charts; see the tables.";
    }
    document.documentElement.dataset.drawn = "0";
    console.error(problem);
  };
  const ready = read();
  Promise.all([ready, load()]).then(() => {
    for (const each of document.querySelectorAll("details")) each.addEventListener("toggle", drawShown);
    return drawShown();
  }, sayNone);

  const fit = (width) => {
    for (const [place, view] of views) view.width(width(place)).run();
  };
  document.addEventListener("pointerdown", () => {
    document.getElementById("vg-tooltip-element")?.classList.remove("visible");
  });
  const other = (place) => (place.closest(".first") ? FIRST_PX : PAPER_PX);
  window.addEventListener("beforeprint", () => {
    fit((place) => (place.closest(".narrow") ? PAPER_PX / 3 - 20 : place.closest(".columns") ? COLUMN_PX : other(place)));
  });
  window.addEventListener("afterprint", () => {
    fit((place) => place.clientWidth);
  });
  // Asked once what is drawn is read; not at all where it cannot be.
  const whenReady = (then) => ready.then(then, () => {});
  return Object.assign(shared, { specOf, redraw, whenReady, onPress: (tell) => pressed.push(tell) });
})();
