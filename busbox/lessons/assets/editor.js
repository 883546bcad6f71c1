// Own maps: one card a slot. What is refused is said at its field, and the map that is shown stays the last
// good one.

import { parseBits, showBits } from "./bits.js";
import { MOST_SLOTS, refusals } from "./board.js";
import { made } from "./elements.js";
import { Entry, NumberEntry } from "./typed.js";
import { hex } from "./words.js";

/** @typedef {import("./decoder.js").Slot} Slot */
/** @typedef {import("./board.js").Board} Board */

const DECODES = [["full", "all bits above the size"], ["compare", "only these bits"], ["range", "a range of any size"]];

/** @param {string} label @param {string[][]} options @param {string} value */
function choice(label, options, value) {
  const box = made("label", label, "entry");
  const select = /** @type {HTMLSelectElement} */ (document.createElement("select"));
  for (const [key, text] of options) {
    const option = /** @type {HTMLOptionElement} */ (made("option", text));
    option.value = key;
    select.append(option);
  }
  select.value = value;
  box.append(select);
  return { box, select };
}

/** @param {string} text @param {() => void} act */
function button(text, act) {
  const one = /** @type {HTMLButtonElement} */ (made("button", text));
  one.type = "button";
  one.addEventListener("click", act);
  return one;
}

/** The fields of a slot. */
class Card {
  /** @param {Slot} slot @param {string[]} models @param {() => void} changed @param {() => void} removed */
  constructor(slot, models, changed, removed) {
    this.slot = slot;
    this.box = made("fieldset", "", "card");
    this.name = new Entry("name", slot.name);
    this.model = choice("device", models.map((one) => [one, one]), slot.model);
    this.base = new NumberEntry("base", hex(slot.base, 8), { asks: true });
    this.size = new NumberEntry("size in bytes", hex(slot.size), { asks: true, most: 1n << 32n });
    this.decode = choice("the decoder compares", DECODES, slot.decode);
    this.compare = new Entry("compared bits", showBits(slot.compare));
    this.wait = new NumberEntry("wait states", String(slot.wait));
    this.ways = made("div", "", "ways");
    this.note = made("p", "", "note");
    this.note.setAttribute("role", "status");
    const fields = [this.name, this.base, this.size, this.compare, this.wait];
    for (const field of fields) field.act = changed;
    for (const one of [this.model, this.decode]) one.select.addEventListener("change", changed);
    this.box.append(
      made("legend", slot.name), this.name.box, this.model.box, this.base.box, this.size.box, this.decode.box,
      this.compare.box, this.wait.box, this.ways, this.note, button(`Remove ${slot.name}`, removed),
    );
    this.changed = changed;
  }

  /** Show the slots that this one may give way to. @param {string[]} names */
  offer(names) {
    const group = made("fieldset", "", "yields");
    group.append(made("legend", "where both answer, give way to"));
    for (const name of names) {
      const label = made("label", "");
      const box = /** @type {HTMLInputElement} */ (document.createElement("input"));
      box.type = "checkbox";
      box.value = name;
      box.checked = this.slot.yields.includes(name);
      box.addEventListener("change", () => this.changed());
      label.append(box, ` ${name}`);
      group.append(label);
    }
    this.ways.replaceChildren(...(names.length ? [group] : []));
  }

  /** Return the slot, or null if a field cannot be read. @returns {Slot | null} */
  read() {
    const decode = this.decode.select.value;
    this.compare.box.hidden = decode !== "compare";
    this.name.say("");
    this.note.textContent = "";
    const [base, size, wait] = [this.base.read(), this.size.read(), this.wait.read()];
    const bits = decode === "compare" && this.compare.input.value.trim() ? parseBits(this.compare.input.value) : { bits: [] };
    this.compare.say("problem" in bits ? bits.problem : "");
    if (base === null || size === null || wait === null || !("bits" in bits)) return null;
    const yields = [...this.ways.querySelectorAll("input")].filter((one) => one.checked).map((one) => one.value);
    this.slot = {
      name: this.name.input.value.trim(), model: this.model.select.value, base: Number(base), size: Number(size),
      wait: Number(wait), decode, compare: bits.bits, yields,
    };
    return this.slot;
  }

  /** @param {string} field @param {string} text */
  refuse(field, text) {
    const entry = /** @type {Record<string, Entry>} */ ({
      name: this.name, base: this.base, size: this.size, compare: this.compare, wait: this.wait,
    })[field];
    if (entry) entry.say(text);
    else this.note.textContent = text;
  }
}

