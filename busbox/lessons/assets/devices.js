// What the devices of the lessons do, as far as a bus can see it: registers as declared, and the few that
// act. Tests compare every access with the models in Python.

/**
 * @typedef {{name: string, offset: number, count: number, access: string, text: string, stores: number,
 *   clears: number, writable: number, readable: number, whole: number, reset: number, mask: number,
 *   onlyRead: boolean}} Register
 */
/** @typedef {{registers: Register[], kind: string}} Made how a device is built: its registers, of a memory its kind */

/** The mask of the bits of lanes. @param {number} lanes */
export function laneMask(lanes) {
  let mask = 0;
  for (let lane = 0; lane < 4; lane++) if ((lanes >> lane) & 1) mask |= 0xff << (8 * lane);
  return mask >>> 0;
}

/** This page cannot know what an access would give; the tool can. */
export class Unknown extends Error {}

/** A device that is its registers. */
export class Device {
  /** @param {Made} made */
  constructor(made) {
    this.made = made;
    /** @type {Map<number, {name: string, register: Register}>} */
    this.cells = new Map();
    /** @type {Map<string, number>} */
    this.stored = new Map();
    for (const register of made.registers) {
      for (let index = 0; index < Math.max(1, register.count); index++) {
        const name = register.count ? `${register.name}.${index}` : register.name;
        this.cells.set(register.offset + 4 * index, { name, register });
        this.stored.set(name, register.reset);
      }
    }
    /** Events by the rule that tells them. @type {string[]} */
    this.events = [];
    this.text = "";
    this.cycle = 0;
  }

  /** @param {string} name */
  word(name) {
    return this.stored.get(name) ?? 0;
  }

  /**
   * Answer an access that ends in a cycle.
   * @param {number} cycle @param {boolean} write @param {number} offset of the word @param {number} data @param {number} lanes
   * @returns {number} the word read, 0 for a write
   */
  access(cycle, write, offset, data, lanes) {
    this.forward(cycle);
    this.cycle = cycle;
    const cell = this.cells.get(offset);
    if (!cell) return 0;
    const { name, register } = cell;
    if (!write) {
      const word = (this.show(name) & register.readable) >>> 0;
      if ((lanes & register.whole) === register.whole) this.read(name);
      return word;
    }
    if (!lanes || (lanes & register.whole) !== register.whole) return 0;
    const mask = laneMask(lanes);
    const ones = data & mask & register.writable;
    const keep = ~(mask & register.stores) & ~(ones & register.clears);
    const value = ((this.word(name) & keep) | (ones & register.stores)) >>> 0;
    this.stored.set(name, value);
    this.written(name, value, ones >>> 0);
    return 0;
  }

  /** Bring what moves by itself to a cycle. @param {number} _cycle */
  forward(_cycle) {}

  /** The word that a read shows. @param {string} name */
  show(name) {
    return this.word(name);
  }

  /** What a read does. @param {string} _name */
  read(_name) {}

  /** What a write does beside storing. @param {string} _name @param {number} _value @param {number} _ones */
  written(_name, _value, _ones) {}

  /** Levels of the outputs at the end, output 0 in bit 0. */
  outputs() {
    return 0;
  }

  /** Let what was begun end. */
  finish() {}
}

class Gpio extends Device {
  /** @param {string} name @param {number} _value @param {number} ones */
  written(name, _value, ones) {
    const out = this.word("OUT");
    if (name === "SET") this.stored.set("OUT", (out | ones) >>> 0);
    if (name === "CLEAR") this.stored.set("OUT", (out & ~ones) >>> 0);
    if (name === "TOGGLE") this.stored.set("OUT", (out ^ ones) >>> 0);
  }

  outputs() {
    return (this.word("OUT") & this.word("ENABLE")) >>> 0;
  }
}

/** Sends a byte at a time, with room for one more; nothing arrives. */
class Uart extends Device {
  /** @param {Made} made */
  constructor(made) {
    super(made);
    this.clocks = this.word("DIVISOR");
    /** @type {{byte: number, from: number} | null} */
    this.held = null;
    this.idle = 0;
  }

  /** @param {number} cycle */
  forward(cycle) {
    if (!this.held) return;
    const fall = Math.max(this.held.from + 1, this.idle);
    if (fall > cycle) return;
    this.text += String.fromCharCode(this.held.byte);
    this.held = null;
    this.idle = fall + 10 * Math.max(1, this.clocks);
  }

  /** @param {string} name */
  show(name) {
    if (name === "DATA") return 0;
    if (name !== "STATUS") return this.word(name);
    const busy = this.held || this.cycle < this.idle;
    return (this.held ? 0 : 1) | (busy ? 2 : 0) | (this.word(name) & 0x20);
  }

  /** @param {string} name @param {number} value */
  written(name, value) {
    const room = !this.held;
    this.forward(this.cycle + 1);
    if (name === "DATA" && room) this.held = { byte: value & 0xff, from: this.cycle + 1 };
    else if (name === "DATA") this.stored.set("STATUS", this.word("STATUS") | 0x20);
    if (name === "DIVISOR") this.clocks = value;
  }

  finish() {
    this.forward(Infinity);
  }
}

/** Counts cycles, and rings. */
class Timer extends Device {
  /** @param {Made} made */
  constructor(made) {
    super(made);
    /** @type {number | null} */
    this.alarm = null;
    this.compared = 0;
  }

  /** @param {number} cycle */
  forward(cycle) {
    if (this.alarm !== null) {
      const match = this.compared + ((this.alarm - this.compared) >>> 0);
      if (match < cycle) this.stored.set("STATUS", this.word("STATUS") | 1);
    }
    this.compared = Math.max(this.compared, cycle);
  }

  /** @param {string} name */
  show(name) {
    return name === "NOW" ? this.cycle : this.word(name);
  }

  /** @param {string} name @param {number} value */
  written(name, value) {
    // A match in this very cycle is of the old alarm, and wins over a clear.
    this.forward(this.cycle + 1);
    if (name === "ALARM") this.alarm = value;
  }
}

class PulseLed extends Device {
  /** @param {Made} made */
  constructor(made) {
    super(made);
    this.sent = false;
  }

  /** @param {string} name */
  show(name) {
    if (name === "STATUS" && this.sent) throw new Unknown("how far a frame has been sent");
    return this.word(name);
  }

  /** @param {string} name @param {number} value @param {number} ones */
  written(name, value, ones) {
    if (name === "CONTROL" && (ones & 1 || value & 2)) this.sent = true;
  }
}

class Memory extends Device {
  /** @param {Made} made */
  constructor(made) {
    super({ ...made, registers: [] });
    /** @type {Map<number, number>} */
    this.words = new Map();
  }

  /** @param {number} _cycle @param {boolean} write @param {number} offset @param {number} data @param {number} lanes */
  access(_cycle, write, offset, data, lanes) {
    const word = this.words.get(offset);
    if (!write) {
      if (word === undefined) this.events.push("uninitialised-read");
      return word ?? 0;
    }
    const mask = laneMask(lanes);
    if (this.made.kind === "rom") this.events.push("rom-write");
    else if (lanes) this.words.set(offset, (((word ?? 0) & ~mask) | (data & mask)) >>> 0);
    return 0;
  }
}

/** @type {Record<string, new (made: Made) => Device>} */
const DEVICES = { memory: Memory, gpio: Gpio, uart: Uart, timer: Timer, pulse_led: PulseLed };

/** @param {string} model @param {Made} made @returns {Device} */
export function deviceOf(model, made) {
  const kind = DEVICES[model];
  if (!kind) throw new Unknown(`what the device ${model} does`);
  return new kind(made);
}
