// Dragging a visit to another round, by mouse, pen or touch. Touch: press until it lifts, so that the page still scrolls.

const LIFT_PX = 6;
const PRESS_MS = 350;
const EDGE_PX = 48;

/** What is being dragged, or null. */
let drag = null;

/**
 * Watch a container for drags of [data-visit] onto [data-technician].
 * @param {HTMLElement} root
 * @param {(move: {visit: string, helps: boolean, technician: string, day: string, position: number|""}) => void} drop
 */
export function watch(root, drop) {
  root.addEventListener("pointerdown", (event) => begin(event));
  window.addEventListener("pointermove", (event) => follow(event), { passive: false });
  window.addEventListener("pointerup", () => finish(drop));
  window.addEventListener("pointercancel", cancel);
  window.addEventListener("keydown", (event) => event.key === "Escape" && drag && cancel());
  root.addEventListener("touchmove", (event) => drag?.lifted && event.preventDefault(), { passive: false });
  root.addEventListener("click", swallow, true);
  root.addEventListener("contextmenu", (event) => drag && event.preventDefault());
}

function begin(event) {
  const item = event.target.closest("[data-visit]");
  if (!item || item.hasAttribute("data-fixed") || event.button !== 0 || event.target.closest("button, .button")) return;
  if (!document.querySelector("#board [data-dialog]")) return; // reading only, or being planned
  drag = { item, x: event.clientX, y: event.clientY, startX: event.clientX, startY: event.clientY, lifted: false };
  if (event.pointerType === "touch") drag.timer = setTimeout(lift, PRESS_MS);
}

function lift() {
  if (!drag || drag.lifted) return;
  drag.lifted = true;
  drag.item.classList.add("dragged");
  drag.ghost = drag.item.cloneNode(true);
  drag.ghost.removeAttribute("id");
  drag.ghost.classList.add("ghost");
  drag.ghost.setAttribute("aria-hidden", "true");
  drag.ghost.style.width = `${Math.min(drag.item.offsetWidth, 280)}px`;
  document.body.append(drag.ghost);
  document.body.classList.add("dragging");
  place();
}

function follow(event) {
  if (!drag) return;
  drag.x = event.clientX;
  drag.y = event.clientY;
  const far = Math.hypot(drag.x - drag.startX, drag.y - drag.startY) > LIFT_PX;
  if (!drag.lifted && far) {
    if (event.pointerType === "touch") return cancel(); // a scroll, not a drag
    lift();
  }
  if (!drag.lifted) return;
  event.preventDefault();
  place();
  scrollAtEdges();
}

function place() {
  drag.ghost.style.transform = `translate(${drag.x + 8}px, ${drag.y + 8}px)`;
  unmark();
  const zone = document.elementFromPoint(drag.x, drag.y)?.closest("[data-technician]");
  drag.target = null;
  if (!zone) return;
  const others = [...zone.querySelectorAll(".cell-stop")].filter((row) => row !== drag.item);
  const place = placeAmong(others);
  drag.target = { technician: zone.dataset.technician, day: zone.dataset.day, position: place === null ? "" : place + 1 };
  if (zone.classList.contains("is-locked")) return; // dropped all the same, it is refused in words
  zone.classList.add("drop-here");
  if (place === null) return;
  if (others[place]) others[place].classList.add("drop-before");
  else others.at(-1).classList.add("drop-after");
}

/** Between which stops the pointer is; null on the head or the ribbon, or where there are none: the cheapest place. */
function placeAmong(stops) {
  if (!stops.length || drag.y < stops[0].getBoundingClientRect().top) return null;
  const next = stops.findIndex((row) => drag.y < row.getBoundingClientRect().top + row.offsetHeight / 2);
  return next < 0 ? stops.length : next;
}

function scrollAtEdges() {
  const grid = document.querySelector(".grid-scroll");
  const box = grid?.getBoundingClientRect();
  if (box && drag.x > box.right - EDGE_PX) grid.scrollLeft += 12;
  if (box && drag.x < box.left + EDGE_PX) grid.scrollLeft -= 12;
  if (drag.y > window.innerHeight - EDGE_PX) window.scrollBy(0, 12);
  if (drag.y < EDGE_PX) window.scrollBy(0, -12);
}

function finish(drop) {
  if (!drag) return;
  const { item, target, lifted } = drag;
  const moved = lifted && target && !isSamePlace(item, target);
  cancel();
  if (lifted) justDragged = true;
  setTimeout(() => (justDragged = false), 0);
  if (moved) drop({ visit: item.dataset.visit, helps: "helps" in item.dataset, ...target });
}

function isSamePlace(item, target) {
  const zone = item.closest("[data-technician]");
  const same = zone?.dataset.technician === target.technician && zone?.dataset.day === target.day;
  return same && (!target.technician || target.position === "" || Number(item.dataset.position) === target.position);
}

let justDragged = false;

function swallow(event) {
  if (!justDragged) return;
  event.preventDefault();
  event.stopPropagation();
}

function cancel() {
  if (!drag) return;
  clearTimeout(drag.timer);
  drag.ghost?.remove();
  drag.item.classList.remove("dragged");
  document.body.classList.remove("dragging");
  unmark();
  drag = null;
}

function unmark() {
  for (const name of ["drop-here", "drop-before", "drop-after"]) {
    document.querySelectorAll(`.${name}`).forEach((element) => element.classList.remove(name));
  }
}
