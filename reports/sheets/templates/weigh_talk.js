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
  const say = (text) => ($("said").textContent = text);

  const trouble = (text, field) => {
    $("trouble").textContent = text;
    for (const id of ["container", "weight", "culled", "date", "flush"]) {
      $(id).ariaInvalid = text && id === field ? "true" : null;
    }
    if (text) feel.asked();
    if (!text || !field) return;
    if ($("more").contains($(field))) $("more").open = true;
    $(field).focus();
  };
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

  return { $, made, button, show, say, trouble, ask };
})();
