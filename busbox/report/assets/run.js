// The run that the page shows: its columns by name, and what follows from them.

import { Columns } from "./data.js";
import { colourText, hex, onScreen } from "./words.js";

/** @typedef {import("./data.js").Column} Column */
/** @typedef {{direction: string, cycles: Column, levels: Column, accesses: Column}} Line */
/** @typedef {{cycle: number, device: string, kind: string, access: number}} Event */
/** @typedef {{label: string, cycles: Column, values: Column, accesses: Column}} Bytes */
/** @typedef {{label: string, cycles: Column, accesses: Column, sizes: Column, colours: Column,
 *     firsts: Int32Array, onScreen: (colour: number) => number}} Frames */

/** Colours whose look on a screen is remembered, at most. */
const MOST_COLOURS = 65536;

/**
 * Return what shows a lamp's colour on a screen; a colour is computed once.
 * @param {"linear" | "srgb"} light
 * @returns {(colour: number) => number}
 */
function remembered(light) {
  /** @type {Map<number, number>} */
  const known = new Map();
  return (colour) => {
    const found = known.get(colour);
    if (found !== undefined) return found;
    const shown = onScreen(colour, light);
    if (known.size < MOST_COLOURS) known.set(colour, shown);
    return shown;
  };
}

export class Run {
  /**
   * @param {any} facts
   * @param {Columns} columns
   */
  constructor(facts, columns) {
    this.facts = facts;
    this.columns = columns;
    /** @type {number} */
    this.clock = facts.clock_hz;
    /** @type {number} */
    this.cycles = facts.cycles;
    this.starts = columns.get("start");
    this.ends = Float64Array.from(columns.get("length"), (length, n) => this.starts[n] + length);
    this.places = columns.get("place");
    this.writes = columns.get("write");
    this.data = columns.get("data");
    this.lanes = columns.get("lanes");
    this.terminators = columns.get("terminator");
    /** @type {Map<string, Line>} */
    this.lines = new Map();
    for (const [pin, direction] of Object.entries(facts.directions)) {
      const [cycles, levels, accesses] = ["cycles", "levels", "accesses"].map(
        (name) => columns.get(`edge/${pin}/${name}`));
      this.lines.set(pin, { direction: String(direction), cycles, levels, accesses });
    }
    /** @type {Bytes[]} */
    this.bytes = facts.bytes.map((/** @type {any} */ one, /** @type {number} */ n) => ({
      label: one.label,
      cycles: columns.get(`bytes/${n}/cycles`),
      values: columns.get(`bytes/${n}/values`),
      accesses: columns.get(`bytes/${n}/accesses`),
    }));
    /** @type {Frames[]} */
    this.frames = facts.frames.map((/** @type {any} */ one, /** @type {number} */ n) => {
      const sizes = columns.get(`frames/${n}/sizes`);
      const firsts = new Int32Array(sizes.length);
      for (let k = 1; k < sizes.length; k++) firsts[k] = firsts[k - 1] + sizes[k - 1];
      return {
        label: one.label, sizes, firsts, onScreen: remembered(one.light),
        cycles: columns.get(`frames/${n}/cycles`),
        accesses: columns.get(`frames/${n}/accesses`),
        colours: columns.get(`frames/${n}/colours`),
      };
    });
    this.eventCount = columns.get("event/cycles").length;
  }

  /** @param {string} pin @returns {Line} */
  line(pin) {
    const line = this.lines.get(pin);
    if (!line) throw new Error(`there is no pin ${pin}`);
    return line;
  }

  /** @param {number} number @returns {Event | null} */
  event(number) {
    if (!(number >= 0 && number < this.eventCount)) return null;
    const of = (/** @type {string} */ name) => this.columns.get(`event/${name}`)[number];
    return {
      cycle: of("cycles"),
      device: this.facts.devices[of("devices")],
      kind: this.facts.kinds[of("kinds")],
      access: of("accesses"),
    };
  }

  /**
   * Return the stack at an access: kind and text of each frame.
   * @param {number} access
   * @returns {[string, string][]}
   */
  stack(access) {
    return this.facts.stacks[this.columns.get("stack")[access]];
  }

  /**
   * Return the name of what an access reaches, such as ``lamps.CONTROL``.
   * @param {number} access
   * @returns {string}
   */
  nameOf(access) {
    return this.facts.places[this.places[access]].name;
  }

  /**
   * Return where an access comes from: line of the traffic, pc, function and source line.
   * @param {number} access
   */
  origin(access) {
    const line = this.columns.get("line")[access];
    const file = this.columns.get("file")[access];
    const pc = this.columns.get("pc")[access];
    const words = [];
    if (line >= 0) {
      words.push(`${file < 0 ? this.facts.traffic : this.facts.files[file]}:${line}`);
    }
    if (pc >= 0) {
      const source = this.facts.sources[pc];
      if (line >= 0 && source.place && words[0].endsWith(source.place)) words.pop();
      words.push(`pc ${hex(pc)}`, ...source.words);
    }
    return words.join(", ");
  }

  /**
   * Return the function of the instruction that made an access, "" if it is not known.
   * @param {number} access
   * @returns {string}
   */
  functionOf(access) {
    const pc = this.columns.get("pc")[access];
    return pc < 0 ? "" : this.facts.sources[pc].function;
  }

  /**
   * Return the handler that made an access, "" if none did.
   * @param {number} access
   * @returns {string}
   */
  handlerOf(access) {
    const number = this.columns.get("handler")[access];
    if (number >= 0) return this.facts.handlers[number];
    const frame = this.stack(access).find(([how]) => how !== "call");
    return frame ? frame[0] : "";
  }

  /**
   * Return the colours of a frame as text.
   * @param {number} line
   * @param {number} number
   * @returns {string[]}
   */
  colours(line, number) {
    const frames = this.frames[line];
    const first = frames.firsts[number];
    return Array.from(frames.colours.subarray(first, first + frames.sizes[number]), colourText);
  }
}
