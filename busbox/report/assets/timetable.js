// The timetable: a block for each device, a line for everything of it that moves.

import { cycleAt, drawLine, xOf } from "./draw.js";
import { Line } from "./lines.js";
import { CanvasPen } from "./pen.js";
import { View } from "./view.js";
import { grouped, showTime } from "./words.js";

/** @typedef {import("./lines.js").Group} Group */
/** @typedef {import("./draw.js").Scale} Scale */
/** @typedef {{line: Line, box: HTMLElement, name: HTMLButtonElement, canvas: HTMLCanvasElement, drawn: number}} Row
 * ``drawn`` is the number of the view that its canvas shows */

/** How near a pointer must be to an event, in pixels. */
const REACH = 8;
/** Lines so far off the screen, in pixels, are drawn with those on it. */
const BEYOND = 200;
/** Milliseconds without a change after which the other lines are drawn, and for how long at a stretch. */
const [REST, STRETCH] = [200, 12];
/** The height of the axis, in pixels. */
export const AXIS = 34;

/** The page's colours by name, as its style sheet has them now. @returns {Record<string, string>} */
export function pageColours() {
  const style = getComputedStyle(document.documentElement);
  return Object.fromEntries(["paper", "ink", "blue", "orange", "purple", "grey"].map(
    (name) => [name, style.getPropertyValue(`--${name}`).trim()]));
}

/**
 * Make a canvas as sharp as the screen, and return its context.
 * @param {HTMLCanvasElement} canvas
 * @param {number} width
 * @param {number} height
 */
export function prepared(canvas, width, height) {
  const scale = window.devicePixelRatio || 1;
  const [wide, high] = [Math.round(width * scale), Math.round(height * scale)];
  if (canvas.width !== wide || canvas.height !== high) {
    canvas.width = wide;
    canvas.height = high;
  }
  const context = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
  context.setTransform(scale, 0, 0, scale, 0, 0);
  context.clearRect(0, 0, width, height);
  return context;
}

/** Moments for an axis: (cycle, text), about one in 110 pixels.
 * @param {Scale} scale @param {number} clock @returns {[number, string][]} */
export function axisMarks(scale, clock) {
  const seconds = (scale.to - scale.from) / clock;
  const rough = seconds / Math.max(1, scale.width / 110);
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((n) => n * power).find((one) => one >= rough) ?? power;
  const [unit, factor] = axisUnit(scale.to / clock);
  const digits = Math.max(0, Math.ceil(-Math.log10(step * factor) - 1e-9));
  const marks = /** @type {[number, string][]} */ ([]);
  for (let n = Math.ceil(scale.from / clock / step); n * step * clock <= scale.to; n++) {
    marks.push([n * step * clock, `${(n * step * factor).toFixed(digits)} ${unit}`]);
  }
  return marks;
}

/** The unit for moments up to some seconds. @param {number} most @returns {[string, number]} */
function axisUnit(most) {
  if (most >= 1) return ["s", 1];
  if (most >= 1e-3) return ["ms", 1e3];
  return most >= 1e-6 ? ["us", 1e6] : ["ns", 1e9];
}

export class Timetable {
  /**
   * @param {HTMLElement} root
   * @param {Group[]} groups
   * @param {View} view
   * @param {number} clock
   * @param {(asked: string, row: string) => void} ask
   */
  constructor(root, groups, view, clock, ask) {
    this.root = root;
    this.view = view;
    this.clock = clock;
    this.ask = ask;
    this.groups = groups;
    /** @type {Row[]} */
    this.rows = [];
    /** @type {{row: number, number: number, asked: string} | null} what was asked on a line */
    this.last = null;
    /** @type {number | null} the cycle of what was asked */
    this.marked = null;
    /** The number of the view that is drawn, and the timer of what is drawn when it rests. */
    this.stamp = 0;
    this.resting = 0;
    /** @type {Record<string, string>} */
    this.colours = {};
    this.axis = this.canvasIn(root, "axis");
    this.axis.style.height = `${AXIS}px`;
    for (const group of groups) this.addGroup(group);
    this.current = 0;
    this.rows.forEach((row, n) => (row.name.tabIndex = n ? -1 : 0));
    this.listen();
    view.onChange(() => this.draw());
    new ResizeObserver(() => this.draw()).observe(root);
  }

