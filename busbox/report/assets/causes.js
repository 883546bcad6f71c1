// Causes, in the words and the order of busbox/explain/why.py; a test compares the two.

import { lowerBound, upperBound } from "./data.js";
import { counted, grouped, hex, showTime } from "./words.js";

/** @typedef {import("./run.js").Run} Run */
/** A part of a story: label, text, place in the traffic and source, number of an access or -1.
 * @typedef {[string, string, string, number]} Part */
/** @typedef {{title: string, cycle: number, parts: Part[]}} Story */

const ENDS = [
  "ended with ACK", "ended with ERR", "ended with ERR by the watchdog", "was cut off by a reset",
  "was not answered by the end of the run,",
];
const RELEASED = 2;
/** @type {Part} */
const NOBODY = ["caused by", "no access: the device acted on its own or on an input", "", -1];

/** Tells why something happened in a run. */
export class Stories {
  /** @param {Run} run */
  constructor(run) {
    this.run = run;
  }

  /**
   * @param {string} asked ``PIN@CYCLE``, ``event.N``, ``finding.N``, ``access.N``, ``mark.N``,
   *     ``reset.N``, ``byte.LINE.N`` or ``frame.LINE.N``
   * @returns {Story | null} null if there is no such thing
   */
  tell(asked) {
    const at = asked.lastIndexOf("@");
    if (at >= 0) return this.edge(asked.slice(0, at), Number(asked.slice(at + 1)));
    const [kind, first, second] = asked.split(".");
    const number = Number(second ?? first);
    const teller = {
      access: () => this.access(number),
      event: () => this.event(number),
      finding: () => this.run.facts.findings[number]?.story ?? null,
      mark: () => this.mark(number),
      reset: () => this.reset(number),
      byte: () => this.byte(Number(first), number),
      frame: () => this.frame(Number(first), number),
    }[kind];
    return teller ? teller() : null;
  }

  /** @param {number} cycle */
  when(cycle) {
    return `cycle ${grouped(cycle)} (${showTime(cycle, this.run.clock)})`;
  }

  // Stories.

  /**
   * @param {string} pin
   * @param {number} last
   * @returns {Story | null}
   */
  edge(pin, last) {
    const line = this.run.lines.get(pin);
    if (!line || !(last >= 0)) return null;
    const place = upperBound(line.cycles, last) - 1;
    const [cycle, level] = [line.cycles[place], line.levels[place]];
    let what = level ? "rises" : "falls";
    if (place === 0) {
      const first = level === RELEASED ? "released" : String(level);
      what = `has been at its initial level, ${first}, since the start`;
    } else if (level === RELEASED) what = "is released";
    const parts = [...this.wire(pin, place), ...this.device(pin, place)];
    return { title: `${pin} ${what} in ${this.when(cycle)}`, cycle, parts };
  }

  /** @param {number} number @returns {Story | null} */
  event(number) {
    const event = this.run.event(number);
    if (!event) return null;
    const title = `${event.device}: ${event.kind} in ${this.when(event.cycle)}`;
    const parts = event.access < 0 ? [NOBODY] : this.cause("caused by", event.access);
    return { title, cycle: event.cycle, parts };
  }

  /** @param {number} number @returns {Story | null} */
  access(number) {
    const run = this.run;
    if (!(number >= 0 && number < run.starts.length)) return null;
    const end = run.ends[number];
    const parts = this.cause("access", number);
    for (let place = 0; place < run.eventCount; place++) {
      const event = run.event(place);
      if (event && event.access === number) {
        parts.push(["then", `${event.device}: ${event.kind} in ${this.when(event.cycle)}`, "", -1]);
      }
    }
    for (const [pin, line] of run.lines) {
      let count = 0;
      let first = -1;
      for (let place = 0; place < line.accesses.length; place++) {
        if (line.accesses[place] !== number) continue;
        if (!count) first = line.cycles[place];
        count++;
      }
      if (!count) continue;
      const edges = counted(count, "edge");
      parts.push(["then", `${pin}: ${edges}, the first in ${this.when(first)}`, "", -1]);
    }
    const how = ENDS[run.terminators[number]];
    return { title: `access ${number} ${how} in ${this.when(end)}`, cycle: end, parts };
  }

  /** @param {number} number @returns {Story | null} */
  mark(number) {
    const mark = this.run.facts.marks[number];
    if (!mark) return null;
    const [cycle, text] = mark;
    const title = `mark "${text}" in ${this.when(cycle)}`;
    return { title, cycle, parts: [["caused by", "the traffic, which marks this moment", "", -1]] };
  }

  /** @param {number} number @returns {Story | null} */
  reset(number) {
    const reset = this.run.facts.resets[number];
    if (!reset) return null;
    const title = `reset for ${counted(reset[1], "cycle")}, from ${this.when(reset[0])}`;
    return { title, cycle: reset[0], parts: [["caused by", "a reset of the board or of a step", "", -1]] };
  }

  /** @param {number} line @param {number} number @returns {Story | null} */
  byte(line, number) {
    const bytes = this.run.bytes[line];
    if (!bytes || !(number >= 0 && number < bytes.cycles.length)) return null;
    const [cycle, value, access] = [bytes.cycles[number], bytes.values[number], bytes.accesses[number]];
    const letter = value > 31 && value < 127 ? ` '${String.fromCharCode(value)}'` : "";
    const title = `${bytes.label} byte ${number}, ${hex(value, 2)}${letter}, in ${this.when(cycle)}`;
    return { title, cycle, parts: access < 0 ? [NOBODY] : this.cause("caused by", access) };
  }

