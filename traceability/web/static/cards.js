// Act cards on pages beside the trolley: a card scanned here does what the button that bears its
// name does. Other codes are told, and go nowhere.
const CARD = /^(?:\][A-Za-z]\d)?CTA\.([A-Z0-9-]+)\..$/u; // our own form; its last character checks it

document.addEventListener("scan", (event) => {
  const body = event.detail.text.match(CARD)?.[1];
  const button = body && document.querySelector(`[data-card="${CSS.escape(body)}"]`);
  if (button) {
    event.preventDefault();
    if (button.form) button.form.requestSubmit(button);
    else button.click();
    return;
  }
  const says = document.querySelector("[data-card-says]");
  if (!says || document.querySelector("[data-scan-home]")) return;
  if (event.defaultPrevented) return; // a script of this page has taken it
  event.preventDefault();
  says.textContent = body ? "That card does nothing on this page." : says.dataset.cardSays;
});
