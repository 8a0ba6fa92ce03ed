// A photo of all that is laid out: its packs with their boxes, what each would do, and one touch that
// lets them be filled in. Nothing is recorded before that touch; each pack is then an act of its own.
import { mark, withLots } from "./strip.js";

const SVG = "http://www.w3.org/2000/svg";
const LARGE = 12000000; // bytes: larger ones are made smaller here, or they are not taken
const ENOUGH = 4600; // dots along the longer side
const WAITS = [1000, 2000, 4000, 8000];
const WITHIN = 60000; // ms

const made = (name, attributes = {}, ...inside) => {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...inside);
  return element;
};
const drawn = (name, attributes) => {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
};
const listed = (numbers) =>
  numbers.length < 2 ? String(numbers[0]) : `${numbers.slice(0, -1).join(", ")} and ${numbers.at(-1)}`;

export class Photo {
  constructor({ number, opened, closed }) {
    Object.assign(this, { number, opened, closed, turn: 0, rows: [], waiting: new Map(), url: "" });
    this.root = document.querySelector("[data-photo]");
    const part = (name) => this.root.querySelector(`[data-${name}]`);
    this.figure = part("picture");
    this.says = part("photo-says");
    this.missing = part("photo-missing");
    this.button = part("fill");
    this.signIn = part("photo-sign-in");
    this.list = part("packs");
    this.signIn.href = `/sign-in?next=${encodeURIComponent(location.pathname)}`;
    this.button.addEventListener("click", () => this.fill());
    part("photo-close").addEventListener("click", (event) => this.close(event));
    this.list.addEventListener("change", () => this.#label());
    document.addEventListener("answered", ({ detail }) => this.#answered(detail));
  }

  get isOpen() {
    return !this.root.hidden;
  }

  close(event) {
    this.turn += 1;
    this.root.hidden = true;
    this.blob = null;
    this.keep = "";
    if (this.url) URL.revokeObjectURL(this.url);
    this.url = "";
    this.figure.replaceChildren();
    this.list.replaceChildren();
    this.closed(event);
  }

  // ---- looking -----------------------------------------------------------------------------------
  async look(file, said = new Map()) {
    const mine = ++this.turn;
    this.opened();
    this.root.hidden = false;
    this.#empty();
    this.#say("Reading the photo.");
    const blob = await smaller(file);
    if (mine !== this.turn) return;
    this.blob = blob;
    const image = await this.#show(blob);
    const answer = await this.#send(`/prime/${this.number}/photo`, blob, mine);
    if (mine !== this.turn || !answer) return;
    if (!answer.packs) {
      this.#say(answer.sentence ?? "The server could not do this. Take the photo again.");
      return;
    }
    this.keep = answer.keep_id;
    this.#say(answer.sentence);
    this.missing.textContent = answer.missing;
    this.rows = answer.packs.map((pack) => this.#row(pack));
    for (const row of this.rows) {
      const before = said.get(row.numbers.join());
      if (before?.fate !== row.pack.fate) continue;
      if (row.tick) row.tick.checked = before.ticked;
      if (row.place && [...row.place.options].some(({ value }) => value === before.place)) row.place.value = before.place;
    }
    this.list.replaceChildren(...this.rows.map((row) => row.element));
    if (image) this.figure.append(boxes(answer.packs, image));
    this.filled = false;
    this.#label();
    this.root.focus({ preventScroll: true }); // not on the button: a stray Enter may fill nothing in
  }

  // What a person has said of each pack so far: the same photo, looked over again, keeps it.
  #said() {
    return new Map(this.rows.map((row) => [
      row.numbers.join(),
      { fate: row.pack.fate, ticked: row.tick?.checked ?? false, place: row.place?.value },
    ]));
  }

  #empty() {
    this.rows = [];
    this.filled = true;
    this.button.hidden = true;
    this.signIn.hidden = true;
    this.missing.textContent = "";
    this.list.replaceChildren();
    this.figure.replaceChildren();
  }

  #say(text) {
    this.says.replaceChildren(text);
  }

