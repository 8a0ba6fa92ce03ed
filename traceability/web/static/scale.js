// How large this screen is: a bank card (ISO/IEC 7810, ID-1: its short side is 53.98 mm, which every
// phone has room for) is held against a drawn one, and the drawn one is made as wide. Targets are then
// 15 mm here too, the verdict's word is as large as two metres ask for, and the page says so where
// this screen has no room for that.
const KEY = "ct.px-per-mm";
const [LEAST, MOST, STEP] = [2, 20, 0.05];
const NEEDED = 14; // mm

const root = document.documentElement;
const said = document.querySelector("[data-scale-says]");
const current = () => Number(getComputedStyle(root).getPropertyValue("--px-per-mm")) || 5.94;

// The size of the verdict's letters on this screen, as trolley.css sets it.
function verdictPx() {
  const { innerWidth: wide, innerHeight: high } = window;
  const wanted = 27.3 * current();
  if (wide <= 1000) return Math.min(wanted, (wide - (wide <= 360 ? 96 : 112)) / 5.73);
  if (wide <= 1200 || high <= 760) return Math.min(wanted, (wide - 306) / 5.73, 120);
  return Math.min(wanted, (wide - 350) / 5.73, high * 0.2025);
}

// Height of a small letter, of a letter's size, in the face that this device shows.
function xHeight() {
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = `700 1000px ${getComputedStyle(root).getPropertyValue("--face")}`;
  return pen.measureText("x").actualBoundingBoxAscent / 1000;
}

function say() {
  const mm = (verdictPx() * xHeight()) / current();
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
