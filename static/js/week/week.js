// The Week page: dialogs, refusals shown in place, drags, and the map of the round that is open.

import { watch } from "./drag.js";

const NIL = "00000000-0000-0000-0000-000000000000";
const SHOWN_STATUS = [409, 422];
const page = document.querySelector(".week-page");
const dialog = document.getElementById("week-dialog");

document.body.addEventListener("htmx:beforeSwap", (event) => {
  if (!SHOWN_STATUS.includes(event.detail.xhr.status)) return;
  event.detail.shouldSwap = true;
  event.detail.isError = false;
});

document.body.addEventListener("htmx:afterSwap", (event) => {
  if (event.detail.target.id === "week-dialog") openAtTitle();
  if (event.detail.target.id === "board") document.querySelector("#board [role=alert]")?.scrollIntoView({ block: "nearest" });
});

// A long dialog begins at its title: the first button would otherwise take the focus and scroll past what it is about.
function openAtTitle() {
  const title = dialog.querySelector("#dialog-title");
  title?.setAttribute("tabindex", "-1");
  title?.setAttribute("autofocus", "");
  if (!dialog.open) dialog.showModal();
  dialog.scrollTop = 0;
}

document.body.addEventListener("htmx:afterSettle", async () => {
  if (!document.querySelector("[data-map]:not([data-drawn])")) return;
  const { drawMaps } = await import("../common/map.js");
  drawMaps();
});

// A dialog closes when what it asked for was done; refused, it stays with what was chosen and says why.
document.body.addEventListener("htmx:afterRequest", (event) => {
  if (!event.target.matches?.("[data-closes]")) return;
  dialog.querySelector(".refusal")?.remove();
  if (!SHOWN_STATUS.includes(event.detail.xhr.status)) {
    dialog.close();
    return;
  }
  const told = document.querySelector("#board [role=alert]");
  if (!told) return;
  const refusal = told.cloneNode(true);
  refusal.classList.add("refusal");
  event.target.before(refusal);
});

dialog.addEventListener("click", (event) => {
  if (event.target === dialog || event.target.closest("[data-close]")) {
    event.preventDefault();
    dialog.close();
  }
});

// Somebody else changed the week: show it once nothing is in hand, and mark what is new. The pulse asks again till then.
let refreshing = false;

document.body.addEventListener("weekMoved", async () => {
  const busy = dialog.open || document.body.classList.contains("dragging") || document.querySelector("#board [role=alert]");
  if (refreshing || busy) return;
  refreshing = true;
  const before = new Map([...document.querySelectorAll("#board .cell")].map((cell) => [cell.id, cell.textContent]));
  try {
    await window.htmx.ajax("GET", document.getElementById("board").dataset.boardUrl, { target: "#board", swap: "outerHTML show:none" });
    await new Promise((done) => setTimeout(done, 100)); // htmx settles classes first
    for (const cell of document.querySelectorAll("#board .cell")) {
      if (before.has(cell.id) && before.get(cell.id) !== cell.textContent) cell.classList.add("fresh");
    }
  } finally {
    refreshing = false;
  }
});

// Only what changed is sent after a move: every form of the board speaks of the version that the board has by now.
document.body.addEventListener("weekVersion", (event) => {
  const board = document.getElementById("board");
  if (board) board.dataset.version = event.detail.version;
});

document.body.addEventListener("htmx:configRequest", (event) => {
  const board = document.getElementById("board");
  if (board?.contains(event.target) && event.detail.parameters.version) event.detail.parameters.version = board.dataset.version;
});

watch(page, ({ visit, helps, technician, day, position }) => {
  const board = document.getElementById("board");
  const address = helps ? board.dataset.helpUrl : board.dataset.moveUrl;
  window.htmx.ajax("POST", address.replace(NIL, visit), {
    target: "#board",
    swap: "outerHTML",
    values: {
      version: board.dataset.version,
      technician,
      day,
      position,
      span: board.dataset.span,
    },
  });
});