  async #show(blob) {
    if (this.url) URL.revokeObjectURL(this.url);
    this.url = URL.createObjectURL(blob);
    const image = made("img", { src: this.url, alt: "The photo, with a numbered box on each code that was read" });
    try {
      await image.decode();
    } catch {
      return null; // the server says what is wrong with it
    }
    this.figure.replaceChildren(image);
    return image;
  }

  // The answer; the photo stays on this page and is sent again until there is one. Null: not now.
  async #send(url, blob, mine) {
    for (let failed = 0; mine === this.turn; failed += 1) {
      let response = null;
      try {
        response = await fetch(url, {
          method: "POST",
          headers: { "Content-Type": blob.type || "application/octet-stream", Accept: "application/json" },
          body: blob,
          signal: AbortSignal.timeout(WITHIN),
        });
        if (response.status === 401) {
          this.#say("Sign in to go on. The photo is not sent yet: take it again after that.");
          this.signIn.hidden = false;
          return null;
        }
        if (![502, 503, 504, 507].includes(response.status)) return await response.json();
      } catch {
        response = null;
      }
      if (mine !== this.turn) return null;
      const why = response ? "The server did not answer yet." : "No network.";
      this.#say(`${why} The photo is kept on this page and sent again by itself. Leave the page open, or go on with the scanner.`);
      await again(WAITS[Math.min(failed, WAITS.length - 1)]);
    }
    return null;
  }

  // ---- rows --------------------------------------------------------------------------------------
  #row(pack) {
    const numbers = pack.boxes.map((each) => each.number);
    const bead = made("span", { class: "bead" }, mark(pack.mark, 28));
    const says = made("span", { class: "is" }, pack.says);
    const words = made("div", {}, made("span", { class: "name" }, withDates(withLots(pack.title))), says);
    for (const line of pack.lines) words.append(made("span", { class: "dim" }, line));
    let tick = null;
    let place = null;
    if (pack.places.length) {
      place = made("select", { "aria-label": `Place for box ${listed(numbers)}` });
      for (const { value, label } of pack.places) place.append(made("option", { value }, label));
      words.append(place);
    }
    if (pack.asks && pack.fill) {
      tick = made("input", { type: "checkbox" });
      words.append(made("label", { class: "tick" }, tick, ` ${pack.asks}`));
    }
    const element = made("li", { class: pack.fate }, made("b", { class: "no" }, numbers.join(" + ")), bead, words);
    return { pack, numbers, element, bead, says, tick, place };
  }

  #chosen() {
    return this.rows.filter((row) => row.pack.fill && (row.tick ? row.tick.checked : row.pack.fate === "fills"));
  }

  #label() {
    const count = this.#chosen().length;
    this.button.hidden = this.filled || !count;
    this.button.replaceChildren(
      `Fill in ${count === 1 ? "1 pack" : `${count} packs`}`,
      made("small", {}, "card 16, as read"),
    );
  }

  // ---- filling -----------------------------------------------------------------------------------
  // True where there was something to fill in.
  fill() {
    const chosen = this.isOpen && !this.filled ? this.#chosen() : [];
    if (!chosen.length) return false;
    this.filled = true;
    this.button.hidden = true;
    this.#say("Filling in.");
    const at = new Date().toISOString();
    this.back = [];
    this.done = 0;
    for (const row of this.rows) {
      if (row.tick) row.tick.disabled = true;
      if (row.place) row.place.disabled = true;
    }
    for (const row of chosen) this.waiting.set(row.pack.fill.request_id, row);
    for (const row of chosen) {
      const detail = { ...row.pack.fill, channel: "photo", at };
      if (row.place) detail.slot = row.place.value;
      document.dispatchEvent(new CustomEvent("put-scan", { detail }));
    }
    return true;
  }

  #answered({ body, answer }) {
    const row = this.waiting.get(body.request_id);
    if (!row) {
      // Something else came in meanwhile: what the photo would do is another thing now.
      if (this.isOpen && !this.filled && this.blob) this.look(this.blob, this.#said());
      return;
    }
    this.waiting.delete(body.request_id);
    const accepted = answer.verdict === "accepted";
    if (accepted) this.done += 1;
    else this.back.push(...row.numbers);
    row.says.textContent = accepted ? `In: ${answer.sentence}` : `${answer.word ?? "Look again"}: ${answer.sentence}`;
    row.bead.replaceChildren(mark(accepted ? "whole" : "shut", 28));
    if (!this.waiting.size) this.#all(answer);
  }

  async #all(last) {
    const packs = this.done === 1 ? "1 pack is" : `${this.done} packs are`;
    const back = this.back.length ? ` Asked back: box ${listed(this.back)}. Scan it.` : "";
    this.#say(`${packs} in.${back}`);
    this.missing.textContent = `${last.missing}.`;
    const { keep, blob, turn } = this;
    if (!keep || !this.done) return;
    const answer = await this.#send(`/prime/${this.number}/photo/keep?request_id=${keep}`, blob, turn);
    if (turn !== this.turn || !answer) return;
    const kept = answer.kept ? "The photo is kept as evidence." : answer.sentence;
    this.#say(`${packs} in.${back} ${kept}`);
  }
}

