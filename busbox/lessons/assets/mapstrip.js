// The map: the whole space to scale as one line with a pointer, and below it every stretch of addresses in
// order, each as a button of its own. The line alone would hide a window of 4 KiB in 4 GiB.

import { decode, SPACE, stretches } from "./decoder.js";
import { made } from "./elements.js";
import { counted, grouped, hex } from "./words.js";

/** @typedef {import("./board.js").Board} Board */
/** @typedef {import("./decoder.js").Stretch} Stretch */

/** @type {[number, string][]} */
const UNITS = [[2 ** 30, "GiB"], [2 ** 20, "MiB"], [2 ** 10, "KiB"]];
const SVG = "http://www.w3.org/2000/svg";

/** A number of bytes in words: exact, in the largest unit that leaves no rest. @param {number} bytes */
export function sizeWords(bytes) {
  for (const [unit, name] of UNITS) if (bytes >= unit && bytes % unit === 0) return `${grouped(bytes / unit)} ${name}`;
  return bytes < 4096 ? counted(bytes, "byte") : `${hex(bytes)} bytes`;
}

/** What a stretch is. @param {Stretch} stretch */
function kindOf({ slot, image }) {
  return slot ? (image ? "image" : "window") : "gap";
}

/** The line and the buttons. */
export class MapStrip {
  /** @param {HTMLElement} place @param {Board} board */
  constructor(place, board) {
    this.place = place;
    this.board = board;
    /** The map that is drawn. */
    this.drawn = "";
    board.onChange(() => this.draw());
  }

  draw() {
    const found = stretches(this.board.slots);
    const line = this.line(found.stretches);
    const list = made("ol", "", "stretches");
    const focused = [...this.place.querySelectorAll("button")].indexOf(/** @type {HTMLButtonElement} */ (document.activeElement));
    list.append(...found.stretches.map((one) => this.button(one)));
    const rest = found.complete ? [] : [made("p", "There are more stretches than can be listed: many images lie apart. The first ones are shown.", "quiet")];
    this.place.replaceChildren(line, list, ...rest);
    if (focused >= 0) this.place.querySelectorAll("button")[focused]?.focus();
  }

  /** @param {Stretch} stretch */
  button(stretch) {
    const { first, last, slot } = stretch;
    const kind = kindOf(stretch);
    const here = first <= this.board.address && this.board.address <= last;
    const item = made("li", "");
    const button = /** @type {HTMLButtonElement} */ (made("button", "", `stretch ${kind}`));
    button.type = "button";
    const title = slot ? (kind === "image" ? `images of ${slot.name}` : slot.name) : "nobody";
    button.append(made("b", title), made("code", hex(first, 8)), made("code", hex(last, 8)), made("span", sizeWords(last - first + 1)));
    if (here) {
      button.setAttribute("aria-current", "true");
      button.append(made("span", "the address is here", "here"));
    }
    button.addEventListener("click", () => this.board.goTo(first));
    item.append(button);
    return item;
  }

  /** @param {Stretch[]} parts */
  line(parts) {
    const svg = document.createElementNS(SVG, "svg");
    svg.setAttribute("viewBox", "0 0 1000 40");
    svg.setAttribute("preserveAspectRatio", "none");
    svg.setAttribute("role", "img");
    const { address, slots } = this.board;
    const winner = decode(slots, address).slot;
    svg.setAttribute("aria-label", `All addresses to scale; ${hex(address, 8)} is in ${winner ? `what ${winner.name} answers at` : "a gap"}`);
    for (const part of parts.filter((one) => one.slot)) {
      const width = Math.max(2, ((part.last - part.first + 1) / SPACE) * 1000);
      svg.append(shape("rect", { x: (part.first / SPACE) * 1000, y: 14, width, height: 26, class: kindOf(part) }));
    }
    svg.append(shape("rect", { x: 0, y: 14, width: 1000, height: 26, class: "frame" }));
    const x = (address / SPACE) * 1000;
    svg.append(shape("path", { d: `M${x - 5} 0h10L${x} 13zM${x} 13V40`, class: "pointer" }));
    svg.addEventListener("click", (event) => {
      const box = svg.getBoundingClientRect();
      const at = Math.floor((Math.min(0.999, Math.max(0, (event.clientX - box.left) / box.width)) * SPACE) / 4096) * 4096;
      this.board.goTo(at);
    });
    const holder = made("div", "", "line");
    const ends = made("p", "", "ends");
    ends.append(made("code", "0x00000000"), made("span", "to scale"), made("code", "0xffffffff"));
    holder.append(svg, ends);
    return holder;
  }
}

/** @param {string} tag @param {Record<string, string | number>} attributes */
function shape(tag, attributes) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
  return element;
}
