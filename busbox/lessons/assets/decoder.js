// Which slot answers at an address: the rules of busbox/map/slots.py in script. Tests compare the two.

import { showBits } from "./bits.js";
import { hex } from "./words.js";

/**
 * @typedef {{name: string, base: number, size: number, decode: string, compare: number[], wait: number,
 *   yields: string[], model: string}} Slot
 */
/** A set of addresses: those whose bits in ``mask`` equal ``value``. @typedef {{mask: number, value: number}} Term */
/** @typedef {{address: number, slot: Slot | null, offset: number, image: number, hits: Slot[]}} Decoded */
/** Addresses one after the other that one slot answers at, or none. @typedef {{first: number, last: number, slot: Slot | null, image: boolean}} Stretch */

export const SPACE = 2 ** 32;
/** Blocks that are looked at for stretches: slots that compare low bits alone make billions. */
const MOST_BLOCKS = 20_000;

/** How many bits of an address are inside a slot. @param {number} size */
export function innerBits(size) {
  let bits = 0;
  while (2 ** bits < size) bits++;
  return bits;
}

/** @param {number} size */
function isPower(size) {
  return 2 ** innerBits(size) === size;
}

/** @param {Iterable<number>} bits */
function maskOf(bits) {
  let mask = 0;
  for (const bit of bits) mask |= 1 << bit;
  return mask >>> 0;
}

/** The mask of the bits from 31 down to one. @param {number} low 0 to 32 */
function upper(low) {
  return low > 31 ? 0 : (0xffff_ffff << low) >>> 0;
}

/**
 * Yield [field, what is wrong with it] for every mistake in a slot's own numbers.
 * @param {Slot} slot
 * @returns {Generator<[string, string]>}
 */
export function* mistakes(slot) {
  const { base, size, decode } = slot;
  const long = hex(size);
  let aligned = true;
  for (const [field, value] of /** @type {[string, number][]} */ ([["base", base], ["size", size]])) {
    if (value % 4) {
      aligned = false;
      yield [field, `must be a multiple of 4, not ${hex(value)}`];
    }
  }
  if (size <= 0) {
    yield ["size", `must be at least 4, not ${size}`];
    return;
  }
  if (base < 0 || base >= SPACE || base + size > SPACE) {
    yield ["base", `must leave room for ${long} bytes below 2^32, not ${hex(base, 8)}`];
    return;
  }
  if (decode !== "range" && aligned) {
    if (!isPower(size)) {
      yield ["size", `must be a power of two, not ${long} (only a range may have any size)`];
    } else if (base % size) {
      yield ["base", `must be a multiple of the size ${long}, not ${hex(base, 8)}: the bits inside cannot be compared`];
    }
  }
  const inside = slot.compare.filter((bit) => bit < innerBits(size));
  if (decode === "compare" && inside.length && isPower(size)) {
    yield ["compare", `must name bits above the ${long} bytes of the slot (31..${innerBits(size)}), not ${showBits(inside)}`];
  }
}

/**
 * Return the addresses at which a slot's decoder answers, as sets that share none.
 * @param {Slot} slot
 * @returns {Term[]}
 */
export function terms(slot) {
  if (slot.decode === "range") return rangeTerms(slot.base, slot.base + slot.size);
  const mask = slot.decode === "compare" ? maskOf(slot.compare) : upper(innerBits(slot.size));
  return [{ mask, value: (slot.base & mask) >>> 0 }];
}

/** Cut first <= address < end into aligned blocks of powers of two. @param {number} first @param {number} end */
function rangeTerms(first, end) {
  const found = [];
  while (first < end) {
    let size = first ? (first & -first) >>> 0 : SPACE;
    while (size > end - first) size /= 2;
    found.push({ mask: upper(innerBits(size)), value: first });
    first += size;
  }
  return found;
}

/** Whether the slot's own decoder matches, whoever wins. @param {Slot} slot @param {number} address */
export function answers(slot, address) {
  if (slot.decode === "range") return slot.base <= address && address < slot.base + slot.size;
  const mask = slot.decode === "compare" ? maskOf(slot.compare) : upper(innerBits(slot.size));
  return ((address ^ slot.base) & mask) === 0;
}

/** Bits that are neither compared nor inside; they make the images. @param {Slot} slot */
export function freeBits(slot) {
  const free = [];
  if (slot.decode === "compare") {
    for (let bit = innerBits(slot.size); bit < 32; bit++) if (!slot.compare.includes(bit)) free.push(bit);
  }
  return free;
}

/** How many ranges of addresses a slot answers at, with the one at its base. @param {Slot} slot */
export function images(slot) {
  return 2 ** freeBits(slot).length;
}

/** The number of the image that holds an address; 0 is the one at the base. @param {Slot} slot @param {number} address */
export function imageOf(slot, address) {
  let image = 0;
  freeBits(slot).forEach((bit, place) => {
    if (((address ^ slot.base) >>> bit) & 1) image += 2 ** place;
  });
  return image;
}

