// A worksheet while it is typed into: an answer that is out of date says so, Enter never keeps, filled-in numbers
// follow their unit, typed units choose it, and what was recalled stays readable beside what is typed instead.

const asked = document.querySelector("#asked");
const answer = document.querySelector("#answer");
let sumsOpen = false; // stays as it was left when a new answer comes
let pressed = false; // a finger or the mouse is down on the answer: replacing it now would swallow the click
let heldBack = false;
const fill = document.querySelector("form.recall-from");

function setStale(words) {
  answer.dataset.stale = words ? "yes" : "";
  const note = document.querySelector("#answer-state");
  note.textContent = words;
  note.hidden = !words;
}

function askAnew() {
  asked.dispatchEvent(new Event("change", { bubbles: true }));
}

function filledIn(field) {
  return field.value === field.defaultValue;
}

function plainUnit(text) {
  return text.toLowerCase().replace(/[\s°./·_]/g, "").replace("³", "3").replace("²", "2").replace("µ", "u");
}

/** "2,4 meq/L" typed: the unit goes into the selector, the number stays. */
function takeUnit(input) {
  const select = asked.querySelector(`select[name="${input.name}__unit"]`);
  const found = input.value.trim().match(/^([-+<]?[\d.,\s]*\d[.,]?)\s*([^\d\s].*)$/);
  if (!select || !found) return;
  const option = [...select.options].find((row) => [row.value, row.text].map(plainUnit).includes(plainUnit(found[2])));
  if (!option) return;
  input.value = found[1].trim();
  select.value = option.value;
  select.dataset.was = option.value;
}

/** A number we filled in is turned into the new unit; a typed one stays as typed, and that is said. */
function turnUnit(select) {
  const input = asked.querySelector(`[name="${select.name.replace("__unit", "")}"]`);
  const was = select.querySelector(`option[value="${select.dataset.was}"]`);
  const now = select.selectedOptions[0];
  select.dataset.was = select.value;
  const hint = input.closest(".field").querySelector(".unit-hint");
  hint.hidden = true;
  if (!input.value || !was) return;
  if (filledIn(input) && was.dataset.factor && now.dataset.factor) {
    const canonical = Number(input.value) * Number(was.dataset.factor) + Number(was.dataset.offset);
    const turned = (canonical - Number(now.dataset.offset)) / Number(now.dataset.factor);
    input.value = String(Number(turned.toPrecision(5)));
    input.defaultValue = input.value;
    return;
  }
  hint.textContent = hint.dataset.words.replace("NUMBER", input.value).replace("UNIT", now.text);
  hint.hidden = false;
}

/** The address holds what is typed, so that going back or loading anew loses nothing. */
function rememberTyped() {
  const query = new URLSearchParams();
  for (const input of asked.querySelectorAll("[name]")) query.set(input.name, input.value);
  for (const select of fill.querySelectorAll("select")) if (select.value) query.set(select.name, select.value);
  window.history.replaceState(null, "", `?${query}`);
}

function markOvertyped(input) {
  const whence = input.closest(".field")?.querySelector(".whence");
  if (whence) whence.dataset.overtyped = filledIn(input) ? "" : "yes";
}

asked.querySelectorAll("select[name$=__unit]").forEach((select) => {
  select.dataset.was = select.value;
});

asked.addEventListener("input", (event) => {
  markOvertyped(event.target);
});

asked.addEventListener(
  "change",
  (event) => {
    if (event.target.matches("select[name$=__unit]")) turnUnit(event.target);
    else if (event.target.matches("input")) takeUnit(event.target);
  },
  true,
);

asked.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !event.target.matches("input")) return;
  event.preventDefault();
  event.target.dispatchEvent(new Event("change", { bubbles: true }));
});

document.body.addEventListener("htmx:beforeRequest", (event) => {
  if (event.target === asked) setStale(answer.dataset.working);
});
document.body.addEventListener("htmx:afterSwap", (event) => {
  if (event.target !== answer) return;
  setStale("");
  rememberTyped();
  const sums = answer.querySelector("details.sums");
  if (sums) sums.open = sumsOpen;
});
document.body.addEventListener("htmx:beforeSwap", (event) => {
  if (event.target !== answer) return;
  sumsOpen = answer.querySelector("details.sums")?.open ?? sumsOpen;
  if (!pressed) return;
  event.detail.shouldSwap = false;
  heldBack = true;
});
answer.addEventListener("pointerdown", () => {
  pressed = true;
});
for (const name of ["pointerup", "pointercancel"]) {
  document.addEventListener(name, () => {
    pressed = false;
    if (!heldBack) return;
    heldBack = false;
    askAnew();
  });
}
for (const name of ["htmx:sendError", "htmx:responseError", "htmx:timeout"]) {
  document.body.addEventListener(name, (event) => {
    if (event.target === asked) setStale(answer.dataset.lost);
  });
}
document.addEventListener(
  "submit",
  (event) => {
    if (navigator.onLine || !event.target.contains(asked)) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    setStale(answer.dataset.lost);
  },
  true,
);
window.addEventListener("online", askAnew);

fill.addEventListener("change", () => {
  const typed = [...asked.querySelectorAll("input, textarea")].some((input) => !filledIn(input));
  if (!typed || window.confirm(fill.dataset.overwrite)) fill.requestSubmit();
});
