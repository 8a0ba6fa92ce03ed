// The trolley page: each scan and each touch is kept, sent in order, and answered on the strip.
import { drawKnown, forget, makeReady, remember, saidDropped, saidKept } from "./offline.js";
import { Live } from "./live.js";
import { NEED_NETWORK, keepOf } from "./may_be_kept.js";
import { Queue } from "./queue.js";
import { patchPlaces, patchPlan, showActs, showStrip, withLots } from "./strip.js";
import { Pad } from "./pad.js";
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
const quiet = document.querySelector("[data-quiet]");
// Without a network the page comes empty from this device; which prime it is stands in the address.
const isShell = page.dataset.trolley === "";
const number = page.dataset.trolley || decodeURIComponent(location.pathname.split("/")[2]);
const knows = isShell ? await drawKnown(number) : true;
const svg = page.querySelector("svg.plan");
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

const pad = new Pad(typed, {
  send({ text, ...typedOf }) {
    if (text) scan(text, "typed");
    else queue.put(urls.act, body({ act: "TYPED", ...typedOf }));
  },
});

// ---- sending -------------------------------------------------------------------------------------
const queue = new Queue({
  answered(entry, answer) {
    networkSays(queue.length, "");
    if (!entry.url.startsWith(`/prime/${number}/`)) return; // of another prime: its page shows it
    show(answer);
    document.dispatchEvent(new CustomEvent("answered", { detail: { body: entry.body, answer } }));
    remember(number, answer, entry.body.text);
  },
  kept(count, why, lost, newest) {
    networkSays(count, why);
    if (count && why) steps.release(); // no answer will ask for a number now
    const hasSaid = saidOfDropped;
    saidOfDropped = false;
    const state = `${why}${count}`;
    if (!count || !why || hasSaid || strip.dataset.kept === state) return; // said already
    strip.dataset.kept = state;
    saidKept(count, why, lost, newest).then((said) => { if (strip.dataset.kept === state) say(said); });
  },
  dropped(entry) {
    saidOfDropped = true;
    say(saidDropped(entry, number));
  },
});
let saidOfDropped = false;
let isAway = isShell; // the server did not answer when it was asked last

function networkSays(count, why) {
  const held = count ? `${count} kept` : "";
  const sending = count > 2 ? `Sending, ${count} to go` : "Network on"; // one or two are on their way
  const says = why === "network" ? `No network. ${held}`.trim() : why && held ? held : sending;
  if (network.textContent !== says) network.textContent = says;
}

// Said by the page itself; nothing came from the server.
function say(said) {
  showStrip(strip, said);
  showActs(acts, said);
  sound("turn");
}

// A line that disturbs nothing: no sound, and the strip stays.
function sayQuietly(line) {
  quiet.textContent = line;
  quiet.hidden = !line;
}

function body(more) {
  const made = { request_id: uuid7(), at: new Date().toISOString(), ...steps.body, ...more };
  if (chosen) made.slot = chosen;
  if (badge) made.badge = badge;
  return made;
}

// Our own form, or a GS1 service relation of a provider.
const isBadge = (text) => /^(\][A-Za-z]\d)?(CTB\.|8017\d{18}$)/u.test(text);

// A number card is the answer of that number, where answers are shown.
const NUMBER = /^(?:\][A-Za-z]\d)?CTA\.COUNT-(\d+)\./u;

function scan(text, channel) {
  if (steps.takes(text)) return;
  const answer = acts.querySelector(`.choice[data-number="${text.match(NUMBER)?.[1] ?? 0}"]`);
  if (answer) {
    answer.click();
    return;
  }
  if (isBadge(text)) badge = text;
  const keep = keepOf(text, channel);
  queue.put(urls.scan, body({ text, channel }), badge && keep === "device" ? "page" : keep);
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
  if (name === "choose") {
    choose(choice);
    showActs(acts, {});
    return;
  }
  queue.put(urls.act, body(more), NEED_NETWORK.has(name) ? "now" : badge ? "page" : "device");
}

// A pack of a photo: its id follows from the photo, so that the same one sent again is one act.
document.addEventListener("put-scan", ({ detail }) => queue.put(urls.scan, detail));

// ---- showing -------------------------------------------------------------------------------------
function show(answer) {
  if (answer.redirect) {
    queue.stop();
    location.assign(answer.redirect);
    return;
  }
  delete strip.dataset.kept;
  pad.open(Boolean(answer.pad), answer.pad ?? {});
  pad.answered(Boolean(answer.refused));
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
    openTyped(!pad.isOpen);
    return;
  }
  const next = event.target.closest("[data-next]");
  if (next && (queue.length || isAway || steps.isAsked)) {
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
  if (event.key === "Escape" && pad.isOpen) openTyped(false);
  const place = event.target.closest?.("g[data-slot]");
  if (!place || event.defaultPrevented || (event.key !== "Enter" && event.key !== " ")) return;
  event.preventDefault();
  choose(place.dataset.slot === chosen ? "" : place.dataset.slot);
});

function openTyped(open) {
  document.querySelector("header [data-type-code]").setAttribute("aria-expanded", String(open));
  pad.open(open); // a whole code; for what a code lacks the server opens it and says which fields
}

// What the server wrote gets its lines under letters too.
for (const line of strip.querySelectorAll(".do span, .what")) line.replaceChildren(withLots(line.textContent));
ready();
if (isShell) {
  say({
    verdict: "none", word: "Kept", sentence: "No network. Go on scanning", choices: [],
    lines: [knows ? "This is what this device knew last. Scans are kept and sent when the network returns."
      : "This device knows nothing of this prime yet. Scans are kept and sent when the network returns."],
  });
  networkSays(0, "network");
} else {
  remember(number);
}
queue.send();
makeReady(sayQuietly);
const live = new Live(number, page.dataset.after, {
  reached(yes) {
    isAway = !yes;
    if (!queue.why) networkSays(queue.length, yes ? "" : "network");
  },
  refused() {
    live.stop();
    forget().catch(() => {});
    sayQuietly(`This device was taken out of use. ${queue.length} kept here are not lost: sign in, and a person confirms them.`);
  },
  came(answer, first) {
    page.dataset.after = answer.after;
    if (svg?.isConnected) patchPlan(svg, answer.plan);
    patchPlaces(places, answer.list);
    ready();
    showCount(answer);
    if (answer.said && !first) sayQuietly(answer.said);
    remember(number, answer);
  },
});
addEventListener("pagehide", () => live.stop());
addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });

// The count stands on the strip; it changes without the strip being read out again.
function showCount({ recorded, of, next }) {
  strip.setAttribute("aria-live", "off");
  const left = strip.querySelector(".left");
  left.replaceChildren(Object.assign(document.createElement("b"), { textContent: recorded }), " ",
    Object.assign(document.createElement("span"), { textContent: `of ${of} recorded` }));
  const button = acts.querySelector("[data-next]");
  if (button && next) {
    button.classList.toggle("main", next.solid);
    button.querySelector("small").textContent = `card ${next.card ?? 7}. ${next.missing}`;
  }
  setTimeout(() => strip.setAttribute("aria-live", "assertive"), 500);
}

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
