// The lessons: a row of them, and the task of one with its answer. An answer is judged here, on the page; a code
// carries it to the tool, which plays it on the bus.

import { Answer, shown } from "./answer.js";
import { codeOf } from "./code.js";
import { Unknown } from "./devices.js";
import { overlaps } from "./decoder.js";
import { made } from "./elements.js";
import { judge } from "./judge.js";
import { evaluate } from "./trees.js";
import { accessPicture } from "./accesspicture.js";
import { counted } from "./words.js";

/** @typedef {import("./board.js").Board} Board */
/** @typedef {import("./judge.js").Variant} Variant */
/** @typedef {import("./judge.js").Shared} Shared */
/** @typedef {{seeds: number[], lessons: Variant[][], shared: Shared, file: string}} Lessons */

/** Tries after which the worked solution is shown. */
const TRIES = 3;
/** What stands between answers in the address bar. */
const BETWEEN = "|";

/** Paragraphs of a text; one that begins with spaces keeps its lines. @param {string} text */
function paragraphs(text) {
  return text.split("\n\n").map((one) => (/^ /.test(one) ? made("pre", one) : made("p", one)));
}

/** @param {string} text @param {() => void} act @param {string} [kind] */
function button(text, act, kind) {
  const one = /** @type {HTMLButtonElement} */ (made("button", text, kind));
  one.type = "button";
  one.addEventListener("click", act);
  return one;
}

/** The map of a task: that of its picture; of a picture of one example, that of its first play if it is known. @param {Variant} variant */
function mapOfTask(variant) {
  const { picture, plays } = variant;
  const slots = plays[0]?.slots ?? [];
  const isKnown = !/"answer\./.test(JSON.stringify(slots));
  return withoutOrder(slotsOf(picture.kind === "access" && isKnown ? slots : picture.slots));
}

/** The address that a task's picture shows, or where its map begins. @param {Variant} variant */
function addressOfTask(variant) {
  const { kind, address, step } = variant.picture;
  if (step[0]) return Number(evaluate(step[0][1], new Map()));
  return kind === "decode" ? address : (mapOfTask(variant)[0]?.base ?? 0);
}

/** Slots without who gives way, which may be asked for; one that meets another is left out. @param {import("./decoder.js").Slot[]} slots */
function withoutOrder(slots) {
  /** @type {import("./decoder.js").Slot[]} */
  const kept = [];
  for (const slot of slots.map((one) => ({ ...one, yields: [] }))) {
    if (!overlaps([...kept, slot]).length) kept.push(slot);
  }
  return kept;
}

/** Slots whose numbers do not depend on an answer. @param {import("./judge.js").SlotData[]} slots @returns {import("./decoder.js").Slot[]} */
export function slotsOf(slots) {
  const none = new Map();
  return slots.map((slot) => {
    const mask = slot.compare === null ? null : Number(evaluate(slot.compare, none) & 0xffff_ffffn);
    const compare = [];
    for (let bit = 0; bit < 32; bit++) if (mask !== null && (mask >>> bit) & 1) compare.push(bit);
    return {
      name: slot.name, model: slot.model, base: Number(evaluate(slot.base, none)), size: Number(evaluate(slot.size, none)),
      wait: Number(evaluate(slot.wait, none)), decode: mask === null ? "full" : "compare", compare,
      yields: Object.keys(slot.yields_to).filter((name) => evaluate(slot.yields_to[name], none)),
    };
  });
}

/** The lessons of the page. */
export class Tasks {
  /** @param {HTMLElement} place @param {Board} board @param {Lessons} data */
  constructor(place, board, data) {
    this.board = board;
    this.data = data;
    this.number = 0;
    this.seed = data.seeds[0];
    this.tries = 0;
    /** Numbers of the lessons that were passed. @type {Set<number>} */
    this.done = new Set();
    this.row = made("ol", "", "row");
    this.panel = made("div", "", "task");
    this.answer = new Answer([], [], () => {});
    this.reply = made("div", "");
    place.append(this.row, this.panel);
    /** What of the address bar is shown. */
    this.shown = "";
    board.standard = () => mapOfTask(this.of(board.others.get("lesson"), board.others.get("seed")));
    board.start = () => addressOfTask(this.of(board.others.get("lesson"), board.others.get("seed")));
    board.onChange(() => this.follow());
  }

  /** The lesson that is shown. @returns {Variant} */
  get variant() {
    return this.of(String(this.number), String(this.seed));
  }

