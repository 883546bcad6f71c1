// The lines of the timetable: each is a list of moments, in order, and what can be asked of each.

import { lowerBound, upperBound } from "./data.js";
import { Run } from "./run.js";
import { byteText, counted, grouped, hex, showTime } from "./words.js";

const RELEASED = 2;
const ENDED_WELL = 0;

/** A line: subclasses say what stands at a moment. */
export class Line {
  /**
   * @param {Run} run
   * @param {{id: string, label: string, kind: string}} row
   * @param {ArrayLike<number>} moments cycles, in order
   */
  constructor(run, row, moments) {
    this.run = run;
    this.id = row.id;
    this.label = row.label;
    this.kind = row.kind;
    this.moments = moments;
    this.height = 26;
    /** @type {ArrayLike<number> | null} the cycles in which the moments end, if they last */
    this.until = null;
  }

  /** What is asked for a moment. @param {number} _number @returns {string} */
  ask(_number) {
    return "";
  }

  /** A moment in words. @param {number} _number @returns {string} */
  text(_number) {
    return "";
  }

  /** What can be asked next to a cycle: the number of the nearest moment, -1 if there is none.
   * @param {number} cycle */
  nearest(cycle) {
    const after = lowerBound(this.moments, cycle);
    if (!this.moments.length) return -1;
    if (after === 0) return 0;
    if (after === this.moments.length) return after - 1;
    return this.moments[after] - cycle < cycle - this.moments[after - 1] ? after : after - 1;
  }

  /** The number of the moment at a place of the screen. @param {number} cycle @param {number} _reach */
  at(cycle, _reach) {
    return this.nearest(cycle);
  }

  /** The numbers of moments in a window: the first, and the first after it.
   * @param {number} from @param {number} to @returns {[number, number]} */
  within(from, to) {
    return [lowerBound(this.moments, from), upperBound(this.moments, to)];
  }

  /** What the line holds, for those who do not see it. @returns {string} */
  summary() {
    const count = this.moments.length;
    if (!count) return `${this.label}: nothing`;
    const [first, last] = [this.moments[0], this.moments[count - 1]];
    const when = count === 1 ? `at ${showTime(first, this.run.clock)}`
      : `from ${showTime(first, this.run.clock)} to ${showTime(last, this.run.clock)}`;
    return `${this.label}: ${this.counts()}, ${when}`;
  }

  /** @returns {string} */
  counts() {
    return counted(this.moments.length, "entry", "entries");
  }
}

export class RegisterLine extends Line {
  /** @param {Run} run @param {any} row @param {Int32Array} accesses in order */
  constructor(run, row, accesses) {
    super(run, row, Float64Array.from(accesses, (access) => run.ends[access]));
    this.accesses = accesses;
    this.writes = Float64Array.from(accesses.filter((n) => run.writes[n]), (n) => run.ends[n]);
    this.reads = Float64Array.from(accesses.filter((n) => !run.writes[n]), (n) => run.ends[n]);
    this.height = 30;
  }

  /** @param {number} number */
  ask(number) {
    return `access.${this.accesses[number]}`;
  }

  /** @param {number} number */
  failed(number) {
    return this.run.terminators[this.accesses[number]] !== ENDED_WELL;
  }

  /** @param {number} number */
  text(number) {
    const access = this.accesses[number];
    const verb = this.run.writes[access] ? "write" : "read";
    const failed = this.failed(number) ? ", not ended with ACK" : "";
    return `${verb} of ${hex(this.run.data[access])}, ${this.run.nameOf(access)}${failed}`;
  }

  counts() {
    return `${counted(this.writes.length, "write")}, ${counted(this.reads.length, "read")}`;
  }
}

export class PinLine extends Line {
  /** @param {Run} run @param {any} row */
  constructor(run, row) {
    const line = run.line(row.pin);
    super(run, row, line.cycles);
    this.pin = row.pin;
    this.levels = line.levels;
    /** @type {Float64Array | null} */
    this.sums = null;
  }

  /** Cycles for which the pin was high before each edge. */
  get high() {
    if (!this.sums) {
      const sums = new Float64Array(this.moments.length);
      for (let n = 1; n < sums.length; n++) {
        const lasted = this.moments[n] - this.moments[n - 1];
        sums[n] = sums[n - 1] + (this.levels[n - 1] === 1 ? lasted : 0);
      }
      this.sums = sums;
    }
    return this.sums;
  }

