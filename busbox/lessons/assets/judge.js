// An answer judged on the page: the same rules, plays and sentences as busbox/lessons/judging.py. Tests compare
// verdict and words for right and wrong answers of many seeds.

import { overlaps } from "./decoder.js";
import { NOBODY, run } from "./play.js";
import { evaluate, filled } from "./trees.js";

/** @typedef {import("./trees.js").Tree} Tree */
/** @typedef {import("./trees.js").Text} Text */
/** @typedef {import("./trees.js").Values} Values */
/** @typedef {import("./decoder.js").Slot} Slot */
/** @typedef {import("./devices.js").Made} Made */
/** @typedef {import("./play.js").Seen} Seen */
/** @typedef {{name: string, model: string, table: number, base: Tree, size: Tree, wait: Tree, compare: Tree | null, yields_to: Record<string, Tree>}} SlotData */
/** @typedef {{what: string, of: string, value: any, says: Text, when: Tree}} Must */
/** @typedef {{slots: SlotData[], fabric: {unanswered?: string, watchdog?: Tree}, steps: any[][], must: Must[], starts: boolean, says: Text, when: Tree}} Play */
/** @typedef {{name: string, label: string, kind: string, hexadecimal: boolean, choices: string[], given: number | null}} Field */
/**
 * @typedef {{number: number, title: string, seed: number, minutes: number, learns: string, task: string,
 *   solution: string, hints: string[], fields: Field[], before: {holds: Tree, says: Text}[],
 *   wrong: {name: string, answer: Record<string, number>, fields: string[], says: Text}[], plays: Play[],
 *   passes: Text, picture: {kind: string, slots: SlotData[], address: number, step: any[][]}}} Variant
 */
/** What all variants share. @typedef {{sentences: Record<string, Text>, limits: {hang_after: number, watchdog: number}, made: Made[]}} Shared */
/** @typedef {{passes: boolean, said: string[], wrong: string}} Verdict */
/** A slot whose numbers have not been found good. @typedef {{name: string, base: bigint, size: bigint, wait: bigint, mask: bigint | null, yields: string[], data: SlotData}} Asked */

const WORD = 0xffff_ffffn;

/**
 * Judge an answer.
 * @param {Variant} variant
 * @param {Record<string, bigint>} answer
 * @param {Shared} shared
 * @returns {Verdict}
 */
export function judge(variant, answer, shared) {
  /** @type {Values} */
  const values = new Map(Object.entries(answer).map(([name, value]) => [`answer.${name}`, value]));
  const happened = whatHappened(variant, values, shared);
  if (!happened) return { passes: true, said: [filled(variant.passes, values)], wrong: "" };
  const wrong = variant.wrong.find((one) => one.fields.every((name) => answer[name] === BigInt(one.answer[name])));
  if (!wrong) return { passes: false, said: [happened], wrong: "" };
  return { passes: false, said: [happened, filled(wrong.says, values)], wrong: wrong.name };
}

/** What happened instead of what must, "" if nothing did. @param {Variant} variant @param {Values} values @param {Shared} shared */
function whatHappened(variant, values, shared) {
  for (const { holds, says } of variant.before) if (!evaluate(holds, values)) return filled(says, values);
  for (const play of variant.plays) {
    const found = fault(play, values, shared);
    if (found) return found;
  }
  return "";
}

/** The first thing in a play that did not happen as it must. @param {Play} play @param {Values} values @param {Shared} shared */
function fault(play, values, shared) {
  if (!evaluate(play.when, values)) return "";
  const asked = play.slots.map((data) => askedSlot(data, values));
  const { unanswered = "error", watchdog } = play.fabric;
  const dog = watchdog === undefined ? null : evaluate(watchdog, values);
  const refused = refusal(asked, dog, shared);
  if (!play.starts) return refused ? "" : filled(play.says, values);
  if (refused) return refused;
  const steps = allSteps(play.steps, values);
  for (const { address } of steps) {
    const kind = address < 0n || address > WORD ? "beyond" : address % 4n ? "word" : "";
    if (kind) return filled(shared.sentences[kind], new Map([["address", address]]));
  }
  const made = new Map(play.slots.map((data) => [data.name, shared.made[data.table]]));
  const fabric = { unanswered, watchdog: dog === null ? null : Number(dog) };
  const numbers = steps.map((step) => ({ ...step, address: Number(step.address) }));
  const seen = run(asked.map(slotOf), made, fabric, numbers, shared.limits.hang_after);
  for (const must of play.must) {
    const otherwise = evaluate(must.when, values) ? failed(must, seen, values) : null;
    if (otherwise) {
      const [number, word] = otherwise;
      return filled(must.says, new Map([...values, ["seen", BigInt(number)]]), word === null ? {} : { seen: word });
    }
  }
  return "";
}