/** The byte inside the device. @param {Slot} slot @param {number} address */
export function offsetOf(slot, address) {
  return (((address - slot.base) % slot.size) + slot.size) % slot.size;
}

/** The slot that wins among those that answer; null if each gives way. @param {Slot[]} hits */
function winner(hits) {
  const names = new Set(hits.map((hit) => hit.name));
  return hits.find((hit) => !hit.yields.some((name) => names.has(name))) ?? null;
}

/** @param {Slot[]} slots @param {number} address @returns {Decoded} */
export function decode(slots, address) {
  const hits = slots.filter((slot) => answers(slot, address));
  const slot = winner(hits);
  if (!slot) return { address, slot, offset: 0, image: 0, hits };
  return { address, slot, offset: offsetOf(slot, address), image: imageOf(slot, address), hits };
}

/**
 * Return the pairs of slots that answer together though none gives way, and where.
 * @param {Slot[]} slots
 * @returns {{one: Slot, other: Slot, first: number, last: number}[]}
 */
export function overlaps(slots) {
  const found = [];
  for (const [place, one] of slots.entries()) {
    for (const other of slots.slice(place + 1)) {
      if (other.yields.includes(one.name) || one.yields.includes(other.name)) continue;
      const shared = firstShared(one, other);
      if (shared) found.push({ one, other, ...shared });
    }
  }
  return found;
}

/** The lowest run of addresses that two slots both decode. @param {Slot} one @param {Slot} other */
function firstShared(one, other) {
  const runs = [];
  for (const left of terms(one)) {
    for (const right of terms(other)) {
      if ((left.value ^ right.value) & left.mask & right.mask) continue;
      const mask = (left.mask | right.mask) >>> 0;
      const value = (left.value | right.value) >>> 0;
      const size = mask ? (mask & -mask) >>> 0 : SPACE;
      runs.push({ first: value, last: value + size - 1 });
    }
  }
  if (!runs.length) return null;
  runs.sort((a, b) => a.first - b.first || a.last - b.last);
  let { first, last } = runs[0];
  for (const run of runs.slice(1)) if (run.first === last + 1) last = run.last;
  return { first, last };
}

/**
 * Return who answers where, in order of addresses, and whether the list is complete.
 * @param {Slot[]} slots
 * @param {number} [limit]
 * @returns {{stretches: Stretch[], complete: boolean}}
 */
export function stretches(slots, limit = 48) {
  /** @type {Stretch[]} */
  const found = [];
  const all = slots.flatMap((slot) => terms(slot).map((term) => ({ ...term, slot })));
  let blocks = 0;
  for (const part of split(all, 0, 32)) {
    if (++blocks > MOST_BLOCKS) return { stretches: found, complete: false };
    for (const { first, last, image } of cut(part)) {
      const before = found[found.length - 1];
      if (before && before.slot === part.slot && before.image === image) before.last = last;
      else if (found.length === limit) return { stretches: found, complete: false };
      else found.push({ first, last, slot: part.slot, image });
    }
  }
  return { stretches: found, complete: true };
}

/**
 * Yield blocks of the space of ``bits`` bits from ``first`` on, each with the one slot that answers.
 * @param {(Term & {slot: Slot})[]} all
 * @param {number} first
 * @param {number} bits
 * @returns {Generator<{first: number, last: number, slot: Slot | null}>}
 */
function* split(all, first, bits) {
  const outer = upper(bits);
  const met = all.filter((term) => !((term.value ^ first) & term.mask & outer));
  const last = first + 2 ** bits - 1;
  const whole = met.filter((term) => !(term.mask & ~outer)).map((term) => term.slot);
  const sure = whole.find((slot) => met.every((term, place) => beats(slot, term.slot, met, place)));
  if (sure || whole.length === met.length) {
    yield { first, last, slot: sure ?? winner(whole) };
    return;
  }
  yield* split(met, first, bits - 1);
  yield* split(met, first + 2 ** (bits - 1), bits - 1);
}

/**
 * Whether a slot wins over another wherever both answer: it does not give way, and the other does or
 * comes later in the map.
 * @param {Slot} slot @param {Slot} other @param {(Term & {slot: Slot})[]} met @param {number} place of the other
 */
function beats(slot, other, met, place) {
  if (other === slot) return true;
  const later = place > met.findIndex((term) => term.slot === slot);
  return !slot.yields.includes(other.name) && (later || other.yields.includes(slot.name));
}

/** Cut a block at the ends of its slot's window. @param {{first: number, last: number, slot: Slot | null}} part */
function cut({ first, last, slot }) {
  if (!slot) return [{ first, last, image: false }];
  const end = slot.base + slot.size;
  const edges = [first, slot.base, end, last + 1].filter((edge) => edge >= first && edge <= last + 1);
  edges.sort((a, b) => a - b);
  const parts = [];
  for (let at = 1; at < edges.length; at++) {
    const [from, to] = [edges[at - 1], edges[at] - 1];
    if (to >= from) parts.push({ first: from, last: to, image: from < slot.base || from >= end });
  }
  return parts;
}