  /** The variant that is asked for, or the nearest there is. @param {string | undefined} number @param {string | undefined} seed */
  of(number, seed) {
    const variants = this.data.lessons.find((all) => all[0].number === Number(number)) ?? this.data.lessons[0];
    return variants[Math.max(0, this.data.seeds.indexOf(Number(seed)))];
  }

  /** What the address bar asks for, and this page has not. @param {URLSearchParams} asked */
  unknown(asked) {
    const [number, seed] = [asked.get("lesson"), asked.get("seed")];
    const found = [];
    if (number !== null && !this.data.lessons.some((all) => String(all[0].number) === number)) found.push(`lesson ${number}`);
    if (seed !== null && !this.data.seeds.map(String).includes(seed)) found.push(`seed ${seed}`);
    return found;
  }

  /** Take over what the address bar says of lessons. */
  follow() {
    const { others } = this.board;
    const asked = ["lesson", "seed", "tries", "done", "answer"].map((key) => others.get(key) ?? "").join(" ");
    if (asked === this.shown && this.number) return;
    const { number, seed } = this.of(others.get("lesson"), others.get("seed"));
    this.number = number;
    this.seed = seed;
    this.tries = /^[0-9]{1,2}$/.test(others.get("tries") ?? "") ? Number(others.get("tries")) : 0;
    this.done = new Set((others.get("done") ?? "").split(".").map(Number).filter(Boolean));
    const typed = others.get("answer");
    this.show(typed === undefined ? [] : typed.split(BETWEEN));
    this.shown = asked;
  }

  /** Begin with the first lesson. */
  begin() {
    this.choose(this.data.lessons[0][0].number, this.data.seeds[0]);
  }

  /** Choose a lesson or another variant. @param {number} number @param {number} seed */
  choose(number, seed) {
    this.number = number;
    this.seed = seed;
    this.tries = 0;
    this.show([]);
    this.note();
    this.look();
  }

  /** Show the map of the task in the decoder. */
  look() {
    const { plays } = this.variant;
    this.board.address = addressOfTask(this.variant);
    this.board.take(mapOfTask(this.variant), { unanswered: plays[0]?.fabric.unanswered ?? "error", watchdog: null });
  }

  /** Keep what is shown in the address bar. */
  keep() {
    this.note();
    this.board.changed();
  }

  note() {
    const texts = this.answer.texts;
    const facts = {
      lesson: String(this.number), seed: String(this.seed), tries: this.tries ? String(this.tries) : "",
      done: [...this.done].sort((one, other) => one - other).join("."),
      answer: texts.some(Boolean) ? texts.join(BETWEEN) : "",
    };
    for (const [key, value] of Object.entries(facts)) {
      if (value) this.board.others.set(key, value);
      else this.board.others.delete(key);
    }
    this.shown = ["lesson", "seed", "tries", "done", "answer"].map((key) => this.board.others.get(key) ?? "").join(" ");
  }

