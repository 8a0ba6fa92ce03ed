// Scanner set-up: each scan is judged by the server, and the points that it told are filled in. The
// last scan that says something of a point counts.
import { mark } from "./strip.js";

const band = document.querySelector("[data-scanner]");
const says = band.querySelector("[data-scanner-says]");
const shown = band.querySelector("[data-scanner-text]");
const rows = [...document.querySelectorAll("[data-point]")];

async function judged({ text, gap, ended }) {
  try {
    const response = await fetch("/scanner/read", {
      method: "POST",
      headers: { "Content-Type": "application/json", Accept: "application/json" },
      body: JSON.stringify({ text, gap, ended }),
    });
    return await response.json();
  } catch {
    return { sentence: "No network. Scan again when it is back.", symbol: "", points: {} };
  }
}

const bead = (row, kind) => row.querySelector("[data-mark]").replaceChildren(mark(kind, 22));

document.addEventListener("scan", async (event) => {
  event.preventDefault();
  const answer = await judged(event.detail);
  shown.textContent = answer.text ?? "";
  for (const [point, { right, says: words }] of Object.entries(answer.points ?? {})) {
    const row = rows.find((each) => each.dataset.point === point);
    row.dataset.right = right;
    row.querySelector("[data-says]").textContent = words;
    bead(row, right ? "whole" : "wait");
  }
  const symbol = document.querySelector(`[data-symbol="${answer.symbol}"]`);
  if (symbol) bead(symbol, "whole");
  const wrong = rows.filter((row) => row.dataset.right === "false").length;
  const open = rows.filter((row) => row.dataset.right === undefined).length;
  const done = !wrong && !open;
  band.classList.toggle("field-pine", done);
  band.classList.toggle("field-plum", !done);
  band.querySelector("svg").replaceWith(mark(done ? "whole" : "wait", 28));
  says.textContent = [
    answer.sentence,
    done ? "All points are right: this scanner can be used here." : "",
    wrong ? `${wrong} to set: read what is said below, set it, and scan again.` : "",
    !wrong && open ? `${open} not told yet: scan another one.` : "",
  ].filter(Boolean).join(" ");
});
