// How what was weighed leaves the weigh page: the export, as a file or shared; and what is cleared after it.
"use strict";
const handOver = (() => {
  const HANDED_OVER_MS = 60000;
  const { $, show, say, ask } = talk;

  const fileOf = (entries) => new File([record.csv(entries)], record.fileName(), { type: "text/csv" });
  const exported = async (entries, file) => {
    await record.markExported(entries, file.name);
    screening.redraw();
    say(`${words.several(entries.length, "entry")} in ${file.name}.`);
    const twice = "They stay here until you clear them; an entry that stands in two files counts once.";
    show("where", `At home: gillbook take-in ${file.name}, or put it into the farm's folder harvests. ${twice}`);
  };
  const download = (entries) => {
    const file = fileOf(entries);
    const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(file), download: file.name });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), HANDED_OVER_MS);
    exported(entries, file);
  };
  const share = async (entries) => {
    const file = fileOf(entries);
    try {
      await navigator.share({ files: [file] });
    } catch {
      return say("Not shared. The entries are still here.");
    }
    return exported(entries, file);
  };
  const clear = async () => {
    const gone = record.everything().filter((entry) => entry.exported);
    const number = words.several(gone.length, "exported entry");
    if (!(await ask(`Clear ${number} from this page? Only once the file was taken in at home.`, "Yes, clear"))) return;
    await record.remove(gone);
    show("where", "");
    screening.redraw();
    say(`Cleared ${number} from this page.`);
  };

  const on = (id, action) => $(id).addEventListener("click", action);
  on("export", () => download(record.fresh()));
  on("share", () => share(record.fresh()));
  on("again", () => download(record.everything()));
  on("clear", clear);
  return { canShare: () => Boolean(navigator.canShare?.({ files: [fileOf([])] })) };
})();