  /** @param {string[]} texts of the answer */
  show(texts) {
    const { variant } = this;
    this.showRow();
    this.answer = new Answer(variant.fields, texts, () => this.keep());
    this.reply = made("div", "", "reply");
    this.reply.setAttribute("role", "status");
    const task = made("div", "");
    const title = made("h3", `Lesson ${variant.number}: ${variant.title}`);
    title.tabIndex = -1;
    task.append(title, made("p", `${counted(variant.minutes, "minute")}. You learn: ${variant.learns}.`, "quiet"));
    task.append(...paragraphs(variant.task), ...this.picture(), this.variants());
    const form = /** @type {HTMLFormElement} */ (made("form", "", "answering"));
    form.noValidate = true;
    const check = made("button", "Check the answer", "main");
    form.append(made("h4", "Your answer"), this.answer.box, check, this.reply);
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.check();
    });
    this.panel.replaceChildren(task, form);
    if (this.tries) this.reply.append(...this.help());
  }

  showRow() {
    this.row.replaceChildren(...this.data.lessons.map(([variant]) => {
      const item = made("li", "");
      const one = button("", () => {
        this.choose(variant.number, this.seed);
        /** @type {HTMLElement | null} */ (this.panel.querySelector("h3"))?.focus();
      }, "lesson");
      one.append(made("b", String(variant.number)), made("span", variant.title));
      if (this.done.has(variant.number)) one.append(made("small", "\u2713 passed"));
      if (variant.number === this.number) one.setAttribute("aria-current", "true");
      item.append(one);
      return item;
    }));
  }

  /** The picture of one access, or the button that brings the task's map back. */
  picture() {
    const { picture } = this.variant;
    const back = button("Show the map of this task again", () => this.look());
    const shown = mapOfTask(this.variant).map((slot) => slot.name);
    const left = picture.slots.map((slot) => slot.name).filter((name) => !shown.includes(name));
    if (left.length) {
      const text = `${left.join(" and ")} would overlap another slot and is left out of the map below. Add it under "A map of your own" and see what the page says.`;
      return [made("p", text, "quiet"), back];
    }
    if (picture.kind !== "access" || !picture.step[0]) return [back];
    return [accessPicture(picture.step[0], slotsOf(picture.slots)), back];
  }

  /** Other numbers for the same task: those of another seed. */
  variants() {
    const line = made("p", "", "variants");
    const { seeds } = this.data;
    const label = made("label", "Seed of the numbers ");
    const select = /** @type {HTMLSelectElement} */ (document.createElement("select"));
    select.append(...seeds.map((seed) => made("option", String(seed))));
    select.value = String(this.seed);
    select.addEventListener("change", () => {
      this.choose(this.number, Number(select.value));
      this.panel.querySelector("select")?.focus();
    });
    label.append(select);
    const next = seeds[(seeds.indexOf(this.seed) + 1) % seeds.length];
    line.append(label, " ", button("Other numbers", () => {
      this.choose(this.number, next);
      /** @type {HTMLElement | null} */ (this.panel.querySelector("h3"))?.focus();
    }));
    return line;
  }

  /** Judge the answer, and say what happened. */
  check() {
    const { variant, answer, reply } = this;
    const values = answer.read();
    if (!values) {
      reply.replaceChildren(made("p", "Not readable yet: see the notes at the fields. This does not count as a try."));
      answer.focusWrong();
      return;
    }
    const carried = made("p", "Checked on the page. To see it run on the bus: ", "quiet");
    carried.append(made("code", this.command(values)));
    try {
      const verdict = judge(variant, values, this.data.shared);
      if (verdict.passes) this.done.add(variant.number);
      else this.tries++;
      const head = made("p", "", `verdict ${verdict.passes ? "passes" : "notyet"}`);
      head.append(made("b", verdict.passes ? "\u2713 passes" : "not yet"), ` ${verdict.said[0]}`);
      const rest = verdict.said.slice(1).map((one) => made("p", one));
      reply.replaceChildren(head, ...rest, ...(verdict.passes ? this.following() : this.help()), carried);
    } catch (error) {
      if (!(error instanceof Unknown)) throw error;
      reply.replaceChildren(made("p", `This page cannot tell ${error.message}; the tool can.`), carried);
    }
    this.showRow();
    this.keep();
  }

  /** How the tool is asked about an answer. @param {Record<string, bigint>} values */
  command(values) {
    const { fields, number } = this.variant;
    if (!this.data.file) {
      const code = codeOf(number, this.seed, fields.map((field) => values[field.name]));
      return `busbox lesson --code ${code.replace(/ /g, "")}`;
    }
    const words = fields.map((field) => `${field.name}=${shown(field, values[field.name])}`);
    const quoted = words.map((word) => (/ /.test(word) ? `"${word}"` : word));
    return `busbox lesson ${this.data.file} --seed ${this.seed} ${quoted.join(" ")}`;
  }

  /** The hint that the tries have earned, or the worked solution. */
  help() {
    const { hints, solution } = this.variant;
    const of = made("p", `Try ${this.tries} of ${TRIES}.`, "quiet");
    if (this.tries < TRIES) {
      const hint = made("p", "");
      hint.append(made("b", "Hint:"), ` ${hints[Math.min(this.tries, hints.length) - 1]}`);
      return [of, hint];
    }
    const worked = made("div", "", "solution");
    worked.append(made("h4", "The worked solution"), ...paragraphs(solution));
    return [worked];
  }

  following() {
    const all = this.data.lessons.map(([variant]) => variant.number);
    const next = all[all.indexOf(this.number) + 1];
    if (next === undefined) return [made("p", "That was the last lesson.")];
    return [button(`Go on to lesson ${next}`, () => {
      this.choose(next, this.seed);
      /** @type {HTMLElement | null} */ (this.panel.querySelector("h3"))?.focus();
    })];
  }
}
