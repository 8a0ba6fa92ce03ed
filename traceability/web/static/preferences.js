// What this device sounds like: gain of the tones, 0 to 0.5, and whether a voice of its own speaks.
const GAINS = { off: 0, low: 0.08, usual: 0.2, loud: 0.5 };

export function preferences() {
  try {
    const gain = GAINS[localStorage.getItem("ct.sound") ?? "usual"] ?? GAINS.usual;
    return { gain, speech: localStorage.getItem("ct.speech") === "on" };
  } catch {
    return { gain: GAINS.usual, speech: false };
  }
}

for (const select of document.querySelectorAll("select[data-preference]")) {
  const key = select.dataset.preference;
  try {
    select.value = localStorage.getItem(key) ?? select.value;
  } catch {
    select.disabled = true; // storage is blocked: this device keeps no choice
  }
  select.addEventListener("change", () => localStorage.setItem(key, select.value));
}