  /** Cycles for which the pin was high before a cycle. @param {number} cycle */
  highBefore(cycle) {
    const place = upperBound(this.moments, cycle) - 1;
    if (place < 0) return 0;
    return this.high[place] + (this.levels[place] === 1 ? cycle - this.moments[place] : 0);
  }

  /** @param {number} number */
  ask(number) {
    return `${this.pin}@${this.moments[number]}`;
  }

  /** @param {number} cycle @param {number} reach */
  at(cycle, reach) {
    const near = this.nearest(cycle);
    if (Math.abs(this.moments[near] - cycle) <= reach) return near;
    return Math.max(0, upperBound(this.moments, cycle) - 1);
  }

  /** @param {number} number */
  text(number) {
    const level = this.levels[number];
    if (!number) return `${this.pin} is ${level === RELEASED ? "released" : level} at the start`;
    return `${this.pin} ${level === RELEASED ? "is released" : level ? "rises" : "falls"}`;
  }

  counts() {
    const share = this.highBefore(this.run.cycles) / this.run.cycles;
    return `${counted(this.moments.length - 1, "edge")}, high for ${(100 * share).toFixed(1)} % of the run`;
  }
}

export class BytesLine extends Line {
  /** @param {Run} run @param {any} row */
  constructor(run, row) {
    super(run, row, run.bytes[row.bytes].cycles);
    this.line = row.bytes;
  }

  /** @param {number} number */
  ask(number) {
    return `byte.${this.line}.${number}`;
  }

  /** @param {number} number */
  chip(number) {
    return byteText(this.run.bytes[this.line].values[number]);
  }

  /** @param {number} number */
  text(number) {
    const value = this.run.bytes[this.line].values[number];
    const letter = value > 31 && value < 127 ? ` '${String.fromCharCode(value)}'` : "";
    return `${this.label} ${hex(value, 2)}${letter}`;
  }

  counts() {
    return counted(this.moments.length, "byte");
  }
}

export class FramesLine extends Line {
  /** @param {Run} run @param {any} row */
  constructor(run, row) {
    super(run, row, run.frames[row.frames].cycles);
    this.line = row.frames;
    let most = 1;
    for (const size of this.frames.sizes) most = Math.max(most, size);
    this.height = Math.max(26, Math.min(96, 8 + 4 * most));
  }

  get frames() {
    return this.run.frames[this.line];
  }

  /** @param {number} number */
  ask(number) {
    return `frame.${this.line}.${number}`;
  }

  /** @param {number} cycle @param {number} reach */
  at(cycle, reach) {
    const near = this.nearest(cycle);
    if (Math.abs(this.moments[near] - cycle) <= reach) return near;
    return Math.max(0, upperBound(this.moments, cycle) - 1);
  }

  /** @param {number} number */
  text(number) {
    return `${this.label} frame ${number}: ${this.run.colours(this.line, number).join(" ")}`;
  }

  counts() {
    return counted(this.moments.length, "frame");
  }
}

/** What is a moment and a word: marks, events, findings. */
export class WordsLine extends Line {
  /**
   * @param {Run} run
   * @param {any} row
   * @param {{cycle: number, ask: string, text: string}[]} entries in order of cycle
   */
  constructor(run, row, entries) {
    super(run, row, entries.map((entry) => entry.cycle));
    this.entries = entries;
  }

  /** @param {number} number */
  ask(number) {
    return this.entries[number].ask;
  }

  /** @param {number} number */
  text(number) {
    return this.entries[number].text;
  }

  counts() {
    return this.moments.length === 1 ? this.label.replace(/s$/, "").replace(/^/, "1 ")
      : `${grouped(this.moments.length)} ${this.label}`;
  }
}

/** What lasts: functions, handlers, resets. */
export class SpansLine extends Line {
  /**
   * @param {Run} run
   * @param {any} row
   * @param {{from: number[], to: number[], names: string[], asks: string[]}} spans
   */
  constructor(run, row, spans) {
    super(run, row, spans.from);
    this.until = spans.to;
    this.names = spans.names;
    this.asks = spans.asks;
  }

  /** @param {number} cycle @param {number} reach */
  at(cycle, reach) {
    const inside = upperBound(this.moments, cycle) - 1;
    if (inside >= 0 && (this.until ?? [])[inside] >= cycle - reach) return inside;
    return this.nearest(cycle);
  }

  /** @param {number} number */
  ask(number) {
    return this.asks[number];
  }

