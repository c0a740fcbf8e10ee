// Tells of a point of a chart where it stands in the files: of the one that is pressed, and of all in a list.
drawing.whenReady(() => {
  "use strict";
  if (!drawing.whose) return;
  const { places, files } = drawing.whose;
  const told = (at) => {
    const [what, name, rows, more] = places[at];
    const parts = rows.map(([own, file, row]) => {
      const whose = own ? (what === "Soak" ? "batch " : "container ") + own + " in " : "";
      return whose + files[file] + ", row " + row;
    });
    return what + " " + name + ": " + parts.join("; ") + (more ? "; and " + more + " more" : "") + ".";
  };
  const drawn = (spec) => [...Object.values(spec?.datasets ?? {}), spec?.data?.values ?? []].flat();
  const numbers = (id) => [...new Set(drawn(drawing.specOf(id)).flatMap(({ at }) => (at === undefined ? [] : [at])))];
  for (const id of Object.keys(drawing.specs)) {
    if (!numbers(id).length) continue;
    const figure = document.getElementById("chart-" + id).parentElement;
    figure.classList.add("pressable");
    const pressed = document.createElement("p");
    pressed.className = "note pressed";
    pressed.role = "status";
    const all = document.createElement("details");
    all.className = "points";
    const name = document.createElement("summary");
    name.textContent = "Where these points stand in the files";
    const list = document.createElement("ul");
    list.tabIndex = 0; // A long list scrolls: by the keyboard, too.
    all.append(name, list);
    all.addEventListener("toggle", () => {
      const lines = numbers(id).map((at) => {
        const line = document.createElement("li");
        line.textContent = told(at);
        return line;
      });
      list.replaceChildren(...lines);
    });
    figure.append(pressed, all);
  }
  drawing.onPress((id, { at }) => {
    if (at === undefined) return;
    document.getElementById("chart-" + id).parentElement.querySelector(".pressed").textContent = told(at);
  });
});
