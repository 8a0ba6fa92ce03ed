// Day or night light of this device, before the first paint. Without a choice the system decides.
(() => {
  const key = "ct.light";
  const root = document.documentElement;
  const chosen = () => {
    try {
      return localStorage.getItem(key) || "";
    } catch {
      return ""; // storage is blocked: the system decides
    }
  };
  const show = (light) => {
    if (light) root.dataset.light = light;
    else delete root.dataset.light;
  };
  show(chosen());
  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("[data-set-light]");
    if (!button) return;
    const light = button.dataset.setLight;
    try {
      if (light) localStorage.setItem(key, light);
      else localStorage.removeItem(key);
    } catch {
      // shown for this page only
    }
    show(light);
  });
})();
