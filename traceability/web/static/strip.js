// The verdict strip, the plan, the places and the acts: what the answer to a scan changes.
// Beads are the same as in marks.html.

const SVG = "http://www.w3.org/2000/svg";
const FIELDS = { accepted: "field-pine", "look-again": "field-plum", stop: "field-act" };
const SHAPES = { accepted: "whole", "look-again": "wait", stop: "shut" };
const PLACE_WORDS = {
  recorded: "whole", "inside the pack": "half", empty: "open", "waits for a person": "wait",
  "not fitted": "off", ticked: "tick", "not ticked": "untick",
};
const PACK_WORDS = "inside the pack, inner lot not known";
const PATHS = {
  whole: ["m-whole", [["circle", { class: "m-whole", r: "9.5" }]]],
  half: ["m-half", [["path", { d: "M-1.6-9.5A9.5 9.5 0 0 0-1.6 9.5Z" }],
    ["path", { d: "M2.2-8.3A8.3 8.3 0 0 1 2.2 8.3Z" }]]],
  open: ["", [["path", { class: "m-open", d: "M4.3-7.4A8.6 8.6 0 1 1-4.3-7.4" }]]],
  wait: ["m-wait", [["path", { d: "M-11-1.2A8.9 8.9 0 0 1 6.8-1.2Z" }],
    ["path", { d: "M-6.8 1.2A8.9 8.9 0 0 0 11 1.2Z" }]]],
  shut: ["", [["path", { class: "m-shut", d: "M-11-8.5L0-2.2 11-8.5V8.5L0 2.2-11 8.5Z" }]]],
  off: ["", [["rect", { class: "m-off", x: "-9", y: "-1.7", width: "18", height: "3.4" }]]],
  tick: ["m-tick", [["rect", { x: "-7", y: "-7", width: "14", height: "14" }],
    ["path", { d: "M-3.6 0L-.8 3 4-3.6" }]]],
  untick: ["m-tick", [["rect", { x: "-7", y: "-7", width: "14", height: "14" }]]],
};

const shape = (name, attributes) => {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
};

export function mark(kind, px) {
  const svg = shape("svg", {
    class: "mk", "aria-hidden": "true", width: px, height: px, viewBox: "-12 -12 24 24",
  });
  const [group, parts] = PATHS[kind] ?? PATHS.open;
  const into = group ? svg.appendChild(shape("g", { class: group })) : svg;
  for (const [name, attributes] of parts) into.append(shape(name, attributes));
  return svg;
}

export const element = (name, css = "", text = "") => {
  const made = document.createElement(name);
  if (css) made.className = css;
  if (text) made.textContent = text;
  return made;
};

// "…, lot 4K0O17I1, expires …": letters of the lot get their line; the text stays the same.
const LOT = /\b(lot|lots|serial|notice) (\S+?)(?=[,.;]?(?:\s|$))/giu;

export function withLots(text) {
  const into = document.createDocumentFragment();
  let from = 0;
  for (const found of text.matchAll(LOT)) {
    if (!/\d/.test(found[2])) continue; // "lot not known" names none
    const start = found.index + found[1].length + 1;
    into.append(text.slice(from, start), lot(found[2]));
    from = start + found[2].length;
  }
  into.append(text.slice(from));
  return into;
}

export function lot(text) {
  const made = element("span", "lot");
  for (const run of text.split(/([A-Za-z]+)/)) {
    if (/^[A-Za-z]/.test(run)) made.append(element("b", "", run));
    else made.append(run);
  }
  return made;
}

