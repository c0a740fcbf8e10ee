// Draws every chart of the page, and fits them to the paper when printed. The page's policy allows this script by its
// hash and no other; `ast` keeps Vega from making code out of text.
(() => {
  "use strict";
  const PAPER_PX = 680; // what A4 leaves between its margins
  const specs = JSON.parse(document.getElementById("specs").textContent);
  const options = {
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
  // The page says when it is done, for whoever prints or checks it by a program.
  Promise.all(Object.keys(specs).map(draw)).then(() => {
    document.documentElement.dataset.drawn = String(views.size);
  });

  const fit = (width) => {
    for (const [place, view] of views) view.width(width(place)).run();
  };
  window.addEventListener("beforeprint", () => {
    fit((place) => (place.closest(".narrow") ? PAPER_PX / 3 - 20 : PAPER_PX));
  });
  window.addEventListener("afterprint", () => {
    fit((place) => place.clientWidth);
  });
})();
