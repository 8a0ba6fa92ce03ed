// The trolley page without a network: what it says of what it keeps, what it knows of this prime when it
// is opened again, and what of it may be stored. It judges nothing: there is one copy of the rules, and
// it is the server's. It can say that the same code was accepted here before, since it was told so.
import { forget, inStore, setMeta } from "./device_store.js";
import { whoActs } from "./claim.js";
import { isPerson } from "./may_be_kept.js";
import { patchPlaces } from "./strip.js";

const PRIMES_KEPT = 5;
const CODES_KEPT = 200;
const UNCHECKED = "Not checked: hold, expiry, sheet, lot received, serial elsewhere.";

export const secure = globalThis.isSecureContext === true;

// ---- what the strip says ---------------------------------------------------------------------------
let promised = true; // the browser will not clear what is kept when it runs full
let accepted = {}; // by code: what the server said when it accepted it here

export async function saidKept(count, why, lost, newest) {
  const [word, sentence, more] = {
    network: ["Kept", "No network. Kept, not checked", UNCHECKED],
    busy: ["Kept", "The server did not answer yet", "It is sent again by itself. Go on."],
    revoked: ["Kept", "This device was taken out of use",
      "They wait here. Sign in to send them: a person then confirms each one. Scan on another device."],
    "sign-in": ["Kept", "Sign in to go on", "What was scanned is kept on this device and sent after that."],
  }[why];
  const held = count === 1 ? "1 scan kept" : `${count} scans kept`;
  const lines = why === "network" ? [`${held}, sent when the network returns.`, more] : [`${held}. ${more}`];
  const before = why === "network" && accepted[newest?.body?.text];
  if (before) lines.push(`Same code as before: ${before}`);
  const name = await whoActs();
  if (lost) lines.push(`${lost === count ? "Kept on this page only" : `${lost} of them on this page only`}: leave it open until it is sent.${await whyHere(newest)}`);
  else if (!promised) lines.push("This browser may clear what it keeps when it runs full: send before long.");
  else if (name && why === "network") lines.push(`Acts of ${name}. Signing needs the network.`);
  if (why === "revoked") await forget().catch(() => {});
  const choices = why === "sign-in" || why === "revoked" ? [{ value: "", label: "Sign in", act: "sign-in" }] : [];
  return { verdict: "none", word, sentence, lines, choices };
}

async function whyHere(newest) {
  if (newest?.keep === "page") return " The last code might be a person's, so it is not stored.";
  return secure ? " This device can store nothing more." : "";
}

// What may not wait, and could not be sent.
export function saidDropped(entry, number) {
  if (isPerson(entry.body.text ?? "")) {
    return {
      verdict: "look-again", word: "Not kept", sentence: "That was a person's code: not kept", choices: [],
      lines: ["No network, and no patient is ever stored on this device.",
        `For now write a temporary name on paper: Patient of ${number}. Scan the wristband at the run when the network is back.`],
    };
  }
  return {
    verdict: "look-again", word: "Wait", sentence: "This needs the network", choices: [],
    lines: ["Signing, ending, discarding and taking over wait for the network; no PIN is ever kept. Scanning goes on."],
  };
}

// ---- what this device knows of the prime ----------------------------------------------------------
const text = (of) => document.querySelector(of)?.textContent ?? "";

export function remember(number, answer, sentText) {
  if (answer?.verdict === "accepted" && sentText) {
    accepted[sentText] = [answer.sentence, answer.lines?.[0]].filter(Boolean).join(", ");
    const codes = Object.keys(accepted);
    if (codes.length > CODES_KEPT) delete accepted[codes[0]];
  }
  const eighth = document.querySelector("[data-eighth]");
  const plan = document.querySelector("svg.plan");
  const known = {
    number,
    at: Date.now(),
    place: text(".top h1"),
    type: text("[data-type]"),
    svg: plan ? new XMLSerializer().serializeToString(plan) : "",
    list: [...document.querySelectorAll("[data-places] button")].map((row) => ({
      slot: row.dataset.slot, name: row.querySelector(".name").textContent, states: row.querySelector(".is").textContent,
    })),
    recorded: text(".strip .left b"),
    of: text(".strip .left span"),
    eighth: eighth?.dataset.act ?? "",
    missing: text("[data-next] small"),
    after: document.querySelector("[data-trolley]").dataset.after ?? "",
    accepted,
  };
  return inStore(["primes"], "readwrite", (primes) => {
    primes.put(known);
    const keys = primes.getAll();
    keys.onsuccess = () => keys.result.sort((one, other) => other.at - one.at).slice(PRIMES_KEPT)
      .forEach((old) => primes.delete(old.number));
  }).catch(() => {}); // nothing can be stored: a reload without network will know nothing
}

export const recall = (number) =>
  inStore(["primes"], "readonly", (primes) => primes.get(number)).catch(() => undefined);

// Fills the empty page with what is known. Returns whether anything was.
export async function drawKnown(number) {
  document.title = `${number}, prime`;
  for (const place of document.querySelectorAll("[data-number]")) place.textContent = number;
  const known = await recall(number);
  if (!known) return false;
  accepted = known.accepted ?? {};
  document.querySelector(".top h1").textContent = known.place;
  document.querySelector("[data-type]").textContent = known.type;
  document.querySelector("[data-trolley]").dataset.after = known.after;
  const drawn = new DOMParser().parseFromString(known.svg, "image/svg+xml").documentElement;
  if (drawn.localName === "svg") document.querySelector("svg.plan").replaceWith(document.importNode(drawn, true));
  for (const reach of document.querySelectorAll("svg.plan .reach")) reach.remove();
  for (const group of document.querySelectorAll("svg.plan g[tabindex]")) group.removeAttribute("tabindex");
  const places = document.querySelector("[data-places]");
  places.replaceChildren(...known.list.map(row));
  patchPlaces(places, known.list);
  const left = document.querySelector(".strip .left");
  left.querySelector("b").textContent = known.recorded;
  left.querySelector("span").textContent = known.of;
  const next = document.querySelector("[data-next] small");
  if (next) {
    next.textContent = known.missing;
    next.closest("a").href = `/prime/${encodeURIComponent(number)}/end`;
  }
  return true;
}

function row({ slot, name }) {
  const made = document.createElement("li");
  const button = made.appendChild(document.createElement("button"));
  button.type = "button";
  button.dataset.slot = slot;
  button.innerHTML = '<span class="beads"></span><span><span class="name"></span><span class="is"></span></span>';
  button.querySelector(".name").textContent = name;
  return made;
}

// ---- the device -----------------------------------------------------------------------------------
// Without the empty page on this device a reload would show nothing. A new version of it is kept only
// while no prime is open (sw.js), so no code is changed under the hand.
export async function makeReady(say) {
  if (!secure) {
    say("Plain http: the camera and off-line work need https. Without network do not close or reload this page.");
    return;
  }
  try {
    await navigator.serviceWorker?.register("/sw.js");
    (await navigator.serviceWorker?.ready)?.active?.postMessage("fill");
  } catch {
    say("This browser cannot keep the page for a reload without network. Leave it open.");
  }
  try {
    promised = (await navigator.storage?.persisted?.()) || (await navigator.storage?.persist?.()) || false;
    setMeta("promised", promised).catch(() => {});
  } catch {
    promised = false;
  }
}

export { forget };
