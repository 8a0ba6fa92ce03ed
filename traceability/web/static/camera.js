// The camera on the trolley page: a pack held up to it is read by the server and then goes the way of
// every scan. No reader of the browser's own is used: not all have one.
import { Photo } from "./photo.js";

const panel = document.querySelector("[data-camera]");
// A page that came from this device, without a network, knows its prime by the address alone.
const number = document.querySelector("[data-trolley]").dataset.trolley
  || decodeURIComponent(location.pathname.split("/")[2]);
const video = panel.querySelector("[data-view]");
const off = panel.querySelector("[data-off]");
const says = panel.querySelector("[data-camera-says]");
const again = panel.querySelector("[data-again]");
const still = panel.querySelector("[data-still]");
const compared = panel.querySelector("[data-compared]");
const opener = document.querySelector("[data-camera-open]");

const FRAME_WIDTH = 1280; // dots: what the reader was measured with
const PACE = 120; // ms from one frame to the next, at least
const GONE = 2000; // ms out of view before the same code is another piece
const CHANGED = 24; // of 255: more than the noise of one dot of the small view
const PLACES = 5; // so many of its 576 dots have changed: something was moved
const FEW = 3; // frames in which a code was seen before its other half is not waited for
const REST = 180000; // ms without any code before the camera is switched off
const WITHIN = 8000; // ms for the answer to one frame

const canvas = document.createElement("canvas");
const small = document.createElement("canvas");
small.width = 32;
small.height = 18;

let stream = null;
let turn = 0; // counts openings: what began in an earlier one stops
let busyUntil = 0;
let quietUntil = 0; // no frame is sent while the scan that came of the last one is answered
const held = new Map(); // text -> {last, view}: counted, and not out of view since
const waits = new Map(); // key -> {seen, last}: seen, and not counted yet
let offered = null; // a code that was not surely read, for a person to compare

const OTHER_WAYS = "Other ways on: the scanner, a photo, or type the code.";
const REFUSED = {
  NotAllowedError: "This browser may not use the camera. Allow it at the lock beside the address, then try again.",
  NotFoundError: "This device has no camera that can be used.",
  OverconstrainedError: "This device has no camera that can be used.",
  NotReadableError: "Another program uses the camera. Close it there, then try again.",
  AbortError: "The camera did not start. Try again.",
};

const say = (text) => {
  if (says.textContent !== text) says.textContent = text;
};

// ---- on and off ----------------------------------------------------------------------------------
async function open() {
  panel.hidden = false;
  document.body.classList.add("camera-on");
  opener.setAttribute("aria-expanded", "true");
  await start();
}

// Back to the button by keys; by touch it is let go, or the Enter of the next code might press it.
const letGo = (event) => (event?.detail === 0 ? opener.focus() : opener.blur());

function close(event) {
  stop();
  panel.hidden = true;
  document.body.classList.remove("camera-on");
  opener.setAttribute("aria-expanded", "false");
  letGo(event);
}

async function start() {
  stop();
  const mine = ++turn;
  again.hidden = true;
  if (!navigator.mediaDevices?.getUserMedia) {
    const plain = !window.isSecureContext;
    say(
      plain
        ? `The camera needs https, and this page came over plain http from another machine. Ask who keeps this service to serve it with https. ${OTHER_WAYS}`
        : `This browser gives pages no camera. ${OTHER_WAYS}`,
    );
    return;
  }
  say("The browser asks whether this page may use the camera. Allow it.");
  let got;
  try {
    got = await navigator.mediaDevices.getUserMedia({
      audio: false,
      video: { facingMode: { ideal: "environment" }, width: { ideal: 1280 }, height: { ideal: 720 } },
    });
  } catch (wrong) {
    if (mine !== turn) return;
    again.hidden = false;
    say(`${REFUSED[wrong.name] ?? "The camera cannot be used."} ${OTHER_WAYS}`);
    return;
  }
  if (mine !== turn) {
    for (const track of got.getTracks()) track.stop();
    return;
  }
  stream = got;
  for (const track of got.getVideoTracks()) track.addEventListener("ended", () => stopped(mine));
  video.srcObject = got;
  try {
    await video.play();
  } catch {
    // it plays by itself once the first frame is there
  }
  if (mine !== turn) return;
  off.hidden = true;
  still.hidden = false;
  say("Hold a pack up, its code towards the camera.");
  look(mine, performance.now());
}

