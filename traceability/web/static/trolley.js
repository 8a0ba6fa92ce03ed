// The trolley page: each scan and each touch is kept, sent in order, and answered on the strip.
import { Queue } from "./queue.js";
import { patchPlaces, patchPlan, showActs, showStrip, withLots } from "./strip.js";
import { tone } from "./tones.js";
import { Steps } from "./steps.js";
import { uuid7 } from "./uuid7.js";
import { preferences } from "./preferences.js";

const page = document.querySelector("[data-trolley]");
const strip = document.querySelector("[data-strip]");
const acts = document.querySelector("[data-acts]");
const places = document.querySelector("[data-places]");
const typed = document.querySelector("[data-typed]");
const network = document.querySelector("[data-network]");
const chosenFor = document.querySelector("[data-for]");
const svg = page.querySelector("svg.plan");
const number = page.dataset.trolley;
const urls = { scan: `/prime/${number}/scan`, act: `/prime/${number}/act` };

let chosen = ""; // the place touched: the next scan or act goes there
let badge = ""; // shown for a way past a stop, kept until the reason is given
let asks = null; // what the strip waits for: "badge" or "reason"
let context = null;
const steps = new Steps({
  pad: document.querySelector("[data-pad]"),
  top: document.querySelector("[data-steps]"),
  next: document.querySelector("[data-next]"),
  give: (said) => queue.put(urls.act, body({ act: "said", said })),
  scan: (text) => scan(text, "physical-keys"),
});

// ---- sending -------------------------------------------------------------------------------------
const queue = new Queue({
  answered(entry, answer) {
    if (!Object.values(urls).includes(entry.url)) return; // of another prime: its page shows it
    show(answer);
  },
  kept(count, why, lost) {
    network.textContent = why === "network" ? `No network. ${count} kept` : why ? `${count} kept` : "Network on";
    if (!count || !why) return;
    steps.release(); // no answer will ask for a number now
    const told = {
      network: ["Kept", "No network. Sent when it returns", "Kept on this device; sent when it returns. Not checked yet: holds, dates. Go on."],
      busy: ["Kept", "The server did not answer yet", "Kept on this device; sent again by itself. Go on."],
      "sign-in": ["Kept", "Sign in to go on", "What was scanned is kept on this device and sent after that."],
    }[why];
    const scans = count === 1 ? "1 scan" : `${count} scans`;
    const said = { verdict: "none", word: told[0], sentence: told[1], lines: [`${scans}. ${told[2]}`], choices: [] };
    if (lost) said.lines.push("This device can store nothing more: leave this page open until it is sent.");
    if (why === "sign-in") said.choices = [{ value: "", label: "Sign in", act: "sign-in" }];
    if (strip.dataset.kept === `${why}${count}`) return; // said already
    showStrip(strip, said);
    showActs(acts, said);
    strip.dataset.kept = `${why}${count}`;
    sound("turn");
  },
});

function body(more) {
  const made = { request_id: uuid7(), at: new Date().toISOString(), ...steps.body, ...more };
  if (chosen) made.slot = chosen;
  if (badge) made.badge = badge;
  return made;
}

// Our own form, or a GS1 service relation of a provider.
const isBadge = (text) => /^(\][A-Za-z]\d)?(CTB\.|8017\d{18}$)/u.test(text);

function scan(text, channel) {
  if (steps.takes(text)) return;
  if (isBadge(text)) badge = text;
  queue.put(urls.scan, body({ text, channel }));
}

function act(name, choice) {
  if (name === "sign-in") {
    location.assign(`/sign-in?next=${encodeURIComponent(location.pathname)}`);
    return;
  }
  if (name === "NEXT") steps.waits();
  const more = { act: name };
  if (choice !== undefined) more.choice = choice;
  if (name === "reason") more.reason = choice;
  queue.put(urls.act, body(more));
}

// ---- showing -------------------------------------------------------------------------------------
function show(answer) {
  if (answer.redirect) {
    queue.stop();
    location.assign(answer.redirect);
    return;
  }
  delete strip.dataset.kept;
  const said = { verdict: "look-again", word: "Look again", sentence: "The server could not do this", ...answer };
  if (answer.refused) said.lines = lines(said);
  asks = answer.ask ?? null;
  if (!asks) badge = "";
  showStrip(strip, said);
  if (svg) patchPlan(svg, said.plan);
  if (places) patchPlaces(places, said.list);
  ready();
  showActs(acts, said);
  steps.show(said);
  if (said.verdict === "accepted") choose("");
  if (said.tone) sound(said.tone);
  if (said.speech) speak(said.speech);
}

// A refusal is one text of several sentences: the first one large, the rest as lines.
function lines(said) {
  const [first, ...rest] = said.sentence.split(/(?<=\.) /u);
  said.sentence = first.replace(/\.$/u, "");
  const code = said.reference ? [`Reference for support: ${said.reference}`] : [];
  return [rest.join(" "), ...(said.lines ?? []), ...code].filter(Boolean);
}

