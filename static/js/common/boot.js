// What every page needs: CSRF for htmx, no double submits, the light of the screen at once, maps where asked.

import { sendPlainlyWhenAlone } from "./alone.js";
import { guardForms } from "./once.js";
import { switchThemes } from "./theme.js";

document.body.addEventListener("htmx:configRequest", (event) => {
  event.detail.headers["X-CSRFToken"] = document.querySelector("meta[name=csrf-token]").content;
});
document.body.setAttribute("hx-indicator", "#progress-line");

guardForms();
sendPlainlyWhenAlone();
switchThemes();

if (document.querySelector("[data-map], [data-pick-map]")) {
  const { drawMaps } = await import("./map.js");
  drawMaps();
  document.body.addEventListener("htmx:afterSettle", drawMaps);
}
