// Pages that ask for one scan: the field is ready at once, and again when the page is come back to.
const home = document.querySelector("[data-scan-home]");
const ready = () => {
  if (document.visibilityState === "visible" && document.activeElement === document.body) home?.focus();
};
document.addEventListener("visibilitychange", ready);
ready();
