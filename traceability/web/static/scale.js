// How large this screen is: a bank card (ISO/IEC 7810, ID-1: its short side is 53.98 mm, which every
// phone has room for) is held against a drawn one, and the drawn one is made as wide. Targets are then 15 mm here too, and the page says whether
// the verdict can be read at two metres on this screen.
const KEY = "ct.px-per-mm";
const [LEAST, MOST, STEP] = [2, 20, 0.05];
const X_HEIGHT = 0.53; // of a letter's size, measured in Liberation Sans Bold
const NEEDED = 14; // mm

const root = document.documentElement;
const said = document.querySelector("[data-scale-says]");
const current = () => Number(getComputedStyle(root).getPropertyValue("--px-per-mm")) || 5.94;

// The size of the verdict's letters on this screen, as trolley.css sets it.
function verdictPx() {
  const { innerWidth: wide, innerHeight: high } = window;
  if (wide <= 1000) return Math.min(162, wide * 0.15);
  return wide <= 1200 || high <= 760 ? 120 : 162;
}

function say() {
  const mm = (verdictPx() * X_HEIGHT) / current();
  const tall = `${mm.toFixed(1)} mm`;
  said.textContent =
    mm >= NEEDED
      ? `The verdict’s small letters are ${tall} high here: readable at two metres.`
      : `The verdict’s small letters are ${tall} high here: too small for two metres. Stand nearer, or use a larger screen.`;
}

function change(by) {
  const value = Math.min(Math.max(current() + by, LEAST), MOST);
  root.style.setProperty("--px-per-mm", value.toFixed(2));
  try {
    localStorage.setItem(KEY, value.toFixed(2));
  } catch {
    // for this page only
  }
  say();
}

if (said) {
  for (const button of document.querySelectorAll("[data-scale]")) {
    button.addEventListener("click", () => change(STEP * Number(button.dataset.scale)));
  }
  said.closest("details").addEventListener("toggle", say);
  addEventListener("resize", say);
}
