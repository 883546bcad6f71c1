// A play of a lesson: its accesses on the bus, one after the other, as busbox/lessons/playing.py runs them.

import { decode } from "./decoder.js";
import { deviceOf, laneMask } from "./devices.js";
import { ending } from "./result.js";

/** @typedef {import("./decoder.js").Slot} Slot */
/** @typedef {import("./devices.js").Made} Made */
/** @typedef {import("./devices.js").Device} Device */
/** @typedef {import("./devices.js").Register} Register */
/** @typedef {{write: boolean, address: number, data: number, lanes: number, tag: string}} Step */
/** @typedef {{start: number, end: number, ends: string, who: string, data: number, tag: string}} Access */
/** @typedef {{accesses: Access[], devices: Map<string, Device>, rules: Record<string, number>}} Seen */

export const NOBODY = "nobody";
/** The cycle in which the first access begins. */
const FIRST = 1;
/** How data is repeated for a byte or a halfword: lanes to its lowest bit and the factor. @type {Record<number, [number, number]>} */
const REPEATED = {
  0b0011: [0, 0x0001_0001], 0b1100: [16, 0x0001_0001],
  0b0001: [0, 0x0101_0101], 0b0010: [8, 0x0101_0101], 0b0100: [16, 0x0101_0101], 0b1000: [24, 0x0101_0101],
};

/**
 * Run a play.
 * @param {Slot[]} slots
 * @param {Map<string, Made>} made by slot
 * @param {import("./board.js").Fabric} fabric
 * @param {Step[]} steps
 * @param {number} hangAfter cycles after which an access that nobody ends counts as one that hangs
 * @returns {Seen}
 */
export function run(slots, made, fabric, steps, hangAfter) {
  const devices = new Map(slots.map((slot) => [slot.name, deviceOf(slot.model, made.get(slot.name) ?? { registers: [], kind: "" })]));
  /** @type {Seen} */
  const seen = { accesses: [], devices, rules: {} };
  let start = FIRST;
  for (const step of steps) {
    const found = decode(slots, step.address);
    const slot = found.slot;
    const { ends, cycles } = ending(slot ? slot.wait : null, fabric);
    const used = cycles === null || cycles > hangAfter + 1 ? null : cycles;
    const access = { start, end: start + (used ?? hangAfter + 1) - 1, ends: used === null ? NOBODY : ends, who: NOBODY, data: step.write ? step.data : 0, tag: step.tag };
    seen.accesses.push(access);
    if (used === null) {
      note(seen, "bus-hang");
      break;
    }
    if (ends === "ACK" && slot) {
      access.who = slot.name;
      const device = /** @type {Device} */ (devices.get(slot.name));
      const word = device.access(access.end, step.write, found.offset & ~3, step.data, step.lanes);
      if (!step.write) access.data = word;
      for (const rule of rulesOf(step, device, found)) note(seen, rule);
    } else {
      note(seen, slot || fabric.unanswered === "silence" ? "no-answer" : "unmapped-access");
    }
    start = access.end + 1;
  }
  for (const device of devices.values()) {
    device.finish();
    for (const event of device.events) note(seen, event);
  }
  return seen;
}

/** @param {Seen} seen @param {string} rule */
function note(seen, rule) {
  seen.rules[rule] = (seen.rules[rule] ?? 0) + 1;
}

/**
 * Yield the findings of an access that was acknowledged; busbox/findings has the same rules.
 * @param {Step} step @param {Device} device @param {import("./decoder.js").Decoded} found
 */
function* rulesOf({ write, data, lanes }, device, { offset, image, slot }) {
  if (image) yield "image-access";
  const isMemory = slot?.model === "memory";
  const register = device.cells.get(offset & ~3)?.register;
  if (!isMemory && !register) yield "register-hole";
  if (!write) return;
  const mask = laneMask(lanes);
  const lost = (data & ~mask) >>> 0;
  if (!register) {
    if (isMemory && strays(lost, data, lanes)) yield "data-off-lanes";
    return;
  }
  if (register.onlyRead) yield "read-only-write";
  const reached = (lanes & register.whole) === register.whole;
  if (reached && !register.onlyRead && data & mask & ~register.mask) yield "reserved-bits";
  if (reached && !register.onlyRead && strays(lost, data, lanes)) yield "data-off-lanes";
  const loses = lanes && register.stores && !(mask & register.mask);
  if (!reached || (!data && loses)) yield "lanes-lost";
}

/** Whether data stands in lanes that are not selected, and is no repetition of what stands in those that are. @param {number} lost @param {number} data @param {number} lanes */
function strays(lost, data, lanes) {
  const [low, factor] = REPEATED[lanes] ?? [0, 0];
  const part = (data >>> low) & (factor === 0x0101_0101 ? 0xff : 0xffff);
  const repeated = Math.imul(part, factor);
  for (let lane = 0; lane < 4; lane++) {
    const byte = 0xff << (8 * lane);
    if (lost & byte && ((lost ^ repeated) & byte)) return true;
  }
  return false;
}
