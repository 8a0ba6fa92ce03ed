// Scans from a scanner that types. The page collects physical keys by KeyboardEvent.code and maps
// them by the scanner's own layout (US), so that the host's layout, dead keys and caps lock change
// nothing. The separator GS comes as Ctrl+] (or F8) and never reaches a field by itself.
//
// What was read goes, whole, to the focused field if it has data-scan ("" fills it, "next" also goes
// to the next field, "submit" also sends its form); else as a "scan" event on document with
// detail {text, channel, at}; and if nobody there takes it (preventDefault), to the page's
// [data-scan-home] field. Characters that a scan typed into any other field are taken out again.

export const SILENCE = 300; // ms without a key: what came is complete
export const PATIENCE = 1500; // the same once this scanner was seen to end with Enter or Tab: such
// a scanner may stall inside a code, and half a lot number must not be taken for a whole one
export const HEAD = 600; // and while what came into a field is quick but too short to tell who types
export const FAST = 35; // ms: the median gap of a burst is below; people type at 80 to 120
export const LEAST = 6; // characters: fewer say nothing about who types
const LEAST_WITHOUT_FIELD = 3; // stray keys on a page without a field are no scan

const GS = "\x1d";
const PLAIN = { Space: " ", NumpadAdd: "+", NumpadSubtract: "-", NumpadMultiply: "*",
  NumpadDivide: "/", NumpadDecimal: "." };
const SHIFTED = { Space: " ", NumpadAdd: "+", NumpadSubtract: "-", NumpadMultiply: "*",
  NumpadDivide: "/", NumpadDecimal: "." };
const pair = (code, plain, shifted) => {
  PLAIN[code] = plain;
  SHIFTED[code] = shifted;
};
for (const letter of "ABCDEFGHIJKLMNOPQRSTUVWXYZ") pair(`Key${letter}`, letter.toLowerCase(), letter);
for (let digit = 0; digit < 10; digit += 1) {
  pair(`Digit${digit}`, String(digit), ")!@#$%^&*("[digit]);
  pair(`Numpad${digit}`, String(digit), String(digit));
}
pair("Minus", "-", "_");
pair("Equal", "=", "+");
pair("BracketLeft", "[", "{");
pair("BracketRight", "]", "}");
pair("Backslash", "\\", "|");
pair("Semicolon", ";", ":");
pair("Quote", "'", '"');
pair("Backquote", "`", "~");
pair("Comma", ",", "<");
pair("Period", ".", ">");
pair("Slash", "/", "?");

const ENDS = new Set(["Enter", "NumpadEnter", "Tab"]);
const NO_TEXT = new Set(["checkbox", "radio", "button", "submit", "reset", "range", "color", "file", "image"]);

export const median = (values) => {
  const sorted = [...values].sort((a, b) => a - b);
  const middle = sorted.length >> 1;
  return sorted.length % 2 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2;
};

// The character a US scanner means with this key: "", if it means none; "\r" and "\t" end.
export function meaning(event) {
  if (event.key === GS || event.code === "F8") return GS;
  if (event.ctrlKey && !event.altKey && !event.metaKey) {
    if (event.code === "BracketRight" || event.key === "]") return GS;
    if (event.shiftKey && event.code === "Digit6") return "\x1e"; // RS: ISO/IEC 15434 envelopes
    if (event.code === "KeyD") return "\x04"; // EOT: the end of such an envelope
    if (event.code === "KeyM" || event.code === "KeyJ") return "\r";
    if (event.code === "KeyI") return "\t";
    return "";
  }
  // A host may turn the chord into Control and AltGr. A person types ] that way on some layouts, so
  // it counts inside a burst only.
  if (event.ctrlKey && event.key === "]" && run && (!run.into || isFast(run))) return GS;
  if (event.altKey || event.metaKey) return "";
  // Keys without their place on the keyboard, as a screen or a remote desktop sends them: only the
  // host's own character is known, and its layout is not proven.
  if (!event.code) return event.key === "Enter" ? "\r" : event.key === "Tab" ? "\t" : event.key.length === 1 ? event.key : "";
  if (ENDS.has(event.code)) return event.code === "Tab" ? "\t" : "\r";
  return (isShifted(event) ? SHIFTED : PLAIN)[event.code] ?? "";
}

// Some senders of keys name the shifted character without holding Shift down. No host layout of ours
// gives a key's US-shifted character without Shift, so that name can be believed; with Caps Lock on,
// a capital says nothing.
function isShifted(event) {
  if (event.shiftKey) return true;
  const capital = SHIFTED[event.code];
  if (event.key !== capital || capital === PLAIN[event.code]) return false;
  return !(event.code.startsWith("Key") && event.getModifierState("CapsLock"));
}

function field() {
  const at = document.activeElement;
  if (!at) return null;
  if (at.isContentEditable || at.tagName === "TEXTAREA" || at.tagName === "SELECT") return at;
  return at.tagName === "INPUT" && !NO_TEXT.has(at.type) ? at : null;
}