/** The cards of all slots, and of what happens where nobody answers. */
export class Editor {
  /** @param {HTMLElement} place @param {Board} board */
  constructor(place, board) {
    this.board = board;
    this.cards = /** @type {Card[]} */ ([]);
    this.list = made("div", "", "cards");
    this.status = made("p", "", "status");
    this.status.setAttribute("role", "status");
    this.unanswered = choice("where nobody answers", [["error", "the bus answers ERR"], ["silence", "silence"]], "error");
    this.watchdog = new NumberEntry("watchdog, in cycles (empty: none)", "", { most: 999_999_999n });
    this.unanswered.select.addEventListener("change", () => this.apply());
    this.watchdog.act = () => this.apply();
    this.add = button("Add a slot", () => this.addSlot());
    const bar = made("div", "", "tools");
    bar.append(this.add, button("Back to the common map", () => this.board.take(this.board.common, { unanswered: "error", watchdog: null })));
    const fabric = made("fieldset", "", "card");
    fabric.append(made("legend", "all of the bus"), this.unanswered.box, this.watchdog.box);
    place.append(this.status, this.list, fabric, bar);
    /** What the board held when it was last shown here. @type {unknown[]} */
    this.seen = [];
    board.onChange(() => this.follow());
  }

  /** Show a map that came from elsewhere. */
  follow() {
    const { slots, fabric } = this.board;
    if (this.seen[0] === slots && this.seen[1] === fabric) return;
    this.seen = [slots, fabric];
    this.unanswered.select.value = fabric.unanswered;
    this.watchdog.input.value = fabric.watchdog === null ? "" : String(fabric.watchdog);
    this.show(slots);
    this.apply();
  }

  /** @param {Slot[]} slots */
  show(slots) {
    this.cards = slots.map((slot) => {
      const card = new Card(slot, Object.keys(this.board.models), () => this.apply(), () => this.remove(card));
      return card;
    });
    this.list.replaceChildren(...this.cards.map((card) => card.box));
    this.offer();
  }

  offer() {
    const names = this.cards.map((card) => card.slot.name);
    for (const [number, card] of this.cards.entries()) card.offer(names.filter((_, place) => place !== number));
    this.add.disabled = this.cards.length >= MOST_SLOTS;
  }

  /** @param {Card} card */
  remove(card) {
    const left = this.cards.filter((one) => one !== card).map((one) => one.slot);
    this.show(left.map((slot) => ({ ...slot, yields: slot.yields.filter((name) => name !== card.slot.name) })));
    this.apply();
    this.add.focus();
  }

  addSlot() {
    const slots = this.cards.map((card) => card.slot);
    const names = slots.map((slot) => slot.name);
    let number = 1;
    while (names.includes(`slot${number}`)) number++;
    const end = Math.max(0, ...slots.map((slot) => slot.base + slot.size));
    const base = Math.min(2 ** 32 - 0x1000, Math.ceil(end / 0x1000) * 0x1000);
    this.show([...slots, {
      name: `slot${number}`, model: "memory", base, size: 0x1000, decode: "full", compare: [], wait: 1, yields: [],
    }]);
    this.apply();
    this.cards[this.cards.length - 1].name.input.focus();
  }

  /** Read all fields; take the map if it is good, else say why not. */
  apply() {
    const names = this.cards.map((card) => card.slot.name);
    const slots = this.cards.map((card) => card.read());
    const text = this.watchdog.input.value.trim();
    let watchdog = text ? this.watchdog.read() : null;
    if (!text) this.watchdog.say("");
    if (watchdog === 0n) this.watchdog.say("must be at least 1, or empty for none");
    const good = slots.filter((slot) => slot !== null);
    const found = good.length === slots.length ? refusals(good) : [];
    for (const one of found) this.cards[one.slot].refuse(one.field, one.text);
    const isGood = good.length === slots.length && !found.length && watchdog !== 0n && (!text || watchdog !== null);
    this.status.textContent = isGood ? "" : "This map is refused; the reason stands at its field. Above, the last good map is shown.";
    this.status.classList.toggle("refused", !isGood);
    if (!isGood) return;
    const same = JSON.stringify(good) === JSON.stringify(this.board.slots);
    const fabric = { unanswered: this.unanswered.select.value, watchdog: watchdog === null ? null : Number(watchdog) };
    if (same && JSON.stringify(fabric) === JSON.stringify(this.board.fabric)) return;
    if (names.join() !== good.map((slot) => slot.name).join()) this.renamed(names, good);
    this.seen = [good, fabric];
    this.board.take(good, fabric);
  }

  /** Follow a slot that got another name. @param {string[]} names before @param {Slot[]} slots */
  renamed(names, slots) {
    for (const slot of slots) {
      slot.yields = slot.yields.map((name) => slots[names.indexOf(name)]?.name ?? name);
    }
    this.offer();
    for (const card of this.cards) {
      const legend = card.box.querySelector("legend");
      if (legend) legend.textContent = card.slot.name;
    }
  }
}
