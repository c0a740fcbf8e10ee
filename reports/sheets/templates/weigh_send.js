// Sends entries home: to the computer that served this page. Only on pages that it serves.
//
// An entry counts as at home once the computer has answered that it is on its disk; until then it stays here and is sent
// again. Its id came into being here, so that sending it twice changes nothing.
"use strict";
(() => {
  const PORTION = 40; // entries sent at once
  const EVERY_MS = 3000;
  const PATIENCE_MS = 20000;

  const status = document.createElement("p");
  status.id = "home";
  status.className = "soft";
  status.setAttribute("role", "status");
  document.querySelector("header > div").append(status);

  const refused = new Map(); // ids that the computer could not take, with why
  let running = false;
  let trouble = "";

  const waiting = () => record.fresh().filter((entry) => !refused.has(entry.entry));
  // The entries of one kind, pickings or sales, that are sent at once.
  const next = () => handOver.ofKind(waiting(), record.isSale(waiting()[0])).slice(0, PORTION);
  const tell = () => {
    const left = record.fresh().length;
    const parts = [left ? `${left} not yet at home` : "All at home", trouble, ...new Set(refused.values())];
    const text = parts.filter(Boolean).join(". ");
    if (status.textContent !== text) status.textContent = text;
  };
  const portion = async (chosen) => {
    // Noted first: from here on it may be at home, whatever becomes of the answer.
    await record.markSending(chosen);
    const answer = await fetch("/entries", {
      method: "POST",
      headers: { "Content-Type": "text/csv" },
      body: record.csv(chosen),
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
    if (answer.status === 403) trouble = "This phone is let in no more: scan the code on the computer again";
    if (!answer.ok) return false;
    trouble = "";
    const { home, left } = await answer.json();
    for (const [entry, why] of Object.entries(left)) refused.set(entry, why);
    const there = chosen.filter((entry) => home.includes(entry.entry));
    await record.markExported(there, "sent home");
    dispatchEvent(new Event("sent-home"));
    return true;
  };
  const send = async () => {
    tell(); // also while an answer is waited for, so that nothing is called at home too early
    if (running) return;
    running = true;
    try {
      while (waiting().length && (await portion(next()))) tell();
    } catch {
      // No network, or the computer is off: again later.
    } finally {
      running = false;
      tell();
    }
  };

  record.ready.then(send);
  setInterval(send, EVERY_MS);
  addEventListener("online", send);
  document.addEventListener("visibilitychange", send);
})();
