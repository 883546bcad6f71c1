// The fields of an answer.

import { parseLanes } from "./bits.js";
import { made } from "./elements.js";
import { Entry, NumberEntry } from "./typed.js";
import { hex } from "./words.js";

/** @typedef {import("./judge.js").Field} Field */

/** A number as a student would write it in a field. @param {Field} field @param {bigint} value */
export function shown(field, value) {
  if (field.kind === "choice") return field.choices[Number(value)] ?? String(value);
  if (field.kind === "bits") return value.toString(2).padStart(4, "0");
  return field.hexadecimal ? hex(Number(value)) : String(value);
}

/** What stands in a field at first: nothing, or what is to be changed. @param {Field} field */
function givenText(field) {
  return field.given === null ? "" : shown(field, BigInt(field.given));
}

/** One part of an answer. */
class Part {
  /** @param {Field} field @param {string} text @param {() => void} changed */
  constructor(field, text, changed) {
    this.field = field;
    // The name of a constant says more than what it is.
    const label = /^[A-Z]/.test(field.name) ? `${field.name} (${field.label})` : field.label;
    this.entry = field.kind === "number" ? new NumberEntry(label, text, { asks: field.hexadecimal })
      : new Entry(field.kind === "bits" ? `${label}, lanes 3 2 1 0` : label, text, "number");
    this.box = this.entry.box;
    this.entry.act = changed;
    /** @type {HTMLInputElement[]} */
    this.choices = [];
    if (field.kind === "choice") this.choose(text, changed);
  }

  /** Offer words in place of the field. @param {string} text @param {() => void} changed */
  choose(text, changed) {
    const group = made("fieldset", "", "choices");
    group.append(made("legend", this.entry.label.textContent ?? ""));
    for (const word of this.field.choices) {
      const label = made("label", "");
      const radio = /** @type {HTMLInputElement} */ (document.createElement("input"));
      radio.type = "radio";
      radio.name = this.entry.input.id;
      radio.value = word;
      radio.checked = word === text;
      radio.addEventListener("change", changed);
      label.append(radio, ` ${word}`);
      group.append(label);
      this.choices.push(radio);
    }
    group.append(this.entry.note);
    this.box = group;
  }

  /** What was typed or chosen. */
  get text() {
    if (!this.choices.length) return this.entry.input.value;
    return this.choices.find((one) => one.checked)?.value ?? "";
  }

  /** Return the value, or null and say what is wrong. @returns {bigint | null} */
  read() {
    const { field } = this;
    if (!this.text.trim() && field.given !== null) {
      this.entry.say("");
      return BigInt(field.given);
    }
    if (this.entry instanceof NumberEntry) return this.entry.read();
    const found = field.kind === "choice" ? { value: field.choices.indexOf(this.text) } : parseLanes(this.text);
    const problem = "problem" in found ? found.problem : found.value < 0 ? "choose one" : "";
    this.entry.say(problem);
    return problem || !("value" in found) ? null : BigInt(found.value);
  }
}

/** All parts of an answer. */
export class Answer {
  /** @param {Field[]} fields @param {string[]} texts @param {() => void} changed */
  constructor(fields, texts, changed) {
    this.parts = fields.map((field, place) => new Part(field, texts[place] ?? givenText(field), () => this.change(changed)));
    this.box = made("div", "", fields.length > 6 ? "fields many" : "fields");
    this.box.append(...this.parts.map((part) => part.box));
    /** Whether it was read before: then what is wrong is told while one types. */
    this.wasRead = false;
  }

  /** @param {() => void} changed */
  change(changed) {
    if (this.wasRead) this.read();
    changed();
  }

  get texts() {
    return this.parts.map((part) => part.text);
  }

  /** Return the values by field, or null and say at the fields what is wrong. @returns {Record<string, bigint> | null} */
  read() {
    this.wasRead = true;
    const values = this.parts.map((part) => part.read());
    if (values.includes(null)) return null;
    return Object.fromEntries(this.parts.map((part, place) => [part.field.name, /** @type {bigint} */ (values[place])]));
  }

  /** Put the cursor where something is wrong. */
  focusWrong() {
    const part = this.parts.find((one) => one.entry.note.textContent);
    (part?.choices[0] ?? part?.entry.input)?.focus();
  }
}