/** @param {SlotData} data @param {Values} values @returns {Asked} */
function askedSlot(data, values) {
  return {
    name: data.name, base: evaluate(data.base, values), size: evaluate(data.size, values), wait: evaluate(data.wait, values),
    mask: data.compare === null ? null : evaluate(data.compare, values) & WORD,
    yields: Object.keys(data.yields_to).filter((name) => evaluate(data.yields_to[name], values)), data,
  };
}

/** How many bits a number has below it: Python's (size - 1).bit_length(). @param {bigint} size */
function inside(size) {
  return BigInt((size - 1n).toString(2).replace("-", "").length);
}

/** What is wrong with a slot's own numbers, as the name of a sentence. @param {Asked} slot */
function mistakeOf({ base, size, mask, wait }) {
  if (size < 4n || size & (size - 1n)) return "size";
  if (base + size > 1n << 32n || base < 0n) return "room";
  if (mask === null && base % size) return "base";
  if (mask !== null && mask & (size - 1n)) return "compare";
  if (wait < 0n || wait > 65_535n) return "wait";
  return base % size ? "base" : "";
}

/** Why a bench of these slots is refused, "" if it is not. @param {Asked[]} slots @param {bigint | null} watchdog @param {Shared} shared */
function refusal(slots, watchdog, { sentences, limits }) {
  for (const slot of slots) {
    const kind = mistakeOf(slot);
    if (!kind) continue;
    /** @type {Values} */
    const numbers = new Map([["base", slot.base], ["size", slot.size], ["inside", inside(slot.size)], ["wait", slot.wait]]);
    return filled(sentences[kind], numbers, { name: slot.name });
  }
  if (watchdog !== null && (watchdog < 1n || watchdog > BigInt(limits.watchdog))) {
    return filled(sentences.watchdog, new Map([["watchdog", watchdog]]));
  }
  for (const { one, other, first } of overlaps(slots.map(slotOf))) {
    return filled(sentences.overlap, new Map([["first", BigInt(first)]]), { name: one.name, other: other.name });
  }
  return "";
}

/** @param {Asked} asked @returns {Slot} */
function slotOf({ name, base, size, wait, mask, yields, data }) {
  const compare = [];
  for (let bit = 0; bit < 32; bit++) if (mask !== null && (mask >> BigInt(bit)) & 1n) compare.push(bit);
  return {
    name, base: Number(base), size: Number(size), wait: Number(wait), decode: mask === null ? "full" : "compare",
    compare, yields, model: data.model,
  };
}

/** @param {any[][]} steps @param {Values} values */
function allSteps(steps, values) {
  const all = [];
  for (const [kind, ...rest] of steps) {
    const [address, data, lanes, times] = rest.slice(0, 4).map((tree) => evaluate(tree, values));
    const write = kind === "write";
    const step = { write, address, data: write ? Number(data & WORD) : 0, lanes: Number(lanes & 15n), tag: rest[4] };
    for (let time = 0n; time < times; time++) all.push(step);
  }
  return all;
}

// What must happen.

/** The accesses with a tag; one that was never made stands for none. @param {Seen} seen @param {string} tag */
function tagged(seen, tag) {
  const found = seen.accesses.filter((access) => access.tag === tag);
  return found.length ? found : [{ ends: NOBODY, who: NOBODY, data: 0, start: 0, end: -1, tag }];
}

/**
 * What was seen where it is not as it must be: a number, or a word in its place; null if all is well.
 * @param {Must} must @param {Seen} seen @param {Values} values
 * @returns {[number, string | null] | null}
 */
function failed(must, seen, values) {
  const accesses = tagged(seen, must.of);
  const used = accesses[accesses.length - 1].end - accesses[0].start + 1;
  switch (must.what) {
    case "ends": {
      const other = accesses.find((one) => one.ends !== must.value);
      return other ? [0, other.who] : null;
    }
    case "answers": {
      const other = accesses.find((one) => one.who !== must.value);
      return other ? [0, other.who] : null;
    }
    case "reads": {
      const value = evaluate(must.value, values);
      const other = accesses.find((one) => BigInt(one.data) !== value || one.who === NOBODY);
      return other ? [other.data, null] : null;
    }
    case "cycles at most":
      return BigInt(used) > evaluate(must.value, values) ? [used, null] : null;
    case "cycles at least":
      return BigInt(used) < evaluate(must.value, values) ? [used, null] : null;
    case "text": {
      const text = seen.devices.get(must.of)?.text ?? "";
      return text === filled(must.value, values) ? null : [0, text ? `"${text}"` : "no text"];
    }
    case "outputs": {
      const levels = seen.devices.get(must.of)?.outputs() ?? 0;
      return BigInt(levels) === evaluate(must.value, values) ? null : [levels, null];
    }
    case "no finding": {
      const rule = must.value.find((/** @type {string} */ one) => seen.rules[one]);
      return rule ? [seen.rules[rule], null] : null;
    }
    default:
      throw new Error(`there is no ${must.what}`);
  }
}
