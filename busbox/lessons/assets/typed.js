// A field for a number: what is wrong with it stands below it, and so does the question whether a number
// without 0x is hexadecimal or decimal.

import { readNumber } from "./bits.js";
import { made } from "./elements.js";

let fields = 0;

/** A label, an input, and a line below for what is wrong. */
export class Entry {
  /** @param {string} label @param {string} value @param {string} [kind] class of the input */
  constructor(label, value, kind = "") {
    const id = `field${++fields}`;
    this.box = made("div", "", "entry");
    this.label = /** @type {HTMLLabelElement} */ (made("label", label));
    this.label.htmlFor = id;
    this.input = /** @type {HTMLInputElement} */ (made("input", "", kind));
    this.input.id = id;
    this.input.value = value;
    this.input.autocomplete = "off";
    this.input.spellcheck = false;
    this.note = made("p", "", "note");
    this.note.id = `${id}-note`;
    this.note.setAttribute("role", "status");
    this.box.append(this.label, this.input, this.note);
    this.input.addEventListener("input", () => this.act());
    /** Called when the text has changed. */
    this.act = () => {};
  }

  /** Say what is wrong, or "" for nothing. @param {string} text @param {HTMLElement[]} [buttons] */
  say(text, buttons = []) {
    const same = this.note.firstChild?.textContent === text && !buttons.length && this.note.childNodes.length < 2;
    if (same) return;
    this.note.replaceChildren(...(text ? [text, ...buttons.flatMap((one) => [" ", one])] : []));
    if (text) {
      this.input.setAttribute("aria-invalid", "true");
      this.input.setAttribute("aria-describedby", this.note.id);
    } else {
      this.input.removeAttribute("aria-invalid");
      this.input.removeAttribute("aria-describedby");
    }
  }
}

/** A field for a number. */
export class NumberEntry extends Entry {
  /**
   * @param {string} label
   * @param {string} value
   * @param {{most?: bigint, asks?: boolean}} [options] asks: a number without 0x may be meant as hexadecimal
   */
  constructor(label, value, options = {}) {
    super(label, value, "number");
    this.options = options;
    /** The text that was said to be decimal. */
    this.decimal = "";
  }

  /** Return the number, or null and say what is wrong. @returns {bigint | null} */
  read() {
    const text = this.input.value;
    const found = readNumber(text, this.options);
    if ("value" in found) {
      this.say("");
      return found.value;
    }
    if ("problem" in found) {
      this.say(found.problem);
      return null;
    }
    const { hexadecimal, decimal } = found;
    if (decimal !== null && this.decimal === text) {
      this.say("");
      return decimal;
    }
    const buttons = [this.button(`hexadecimal: 0x${hexadecimal.toString(16)}`, () => {
      this.input.value = `0x${text.trim()}`;
    })];
    if (decimal !== null) {
      buttons.push(this.button(`decimal: ${text.trim()} is 0x${decimal.toString(16)}`, () => {
        this.decimal = text;
      }));
    }
    this.say(`${text.trim()} has no 0x: is it ${decimal === null ? "hexadecimal" : "hexadecimal or decimal"}?`, buttons);
    return null;
  }

  /** @param {string} text @param {() => void} act */
  button(text, act) {
    const button = /** @type {HTMLButtonElement} */ (made("button", text));
    button.type = "button";
    button.addEventListener("click", () => {
      act();
      this.input.focus();
      this.act();
    });
    return button;
  }
}
