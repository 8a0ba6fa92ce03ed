// The clock of a drill, in seconds, by the server's time: <span data-drill-since="ISO">.
import { serverNow } from "./clock.js";

const shown = document.querySelector("[data-drill-since]");

function tick() {
  const seconds = Math.max(0, Math.floor((serverNow() - Date.parse(shown.dataset.drillSince)) / 1000));
  const hours = Math.floor(seconds / 3600);
  const minutes = Math.floor((seconds % 3600) / 60);
  shown.textContent = hours ? `${hours} h ${minutes} min` : `${minutes} min ${seconds % 60} s`;
}

if (shown) {
  tick();
  setInterval(tick, 1000);
}
