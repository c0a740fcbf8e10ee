// The entries of the weigh page: kept in the browser's storage until they are exported, and the CSV that they become.
//
// In IndexedDB, because it tells when an entry is on disk. The simpler localStorage does not; and Chromium, asked for it
// while a page from disk is still loading, was seen to hand out an empty one that forgets.
"use strict";
const record = (() => {
  // By farm, so that two farms on one phone stay apart.
  const BASE = "gillbook weighed " + page.farm;
  const STORE = "entries";
  const PATIENCE_MS = 5000; // for a browser that never answers
  // Browsers keep what pages of these addresses store. Previewers have addresses of their own.
  const KEEPING = ["file:", "http:", "https:"];
  const WITHIN = new RegExp(page.formula.within, "g");

  const entries = new Map();
  const pending = new Set(); // ids of entries that are not on disk yet
  let base = null;
  let failed = false;
  let changes = 0;
  const inOrder = (chosen) => [...chosen].sort((a, b) => a.at - b.at || (a.entry < b.entry ? -1 : 1));
  // In order of time, sorted once for each change. Corrections take back what was exported; they are no pickings.
  let sorted = null;
  const everything = () => (sorted ??= inOrder(entries.values()));
  const isSale = (entry) => Boolean(entry.sold_on);
  let pickings = null;
  const logged = () => everything().filter((entry) => !entry.takes_back);
  const all = () => (pickings ??= logged().filter((entry) => !isSale(entry)));
  const changed = () => (sorted = pickings = null);

  const open = () =>
    new Promise((done) => {
      setTimeout(() => done(null), PATIENCE_MS);
      try {
        const asked = indexedDB.open(BASE, 1);
        asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "entry" });
        asked.onsuccess = () => done(asked.result);
        asked.onerror = () => done(null);
      } catch {
        done(null); // refused, as to a page without an address of its own
      }
    });
  // Runs one step on the store; tells whether it is done, on disk too.
  const step = (mode, action) =>
    new Promise((done) => {
      try {
        const running = base.transaction(STORE, mode, { durability: "strict" });
        const asked = action(running.objectStore(STORE));
        running.oncomplete = () => done(asked?.result ?? true);
        running.onabort = () => done(null);
      } catch {
        done(null); // no storage, or closed meanwhile
      }
    });

  // Reads what is kept; another page of this farm may have changed it. Tells whether it differs from what was known.
  const read = async () => {
    const [before, known] = [changes, JSON.stringify(everything())];
    const found = await step("readonly", (store) => store.getAll());
    if (!found || before !== changes) return false;
    for (const id of [...entries.keys()]) if (!pending.has(id)) entries.delete(id);
    for (const entry of found) if (!pending.has(entry.entry)) entries.set(entry.entry, entry);
    changed();
    return known !== JSON.stringify(everything());
  };
  // Puts entries, and those that could not be put before; the page holds them in any case.
  const save = async (chosen) => {
    changes += 1;
    for (const entry of chosen) {
      entries.set(entry.entry, entry);
      pending.add(entry.entry);
    }
    changed();
    const put = [...pending].map((id) => entries.get(id));
    failed = !(await step("readwrite", (store) => put.forEach((entry) => store.put(entry))));
    if (!failed) for (const entry of put) if (entries.get(entry.entry) === entry) pending.delete(entry.entry);
  };
  const remove = async (chosen) => {
    changes += 1;
    for (const { entry } of chosen) {
      entries.delete(entry);
      pending.delete(entry);
    }
    changed();
    failed = !(await step("readwrite", (store) => chosen.forEach(({ entry }) => store.delete(entry))));
  };

  const chance = (bytes) =>
    [...crypto.getRandomValues(new Uint8Array(bytes))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  // A letter first: a spreadsheet takes digits with an e between them for a number.
  const newId = () => "p" + chance(10);
  // Asks the browser not to clear what is kept when the telephone runs short of room (WHATWG, Storage). It may decline.
  const stay = () => navigator.storage?.persist?.().catch(() => {});
  const add = (cells) => {
    stay();
    const last = everything().at(-1);
    const entry = { ...cells, entry: newId(), at: Math.max(Date.now(), last ? last.at + 1 : 0), exported: "", sending: false };
    return { entry, saved: save([entry]) };
  };
  // Takes back an entry: one that was exported or sent by a row that says so, for it may be at home already.
  const takeBack = async (entry) => {
    const known = entries.get(entry.entry) ?? entry;
    if (known.exported || known.sending) await add({ ...entry, fresh_weight_g: "", culled_g: "", weight_g: "", takes_back: entry.entry }).saved;
    return remove([entry]);
  };

  const still = (chosen) => chosen.map(({ entry }) => entries.get(entry)).filter(Boolean);

  const mustQuote = (text) => text.includes(page.separator) || /["\r\n]|^\s|\s$/.test(text);
  const quoted = (text) => (mustQuote(text) ? '"' + text.replaceAll('"', '""') + '"' : text);
  // What would begin a formula in a spreadsheet gets an apostrophe before it, which gillbook takes off again on reading
  // (guarded in pipeline/files/write_csv.py).
  const guarded = (typed) => {
    const { marks, guard } = page.formula;
    const text = typed.replace(WITHIN, (_, a, b, c, d) => (a ?? c) + guard + (b ?? d));
    const first = [...text].find((sign) => sign !== guard);
    return first && marks.includes(first) ? guard + text : text;
  };
  const cell = (entry) => (name) => {
    const typed = entry[name] ?? "";
    if (!page.numbers.includes(name)) return guarded(typed);
    // In grams, unless farm.toml says that this very heading is in another unit.
    return words.marked(typed && page.written_in[name] ? Number((typed / page.written_in[name]).toFixed(6)) : typed);
  };
  // Of entries of one kind: pickings, or sales.
  const columnsOf = (chosen) => [
    ...(chosen.some(isSale) ? page.sale_columns : page.columns),
    ...(chosen.some((entry) => entry.takes_back) ? ["takes_back"] : []),
  ];
  const csv = (chosen, columns = columnsOf(chosen)) =>
    [columns, ...chosen.map((entry) => columns.map(cell(entry)))]
      .map((cells) => cells.map(quoted).join(page.separator) + "\n")
      .join("");

  return {
    ready: open().then(async (found) => {
      base = found;
      await read();
      if (pending.size) await save([]); // logged before the storage was open
    }),
    all,
    everything,
    logged,
    isSale,
    sales: () => logged().filter(isSale),
    fresh: () => everything().filter((entry) => !entry.exported),
    read,
    add,
    takeBack,
    remove,
    // What was taken back meanwhile stays so.
    markExported: (chosen, file) => save(still(chosen).map((entry) => ({ ...entry, exported: entry.exported || file }))),
    markSending: (chosen) => save(still(chosen).map((entry) => ({ ...entry, sending: true }))),
    csv,
    // Of its own, so that no export replaces another.
    fileName: (sales) => `${sales ? "sold" : "weighed"}-${words.now()}-${chance(2)}.csv`,
    kept: () => base !== null && !failed && KEEPING.includes(location.protocol),
  };
})();
