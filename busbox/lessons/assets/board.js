// The map that is looked at, the address, and what a lesson needs: one state, kept in the address bar alone.

import { parseBits, showBits } from "./bits.js";
import { innerBits, mistakes, overlaps, SPACE } from "./decoder.js";
import { hex } from "./words.js";

/** @typedef {import("./decoder.js").Slot} Slot */
/** @typedef {{slot: number, field: string, text: string}} Refusal */
/** What ends an access that nobody answers. @typedef {{unanswered: string, watchdog: number | null}} Fabric */
/** @typedef {{name: string, offset: number, count: number, access: string, text: string}} Register */

/** More slots than these cannot be seen at once. */
export const MOST_SLOTS = 12;
/** Wait states at the most, as in a bench. */
const MOST_WAIT = 65_535;

/**
 * Return what is wrong with a map, nothing if it can be decoded.
 * @param {Slot[]} slots
 * @returns {Refusal[]}
 */
export function refusals(slots) {
  /** @type {Refusal[]} */
  const found = [];
  for (const [number, slot] of slots.entries()) {
    const others = slots.filter((other) => other !== slot);
    const note = (/** @type {string} */ field, /** @type {string} */ text) => found.push({ slot: number, field, text });
    if (!/^[A-Za-z_]\w*$/.test(slot.name)) note("name", "must be letters, digits and _, not a digit first");
    else if (others.some((other) => other.name === slot.name)) note("name", `there are two slots called ${slot.name}`);
    if (!Number.isInteger(slot.wait) || slot.wait < 0 || slot.wait > MOST_WAIT) {
      note("wait", `must be a whole number from 0 to 65,535, not ${slot.wait}`);
    }
    for (const [field, text] of mistakes(slot)) note(field, text);
    for (const name of slot.yields) {
      if (!others.some((other) => other.name === name)) note("yields", `there is no other slot ${name}`);
    }
  }
  if (found.length) return found;
  const round = circle(slots);
  if (round) return [{ slot: round[0], field: "yields", text: `must not form a circle: ${round[1].join(" gives way to ")}` }];
  return overlaps(slots).map(({ one, other, first, last }) => ({
    slot: slots.indexOf(other), field: "base",
    text: `both ${one.name} and ${other.name} answer at ${hex(first, 8)} to ${hex(last, 8)}: move one, or say who gives way`,
  }));
}

/**
 * Return the first slot that gives way to itself by way of others, and that way.
 * @param {Slot[]} slots
 * @returns {[number, string[]] | null}
 */
function circle(slots) {
  for (const [number, slot] of slots.entries()) {
    const trails = [[slot.name]];
    const seen = new Set();
    for (const trail of trails) {
      const last = slots.find((one) => one.name === trail[trail.length - 1]);
      for (const name of last ? last.yields : []) {
        if (name === slot.name) return [number, [...trail, name]];
        if (!seen.has(name)) trails.push([...trail, name]);
        seen.add(name);
      }
    }
  }
  return null;
}

/**
 * Return how a slot is decoded, in words.
 * @param {Slot} slot
 */
export function howDecoded(slot) {
  if (slot.decode === "range") return `a range, ${hex(slot.base, 8)} to ${hex(slot.base + slot.size - 1, 8)}`;
  const inner = innerBits(slot.size);
  const full = Array.from({ length: 32 - inner }, (_, place) => 31 - place);
  const bits = slot.decode === "full" ? full : slot.compare;
  if (!bits.length) return "no bit compared";
  return `${slot.decode === "full" ? "all bits above the size" : "some bits"} compared: ${showBits(bits)}`;
}

/** Text of a map for the address bar. @param {Slot[]} slots */
export function mapText(slots) {
  return slots.map((slot) => [
    slot.name, slot.model, hex(slot.base), hex(slot.size),
    slot.decode === "compare" ? showBits(slot.compare).replace(/ /g, "") : slot.decode,
    slot.wait, slot.yields.join("+"),
  ].join("~")).join(";");
}

/**
 * Return the map of a text from the address bar, null if there is none in it that can be decoded.
 * @param {string} text
 * @param {string[]} models
 * @returns {Slot[] | null}
 */
