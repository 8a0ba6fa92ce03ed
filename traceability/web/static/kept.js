// Scans that a trolley page kept on this device and that were not sent yet: every other page says so
// and leads back. They are sent there and not here, so that somebody looks at their answers.
const band = document.createElement("div");
band.className = "band field-plum no-print";
band.setAttribute("role", "status");

function primes() {
  const found = new Map();
  try {
    for (const { url } of JSON.parse(localStorage.getItem("ct.queue") || "[]")) {
      const number = url.split("/")[2];
      found.set(number, (found.get(number) ?? 0) + 1);
    }
  } catch {
    // nothing can be kept where storage is blocked
  }
  return found;
}

function show() {
  const kept = primes();
  band.remove();
  if (!kept.size) return;
  const text = document.createElement("p");
  text.append("Kept on this device and not sent yet: ");
  [...kept].forEach(([number, count], index) => {
    const link = document.createElement("a");
    link.href = `/prime/${encodeURIComponent(number)}`;
    link.className = "lot strong";
    link.textContent = number;
    text.append(index ? "; " : "", `${count} ${count === 1 ? "scan" : "scans"} of `, link);
  });
  text.append(". Open it: they are sent there.");
  band.replaceChildren(text);
  document.querySelector("main").before(band);
}

if (!document.querySelector("[data-trolley]")) {
  show();
  addEventListener("storage", show);
}
