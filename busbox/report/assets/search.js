// Search: registers and pins by name, words and bytes by number, rules, texts, functions.

import { Line, RegisterLine, BytesLine, PinLine } from "./lines.js";
import { Run } from "./run.js";

/** @typedef {{cycle: number, ask: string, text: string, row: string}} Hit */

/** Hits that are shown at most; the count is that of all. */
export const SHOWN = 200;

/**
 * Return the hits in order of cycle, ``SHOWN`` at most, and how many there are.
 * @param {Run} run
 * @param {Line[]} lines
 * @param {string} asked
 * @returns {{hits: Hit[], count: number}}
 */
export function search(run, lines, asked) {
  const words = asked.trim().toLowerCase();
  if (!words) return { hits: [], count: 0 };
  const value = /^(0x[0-9a-f]+|\d+)$/.test(words) ? Number(words) : null;
  /** @type {Hit[]} */
  const hits = [];
  let count = 0;
  for (const line of lines) {
    let kept = 0;
    for (const number of matches(run, line, words, value)) {
      count++;
      if (kept++ < SHOWN) {
        hits.push({ cycle: line.moments[number], ask: line.ask(number), text: line.text(number), row: line.id });
      }
    }
  }
  hits.sort((one, other) => one.cycle - other.cycle);
  return { hits: hits.slice(0, SHOWN), count };
}

/**
 * Yield the numbers of a line's moments that match.
 * @param {Run} run
 * @param {Line} line
 * @param {string} words
 * @param {number | null} value
 * @returns {Generator<number>}
 */
function* matches(run, line, words, value) {
  const count = line.moments.length;
  if (line instanceof RegisterLine) {
    /** @type {Map<number, boolean>} */
    const named = new Map();
    for (let n = 0; n < count; n++) {
      const access = line.accesses[n];
      const place = run.places[access];
      if (!named.has(place)) {
        const { name, address } = run.facts.places[place];
        named.set(place, name.toLowerCase().includes(words) || address === value);
      }
      const fits = named.get(place);
      if (fits || (value !== null && run.data[access] === value)) yield n;
    }
  } else if (line instanceof BytesLine) yield* inBytes(run, line, words, value);
  else if (line instanceof PinLine) {
    if (line.label.toLowerCase().includes(words)) for (let n = 1; n < count; n++) yield n;
  } else {
    const whole = line.label.toLowerCase().includes(words) || words.replace(/s$/, "") === line.kind.replace(/s$/, "");
    for (let n = 0; n < count; n++) if (whole || line.text(n).toLowerCase().includes(words)) yield n;
  }
}

/**
 * @param {Run} run
 * @param {BytesLine} line
 * @param {string} words
 * @param {number | null} value
 * @returns {Generator<number>}
 */
function* inBytes(run, line, words, value) {
  const values = run.bytes[line.line].values;
  if (value !== null) {
    for (let n = 0; n < values.length; n++) if (values[n] === value) yield n;
    return;
  }
  const text = Array.from(values, (one) => String.fromCharCode(one & 255)).join("").toLowerCase();
  for (let at = text.indexOf(words); at >= 0; at = text.indexOf(words, at + 1)) yield at;
}