  /** @param {number} number */
  text(number) {
    return `${this.kind === "functions" ? "function" : this.kind.replace(/s$/, "")} ${this.names[number]}`;
  }

  counts() {
    return counted(this.moments.length, "span");
  }
}

/**
 * Return the spans of consecutive accesses with one name, from the first to the end of the last. What
 * ran before the next access is not recorded: there is a gap.
 * @param {Run} run
 * @param {(access: number) => string} nameOf
 */
function spansOf(run, nameOf) {
  const spans = { from: [], to: [], names: [], asks: [] };
  const { from, to, names, asks } = /** @type {any} */ (spans);
  let last = "";
  for (let access = 0; access < run.starts.length; access++) {
    const name = nameOf(access);
    if (name && name === last) to[to.length - 1] = run.ends[access] + 1;
    else if (name) {
      from.push(run.starts[access]);
      to.push(run.ends[access] + 1);
      names.push(name);
      asks.push(`access.${access}`);
    }
    last = name;
  }
  return spans;
}

/**
 * Return the line of a row.
 * @param {Run} run
 * @param {any} row
 * @param {Int32Array[]} byPlace the accesses of each place
 * @returns {Line}
 */
function lineOf(run, row, byPlace) {
  const facts = run.facts;
  switch (row.kind) {
    case "register": {
      const parts = row.places.map((/** @type {number} */ place) => byPlace[place]);
      const all = new Int32Array(parts.reduce((/** @type {number} */ n, /** @type {any} */ one) => n + one.length, 0));
      let at = 0;
      for (const part of parts) {
        all.set(part, at);
        at += part.length;
      }
      return new RegisterLine(run, row, all.sort());
    }
    case "pin": return new PinLine(run, row);
    case "bytes": return new BytesLine(run, row);
    case "frames": return new FramesLine(run, row);
    case "functions": return new SpansLine(run, row, spansOf(run, (n) => run.functionOf(n)));
    case "handlers": return new SpansLine(run, row, spansOf(run, (n) => run.handlerOf(n)));
    case "resets": {
      const resets = facts.resets;
      const of = (/** @type {(one: number[], n: number) => any} */ what) => resets.map(what);
      return new SpansLine(run, row, {
        from: of((one) => one[0]), to: of((one) => one[0] + one[1]),
        names: of((one) => counted(one[1], "cycle")), asks: of((_, n) => `reset.${n}`),
      });
    }
    default: return new WordsLine(run, row, entriesOf(run, row));
  }
}

/**
 * @param {Run} run
 * @param {any} row
 * @returns {{cycle: number, ask: string, text: string}[]}
 */
function entriesOf(run, row) {
  const facts = run.facts;
  if (row.kind === "marks") {
    return facts.marks.map((/** @type {[number, string]} */ [cycle, text], /** @type {number} */ n) =>
      ({ cycle, ask: `mark.${n}`, text }));
  }
  if (row.kind === "findings") {
    return facts.findings.map((/** @type {any} */ one, /** @type {number} */ n) =>
      ({ cycle: one.cycle, ask: `finding.${n}`, text: `${one.rule}: ${one.message}` }))
      .sort((/** @type {any} */ a, /** @type {any} */ b) => a.cycle - b.cycle);
  }
  const entries = [];
  for (let number = 0; number < run.eventCount; number++) {
    const event = run.event(number);
    if (!event || event.device !== facts.devices[row.device]) continue;
    if (!row.events.includes(facts.kinds.indexOf(event.kind))) continue;
    entries.push({ cycle: event.cycle, ask: `event.${number}`, text: `${event.device}: ${event.kind}` });
  }
  return entries;
}

/** @typedef {{name: string, title: string, model?: string, lines: Line[]}} Group */

/**
 * Return all lines in their groups.
 * @param {Run} run
 * @returns {Group[]}
 */
export function linesOf(run) {
  const counts = new Int32Array(run.facts.places.length);
  for (const place of run.places) counts[place]++;
  const byPlace = Array.from(counts, (count) => new Int32Array(count));
  counts.fill(0);
  for (let n = 0; n < run.places.length; n++) {
    const place = run.places[n];
    byPlace[place][counts[place]++] = n;
  }
  return run.facts.groups.map((/** @type {any} */ group) => ({
    ...group,
    lines: group.rows.map((/** @type {any} */ row) => lineOf(run, row, byPlace)),
  })).filter((/** @type {Group} */ group) => {
    group.lines = group.lines.filter((line) => line.moments.length);
    return group.lines.length;
  });
}