let run = null; // {text, times, into, before}: what came since the last silence
let timer = 0;
let hasEnding = remembered();

function remembered() {
  try {
    return localStorage.getItem("ct.scanner.ends") === "1";
  } catch {
    return false;
  }
}

function remember() {
  hasEnding = true;
  try {
    localStorage.setItem("ct.scanner.ends", "1");
  } catch {
    // known until the page is left
  }
}

const isQuick = ({ times }) =>
  times.length > 1 && median(times.slice(1).map((t, i) => t - times[i])) < FAST;
const isFast = (keys) => keys.times.length >= LEAST && isQuick(keys);

const snapshot = (into) =>
  into && !into.isContentEditable
    ? { value: into.value, from: into.selectionStart ?? null, to: into.selectionEnd ?? null }
    : into && { html: into.innerHTML };

function restore({ into, before }) {
  if (!into || !before) return;
  if ("html" in before) into.innerHTML = before.html;
  else {
    into.value = before.value;
    if (before.from !== null) into.setSelectionRange(before.from, before.to);
  }
}

function begin() {
  const into = field();
  run = { text: "", times: [], into, before: snapshot(into), channel: "physical-keys" };
}

function wait() {
  clearTimeout(timer);
  timer = setTimeout(() => finish("silence"), patience());
}

// How long a pause may last before it ends what came. With a scanner that ends its codes, a pause is
// a stall and no end.
function patience() {
  if (!hasEnding || !run) return SILENCE;
  if (!run.into || isFast(run)) return PATIENCE;
  return isQuick(run) ? HEAD : SILENCE;
}

function finish(by) {
  clearTimeout(timer);
  const done = run;
  run = null;
  if (!done || !done.text) return false;
  const enough = done.into
    ? isFast(done)
    : by === "key" || isFast(done) || done.text.length >= LEAST_WITHOUT_FIELD;
  if (!enough) return false;
  if (by === "key" && isFast(done)) remember();
  deliver(done, by);
  return true;
}

function deliver(done, by) {
  const { text, into } = done;
  const own = into && into.isConnected && "scan" in into.dataset;
  restore(done);
  if (own) {
    fill(into, text);
    return;
  }
  const gaps = done.times.slice(1).map((t, i) => t - done.times[i]);
  offer(text, done.channel, { ended: by, gap: gaps.length ? median(gaps) : null });
}

function offer(text, channel, how = {}) {
  const detail = { text, channel, at: new Date().toISOString(), ...how };
  const open = document.dispatchEvent(new CustomEvent("scan", { detail, cancelable: true }));
  const home = open && document.querySelector("[data-scan-home]");
  if (home) fill(home, text);
}

function fill(into, text) {
  into.value = text;
  into.dispatchEvent(new Event("input", { bubbles: true }));
  into.dispatchEvent(new Event("change", { bubbles: true }));
  if (into.dataset.scan === "submit") into.form?.requestSubmit();
  if (into.dataset.scan === "next") {
    const all = [...into.form.elements].filter((each) => !each.disabled && each.type !== "hidden");
    all[all.indexOf(into) + 1]?.focus();
  }
}

document.addEventListener(
  "keydown",
  (event) => {
    const char = meaning(event);
    if (!char) {
      // Shift and the like come between the characters; an arrow, a letter with Alt, a key held
      // down or a shortcut is a person's.
      if (!["Shift", "Control", "CapsLock", "Alt", "AltGraph", "Dead"].includes(event.key)) finish("silence");
      return;
    }
    if (event.repeat && char !== GS) return;
    if (char === "\r" || char === "\t") {
      if (event.ctrlKey && !run) return;
      if (finish("key")) {
        event.preventDefault();
        event.stopPropagation();
      }
      return;
    }
    const control = char < " ";
    if (control && char !== GS && !run) return; // Ctrl+D and its like are a person's until a burst runs
    if (run && !run.into && field() && event.timeStamp - run.times.at(-1) <= SILENCE) {
      // A page that has just opened puts the focus into its field while the scan is under way.
      run.into = field();
      run.before = snapshot(run.into);
    }
    if (!run || run.into !== field()) {
      finish("silence");
      begin();
    } else if (event.timeStamp - run.times.at(-1) > patience()) {
      begin(); // slow keys before: a person's
    }
    if (!event.code) run.channel = "keyboard";
    run.text += char;
    run.times.push(event.timeStamp);
    if (control || !run.into) {
      // Without a field no key may reach a button or scroll; the space bar alone is left to people.
      if (!(char === " " && run.text === " ")) event.preventDefault();
    }
    wait();
  },
  true,
);

document.addEventListener("paste", (event) => {
  if (field()) return;
  const text = event.clipboardData?.getData("text/plain").trim();
  if (text) offer(text, "pasted");
});