// Everything in one go, so that a reader speaks the strip once.
export function showStrip(strip, said) {
  const word = element("p", "word", said.word);
  const length = said.sentence.length;
  const what = element("p", `what${length > 62 ? " longer" : length > 44 ? " long" : ""}`);
  what.append(withLots(said.sentence));
  const lines = element("p", "do");
  for (const line of said.lines ?? []) {
    const shown = element("span");
    shown.append(withLots(line));
    lines.append(shown);
  }
  const count = element("p", "left");
  if (said.of === undefined) {
    count.append(...(strip.querySelector(".left")?.cloneNode(true).childNodes ?? []));
  } else {
    count.append(element("b", "", String(said.recorded)), ` `, element("span", "", `of ${said.of} recorded`));
  }
  const rail = element("div", "rail");
  rail.setAttribute("aria-hidden", "true");
  rail.append(element("i"), element("i"), element("i"));
  strip.className = `strip ${said.verdict} ${FIELDS[said.verdict] ?? ""}`;
  strip.replaceChildren(mark(SHAPES[said.verdict] ?? "open", 166), word, what, lines, count, rail);
  document.body.classList.toggle("stopframe", said.verdict === "stop");
}

// Only the places that changed are put in, one group each.
export function patchPlan(svg, groups) {
  for (const [id, text] of Object.entries(groups ?? {})) {
    const old = svg.querySelector(`#slot-${CSS.escape(id)}`);
    if (!old || old.dataset.source === text) continue;
    const parsed = new DOMParser().parseFromString(`<svg xmlns="${SVG}">${text}</svg>`, "image/svg+xml");
    const fresh = parsed.documentElement.firstElementChild;
    if (!fresh || parsed.querySelector("parsererror")) {
      location.reload(); // a picture that cannot be read is fetched whole
      return;
    }
    const node = document.importNode(fresh, true);
    node.dataset.source = text;
    if (old.dataset.source !== undefined || old.textContent !== node.textContent) node.classList.add("settled");
    old.replaceWith(node);
  }
}

export function patchPlaces(list, places) {
  const rows = [...list.querySelectorAll("button")];
  (places ?? []).forEach(({ name, states }, index) => {
    const row = rows[index];
    if (!row || row.querySelector(".is").textContent === states) return;
    row.querySelector(".name").textContent = name;
    row.querySelector(".is").textContent = states;
    row.querySelector(".beads").replaceChildren(
      ...states.replaceAll(PACK_WORDS, "inside the pack").split(", ").map((word) => mark(PLACE_WORDS[word] ?? "open", 24)),
    );
  });
}

export function showActs(row, said) {
  for (const old of row.querySelectorAll(".choice")) old.remove();
  const choices = said.choices ?? [];
  const named = said.named ?? [];
  for (const button of row.querySelectorAll(".card-act")) {
    button.classList.toggle("named", named.some(({ act }) => act === button.dataset.act));
  }
  row.classList.toggle("asks", choices.length > 0);
  const eighth = row.querySelector("[data-eighth]");
  if (said.eighth) {
    eighth.dataset.act = said.eighth.act;
    eighth.replaceChildren(said.eighth.label, element("small", "", `card ${said.eighth.card}`));
    const isWanted = said.verdict === "look-again" || said.verdict === "stop";
    eighth.classList.toggle("wanted", isWanted && said.eighth.act !== "PAUSE");
  }
  const places = choices.filter(({ act }) => act !== "count");
  for (const { value, label, act, card } of choices) {
    const button = element("button", "wanted choice", label);
    button.type = "button";
    button.dataset.act = act;
    button.dataset.choice = value;
    if (card) button.append(element("small", "", `card ${card}`));
    else if (act !== "count") {
      const nth = places.findIndex((each) => each.value === value && each.act === act) + 1;
      button.dataset.number = nth;
      button.append(element("small", "", `number card ${nth}`));
    }
    eighth.before(button);
  }
  // A card that a sentence names is on the screen, also where no button of the row has it.
  for (const { act, label, card } of named) {
    if (row.querySelector(`.card-act[data-act="${CSS.escape(act)}"]`)) continue;
    const button = element("button", "choice", label);
    button.type = "button";
    button.dataset.act = act;
    button.append(element("small", "", `card ${card}`));
    eighth.before(button);
  }
  const next = row.querySelector("[data-next]");
  if (next && said.next) {
    next.href = said.next.url;
    next.classList.toggle("main", said.next.solid);
    const small = element("small", "", `card ${said.next.card ?? 7}. ${said.next.missing}`);
    next.replaceChildren(said.next.label, small);
  }
}