const again = (ms) =>
  new Promise((done) => {
    const timer = setTimeout(go, ms);
    function go() {
      clearTimeout(timer);
      removeEventListener("online", go);
      done();
    }
    addEventListener("online", go);
  });

// No date is broken over two lines.
function withDates(fragment) {
  for (const node of [...fragment.childNodes]) {
    if (node.nodeType !== Node.TEXT_NODE) continue;
    const parts = node.data.split(/(\d{4}-\d\d(?:-\d\d)?)/u);
    node.replaceWith(...parts.map((part, i) => (i % 2 ? made("span", { class: "nw" }, part) : part)));
  }
  return fragment;
}

// A photo that is too large to be sent is made smaller here, upright, with its dots alone.
async function smaller(file) {
  if (file.size <= LARGE) return file;
  try {
    const whole = await createImageBitmap(file);
    const part = Math.min(1, ENOUGH / Math.max(whole.width, whole.height));
    const canvas = made("canvas");
    canvas.width = Math.round(whole.width * part);
    canvas.height = Math.round(whole.height * part);
    canvas.getContext("2d").drawImage(whole, 0, 0, canvas.width, canvas.height);
    whole.close();
    const blob = await new Promise((done) => { canvas.toBlob(done, "image/jpeg", 0.92); });
    return blob ?? file;
  } catch {
    return file; // the server says what is wrong with it
  }
}

// The boxes over the picture: each kind has its own line, so that none is told by colour alone.
function boxes(packs, image) {
  const { naturalWidth: wide, naturalHeight: tall } = image;
  const svg = drawn("svg", { class: "boxes", viewBox: `0 0 ${wide} ${tall}`, "aria-hidden": "true" });
  const size = Math.max(wide / 34, tall / 26);
  for (const pack of packs) {
    for (const { number, corners } of pack.boxes) {
      const group = drawn("g", { class: pack.fate });
      const points = corners.map(([x, y]) => `${x},${y}`).join(" ");
      group.append(drawn("polygon", { class: "ground", points }), drawn("polygon", { points }));
      const left = Math.min(...corners.map(([x]) => x));
      const top = Math.min(...corners.map(([, y]) => y));
      const x = Math.min(Math.max(left, size * 0.9), wide - size * 0.9);
      const y = Math.min(Math.max(top, size * 0.9), tall - size * 0.9);
      group.append(drawn("circle", { cx: x, cy: y, r: size * 0.8 }));
      const text = drawn("text", { x, y: y + size * 0.36, "font-size": size, "text-anchor": "middle" });
      text.textContent = String(number);
      group.append(text);
      svg.append(group);
    }
  }
  return svg;
}
