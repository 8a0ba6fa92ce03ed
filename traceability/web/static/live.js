// What other devices do on this prime is seen within two seconds: the page asks once a second for what
// came after the last entry it knows (a number of the ledger, so nothing is missed over a gap). Plan,
// places and count follow; the verdict strip stays this device's own.
const EVERY = 1000; // ms
const ANSWER_WITHIN = 5000;

export class Live {
  // came(answer): something new; reached(yes): whether the server answers;
  // refused(): this device may not see it any more.
  constructor(number, after, { came, reached, refused }) {
    this.url = `/prime/${encodeURIComponent(number)}/after`;
    this.after = after;
    this.came = came;
    this.reached = reached;
    this.refused = refused;
    this.tag = "";
    document.addEventListener("visibilitychange", () => this.ask());
    this.ask();
  }

  stop() {
    clearTimeout(this.timer);
    this.stopped = true;
  }

  async ask() {
    if (this.asking || this.stopped) return;
    clearTimeout(this.timer);
    if (document.visibilityState === "visible") {
      this.asking = true;
      try {
        await this.#askOnce();
      } finally {
        this.asking = false;
      }
    }
    if (!this.stopped) this.timer = setTimeout(() => this.ask(), EVERY);
  }

  async #askOnce() {
    let response;
    let answer;
    try {
      response = await fetch(`${this.url}?number=${this.after || 0}`, {
        headers: { Accept: "application/json", ...(this.tag ? { "If-None-Match": this.tag } : {}) },
        signal: AbortSignal.timeout(ANSWER_WITHIN), cache: "no-store",
      });
      if (response.status === 200) answer = await response.json();
    } catch {
      this.reached(false);
      return;
    }
    if (response.status === 403) this.refused();
    this.reached(![502, 503, 504].includes(response.status));
    if (!answer || answer.after === undefined) return;
    this.tag = response.headers.get("ETag") ?? "";
    const first = !this.after;
    this.after = answer.after;
    this.came(answer, first);
  }
}
