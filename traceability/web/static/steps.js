// Steps of the procedure at the trolley: what is asked, the number being said by cards or large keys,
// and, as plain text and without a sound, how long ago a step was begun.

const ONE_SCAN = 1500; // ms: the same card within it was read twice
const LONGEST = 12; // characters; no reading has more

export class Steps {
  // pad: the form of large keys. top: the texts of the top line. give(): the number is whole.
  // scan(): a card that was held back goes its way.
  constructor({ pad, top, next, give, scan }) {
    Object.assign(this, { pad, top, next, give, scan, asking: null, entry: "", last: ["", 0] });
    Object.assign(this, { waiting: false, held: [] });
    this.cards = pad ? JSON.parse(pad.dataset.cards) : {};
    pad?.addEventListener("click", (event) => this.#touched(event));
    pad?.addEventListener("submit", (event) => event.preventDefault());
    setInterval(() => this.#tell(), 5000);
    this.#tell();
  }

  // What goes with every scan and act: the step that the button shows, and what was asked.
  get body() {
    const made = {};
    if (this.next?.dataset.step) made.step = this.next.dataset.step;
    if (this.asking) made.asking = this.asking;
    if (this.entry) made.said = this.entry;
    return made;
  }

  get isAsked() {
    return Boolean(this.next?.dataset.step || this.asking);
  }

  // A card of the pad, while a number is asked for. Everything else is a scan like any other.
  takes(text) {
    const card = this.cards[text.replace(/^\][A-Za-z]./u, "")];
    if (this.waiting && card && card !== "enter" && card !== "back") {
      this.held.push(text); // the hand was faster than the answer: it may ask for this number
      return true;
    }
    if (card === "enter" && !this.asking) this.waits();
    const key = this.asking?.pad && card;
    if (!key || (!this.entry && (key === "enter" || key === "back"))) return false;
    const now = performance.now();
    const [before, at] = this.last;
    this.last = [text, now];
    if (before === text && now - at < ONE_SCAN) return true;
    this.#press(key);
    return true;
  }

  // Next step was said: until it is answered a number card is no count of parts.
  waits() {
    if (this.next?.dataset.step && !this.asking) this.waiting = true;
  }

  release() {
    this.waiting = false;
    for (const text of this.held.splice(0)) this.scan(text);
  }

  show(said) {
    this.#ask(said);
    this.release();
  }

  #ask(said) {
    this.asking = said.asking ?? null;
    this.entry = "";
    const pad = this.asking?.pad;
    if (this.pad) this.pad.hidden = !pad;
    if (pad) {
      this.pad.classList.toggle("brief", !pad.unit); // which step: the choices stand beside it
      this.pad.querySelector("[data-pad-label]").textContent = pad.label;
      this.pad.querySelector("[data-pad-unit]").textContent = pad.unit;
      this.#shown();
    }
    if (said.next && this.next) this.next.dataset.step = said.next.step ?? "";
    if (!said.steps || !this.top) return;
    this.top.querySelector("[data-step-line]").textContent = said.steps.line;
    this.top.querySelector("[data-step-said]").textContent = said.steps.said;
    const since = this.top.querySelector("[data-step-since]");
    for (const name of ["begun_at", "name", "minutes"]) since.dataset[name] = said.steps[name] ?? "";
    this.#tell();
  }

  #touched(event) {
    const key = event.target.closest("[data-key]");
    if (!key) return;
    key.blur(); // the next scan's Enter must not press it again
    this.#press(key.dataset.key);
  }

  #press(key) {
    if (key === "enter") {
      if (this.entry) this.give(this.entry);
      return;
    }
    if (key === "back") this.entry = this.entry.slice(0, -1);
    else if (key === "-") this.entry = this.entry.startsWith("-") ? this.entry.slice(1) : `-${this.entry}`;
    else if (this.entry.length + key.length <= LONGEST && !(key === "." && this.entry.includes("."))) {
      this.entry += key;
    }
    this.#shown();
  }

  #shown() {
    this.pad.querySelector("[data-pad-entry]").textContent = this.entry || "–";
  }

  #tell() {
    const since = this.top?.querySelector("[data-step-since]");
    if (!since) return;
    const { begun_at: begun, name, minutes } = since.dataset;
    if (!begun) {
      since.textContent = "";
      return;
    }
    const ago = Math.max(0, Math.floor((Date.now() - Date.parse(begun)) / 60000));
    since.textContent = `${name}: ${ago} of ${minutes} min`;
  }
}