function sound(kind) {
  const { gain } = preferences();
  if (gain > 0 && context?.state === "running") tone(context, kind, gain);
}

// A sound needs a key or a touch first; a scan is one.
function wake() {
  if (!("AudioContext" in window)) return;
  context ??= new AudioContext();
  if (context.state === "suspended") context.resume();
}

function speak(sentence) {
  if (!preferences().speech || !("speechSynthesis" in window)) return;
  const language = document.documentElement.lang;
  const voice = speechSynthesis.getVoices().find((each) => each.localService && each.lang.startsWith(language));
  if (!voice) return; // a voice that is made elsewhere would send the sentence out of the house
  speechSynthesis.cancel();
  const words = new SpeechSynthesisUtterance(sentence);
  words.voice = voice;
  speechSynthesis.speak(words);
}

// ---- choosing a place ----------------------------------------------------------------------------
function choose(id) {
  chosen = id;
  for (const each of page.querySelectorAll("[data-slot]")) {
    const on = id !== "" && each.dataset.slot === id;
    each.classList.toggle("chosen", on);
    each.setAttribute("aria-pressed", String(on));
  }
  const name = id && placeName(id);
  chosenFor.textContent = name ? `For: ${name}` : "";
}

const placeName = (id) =>
  page.querySelector(`.places [data-slot="${CSS.escape(id)}"] .name`)?.textContent ?? id;

// Groups of the drawing work with keys too, and each is at least as large as a finger.
function ready() {
  if (!svg) return;
  svg.setAttribute("role", "group");
  for (const group of svg.querySelectorAll("g.slot")) {
    if (group.hasAttribute("tabindex")) continue;
    group.setAttribute("tabindex", "0");
    group.setAttribute("role", "button");
    group.setAttribute("aria-pressed", String(group.dataset.slot === chosen));
    group.classList.toggle("chosen", group.dataset.slot === chosen);
    const box = group.getBBox();
    if (!box.width) continue; // not drawn: the list is shown in its place
    const reach = document.createElementNS(svg.namespaceURI, "rect");
    const extra = Math.max(0, 60 - box.height) / 2;
    for (const [key, value] of Object.entries({
      class: "reach", x: box.x - 4, y: box.y - extra, width: box.width + 8, height: box.height + 2 * extra,
    })) reach.setAttribute(key, value);
    group.prepend(reach);
  }
}

// ---- listening -----------------------------------------------------------------------------------
document.addEventListener("scan", (event) => {
  event.preventDefault();
  wake();
  scan(event.detail.text, event.detail.channel);
});

document.addEventListener("click", (event) => {
  wake();
  const place = event.target.closest("[data-slot]");
  if (place?.dataset.slot) {
    choose(place.dataset.slot === chosen ? "" : place.dataset.slot);
    place.blur?.();
    return;
  }
  if (event.target.closest("[data-type-code]")) {
    openTyped(typed.hidden);
    return;
  }
  const next = event.target.closest("[data-next]");
  if (next && (queue.length || steps.isAsked)) {
    event.preventDefault(); // a step is said here; and what is kept goes first, then the next step
    next.blur();
    act("NEXT");
    return;
  }
  const button = event.target.closest("[data-act]");
  if (!button) return;
  button.blur(); // the next scan's Enter must not press it again
  act(button.dataset.act, button.dataset.choice);
});

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && !typed.hidden) openTyped(false);
  const place = event.target.closest?.("g[data-slot]");
  if (!place || event.defaultPrevented || (event.key !== "Enter" && event.key !== " ")) return;
  event.preventDefault();
  choose(place.dataset.slot === chosen ? "" : place.dataset.slot);
});

function openTyped(open) {
  typed.hidden = !open;
  document.querySelector("header [data-type-code]").setAttribute("aria-expanded", String(open));
  if (open) typed.elements.text.focus();
  else document.activeElement?.blur();
}

typed.addEventListener("submit", (event) => {
  event.preventDefault();
  const text = typed.elements.text.value.trim();
  typed.reset();
  openTyped(false);
  if (text) scan(text, "typed");
});

// What the server wrote gets its lines under letters too.
for (const line of strip.querySelectorAll(".do span, .what")) line.replaceChildren(withLots(line.textContent));
ready();
queue.send();

// The screen of a prime stays on, where the browser can keep it on.
async function stayOn() {
  if (document.visibilityState !== "visible" || !("wakeLock" in navigator)) return;
  try {
    await navigator.wakeLock.request("screen");
  } catch {
    // power is low or it is not allowed: nothing depends on it
  }
}
document.addEventListener("visibilitychange", stayOn);
stayOn();
