// What is shown: the window, what was asked, the two moments that are measured. The address bar has it all.

/** @typedef {{from: number, to: number}} Window */

/** The least number of cycles that a window shows. */
const LEAST = 8;

export class View {
  /** @param {number} cycles of the run */
  constructor(cycles) {
    this.run = cycles;
    /** What the whole shows: a short run leaves room. */
    this.cycles = Math.max(cycles, LEAST);
    this.from = 0;
    this.to = this.cycles;
    this.asked = "";
    this.row = "";
    /** @type {(number | null)[]} the two moments, in cycles */
    this.moments = [null, null];
    /** @type {(() => void)[]} */
    this.listeners = [];
    this.waiting = false;
  }

  /** @param {() => void} listener */
  onChange(listener) {
    this.listeners.push(listener);
  }

  /** Tell everyone, once for all changes until the next frame. */
  changed() {
    if (this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      for (const listener of this.listeners) listener();
    });
  }

  /** @param {number} from @param {number} to */
  show(from, to) {
    const wide = Math.min(this.cycles, Math.max(LEAST, to - from));
    const first = Math.min(Math.max(0, from + (to - from - wide) / 2), this.cycles - wide);
    this.from = first;
    this.to = first + wide;
    this.changed();
  }

  /** Zoom about a cycle. @param {number} factor below 1: nearer @param {number} cycle */
  zoom(factor, cycle = (this.from + this.to) / 2) {
    const wide = Math.min(this.cycles, Math.max(LEAST, (this.to - this.from) * factor));
    const share = (cycle - this.from) / (this.to - this.from);
    const from = Math.min(Math.max(0, cycle - share * wide), this.cycles - wide);
    this.show(from, from + wide);
  }

  /** @param {number} share of the window */
  pan(share) {
    const by = share * (this.to - this.from);
    const shift = Math.min(Math.max(by, -this.from), this.cycles - this.to);
    this.show(this.from + shift, this.to + shift);
  }

  /** Bring a cycle into the window, near enough to tell neighbours apart. @param {number} cycle */
  goTo(cycle) {
    const wide = this.to - this.from;
    if (cycle < this.from + 0.02 * wide || cycle > this.to - 0.02 * wide) {
      this.show(cycle - wide / 2, cycle + wide / 2);
    } else this.changed();
  }

  /** The view as the part of the address behind ``#``. */
  get address() {
    const parts = new URLSearchParams();
    if (this.from > 0 || this.to < this.cycles) {
      parts.set("from", String(Math.round(this.from)));
      parts.set("to", String(Math.round(this.to)));
    }
    if (this.asked) parts.set("why", this.asked);
    this.moments.forEach((cycle, n) => {
      if (cycle !== null) parts.set(`m${n + 1}`, String(cycle));
    });
    return parts.toString();
  }

  /** Take a view from an address; what is wrong in it counts as not given. @param {string} text */
  take(text) {
    const parts = new URLSearchParams(text.replace(/^#/, ""));
    const number = (/** @type {string} */ name) => {
      const value = parts.get(name);
      return value !== null && /^\d+$/.test(value) && Number(value) <= this.cycles
        ? Number(value) : null;
    };
    this.asked = parts.get("why") ?? "";
    this.moments = [number("m1"), number("m2")];
    const [from, to] = [number("from"), number("to")];
    if (from !== null && to !== null && from < to) this.show(from, to);
    else this.show(0, this.cycles);
  }
}