  /** @param {number} line @param {number} number @returns {Story | null} */
  frame(line, number) {
    const frames = this.run.frames[line];
    if (!frames || !(number >= 0 && number < frames.cycles.length)) return null;
    const [cycle, access] = [frames.cycles[number], frames.accesses[number]];
    const title = `${frames.label} frame ${number} in ${this.when(cycle)}`;
    /** @type {Part[]} */
    const parts = [["colours", this.run.colours(line, number).join(" "), "", -1]];
    parts.push(...(access < 0 ? [NOBODY] : this.cause("caused by", access)));
    return { title, cycle, parts };
  }

  // Parts.

  /** @param {string} pin @param {number} place @returns {Part[]} */
  wire(pin, place) {
    const seen = this.run.facts.pins[pin]?.wire ?? {};
    /** @type {Part[]} */
    const parts = [];
    for (const [name, sentences] of Object.entries(seen)) {
      const text = this.sentence(sentences, place);
      if (text) parts.push(["wire", `${name}: ${text}`, "", -1]);
    }
    return parts;
  }

  /** @param {string} pin @param {number} place @returns {Part[]} */
  device(pin, place) {
    const run = this.run;
    const line = run.line(pin);
    const slot = pin.split(".", 1)[0];
    const [cycle, access] = [line.cycles[place], line.accesses[place]];
    if (line.direction === "input") {
      return [["driven by", "the board: an input, a wire, a reply or a driver of the bench", "", -1]];
    }
    /** @type {Part[]} */
    const parts = [];
    for (let number = run.eventCount - 1; access >= 0 && number >= 0; number--) {
      const event = run.event(number);
      if (event && event.device === slot && event.access === access && event.cycle <= cycle) {
        parts.push(["device", `${slot}: ${event.kind} in ${this.when(event.cycle)}`, "", -1]);
        break;
      }
    }
    if (access < 0 && cycle === 0) {
      return [...parts, ["caused by", "the start of the run: the pin has not changed yet", "", -1]];
    }
    const reset = run.facts.resets.find((/** @type {number[]} */ one) => one[0] + 1 === cycle);
    if (access < 0 && reset) {
      return [...parts, ["caused by", `the reset that began in ${this.when(reset[0])}`, "", -1]];
    }
    parts.push(...(access < 0 ? [NOBODY] : this.cause("caused by", access)));
    parts.push(...this.between(pin, place), ...this.reasons(pin, place));
    return parts;
  }

  /** @param {string} pin @param {number} place @returns {Part[]} */
  between(pin, place) {
    const line = this.run.line(pin);
    const access = line.accesses[place];
    const before = place > 0 ? line.accesses[place - 1] : -1;
    if (before < 0 || access <= before) return [];
    const edge = line.cycles[place - 1];
    const first = Math.max(before + 1, lowerBound(this.run.ends, edge));
    const number = access - first;
    if (number <= 0) return [];
    const cycles = `${grouped(line.cycles[place] - edge)} cycles after the previous edge`;
    const count = number === 1 ? "1 access" : `${grouped(number)} accesses, the last`;
    return [this.part("in between", access - 1, `${cycles}: ${count}: `)];
  }

  /** @param {string} pin @param {number} place @returns {Part[]} */
  reasons(pin, place) {
    const line = this.run.line(pin);
    const because = this.run.facts.pins[pin]?.because;
    const text = because ? this.sentence(because, place) : "";
    if (!text) return [];
    return text.split("\x1e").map((reason) => {
      const [what, register, number] = reason.split("\x1f");
      const access = Number(number);
      if (access < 0) {
        const slot = pin.split(".", 1)[0];
        return ["set by", `${what}: ${slot}.${register} had its reset value`, "", -1];
      }
      if (access === line.accesses[place]) return ["set by", what, "", -1];
      return this.part("set by", access, `${what}: `);
    });
  }

  /** @param {string} label @param {number} access @returns {Part[]} */
  cause(label, access) {
    const parts = [this.part(label, access)];
    for (const [, text] of this.run.stack(access)) parts.push(["called by", text, "", -1]);
    return parts;
  }

  /**
   * Return an access as text, with its origin.
   * @param {string} label
   * @param {number} access
   * @param {string} before
   * @returns {Part}
   */
  part(label, access, before = "") {
    const run = this.run;
    const place = run.facts.places[run.places[access]];
    const lanes = run.lanes[access];
    const some = lanes === 15 ? "" : `, lanes ${lanes.toString(2).padStart(4, "0")},`;
    const [verb, way] = run.writes[access] ? ["write", "to"] : ["read", "from"];
    const what = `${verb} of ${hex(run.data[access])}${some} ${way}`;
    const text = `${before}access ${access}, ${what} ${place.name} (${hex(place.address, 8)}), ` +
      this.when(run.ends[access]);
    return [label, text, run.origin(access), access];
  }

  /**
   * Return a sentence of many that differ in their numbers.
   * @param {{forms: string[], which: number, numbers: number[][]}} sentences
   * @param {number} place
   */
  sentence(sentences, place) {
    const which = this.run.columns.get(sentences.which);
    const form = which[place];
    if (!sentences.forms[form]) return "";
    let row = 0;
    for (let before = 0; before < place; before++) if (which[before] === form) row++;
    let gap = 0;
    return sentences.forms[form].replace(/\x00/g,
      () => String(this.run.columns.get(sentences.numbers[form][gap++])[row]));
  }
}
