// A dialog's form whose page was opened by its own address: what htmx would change is not there, so it is sent plainly.

export function sendPlainlyWhenAlone() {
  document.addEventListener(
    "submit",
    (event) => {
      const target = event.target.getAttribute("hx-target");
      if (target?.startsWith("#") && !document.querySelector(target)) event.stopImmediatePropagation();
    },
    true,
  );
}
