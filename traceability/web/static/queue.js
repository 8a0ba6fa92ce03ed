// Scans and acts, kept on this device in order until the server has answered each one. The same
// request id is sent again after a lost network, a reload or a crash, so nothing is counted twice.
//
// How an act is kept: "device": on the disk; "page": only while this page stays open, since it may
// name a person; "now": sent at once or not at all, since it does.
import { proofOf } from "./claim.js";
import { inStore, keptActs, onTold, tellOthers } from "./device_store.js";
import { isPerson, keepOf } from "./may_be_kept.js";

const OLD_KEY = "ct.queue"; // where pages of an earlier version kept their acts (localStorage)
const WAITS = [1000, 2000, 4000, 8000];
const ANSWER_WITHIN = 15000; // ms
const TRIES_OF_A_FAILURE = 3;

// What this page was given and is not answered yet, by number: it is sent even if the storage was
// full, blocked or emptied meanwhile.
const mine = new Map();
const onDisk = new Set(); // numbers of `mine` that were stored
let last = 0;

async function stored() {
  try {
    return await keptActs();
  } catch {
    return [];
  }
}

async function all() {
  await moved;
  const found = new Map(mine);
  const there = await stored();
  for (const entry of there) if (!found.has(entry.n)) found.set(entry.n, { ...entry, waited: true });
  const numbers = new Set(there.map(({ n }) => n));
  for (const n of onDisk) if (!numbers.has(n)) onDisk.delete(n); // cleared under us
  return [...found.values()].sort((one, other) => one.n - other.n);
}

// The device's own sequence. Where nothing can be stored, numbers go on from the last one known.
async function nextNumber() {
  try {
    last = await inStore(["meta"], "readwrite", (meta) => {
      const read = meta.get("n");
      const answer = { n: 0 };
      read.onsuccess = () => {
        answer.n = Math.max(Math.floor(read.result ?? 0), Math.floor(last)) + 1;
        meta.put(answer.n, "n");
      };
      return answer;
    }).then((answer) => answer.n);
  } catch {
    last += 0.001;
  }
  return last;
}

const plain = ({ n, url, body, keep, claim }) => ({ n, url, body, keep, claim });

async function store(entry, strict) {
  if (entry.keep !== "device") return;
  try {
    await inStore(["queue"], "readwrite", (queue) => queue.put(plain(entry)), { strict });
    onDisk.add(entry.n);
    entry.strict = strict;
  } catch {
    onDisk.delete(entry.n); // kept on this page only, and said
  }
}

async function remove(entry) {
  mine.delete(entry.n);
  onDisk.delete(entry.n);
  try {
    await inStore(["queue"], "readwrite", (queue) => queue.delete(entry.n));
  } catch {
    // it is sent again and answered as the same request
  }
  dropOld(entry.body.request_id);
  tellOthers({ removed: entry.n });
}

// ---- what an earlier version of this page left -----------------------------------------------------
function oldEntries() {
  try {
    const found = JSON.parse(localStorage.getItem(OLD_KEY) || "[]");
    return Array.isArray(found) ? found.filter((entry) => entry?.url && entry?.body) : [];
  } catch {
    return [];
  }
}

function dropOld(id) {
  const left = oldEntries().filter(({ body }) => body.request_id !== id);
  if (left.length === oldEntries().length) return;
  if (left.length) localStorage.setItem(OLD_KEY, JSON.stringify(left));
  else localStorage.removeItem(OLD_KEY);
}

async function moveOld() {
  if (!oldEntries().length) return;
  const known = new Set((await stored()).map(({ body }) => body.request_id));
  for (const entry of mine.values()) known.add(entry.body.request_id);
  for (const { url, body } of oldEntries()) {
    if (known.has(body.request_id)) continue;
    const entry = { n: await nextNumber(), url, body, keep: "device", claim: null, waited: true };
    mine.set(entry.n, entry);
    await store(entry, true);
    if (onDisk.has(entry.n)) dropOld(body.request_id);
  }
}
const alone = (name, work) => (navigator.locks ? navigator.locks.request(name, work) : work());
let moved = alone("ct.queue.move", moveOld);

// Wherever an act comes from (scanner, camera, pad), no text of a person goes to the disk.
function safest(body) {
  if (body.text) return keepOf(body.text, body.channel);
  const texts = Object.values(body).filter((value) => typeof value === "string");
  if (texts.some(isPerson)) return "now";
  return body.badge ? "page" : "device";
}

