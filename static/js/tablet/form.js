// The visit form: each change is kept on the tablet first, then sent, and what it means comes back under the field.

import { Keeper } from "./keep.js";
import { watchSignatures } from "./signature.js";

const PAUSE_MS = 400;
const walk = document.querySelector("[data-walk]");
const keeper = new Keeper(walk.dataset.visit, walk.dataset.entryUrl, document.getElementById("kept"), showResult, showRefusal);
const timers = new Map();

function entryOf(node) {
  return node.closest(".entry");
}

function typedOf(entry) {
  if (entry.dataset.kind === "choice") return entry.querySelector("[data-typed]:checked")?.value ?? "";
  return entry.querySelector("[data-typed]").value;
}

function unitOf(entry) {
  return entry.querySelector("[data-unit]")?.value ?? "";
}

// A visit is begun by its first answer: on another day than it is planned for only after being asked, once.
let begins = {};

function mayBegin(entry) {
  const { day, zone, otherDay } = walk.dataset;
  if (!day || begins.begins || new Intl.DateTimeFormat("sv-SE", { timeZone: zone }).format(new Date()) === day) return true;
  if (window.confirm(otherDay)) begins = { begins: "on" };
  else undo(entry);
  return Boolean(begins.begins);
}

function undo(entry) {
  for (const field of entry.querySelectorAll("[data-typed], [data-unit]")) {
    if (field.type === "radio") field.checked = field.defaultChecked;
    else if (field.matches("select")) for (const option of field.options) option.selected = option.defaultSelected;
    else field.value = field.defaultValue;
  }
}

function store(entry, more = {}) {
  if (!mayBegin(entry)) return;
  clearTimeout(timers.get(entry));
  clearMeaning(entry);
  keeper.keep({ key: entry.dataset.key, typed: typedOf(entry), unit: unitOf(entry), ...begins, ...more });
}

// A verdict and an amount belong to the value they were made for: gone with it, and back with their own answer.
function clearMeaning(entry) {
  const result = entry.querySelector(".result");
  if (result?.querySelector("p, ol, ul, button")) say(result, walk.dataset.stale, "warn");
}

function say(result, words, state) {
  const note = document.createElement("p");
  note.className = "notice";
  note.dataset.state = state;
  note.textContent = words;
  if (result.childElementCount !== 1 || result.textContent !== words) result.replaceChildren(note);
}

function showRefusal(key, words) {
  const result = walk.querySelector(`.entry[data-key="${CSS.escape(key)}"] .result`);
  if (result) say(result, words, "bad");
}

function showResult(key, html) {
  const entry = walk.querySelector(`.entry[data-key="${CSS.escape(key)}"]`);
  const result = entry?.querySelector(".result");
  if (!result || !html) return;
  const answer = new DOMParser().parseFromString(html, "text/html");
  result.replaceWith(answer.querySelector(".result"));
  walk.querySelector(".step-bar")?.replaceWith(answer.querySelector(".step-bar"));
  const field = entry.querySelector("input[inputmode=decimal]");
  if (field) field.setAttribute("aria-invalid", String(Boolean(entry.querySelector(".result .error"))));
}

// What a reload or a lost connection left unsent is put back into its fields.
for (const { key, typed, unit } of keeper.waiting()) {
  const entry = walk.querySelector(`.entry[data-key="${CSS.escape(key)}"]`);
  if (!entry) continue;
  if (entry.dataset.kind === "choice") {
    const option = entry.querySelector(`[data-typed][value="${CSS.escape(typed)}"]`);
    if (option) option.checked = true;
  } else {
    entry.querySelector("[data-typed]").value = typed;
  }
  const unitKey = entry.querySelector("[data-unit]");
  if (unitKey && unit) unitKey.value = unit;
  clearMeaning(entry);
}

walk.addEventListener("input", (event) => {
  const entry = entryOf(event.target);
  if (!entry || !event.target.matches("[data-typed]") || !mayBegin(entry)) return;
  clearMeaning(entry);
  keeper.remember({ key: entry.dataset.key, typed: typedOf(entry), unit: unitOf(entry), ...begins });
  clearTimeout(timers.get(entry));
  timers.set(entry, setTimeout(() => store(entry), PAUSE_MS));
});

walk.addEventListener("change", (event) => {
  const entry = entryOf(event.target);
  if (!entry) return;
  if (event.target.matches("[data-why]")) {
    store(entry, { not_done_reason: event.target.value });
  } else if (event.target.matches("[data-typed], [data-unit]")) {
    store(entry);
  }
});

walk.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  const entry = button && entryOf(button);
  if (!entry) return;
  if (button.dataset.take !== undefined) {
    entry.querySelector("[data-typed]").value = button.dataset.take;
    const unitKey = entry.querySelector("[data-unit]");
    if (unitKey) unitKey.value = button.dataset.takeUnit;
    store(entry);
  } else if (button.dataset.keep !== undefined) {
    store(entry, { confirmed: "on" });
  } else if (button.dataset.skip !== undefined) {
    store(entry, { not_done_reason: button.dataset.skip });
    entry.querySelector(".skip-reasons").open = false;
  } else if (button.dataset.now !== undefined) {
    const now = new Date();
    entry.querySelector("[data-typed]").value = now.toTimeString().slice(0, 5);
    store(entry);
  }
});

watchSignatures(walk, store);

// Signing waits until everything typed has arrived.
document.querySelector("[data-sign]")?.addEventListener("submit", async (event) => {
  const form = event.target;
  if (keeper.isEmpty()) return;
  event.preventDefault();
  await keeper.flush();
  if (keeper.isEmpty()) form.requestSubmit();
});

document.body.addEventListener("htmx:beforeSwap", (event) => {
  if (event.detail.xhr.status === 422) {
    event.detail.shouldSwap = true;
    event.detail.isError = false;
  }
});

for (const moment of ["online", "focus"]) window.addEventListener(moment, () => keeper.flush());
