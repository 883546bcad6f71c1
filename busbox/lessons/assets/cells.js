// The address as cells, and under each cell what every slot makes of that bit.
//
// One reads down a column. Where 32 columns do not fit, they stand in two bands of 16 or four of 8, each
// with all slots: so a cell stays large enough for a finger, and stays above what it decides.

import { howDecoded } from "./board.js";
import { showBits } from "./bits.js";
import { answers, decode, innerBits } from "./decoder.js";
import { made } from "./elements.js";
import { hex } from "./words.js";

/** @typedef {import("./decoder.js").Slot} Slot */
/** @typedef {import("./board.js").Board} Board */

/** The least width, in pixels, for a number of bits in a band. @type {[number, number][]} */
const WIDTHS = [[980, 32], [500, 16], [0, 8]];

/** What a slot's decoder makes of a bit. @param {Slot} slot @param {number} address @param {number} bit */
export function kindOf(slot, address, bit) {
  if (bit < innerBits(slot.size)) return "inside";
  if (slot.decode === "compare" && !slot.compare.includes(bit)) return "free";
  return ((slot.base ^ address) >>> bit) & 1 ? "differs" : "equal";
}

/**
 * Return in words what a slot's decoder says.
 * @param {Slot} slot @param {number} address @param {Slot | null} winner
 */
export function verdictOf(slot, address, winner) {
  if (slot === winner) return "answers";
  if (answers(slot, address)) return winner ? `gives way to ${winner.name}` : "gives way to another";
  if (slot.decode === "range") return address < slot.base ? `the address is below ${hex(slot.base, 8)}` : `the address is above ${hex(slot.base + slot.size - 1, 8)}`;
  const wrong = [];
  for (let bit = 0; bit < 32; bit++) if (kindOf(slot, address, bit) === "differs") wrong.push(bit);
  return wrong.length === 1 ? `bit ${wrong[0]} differs` : `bits ${showBits(wrong)} differ`;
}

/** The cells of an address and the rows of the slots. */
export class Cells {
  /** @param {HTMLElement} place @param {Board} board */
  constructor(place, board) {
    this.place = place;
    this.board = board;
    /** Bits in a band. */
    this.wide = 0;
    /** The cell that keys reach. */
    this.current = 31;
    /** @type {Map<number, HTMLElement>} */
    this.buttons = new Map();
    place.addEventListener("keydown", (event) => this.onKey(event));
    new ResizeObserver(() => this.fit()).observe(place);
    board.onChange(() => this.draw());
  }

  fit() {
    const width = this.place.clientWidth;
    const wide = (WIDTHS.find(([least]) => width >= least) ?? WIDTHS[2])[1];
    if (wide === this.wide) return;
    this.wide = wide;
    this.draw();
  }

  draw() {
    if (!this.wide) return;
    const active = document.activeElement;
    const focused = active instanceof HTMLElement && this.place.contains(active);
    this.buttons.clear();
    const bands = [];
    for (let high = 31; high > 0; high -= this.wide) bands.push(this.band(high));
    this.place.replaceChildren(...bands);
    if (focused) this.buttons.get(this.current)?.focus();
  }

  /** @param {number} high the highest bit of the band */
  band(high) {
    const { slots, address } = this.board;
    const bits = Array.from({ length: this.wide }, (_, place) => high - place);
    const band = made("div", "", `band wide${this.wide}`);
    const digits = made("div", "", "bits digits");
    digits.setAttribute("aria-hidden", "true");
    for (const bit of bits.filter((one) => one % 4 === 3)) {
      digits.append(made("span", ((address >>> (bit - 3)) & 15).toString(16).toUpperCase(), "digit"));
    }
    band.append(made("span", "address", "name"), digits, made("span", "", "verdict"));
    band.append(made("span", "", "name"), this.buttonRow(bits), made("span", "", "verdict"));
    const winner = decode(slots, address).slot;
    for (const slot of slots) band.append(...this.row(slot, bits, winner));
    return band;
  }

  /** @param {number[]} bits */
  buttonRow(bits) {
    const row = made("div", "", "bits");
    row.setAttribute("role", "group");
    row.setAttribute("aria-label", `Bits ${bits[0]} to ${bits[bits.length - 1]} of the address`);
    for (const bit of bits) {
      const set = (this.board.address >>> bit) & 1;
      const button = /** @type {HTMLButtonElement} */ (made("button", "", "cell"));
      button.type = "button";
      const number = made("small", "");
      number.append(made("span", "bit ", "unseen"), String(bit));
      button.append(number, " ", made("b", String(set)));
      button.setAttribute("aria-pressed", set ? "true" : "false");
      button.tabIndex = bit === this.current ? 0 : -1;
      button.addEventListener("click", () => {
        this.current = bit;
        this.board.goTo(this.board.address + (set ? -1 : 1) * 2 ** bit);
        this.buttons.get(bit)?.focus();
      });
      this.buttons.set(bit, button);
      row.append(button);
    }
    return row;
  }

  /** @param {Slot} slot @param {number[]} bits @param {Slot | null} winner */
  row(slot, bits, winner) {
    const { address } = this.board;
    const won = slot === winner ? " won" : "";
    const row = made("div", "", `bits${won}`);
    const verdict = verdictOf(slot, address, winner);
    row.setAttribute("role", "img");
    row.setAttribute("aria-label", `${slot.name}, ${howDecoded(slot)}: ${verdict}`);
    if (slot.decode === "range") {
      const bar = made("i", `a range: ${hex(slot.base, 8)} to ${hex(slot.base + slot.size - 1, 8)}`, `bar ${answers(slot, address) ? "equal" : "differs"}`);
      row.append(bar);
    } else {
      for (const bit of bits) {
        const kind = kindOf(slot, address, bit);
        const shown = kind === "equal" || kind === "differs" ? String((slot.base >>> bit) & 1) : "";
        row.append(made("i", shown, kind));
      }
    }
    return [made("span", slot.name, `name${won}`), row, made("span", verdict, `verdict${won}`)];
  }

  /** @param {KeyboardEvent} event */
  onKey(event) {
    const moves = /** @type {Record<string, number>} */ ({ ArrowLeft: 1, ArrowRight: -1 });
    const counts = /** @type {Record<string, number>} */ ({ ArrowUp: 1, ArrowDown: -1 });
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.key in moves) this.reach(this.current + moves[event.key]);
    else if (event.key === "Home") this.reach(31);
    else if (event.key === "End") this.reach(0);
    else if (event.key in counts) this.board.goTo(this.board.address + counts[event.key] * 2 ** this.current);
    else return;
    event.preventDefault();
  }

  /** @param {number} bit */
  reach(bit) {
    this.buttons.get(this.current)?.setAttribute("tabindex", "-1");
    this.current = Math.min(31, Math.max(0, bit));
    const button = this.buttons.get(this.current);
    button?.setAttribute("tabindex", "0");
    button?.focus();
  }
}
