// Numbers and bits as people write them; the same as busbox/map/bits.py and busbox/map/addresses.py.

/**
 * Return bit numbers as ranges, highest first: ``31..28, 5``.
 * @param {Iterable<number>} bits
 */
export function showBits(bits) {
  /** @type {[number, number][]} */
  const parts = [];
  for (const bit of [...bits].sort((one, other) => other - one)) {
    const last = parts[parts.length - 1];
    if (last && last[1] === bit + 1) last[1] = bit;
    else parts.push([bit, bit]);
  }
  return parts.map(([high, low]) => (high === low ? String(high) : `${high}..${low}`)).join(", ");
}

/**
 * Return the bits of ``31..28, 5``, or what is wrong with the text.
 * @param {string} text
 * @returns {{bits: number[]} | {problem: string}}
 */
export function parseBits(text) {
  /** @type {Set<number>} */
  const bits = new Set();
  for (const part of text.split(",")) {
    const ends = part.split("..").map((end) => end.trim());
    if (ends.length > 2 || !ends.every((end) => /^[0-9]+$/.test(end))) {
      return { problem: `must be ranges and bits such as 31..28, 5, not ${text.trim() || "nothing"}` };
    }
    const high = Number(ends[0]);
    const low = Number(ends[ends.length - 1]);
    if (!(high <= 31 && high >= low && low >= 2)) {
      return { problem: `must name bits from 31 to 2, the higher one first, not ${part.trim()}` };
    }
    for (let bit = low; bit <= high; bit++) {
      if (bits.has(bit)) return { problem: `must name each bit once; ${bit} is there twice` };
      bits.add(bit);
    }
  }
  return { bits: [...bits].sort((one, other) => other - one) };
}

/**
 * What a typed number is: a value, a question (hexadecimal or decimal?), or a problem.
 * @typedef {{value: bigint} | {hexadecimal: bigint, decimal: bigint | null} | {problem: string}} Typed
 */

/** The largest number of 32 bits. */
export const WORD = 0xffff_ffffn;

/**
 * Read a number as it was typed. Where hexadecimal numbers are usual, one without ``0x`` is asked about if
 * the two readings differ: 40001005 may be meant as 0x40001005.
 * @param {string} text
 * @param {{most?: bigint, asks?: boolean}} [options]
 * @returns {Typed}
 */
export function readNumber(text, { most = WORD, asks = false } = {}) {
  const typed = text.trim();
  const digits = (/^_/.test(typed) ? typed : typed.replace(/_/g, "")).toLowerCase();
  if (!digits) return { problem: "a number is missing" };
  if (/^0x[0-9a-f]+$/.test(digits) || /^0b[01]+$/.test(digits)) return within(BigInt(digits), most, typed);
  if (/^[0-9]+$/.test(digits)) {
    const decimal = BigInt(digits);
    const hexadecimal = BigInt(`0x${digits}`);
    if (!asks || decimal === hexadecimal || hexadecimal > most) return within(decimal, most, typed);
    return { hexadecimal, decimal: decimal > most ? null : decimal };
  }
  if (asks && /^[0-9a-f]+$/.test(digits) && BigInt(`0x${digits}`) <= most) {
    return { hexadecimal: BigInt(`0x${digits}`), decimal: null };
  }
  return { problem: `must be a number such as ${asks ? "0x40001005" : "12 or 0x0c"}, not ${typed}` };
}

/** @param {bigint} value @param {bigint} most @param {string} typed @returns {Typed} */
function within(value, most, typed) {
  if (value <= most) return { value };
  return { problem: `must be at most 0x${most.toString(16)}, not ${typed}` };
}

/**
 * Return the lanes of four binary digits, SEL(3) first, or what is wrong with the text.
 * @param {string} text
 * @returns {{value: number} | {problem: string}}
 */
export function parseLanes(text) {
  const digits = text.trim().replace(/^0b/, "");
  if (/^[01]{4}$/.test(digits)) return { value: parseInt(digits, 2) };
  return { problem: `must be four binary digits, SEL(3) first, such as 0001, not ${text.trim() || "nothing"}` };
}
