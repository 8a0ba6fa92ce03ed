// Scans that a trolley page kept on this device and that were not sent yet: every other page says so
// and leads back. They are sent there and not here, so that somebody looks at their answers. Whoever signs
// out is told of them first; what else this device keeps is cleared then.
import { forget, keptActs, onTold } from "./device_store.js";

const band = document.createElement("div");
band.className = "band field-plum no-print";
band.setAttribute("role", "status");
const isTrolley = document.querySelector("[data-trolley]") !== null;

async function waiting() {
  const urls = [];
  try {
    for (const { url } of await keptActs()) urls.push(url);
  } catch {
    // nothing can be kept where storage is blocked
  }
  try {
    for (const { url } of JSON.parse(localStorage.getItem("ct.queue") || "[]")) urls.push(url); // of an earlier version
  } catch {
    // none
  }
  const found = new Map();
  for (const url of urls) {
    const number = url.split("/")[2];
    found.set(number, (found.get(number) ?? 0) + 1);
  }
  return found;
}

const scans = (count) => `${count} ${count === 1 ? "scan" : "scans"}`;

async function show() {
  const kept = await waiting();
  band.remove();
  if (!kept.size) return;
  const text = document.createElement("p");
  text.append("Kept on this device and not sent yet: ");
  [...kept].forEach(([number, count], index) => {
    const link = document.createElement("a");
    link.href = `/prime/${encodeURIComponent(number)}`;
    link.className = "lot strong";
    link.textContent = number;
    text.append(index ? "; " : "", `${scans(count)} of `, link);
  });
  text.append(". Open it: they are sent there.");
  band.replaceChildren(text);
  document.querySelector("main").before(band);
}

// ---- signing out ---------------------------------------------------------------------------------
const leaving = document.querySelector("form[action='/sign-out']");
leaving?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const kept = [...(await waiting()).values()].reduce((sum, count) => sum + count, 0);
  if (kept && !leaving.dataset.told) {
    leaving.dataset.told = "yes";
    band.remove();
    const text = document.createElement("p");
    text.append(`${scans(kept)} of yours or of others ${kept === 1 ? "is" : "are"} kept on this device and not sent yet. `
      + "They stay, as acts of who did them, and go when somebody signs in and opens the prime. Sign out all the same: press it again.");
    band.replaceChildren(text);
    document.querySelector("main").before(band);
    return;
  }
  await forget().catch(() => {});
  leaving.submit();
});

// A device that the unit took out of use keeps nothing but what waits for a person.
if (document.querySelector("meta[name='ct-revoked']")) forget().catch(() => {});

if (!isTrolley) {
  show();
  addEventListener("storage", show);
  onTold(show);
  // A new version of the page of a prime is fetched here, while none is open. The one that was just left
  // may be counted for a moment, so it is asked more than once.
  const look = () => navigator.serviceWorker?.controller?.postMessage("fill");
  for (const wait of [500, 4000, 30000]) setTimeout(look, wait);
}
