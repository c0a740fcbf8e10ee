// Draws every chart of the page, and fits them to the paper when printed. The page's policy allows this script by its
// hash and no other; `ast` keeps Vega from making code out of text.
(() => {
  "use strict";
  const PAPER_PX = 680; // what A4 leaves between its margins
  const COLUMN_PX = 435; // and of two columns each, which are set smaller
  const { charts: specs, all } = JSON.parse(document.getElementById("specs").textContent);
  const options = {
    config: all.config,
    mode: "vega-lite",
    renderer: "svg",
    actions: false,
    ast: true,
    defaultStyle: false,
    tooltip: { disableDefaultStyle: true, theme: "plain" },
  };
  const views = new Map();
  const draw = async (id) => {
    const place = document.getElementById("chart-" + id);
    const canvas = document.createElement("div"); // Vega names what it draws into: the text alternative is the place's
    canvas.ariaHidden = "true";
    place.append(canvas);
    try {
      const { view } = await vegaEmbed(canvas, specs[id], options);
      views.set(place, view);
    } catch (problem) {
      place.textContent = "This chart could not be drawn; its figures are in the table.";
      console.error(problem);
    }
  };
  // What is folded away has no width to be drawn in: it is drawn when it is opened.
  const waiting = new Set(Object.keys(specs));
  const folded = (id) => document.getElementById("chart-" + id).closest("details:not([open])");
  const drawShown = () => {
    const shown = [...waiting].filter((id) => !folded(id));
    for (const id of shown) waiting.delete(id);
    // The page says how many it drew, for whoever prints or checks it by a program.
    return Promise.all(shown.map(draw)).then(() => {
      document.documentElement.dataset.drawn = String(views.size);
    });
  };
  // The drawing library is packed; the policy lets it run for its hash.
  const unpack = async () => {
    const packed = Uint8Array.from(atob(document.getElementById("library").textContent), (sign) => sign.charCodeAt(0));
    const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
    const script = document.createElement("script");
    script.textContent = await new Response(stream).text();
    document.head.append(script);
  };
  const sayNone = (problem) => {
    for (const id of waiting) {
      document.getElementById("chart-" + id).textContent = "This browser is too old for the charts; see the tables.";
    }
    document.documentElement.dataset.drawn = "0";
    console.error(problem);
  };
  unpack().then(() => {
    for (const each of document.querySelectorAll("details")) each.addEventListener("toggle", drawShown);
    return drawShown();
  }, sayNone);

  const fit = (width) => {
    for (const [place, view] of views) view.width(width(place)).run();
  };
  window.addEventListener("beforeprint", () => {
    fit((place) => (place.closest(".narrow") ? PAPER_PX / 3 - 20 : place.closest(".columns") ? COLUMN_PX : PAPER_PX));
  });
  window.addEventListener("afterprint", () => {
    fit((place) => place.clientWidth);
  });
})();
