// The light of the screen changes at once; the server is told so that it stays.

export function switchThemes() {
  const form = document.querySelector("[data-themes]");
  if (!form) return;
  form.addEventListener("submit", (event) => {
    const button = event.submitter;
    if (!button) return;
    event.preventDefault();
    document.documentElement.dataset.theme = button.value;
    for (const other of form.querySelectorAll("button")) other.setAttribute("aria-pressed", String(other === button));
    const data = new FormData(form);
    data.set("theme", button.value);
    fetch(form.action, { method: "POST", body: data, headers: { "X-Quiet": "1" } }).catch(() => {});
  });
}
