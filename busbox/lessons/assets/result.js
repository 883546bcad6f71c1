// What an address reaches, in words.

import { decode, images, freeBits } from "./decoder.js";
import { showBits } from "./bits.js";
import { made } from "./elements.js";
import { counted, grouped, hex } from "./words.js";

/** @typedef {import("./board.js").Board} Board */
/** @typedef {import("./board.js").Fabric} Fabric */

/**
 * Return how an access ends and in how many cycles; null cycles if it never ends.
 * @param {number | null} wait wait states of the slot that answers, null if nobody does
 * @param {Fabric} fabric
 * @returns {{ends: string, cycles: number | null}}
 */
export function ending(wait, { unanswered, watchdog }) {
  if (wait === null && unanswered === "error") return { ends: "ERR", cycles: 2 };
  if (watchdog !== null && (wait === null || wait > watchdog)) return { ends: "ERR", cycles: watchdog + 1 };
  return wait === null ? { ends: "nobody", cycles: null } : { ends: "ACK", cycles: wait + 1 };
}

/** How a register is accessed, in words. @type {Record<string, string>} */
const ACCESS = {
  rw: "read and write", ro: "read only", wo: "write only", ones_act: "writing 1 acts", ones_clear: "writing 1 clears",
};

/** @param {Board} board @returns {[string, string][]} */
export function facts(board) {
  const { address, slots, fabric } = board;
  const found = decode(slots, address);
  const { slot } = found;
  const lane = address & 3;
  /** @type {[string, string][]} */
  const lanes = [
    ["word", `${hex(address - lane, 8)}, the multiple of 4 that is sent as ADR`],
    ["byte lane", `${lane}: SEL(${lane}), data bits ${8 * lane + 7}..${8 * lane}`],
  ];
  const end = ending(slot ? slot.wait : null, fabric);
  if (!slot) return [["slot", "nobody answers"], ...lanes, ["ends with", unansweredWords(end)]];
  const register = board.registerAt(slot, found.offset);
  const count = images(slot);
  const free = showBits(freeBits(slot));
  const which = found.image ? `begins at ${hex(address - found.offset, 8)}` : "the one at the base";
  return [
    ["slot", `${slot.name} at ${hex(slot.base, 8)}, ${hex(slot.size)} bytes`],
    ["image", count === 1 ? "image 0 of 1: it answers in one place only"
      : `image ${grouped(found.image)} of ${grouped(count)}, counted from 0 to ${grouped(count - 1)} (${which}); bits ${free} are not compared`],
    ["offset", `${hex(found.offset)} inside ${slot.name}`],
    ["register", register ? `${slot.name}.${register.name} (${ACCESS[register.register.access] ?? register.register.access}): ${register.register.text}`
      : `none: a hole in ${slot.name}. A read gives 0, a write is lost, and both end with ACK`],
    ...lanes,
    ["ends with", end.ends === "ACK" ? `ACK after ${counted(end.cycles ?? 0, "cycle")}: 1 plus ${counted(slot.wait, "wait state")}`
      : `ERR: the watchdog ends it after ${counted(end.cycles ?? 0, "cycle")}, before ${slot.name} answers`],
  ];
}

/** @param {{ends: string, cycles: number | null}} end */
function unansweredWords({ ends, cycles }) {
  if (ends === "nobody") return "nothing: silence, and the CPU waits for ever";
  return `ERR after ${counted(cycles ?? 0, "cycle")}`;
}

/** The line that says what the address reaches. */
export class Result {
  /** @param {HTMLElement} place @param {Board} board */
  constructor(place, board) {
    const answer = made("p", "", "answer");
    answer.setAttribute("role", "status");
    place.append(answer);
    board.onChange(() => {
      const list = made("dl", "", "pairs");
      for (const [name, text] of facts(board)) list.append(made("dt", name), made("dd", text));
      answer.textContent = sentence(board);
      while (place.lastChild !== answer) place.lastChild?.remove();
      place.append(list, lanesTable(board.address & 3));
    });
  }
}

/** The four lanes as a bus shows them, SEL(3) first. @param {number} lane */
function lanesTable(lane) {
  const table = made("table", "", "lanes");
  const order = [3, 2, 1, 0];
  const rows = [
    ["lane", ...order.map(String)],
    ["SEL", ...order.map((one) => (one === lane ? "1" : "0"))],
    ["data bits", ...order.map((one) => `${8 * one + 7}..${8 * one}`)],
  ];
  for (const [place, [name, ...cells]] of rows.entries()) {
    const row = made("tr", "");
    const head = made("th", name);
    head.setAttribute("scope", "row");
    row.append(head, ...cells.map((text, at) => {
      const cell = made(place ? "td" : "th", text, order[at] === lane ? "chosen" : "");
      if (!place) cell.setAttribute("scope", "col");
      return cell;
    }));
    table.append(row);
  }
  return table;
}

/** @param {Board} board */
function sentence(board) {
  const { slot, offset } = decode(board.slots, board.address);
  const address = hex(board.address, 8);
  if (!slot) return `${address}: nobody answers.`;
  const register = board.registerAt(slot, offset);
  const image = decode(board.slots, board.address).image;
  const place = register ? `${slot.name}.${register.name}` : `${slot.name}, offset ${hex(offset)}, where no register is`;
  return `${address} reaches ${place}${image ? `, by image ${grouped(image)}` : ""}.`;
}
