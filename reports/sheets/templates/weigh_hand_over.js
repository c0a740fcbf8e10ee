// How what was weighed leaves the weigh page: the export, as a file or shared; and what is cleared after it.
"use strict";
const handOver = (() => {
  const HANDED_OVER_MS = 60000;
  const { $, show, say, ask } = talk;

  // Pickings and sales go into a file each: that of pickings may be put into the farm's folder as it is, and so may the other.
  const ofKind = (entries, sales) => entries.filter((entry) => record.isSale(entry) === sales);
  const tell = (text) => ["said", "sale-said"].forEach((each) => $(each) && say(text, each));
  const fileOf = (entries, sales) => new File([record.csv(entries)], record.fileName(sales), { type: "text/csv" });
  const exported = async (entries, files) => {
    for (const [part, file] of files) await record.markExported(part, file.name);
    screening.redraw();
    const names = files.map(([, file]) => file.name);
    tell(`${words.several(entries.length, "entry")} in ${names.join(" and ")}.`);
    const twice = "They stay here until you clear them; an entry that stands in two files counts once.";
    const folders = files.map(([part]) => (record.isSale(part[0]) ? "sales" : "harvests")).join(" and ");
    show("where", `At home: gillbook take-in ${names.join(" ")}, or put it into the farm's folder ${folders}. ${twice}`);
  };
  const download = (entries, sales) => {
    const file = fileOf(entries, sales);
    const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(file), download: file.name });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), HANDED_OVER_MS);
    exported(entries, [[entries, file]]);
  };
  const share = async (entries) => {
    const parts = [false, true].map((sales) => [ofKind(entries, sales), sales]).filter(([part]) => part.length);
    const files = parts.map(([part, sales]) => [part, fileOf(part, sales)]);
    try {
      await navigator.share({ files: files.map(([, file]) => file) });
    } catch {
      return tell("Not shared. The entries are still here.");
    }
    return exported(entries, files);
  };
  const clear = async () => {
    const gone = record.everything().filter((entry) => entry.exported);
    const number = words.several(gone.length, "exported entry");
    if (!(await ask(`Clear ${number} from this page? Only once the file was taken in at home.`, "Yes, clear"))) return;
    await record.remove(gone);
    show("where", "");
    screening.redraw();
    tell(`Cleared ${number} from this page.`);
  };

  const on = (id, action) => $(id).addEventListener("click", action);
  on("export", () => download(ofKind(record.fresh(), false), false));
  on("export-sales", () => download(ofKind(record.fresh(), true), true));
  on("share", () => share(record.fresh()));
  on("again", () => download(ofKind(record.everything(), false), false));
  on("again-sales", () => download(ofKind(record.everything(), true), true));
  on("clear", clear);
  return { ofKind, canShare: () => Boolean(navigator.canShare?.({ files: [fileOf([], false)] })) };
})();
