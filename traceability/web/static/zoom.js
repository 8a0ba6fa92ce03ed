// A picture in its box: larger, smaller, whole; by button, key or two fingers. Without this script
// the whole picture stands there.
const LEAST = 1;
const MOST = 6;

for (const part of document.querySelectorAll("[data-zoom]")) {
  const box = part.querySelector(".zoom-box");
  const picture = box?.querySelector("svg");
  if (!picture) continue;
  const says = part.querySelector("[data-zoom-says]");
  part.querySelector(".zoom-acts").hidden = false;
  let scale = 0; // 0: as the page shows it

  const show = (wanted, x = box.clientWidth / 2, y = box.clientHeight / 2) => {
    const before = picture.getBoundingClientRect();
    const across = (box.scrollLeft + x) / before.width;
    const down = (box.scrollTop + y) / before.height;
    scale = Math.min(Math.max(wanted, LEAST), MOST);
    box.dataset.zoomed = "";
    picture.style.width = `${Math.round(scale * 100)}%`;
    const after = picture.getBoundingClientRect();
    box.scrollLeft = across * after.width - x;
    box.scrollTop = down * after.height - y;
    says.textContent = scale === LEAST ? "Whole width" : `${scale.toFixed(1)} times as large`;
  };
  const by = (factor) => {
    const now = scale || picture.getBoundingClientRect().width / box.clientWidth;
    show(factor === 0 ? LEAST : now * factor);
  };

  for (const button of part.querySelectorAll("[data-zoom-by]"))
    button.addEventListener("click", () => by(Number(button.dataset.zoomBy)));

  box.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const factor = { "+": 1.4, "=": 1.4, "-": 1 / 1.4, "0": 0 }[event.key];
    if (factor === undefined) return;
    event.preventDefault();
    by(factor);
  });

  // Two fingers: the distance between them, around the point in their middle.
  const fingers = new Map();
  let apart = 0;
  const distance = () => {
    const [one, two] = [...fingers.values()];
    return Math.hypot(one.x - two.x, one.y - two.y);
  };
  box.addEventListener("pointerdown", (event) => {
    if (event.pointerType !== "touch") return;
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (fingers.size === 2) apart = distance();
  });
  box.addEventListener("pointermove", (event) => {
    if (!fingers.has(event.pointerId)) return;
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (fingers.size !== 2 || !apart) return;
    const at = box.getBoundingClientRect();
    const [one, two] = [...fingers.values()];
    const now = scale || picture.getBoundingClientRect().width / box.clientWidth;
    show((now * distance()) / apart, (one.x + two.x) / 2 - at.left, (one.y + two.y) / 2 - at.top);
    apart = distance();
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"])
    box.addEventListener(end, (event) => {
      fingers.delete(event.pointerId);
      apart = 0;
    });
}
