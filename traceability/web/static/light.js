// Day or night light of this device, before the first paint: "day", "night", "clock" (night from 20:00
// to 07:00 by this device's clock), or as the system says. Its scale too: how many pixels make a
// millimetre here, so that a target is as large as a finger on every screen.
(() => {
  const root = document.documentElement;
  const NIGHT = { from: 20, to: 7 };
  const get = (key) => {
    try {
      return localStorage.getItem(key) || "";
    } catch {
      return ""; // storage is blocked: the system decides
    }
  };
  const keep = (key, value) => {
    try {
      if (value) localStorage.setItem(key, value);
      else localStorage.removeItem(key);
    } catch {
      // shown for this page only
    }
  };
  const byClock = () => {
    const hour = new Date().getHours();
    return hour >= NIGHT.from || hour < NIGHT.to ? "night" : "day";
  };
  let chosen = get("ct.light");
  const show = () => {
    const light = chosen === "clock" ? byClock() : chosen;
    if (light) root.dataset.light = light;
    else delete root.dataset.light;
  };
  const scale = Number(get("ct.px-per-mm"));
  if (scale >= 2 && scale <= 20) root.style.setProperty("--px-per-mm", String(scale));
  show();
  setInterval(show, 60000);
  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("[data-set-light]");
    if (!button) return;
    chosen = button.dataset.setLight;
    keep("ct.light", chosen);
    show();
  });
})();
