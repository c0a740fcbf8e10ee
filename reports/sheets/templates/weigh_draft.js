// What is half typed on the weigh page, and what stays from entry to entry: kept through a reload, in a database of its
// own, so that nothing of it stands in the way of the entries.
"use strict";
const draft = (() => {
  const BASE = "gillbook half typed " + page.farm;
  const STORE = "draft";
  const PICKING = "now"; // what is half typed of a picking
  const PATIENCE_MS = 2000; // for a browser that never answers

  const open = new Promise((done) => {
    setTimeout(() => done(null), PATIENCE_MS);
    try {
      const asked = indexedDB.open(BASE, 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore(STORE);
      asked.onsuccess = () => done(asked.result);
      asked.onerror = () => done(null);
    } catch {
      done(null); // refused, as to a page without an address of its own
    }
  });
  const step = async (mode, action) => {
    const base = await open;
    return new Promise((done) => {
      try {
        const running = base.transaction(STORE, mode);
        const asked = action(running.objectStore(STORE));
        running.oncomplete = () => done(asked.result);
        running.onabort = () => done(undefined);
      } catch {
        done(undefined); // no storage
      }
    });
  };
  return {
    read: (key = PICKING) => step("readonly", (store) => store.get(key)),
    keep: (what, key = PICKING) => step("readwrite", (store) => store.put(what, key)),
  };
})();