// ---- the queue -----------------------------------------------------------------------------------
export class Queue {
  // answered(entry, answer): the server answered. kept(count, why, lost, newest): why is "network",
  // "busy", "sign-in", "revoked" (the device was taken out of use) or "" once nothing waits; lost: how many would be lost if this page were closed.
  // dropped(entry, why): an act of the kind "now" could not be sent and is gone.
  constructor({ answered, kept, dropped = () => {} }) {
    this.answered = answered;
    this.kept = kept;
    this.dropped = dropped;
    this.failed = 0;
    this.timer = 0;
    this.running = false;
    this.stopped = false;
    this.why = "";
    this.length = 0;
    this.putting = Promise.resolve();
    this.aside = new Set(); // what the server failed at three times: tried again by the next page
    addEventListener("online", () => this.send());
    addEventListener("storage", (event) => {
      if (event.key !== OLD_KEY || !event.newValue) return; // a page of an earlier version is open
      moved = alone("ct.queue.move", moveOld);
      this.send();
    });
    onTold(({ removed }) => {
      mine.delete(removed);
      onDisk.delete(removed);
    });
  }

  put(url, body, keep = safest(body)) {
    this.length += 1;
    this.putting = this.putting.then(async () => {
      await moved;
      const entry = { n: await nextNumber(), url, body, keep };
      entry.claim = await proofOf(url, body, entry.n);
      mine.set(entry.n, entry);
      await store(entry, this.why !== "");
      tellOthers({ added: entry.n });
    });
    return this.putting.then(() => this.send());
  }

  stop() {
    this.stopped = true; // the page is left; what waits is sent by the next one
  }

  async send() {
    if (this.running || this.stopped) return;
    this.running = true;
    clearTimeout(this.timer);
    let why = "";
    try {
      why = await alone("ct.queue", () => this.#sendAll());
    } finally {
      this.running = false;
    }
    if (this.stopped) return;
    this.why = why;
    if (why) await this.#holdOn(why);
    const left = await all();
    this.length = left.length;
    const lost = left.filter(({ n }) => mine.has(n) && !onDisk.has(n)).length;
    this.kept(left.length, why, lost, left.at(-1));
    if (why === "network" || why === "busy") {
      const wait = WAITS[Math.min(this.failed, WAITS.length - 1)];
      this.failed += 1;
      this.timer = setTimeout(() => this.send(), wait);
    } else if (!why && left.some(({ n }) => !this.aside.has(n))) {
      this.timer = setTimeout(() => this.send(), 0); // came in while the last one was answered
    }
  }

  // It has to wait: what waits goes to the disk for good, what may not wait is given up.
  async #holdOn(why) {
    for (const entry of [...mine.values()]) {
      if (entry.keep === "now") {
        await remove(entry);
        this.dropped(entry, why);
      } else {
        entry.waited = true;
        if (!entry.strict) await store(entry, true);
      }
    }
  }

  async #sendAll() {
    for (;;) {
      const first = (await all()).find(({ n }) => !this.aside.has(n));
      if (!first || this.stopped) return "";
      const outcome = await this.#sendOne(first);
      if (typeof outcome === "string") return outcome;
      if (outcome.failed) this.aside.add(first.n);
      else {
        await remove(first);
        this.length = Math.max(0, this.length - 1);
      }
      this.failed = 0;
      this.why = "";
      this.answered(first, outcome.answer);
    }
  }

  // The answer, or the reason why it has to wait.
  async #sendOne({ n, url, body, claim, waited }) {
    let response;
    let answer;
    const headers = { "Content-Type": "application/json", Accept: "application/json" };
    headers["CT-Act"] = `${n}.${waited ? "kept" : "now"}`;
    if (claim) headers["CT-Claim"] = claim;
    try {
      response = await fetch(url, {
        method: "POST", headers, body: JSON.stringify(body), signal: AbortSignal.timeout(ANSWER_WITHIN),
      });
      answer = await response.json();
    } catch {
      return "network"; // none, or none of ours: something between us and the server spoke
    }
    if ([502, 503, 504, 507].includes(response.status)) return "busy";
    if (response.status === 401) return "sign-in";
    if (response.status === 403 && answer.code === "device-not-enrolled") return "revoked";
    if (response.status === 500) {
      this.tries = this.last === body.request_id ? this.tries + 1 : 1;
      this.last = body.request_id;
      return this.tries < TRIES_OF_A_FAILURE ? "busy" : { answer, failed: true };
    }
    return { answer };
  }
}