function stop() {
  turn += 1;
  for (const track of stream?.getTracks() ?? []) track.stop();
  stream = null;
  video.srcObject = null;
  off.hidden = false;
  still.hidden = true;
  offer(null);
  waits.clear();
}

// Unplugged, taken by another program, or forbidden while it ran.
function stopped(mine) {
  if (mine !== turn) return;
  stop();
  again.hidden = false;
  say(`The camera stopped. What was accepted is recorded. Try again, or go another way. ${OTHER_WAYS}`);
}

// ---- frames --------------------------------------------------------------------------------------
async function look(mine, since) {
  let lastCode = since;
  while (mine === turn) {
    const began = performance.now();
    const frame = await picture(FRAME_WIDTH, 0.85);
    if (mine !== turn) return;
    if (frame) {
      const view = thumbnail();
      const answer = await ask(frame);
      if (mine !== turn) return;
      if (answer?.packs?.length) lastCode = began;
      if (answer?.packs) understood(answer.packs, view, began);
      if (answer === null) await pause(1000);
    }
    if (began - lastCode > REST) {
      stop();
      again.hidden = false;
      say("Nothing was held up for 3 minutes, so the camera is off. Touch: try the camera again.");
      return;
    }
    await pause(Math.max(0, PACE - (performance.now() - began)));
    while (mine === turn && performance.now() < quietUntil) await pause(20);
  }
}

const pause = (ms) => new Promise((done) => { setTimeout(done, ms); });

// What the camera sees now, as a JPEG; null before its first frame.
function picture(widest, quality) {
  const { videoWidth: wide, videoHeight: tall } = video;
  if (!wide || video.readyState < 2) return Promise.resolve(null);
  const scale = Math.min(1, widest / wide);
  canvas.width = Math.round(wide * scale);
  canvas.height = Math.round(tall * scale);
  canvas.getContext("2d").drawImage(video, 0, 0, canvas.width, canvas.height);
  return new Promise((done) => { canvas.toBlob(done, "image/jpeg", quality); });
}

function thumbnail() {
  const context = small.getContext("2d", { willReadFrequently: true });
  context.drawImage(canvas, 0, 0, small.width, small.height);
  const { data } = context.getImageData(0, 0, small.width, small.height);
  return Uint8Array.from({ length: data.length / 4 }, (_, i) => data[4 * i + 1]); // green: most of the light
}

// A code that cannot be read for a while still lies there if nothing has moved.
const moved = (one, other) => one.filter((value, i) => Math.abs(value - other[i]) > CHANGED).length >= PLACES;

// The answer to a frame; null where there was none.
async function ask(frame) {
  let response;
  try {
    response = await fetch(`/prime/${number}/camera`, {
      method: "POST",
      headers: { "Content-Type": "image/jpeg", Accept: "application/json" },
      body: frame,
      signal: AbortSignal.timeout(WITHIN),
    });
    if (response.ok) return await response.json();
  } catch {
    say("No network. The camera needs it: the server reads the picture. Scans and typed codes are kept and sent later.");
    return null;
  }
  if (response.status === 401) say("Sign in to go on: type a code, or reload this page.");
  else if (response.status !== 422) say("The server did not answer. It is asked again by itself.");
  return response.status === 422 ? { packs: [] } : null;
}

