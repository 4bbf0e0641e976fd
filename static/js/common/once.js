// A form marked data-once is sent once: the second tap finds its buttons asleep.

const AWAKE_AGAIN_MS = 15000;

function sleep(form) {
  form.dataset.sent = "yes";
  for (const button of form.querySelectorAll("button[type=submit]")) button.setAttribute("aria-disabled", "true");
}

function wake(form) {
  delete form.dataset.sent;
  for (const button of form.querySelectorAll("button[type=submit]")) button.removeAttribute("aria-disabled");
}

export function guardForms() {
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (event.defaultPrevented || !form.matches("form[data-once]:not([hx-post])")) return;
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    sleep(form);
    setTimeout(() => wake(form), AWAKE_AGAIN_MS);
  });
  // htmx takes the submit over and would send the second after the first: it is stopped before htmx sees it.
  document.addEventListener(
    "submit",
    (event) => {
      const form = event.target;
      if (!form.matches("form[data-once][hx-post]")) return;
      if (form.dataset.sent) {
        event.preventDefault();
        event.stopImmediatePropagation();
        return;
      }
      sleep(form);
      setTimeout(() => wake(form), AWAKE_AGAIN_MS);
    },
    true,
  );
  document.addEventListener("htmx:afterRequest", (event) => {
    if (event.target.matches?.("form[data-once]")) wake(event.target);
  });
  window.addEventListener("pageshow", (event) => {
    if (event.persisted) document.querySelectorAll("form[data-once]").forEach(wake);
  });
}
