// Copy a shown text to the clipboard; without permission it is selected, ready to be copied by hand.

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-copies]");
  if (!button) return;
  const field = document.getElementById(button.dataset.copies);
  field.select();
  try {
    await navigator.clipboard.writeText(field.value);
  } catch {
    return;
  }
  button.parentElement.querySelector("[data-copied]").hidden = false;
});