// ---- what is held up -----------------------------------------------------------------------------
function understood(packs, view, now) {
  let told = "";
  for (const pack of packs) {
    if (pack.person) {
      told = "That is a person's code. It was not read and is kept nowhere. Take it out of view.";
      continue;
    }
    const fresh = pack.reads.some((text) => !held.has(text));
    for (const text of pack.texts) if (held.has(text)) Object.assign(held.get(text), { last: now, view });
    if (!fresh) {
      told ||= "Counted. The next of the same lot: take this one out of view for 2 seconds first. Or card 2: same again.";
      continue;
    }
    const before = waits.get(pack.key) ?? { seen: 0 };
    const seen = before.seen + 1;
    waits.set(pack.key, { seen, last: now });
    if (pack.suspect) {
      if (seen >= FEW) offer(pack, view);
      told ||= "Not surely read yet. Hold it closer, flat and still.";
    } else if (pack.whole || seen >= FEW) {
      count(pack, view, now);
      told ||= "Read. Look at the strip.";
    }
  }
  for (const [text, each] of held) {
    if (now - each.last > GONE && moved(view, each.view)) held.delete(text);
  }
  for (const [key, each] of waits) if (now - each.last > GONE) waits.delete(key);
  if (offered && !waits.has(offered.pack.key)) offer(null);
  if (told || now > busyUntil) say(told || "Hold a pack up, its code towards the camera.");
  if (told) busyUntil = now + 1500;
}

// As a scanner would have sent it, code after code of the pack.
function count(pack, view, now) {
  waits.delete(pack.key);
  for (const text of pack.texts) held.set(text, { last: now, view });
  if (offered?.pack.key === pack.key) offer(null);
  quietUntil = performance.now() + 800;
  for (const text of pack.scans) {
    const detail = { text, channel: "camera", at: new Date().toISOString() };
    document.dispatchEvent(new CustomEvent("scan", { detail, cancelable: true }));
  }
}

function offer(pack, view) {
  offered = pack && { pack, view };
  compared.hidden = !pack;
  if (pack) compared.textContent = `As printed: ${pack.shown}`;
}

compared.addEventListener("click", () => {
  if (offered) count(offered.pack, offered.view, performance.now());
});

// ---- a photo of all ------------------------------------------------------------------------------
const photo = new Photo({
  number,
  opened: () => { // one thing at a time: the live picture rests meanwhile
    stop();
    panel.hidden = true;
    document.body.classList.add("camera-on");
    opener.setAttribute("aria-expanded", "true");
  },
  closed: (event) => {
    document.body.classList.remove("camera-on");
    opener.setAttribute("aria-expanded", "false");
    letGo(event);
  },
});

still.addEventListener("click", async () => {
  const taken = await picture(4096, 0.92);
  if (taken) photo.look(taken);
});
for (const field of panel.querySelectorAll("[data-photo-file]")) {
  field.addEventListener("change", () => {
    const [file] = field.files;
    field.value = "";
    field.blur();
    if (file) photo.look(file);
  });
}

// ---- listening -----------------------------------------------------------------------------------
opener.addEventListener("click", (event) => {
  letGo(event);
  if (photo.isOpen) photo.close(event);
  else if (panel.hidden) open();
  else close(event);
});
again.addEventListener("click", () => {
  again.blur();
  start();
});
panel.querySelector("[data-camera-close]").addEventListener("click", close);

// The printed card, and a button for it, open the camera here; a photo that waits takes two cards.
const CARD = /^(?:\][A-Za-z]\d)?CTA\.([A-Z-]+)\./u;
document.addEventListener(
  "scan",
  (event) => {
    const card = CARD.exec(event.detail.text)?.[1];
    if (card === "PHOTO") {
      if (photo.isOpen) return;
      if (panel.hidden) open();
    } else if (!((card === "ASREAD" || card === "NEXT") && photo.fill())) return;
    event.preventDefault();
    event.stopImmediatePropagation();
  },
  true,
);
document.addEventListener(
  "click",
  (event) => {
    if (!event.target.closest('[data-act="PHOTO"]')) return;
    event.stopImmediatePropagation();
    if (panel.hidden && !photo.isOpen) open();
  },
  true,
);

document.addEventListener("answered", () => { quietUntil = 0; });

let restedBy = "";
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "hidden" && stream) {
    restedBy = "hidden";
    stop();
  } else if (document.visibilityState === "visible" && restedBy && !panel.hidden) {
    restedBy = "";
    start();
  }
});
addEventListener("pagehide", stop);