  /** @param {HTMLElement} parent @param {string} kind */
  canvasIn(parent, kind) {
    const box = document.createElement("div");
    box.className = `row ${kind}`;
    box.innerHTML = "<span></span><div class='lane'><canvas aria-hidden='true'></canvas></div>";
    parent.append(box);
    return /** @type {HTMLCanvasElement} */ (box.querySelector("canvas"));
  }

  /** @param {Group} group */
  addGroup(group) {
    const head = document.createElement("h3");
    head.textContent = group.title;
    if (group.model) head.append(" ", Object.assign(document.createElement("small"), { textContent: group.model }));
    this.root.append(head);
    for (const line of group.lines) {
      const canvas = this.canvasIn(this.root, line.kind);
      canvas.style.height = `${line.height}px`;
      const box = /** @type {HTMLElement} */ (canvas.closest(".row"));
      const name = document.createElement("button");
      name.type = "button";
      name.className = "name";
      const before = [`${group.name}.`, `${group.name}: `].find((one) => line.label.startsWith(one)) ?? "";
      name.textContent = line.label.slice(before.length);
      name.setAttribute("aria-label", line.summary());
      box.querySelector("span")?.replaceWith(name);
      const number = this.rows.length;
      name.addEventListener("focus", () => this.setCurrent(number));
      name.addEventListener("click", () => {
        this.setCurrent(number);
        this.step(1, true);
      });
      this.rows.push({ line, box, name, canvas, drawn: -1 });
    }
  }

  /** @returns {Scale} */
  get scale() {
    const width = this.axis.parentElement?.clientWidth ?? 600;
    return { from: this.view.from, to: this.view.to, width };
  }

  /** @param {number} number */
  setCurrent(number) {
    this.rows[this.current].name.tabIndex = -1;
    this.current = number;
    this.rows[number].name.tabIndex = 0;
  }

  /** Draw the lines that are on the screen, or all; the others are drawn when the view rests.
   * @param {boolean} all */
  draw(all = false) {
    const { scale } = this;
    if (scale.width < 10) return;
    this.stamp++;
    this.colours = pageColours();
    this.drawAxis(scale, this.colours);
    this.drawStale(all ? this.rows : this.onScreen(), scale);
    clearTimeout(this.resting);
    this.resting = window.setTimeout(() => this.drawRest(), REST);
  }

  /** The lines on the screen, and near it: they are found before any is drawn, as to ask for a place
   * after a change has the browser lay out the page again. @returns {Row[]} */
  onScreen() {
    const [first, end] = [-BEYOND, window.innerHeight + BEYOND];
    return this.rows.filter((row) => {
      const { top, bottom } = row.box.getBoundingClientRect();
      return bottom >= first && top <= end;
    });
  }

  /** @param {Row[]} rows @param {Scale} scale @param {number} until a moment of the browser's clock
   * @returns {boolean} whether all of them show this view now */
  drawStale(rows, scale, until = Infinity) {
    for (const row of rows) {
      if (row.drawn === this.stamp) continue;
      if (performance.now() > until) return false;
      const pen = new CanvasPen(prepared(row.canvas, scale.width, row.line.height), this.colours);
      drawLine(row.line, pen, scale);
      this.drawMoments(pen, scale, row.line.height);
      row.drawn = this.stamp;
    }
    return true;
  }

  /** Draw the lines off the screen, a few at a time. */
  drawRest() {
    if (!this.drawStale(this.rows, this.scale, performance.now() + STRETCH)) {
      this.resting = window.setTimeout(() => this.drawRest(), 0);
    }
  }

