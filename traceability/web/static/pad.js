// The pad of large keys: for print that no scanner reads, by a gloved hand. What is typed is kept as
// typed. A keyboard types into its fields as well; a scan while it is open goes where scans go.
import { lot } from "./strip.js";

export class Pad {
  // send(values): what was typed, by the names of the fields that were asked for.
  constructor(form, { send }) {
    this.form = form;
    this.into = null;
    this.capital = true;
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const asked = this.#fields().filter((each) => !each.closest("label").hidden);
      const values = Object.fromEntries(asked.map((each) => [each.name, each.value.trim()]));
      if (!Object.values(values)[0]) {
        asked[0]?.focus(); // nothing typed yet
        return;
      }
      this.sent = true;
      this.open(false);
      send(values);
    });
    form.addEventListener("mousedown", (event) => {
      if (event.target.closest("button")) event.preventDefault(); // the field keeps the focus
    });
    form.addEventListener("click", (event) => {
      const key = event.target.closest("[data-key]");
      if (key) this.#press(key.dataset.key);
    });
    form.addEventListener("focusin", ({ target }) => {
      if (target.tagName === "INPUT") this.#turnTo(target);
    });
    form.addEventListener("input", () => this.#show());
  }

  // The answer to what was sent: refused, it is shown again to be set right; else it is done with.
  answered(refused) {
    if (refused && this.sent) this.open(true, this.asked);
    else this.form.reset();
    this.sent = false;
  }

  get isOpen() {
    return !this.form.hidden;
  }

  // fields: which of them are asked for; name: of what.
  open(open, asked = {}) {
    const { fields = ["text"], name = "" } = asked;
    if (open) this.asked = asked;
    this.form.hidden = !open;
    document.body.classList.toggle("pad-open", open);
    if (!open) {
      this.form.contains(document.activeElement) && document.activeElement.blur();
      return;
    }
    for (const each of this.#fields()) each.closest("label").hidden = !fields.includes(each.name);
    this.form.querySelector("[data-pad-name]").textContent = name;
    this.#turnTo(this.form.elements[fields[0]]);
    this.into.focus();
  }

  #fields() {
    return [...this.form.querySelectorAll("input")];
  }

  #turnTo(field) {
    this.into = field;
    this.#show();
  }

  #press(key) {
    if (key === "case") {
      this.capital = !this.capital;
      for (const each of this.form.querySelectorAll("[data-key]")) {
        if (!/^[a-z]$/iu.test(each.dataset.key)) continue;
        each.dataset.key = this.capital ? each.dataset.key.toUpperCase() : each.dataset.key.toLowerCase();
        each.textContent = each.dataset.key;
      }
      return;
    }
    const { value, maxLength } = this.into;
    if (key === "delete") this.into.value = value.slice(0, -1);
    else if (value.length < maxLength) this.into.value = value + key;
    this.#show();
  }

  // As it will stand on the strip: each letter has its line, so O and 0 differ.
  #show() {
    const shown = this.form.querySelector("[data-pad-shown]");
    const text = this.into?.value ?? "";
    shown.replaceChildren(lot(text));
  }
}
