// Scans and acts, kept on this device in order until the server has answered each one. The same
// request id is sent again after a lost network or a reload, so nothing is counted twice.

const KEY = "ct.queue";
const WAITS = [1000, 2000, 4000, 8000];
const ANSWER_WITHIN = 15000; // ms
const TRIES_OF_A_FAILURE = 3;

// What this page could not store (storage full, or blocked) waits here, behind what is stored.
let onlyHere = [];

const stored = () => {
  try {
    return JSON.parse(localStorage.getItem(KEY) || "[]");
  } catch {
    return [];
  }
};
const read = () => [...stored(), ...onlyHere];

function add(entry) {
  if (!onlyHere.length) {
    try {
      localStorage.setItem(KEY, JSON.stringify([...stored(), entry]));
      return;
    } catch {
      // kept on this page only, and said
    }
  }
  onlyHere.push(entry);
}

function remove({ body }) {
  const others = (list) => list.filter((entry) => entry.body.request_id !== body.request_id);
  onlyHere = others(onlyHere);
  const rest = others(stored());
  try {
    if (rest.length) localStorage.setItem(KEY, JSON.stringify(rest));
    else localStorage.removeItem(KEY);
  } catch {
    // a shorter list that cannot be written: it is sent again and answered as the same request
  }
}

// One page at a time sends, so that two windows do not change the order.
const alone = (work) =>
  navigator.locks ? navigator.locks.request("ct.queue", work) : work();

export class Queue {
  // answered(entry, answer): the server answered. kept(count, why, lost): why is "network", "busy",
  // "sign-in" or "" once nothing waits; lost: how many would be lost if this page were closed.
  constructor({ answered, kept }) {
    this.answered = answered;
    this.kept = kept;
    this.failed = 0;
    this.timer = 0;
    this.running = false;
    this.stopped = false;
    addEventListener("online", () => this.send());
  }

  get length() {
    return read().length;
  }

  put(url, body) {
    add({ url, body });
    return this.send();
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
      why = await alone(() => this.#sendAll());
    } finally {
      this.running = false;
    }
    if (this.stopped) return;
    this.kept(this.length, why, onlyHere.length);
    if (why === "network" || why === "busy") {
      const wait = WAITS[Math.min(this.failed, WAITS.length - 1)];
      this.failed += 1;
      this.timer = setTimeout(() => this.send(), wait);
    } else if (!why && this.length) {
      this.timer = setTimeout(() => this.send(), 0); // came in while the last one was answered
    }
  }

  async #sendAll() {
    for (let first = read()[0]; first && !this.stopped; first = read()[0]) {
      const outcome = await this.#sendOne(first);
      if (typeof outcome === "string") return outcome;
      remove(first);
      this.failed = 0;
      this.answered(first, outcome);
    }
    return "";
  }

  // The answer, or the reason why it has to wait.
  async #sendOne({ url, body }) {
    let response;
    let answer;
    try {
      response = await fetch(url, {
        method: "POST",
        headers: { "Content-Type": "application/json", Accept: "application/json" },
        body: JSON.stringify(body),
        signal: AbortSignal.timeout(ANSWER_WITHIN),
      });
      answer = await response.json();
    } catch {
      return "network"; // none, or none of ours: something between us and the server spoke
    }
    if ([502, 503, 504, 507].includes(response.status)) return "busy";
    if (response.status === 401) return "sign-in";
    if (response.status === 500) {
      this.tries = this.last === body.request_id ? this.tries + 1 : 1;
      this.last = body.request_id;
      if (this.tries < TRIES_OF_A_FAILURE) return "busy";
    }
    return answer;
  }
}