  /** @param {Scale} scale @param {Record<string, string>} colours */
  drawAxis(scale, colours) {
    const pen = new CanvasPen(prepared(this.axis, scale.width, AXIS), colours);
    this.paintAxis(pen, scale);
    this.drawMoments(pen, scale, AXIS, true);
  }

  /** @param {import("./pen.js").Pen} pen @param {Scale} scale */
  paintAxis(pen, scale) {
    pen.rect(0, AXIS - 1, scale.width, 1, "ink");
    for (const [cycle, text] of axisMarks(scale, this.clock)) {
      const x = xOf(scale, cycle);
      pen.rect(x, 27, 1, 6, "ink");
      if (x > 20 && x < scale.width - 24) pen.text(x, 19, text, "ink", 12, true);
    }
  }

  /** @param {import("./pen.js").Pen} pen @param {Scale} scale @param {number} height
   * @param {boolean} named */
  drawMoments(pen, scale, height, named = false) {
    if (scale.to > this.view.run) {
      const x = Math.max(0, xOf(scale, this.view.run));
      if (!named) pen.hatch(x, 0, scale.width - x, height, "grey");
      else if (scale.width - x > 90) pen.text(x + 6, 6, "after the run", "ink", 11);
    }
    const at = (/** @type {number | null} */ cycle, /** @type {string} */ colour, /** @type {string} */ name) => {
      if (cycle === null || cycle < scale.from || cycle > scale.to) return;
      const x = xOf(scale, cycle);
      for (let y = 0; y < height; y += 6) pen.rect(x, y, 1, 3, colour);
      if (!named || !name) return;
      pen.rect(x - 7, 0, 14, 13, colour);
      pen.text(x, 7, name, "paper", 11, true);
    };
    at(this.marked, "ink", "");
    at(this.view.moments[0], "orange", "1");
    at(this.view.moments[1], "orange", "2");
  }

  // By pointer.

  listen() {
    const { root, view } = this;
    /** @type {Map<number, {x: number, y: number}>} */
    const down = new Map();
    let moved = 0;
    let apart = 0;
    root.addEventListener("pointerdown", (event) => {
      if (!this.laneAt(event)) return;
      down.set(event.pointerId, { x: event.clientX, y: event.clientY });
      moved = 0;
      apart = distance(down);
    });
    root.addEventListener("pointermove", (event) => {
      const before = down.get(event.pointerId);
      if (!before) return;
      const by = event.clientX - before.x;
      moved += Math.abs(by) + Math.abs(event.clientY - before.y);
      if (moved > 4) root.setPointerCapture(event.pointerId);
      down.set(event.pointerId, { x: event.clientX, y: event.clientY });
      if (down.size === 2) {
        const now = distance(down);
        if (apart > 20 && now > 20) view.zoom(apart / now, this.cycleOf(middle(down)));
        apart = now;
      } else if (moved > 4) view.pan(-by / this.scale.width);
    });
    const up = (/** @type {PointerEvent} */ event) => {
      if (!down.delete(event.pointerId)) return;
      if (event.type === "pointerup" && moved <= 4 && down.size === 0) this.askAt(event);
    };
    root.addEventListener("pointerup", up);
    root.addEventListener("pointercancel", up);
    root.addEventListener("dblclick", (event) => {
      if (this.laneAt(event)) view.zoom(0.4, this.cycleOf(event.clientX));
    });
    root.addEventListener("wheel", (event) => {
      const along = Math.abs(event.deltaX) > Math.abs(event.deltaY) ? event.deltaX : 0;
      const zooming = event.ctrlKey || event.metaKey || event.altKey;
      if (!zooming && !along && !event.shiftKey) return;
      event.preventDefault();
      if (zooming) view.zoom(Math.exp(event.deltaY / 300), this.cycleOf(event.clientX));
      else view.pan((along || event.deltaY) / this.scale.width);
    }, { passive: false });
    root.addEventListener("keydown", (event) => this.onKey(event));
    window.addEventListener("scroll", () => {
      if (this.stamp) this.drawStale(this.onScreen(), this.scale);
    }, { passive: true });
  }

