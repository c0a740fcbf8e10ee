// How the weigh page talks to whoever weighs: what it shows, says, finds wrong, and asks.
"use strict";
const talk = (() => {
  const $ = (id) => document.getElementById(id);
  const made = (tag, text, kind) => Object.assign(document.createElement(tag), { textContent: text, className: kind ?? "" });
  const button = (text, action, kind) => {
    const one = Object.assign(made("button", text, kind), { type: "button" });
    one.addEventListener("click", action);
    return one;
  };
  const show = (id, text) => Object.assign($(id), { textContent: text, hidden: !text });
  const say = (text, where = "said") => ($(where).textContent = text);

  // Says what is wrong in one place, and at which of the fields; one of those that are folded away is unfolded.
  const troubleOf = (where, fields, folded) => (text, field) => {
    $(where).textContent = text;
    for (const id of fields) $(id).ariaInvalid = text && id === field ? "true" : null;
    if (text) feel.asked();
    if (!text || !field) return;
    if ($(folded).contains($(field))) $(folded).open = true;
    $(field).focus();
  };
  const trouble = troubleOf("trouble", ["container", "weight", "culled", "date", "flush"], "more");
  // The second tap of a double tap counts only where the first did: Undo appears where Log was, a key of the pad where a
  // container was.
  let tapped = null;
  addEventListener("click", (event) => {
    const one = event.target.closest("button, label, a, summary") ?? event.target;
    if (event.detail < 2 || one === tapped) return void (tapped = one);
    event.preventDefault();
    return event.stopImmediatePropagation();
  }, true);
  let answered = null;
  const ask = (question, yes) =>
    new Promise((answer) => {
      answered = answer;
      feel.asked();
      show("question", question);
      show("yes", yes);
      $("ask").showModal();
    });
  const settle = (sure) => {
    if ($("ask").open) $("ask").close();
    answered?.(sure);
    answered = null;
  };
  $("yes").addEventListener("click", () => settle(true));
  $("no").addEventListener("click", () => settle(false));
  $("ask").addEventListener("cancel", () => settle(false)); // the Escape key
  $("ask").addEventListener("close", () => $("ask").open || settle(false));

  return { $, made, button, show, say, trouble, troubleOf, ask };
})();