export function mapOf(text, models) {
  /** @type {Slot[]} */
  const slots = [];
  for (const part of text ? text.split(";") : []) {
    const [name, model, base, size, how, wait, yields] = part.split("~");
    const isHex = [base, size].every((one) => /^0x[0-9a-f]{1,9}$/.test(one ?? ""));
    if (yields === undefined || !isHex || !models.includes(model) || !/^\d{1,5}$/.test(wait)) return null;
    const bits = how === "full" || how === "range" ? { bits: [] } : how ? parseBits(how) : { bits: [] };
    if (!("bits" in bits)) return null;
    slots.push({
      name, model, base: Number(base), size: Number(size), wait: Number(wait),
      decode: how === "full" || how === "range" ? how : "compare", compare: bits.bits,
      yields: yields ? yields.split("+") : [],
    });
  }
  return slots.length > MOST_SLOTS || refusals(slots).length ? null : slots;
}

/** The state of the page. */
export class Board {
  /** @param {Slot[]} slots @param {Record<string, Register[]>} models registers of each model */
  constructor(slots, models) {
    this.common = slots;
    /** The map that is meant if the address bar has none: the common one, or that of a lesson's task. @type {() => Slot[]} */
    this.standard = () => slots;
    /** The address that is meant if the address bar has none. @type {() => number} */
    this.start = () => this.address;
    this.models = models;
    this.slots = slots;
    /** @type {Fabric} */
    this.fabric = { unanswered: "error", watchdog: null };
    this.address = slots[0]?.base ?? 0;
    /** Further keys of the address bar: those of lessons. @type {Map<string, string>} */
    this.others = new Map();
    /** @type {(() => void)[]} */
    this.listeners = [];
  }

  /** @param {() => void} listener */
  onChange(listener) {
    this.listeners.push(listener);
  }

  changed() {
    for (const listener of this.listeners) listener();
  }

  /** @param {number} address */
  goTo(address) {
    this.address = ((address % SPACE) + SPACE) % SPACE;
    this.changed();
  }

  /** Take a map that was found good. @param {Slot[]} slots @param {Fabric} fabric */
  take(slots, fabric) {
    this.slots = slots;
    this.fabric = fabric;
    this.changed();
  }

  /**
   * Return the register at an offset of a slot: its name with its number, and what it is.
   * @param {Slot} slot @param {number} offset
   * @returns {{name: string, register: Register} | null}
   */
  registerAt(slot, offset) {
    for (const register of this.models[slot.model] ?? []) {
      const count = slot.model === "memory" ? Math.floor(slot.size / 4) : Math.max(1, register.count);
      const index = Math.floor((offset - register.offset) / 4);
      if (index < 0 || index >= count) continue;
      return { name: register.count ? `${register.name}.${index}` : register.name, register };
    }
    return null;
  }

  /** What stands behind # in the address bar. */
  get text() {
    const found = new URLSearchParams({ at: hex(this.address, 8) });
    if (mapText(this.slots) !== mapText(this.standard())) found.set("map", mapText(this.slots));
    if (this.fabric.unanswered !== "error") found.set("nobody", this.fabric.unanswered);
    if (this.fabric.watchdog !== null) found.set("watchdog", String(this.fabric.watchdog));
    for (const [key, value] of this.others) found.set(key, value);
    return found.toString();
  }

  /**
   * Take over what stands behind # in the address bar; return what of it could not be used.
   * @param {string} text
   * @returns {string[]}
   */
  read(text) {
    const given = new URLSearchParams(text.replace(/^#/, ""));
    const unused = [];
    this.others = new Map([...given].filter(([key]) => !["at", "map", "nobody", "watchdog"].includes(key)));
    const at = given.get("at");
    const isAddress = at !== null && /^0x[0-9a-f]{1,8}$/.test(at);
    this.address = isAddress ? Number(at) : this.start();
    if (at !== null && !isAddress) unused.push("the address");
    const slots = given.has("map") ? mapOf(given.get("map") ?? "", Object.keys(this.models)) : this.standard();
    if (slots) this.slots = slots;
    else unused.push("the map");
    const watchdog = given.get("watchdog");
    const counts = watchdog !== null && /^[1-9]\d{0,8}$/.test(watchdog);
    if (watchdog !== null && !counts) unused.push("the watchdog");
    this.fabric = {
      unanswered: given.get("nobody") === "silence" ? "silence" : "error",
      watchdog: counts ? Number(watchdog) : null,
    };
    this.changed();
    return unused;
  }
}