  /** @param {number} x of the screen */
  cycleOf(x) {
    const left = this.axis.getBoundingClientRect().left;
    return cycleAt(this.scale, Math.min(Math.max(0, x - left), this.scale.width));
  }

  /** @param {Event} event @returns {HTMLElement | null} */
  laneAt(event) {
    return event.target instanceof Element ? event.target.closest(".lane") : null;
  }

  /** @param {PointerEvent} event */
  askAt(event) {
    const lane = this.laneAt(event);
    const number = this.rows.findIndex((row) => row.canvas.parentElement === lane);
    if (number < 0) return;
    const { line } = this.rows[number];
    const { scale } = this;
    const perPixel = (scale.to - scale.from) / scale.width;
    const found = line.at(this.cycleOf(event.clientX), REACH * perPixel);
    this.setCurrent(number);
    if (found >= 0) this.askFor(found);
  }

  /** Ask for a moment of the current line. @param {number} number */
  askFor(number) {
    const { line } = this.rows[this.current];
    this.ask(line.ask(number), line.id);
    this.last = { row: this.current, number, asked: this.view.asked };
  }

  // By keys.

  /** @param {KeyboardEvent} event */
  onKey(event) {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const { view } = this;
    /** @type {Record<string, () => void>} */
    const keys = {
      ArrowLeft: () => view.pan(-0.2),
      ArrowRight: () => view.pan(0.2),
      ArrowUp: () => this.focusRow(this.current - 1),
      ArrowDown: () => this.focusRow(this.current + 1),
      "+": () => view.zoom(0.5, this.marked ?? undefined),
      "=": () => view.zoom(0.5, this.marked ?? undefined),
      "-": () => view.zoom(2, this.marked ?? undefined),
      0: () => view.show(0, view.cycles),
      Home: () => view.show(0, view.to - view.from),
      End: () => view.show(view.cycles - (view.to - view.from), view.cycles),
      n: () => this.step(1),
      p: () => this.step(-1),
      1: () => this.setMoment(0),
      2: () => this.setMoment(1),
    };
    const act = keys[event.key];
    if (!act) return;
    event.preventDefault();
    act();
  }

  /** @param {number} number */
  focusRow(number) {
    if (number >= 0 && number < this.rows.length) this.rows[number].name.focus();
  }

  /** Ask for the next or previous moment of the current line.
   * @param {number} by 1 or -1
   * @param {boolean} here in the window, from its start, if what was asked is not on this line */
  step(by, here = false) {
    const { line } = this.rows[this.current];
    const { last, view } = this;
    let number = -1;
    if (last && last.row === this.current && last.asked === view.asked && !here) number = last.number + by;
    else {
      const from = this.marked === null || here ? view.from : this.marked;
      const [first, after] = line.within(from, from);
      number = by < 0 ? first - 1 : here ? first : after;
    }
    if (line.moments.length) this.askFor(Math.min(Math.max(0, number), line.moments.length - 1));
  }

  /** Measure from or to what was asked, or the middle of the window. @param {number} which */
  setMoment(which) {
    const { view } = this;
    view.moments[which] = this.marked ?? Math.round((view.from + view.to) / 2);
    view.changed();
  }
}

/** @param {Map<number, {x: number, y: number}>} down */
function distance(down) {
  const [one, other] = [...down.values()];
  return other ? Math.abs(one.x - other.x) : 0;
}

/** @param {Map<number, {x: number, y: number}>} down */
function middle(down) {
  const [one, other] = [...down.values()];
  return (one.x + other.x) / 2;
}

/** The distance of two moments in words.
 * @param {number} from @param {number} to @param {number} clock */
export function measured(from, to, clock) {
  const cycles = Math.abs(to - from);
  return `${grouped(cycles)} ${cycles === 1 ? "cycle" : "cycles"}, ${showTime(cycles, clock)}`;
}
