// The strip over the timetable: the whole run, and a frame around what the timetable shows.

import { lowerBound } from "./data.js";
import { CanvasPen } from "./pen.js";
import { Run } from "./run.js";
import { pageColours, prepared } from "./timetable.js";
import { View } from "./view.js";

const HEIGHT = 52;

export class Strip {
  /** @param {HTMLElement} box @param {Run} run @param {View} view */
  constructor(box, run, view) {
    this.box = box;
    this.run = run;
    this.view = view;
    this.canvas = document.createElement("canvas");
    this.canvas.setAttribute("aria-hidden", "true");
    box.append(this.canvas);
    this.busy = new Float64Array(run.starts.length + 1);
    for (let n = 0; n < run.starts.length; n++) {
      this.busy[n + 1] = this.busy[n] + run.ends[n] - run.starts[n] + 1;
    }
    this.canvas.style.height = `${HEIGHT}px`;
    /** What does not change with the window: drawn once for a width and its colours. */
    this.whole = document.createElement("canvas");
    this.drawn = "";
    view.onChange(() => this.draw());
    new ResizeObserver(() => this.draw()).observe(box);
    let held = false;
    const move = (/** @type {PointerEvent} */ event) => {
      const { left, width } = box.getBoundingClientRect();
      const cycle = ((event.clientX - left) / width) * view.cycles;
      const half = (view.to - view.from) / 2;
      view.show(cycle - half, cycle + half);
    };
    box.addEventListener("pointerdown", (event) => {
      held = true;
      box.setPointerCapture(event.pointerId);
      move(event);
    });
    box.addEventListener("pointermove", (event) => {
      if (held) move(event);
    });
    box.addEventListener("pointerup", () => (held = false));
    box.addEventListener("pointercancel", () => (held = false));
  }

  /** Cycles before a cycle in which an access was up. @param {number} cycle */
  busyBefore(cycle) {
    const { run } = this;
    const next = lowerBound(run.starts, cycle);
    if (!next) return 0;
    const over = Math.max(0, run.ends[next - 1] + 1 - cycle);
    return this.busy[next] - over;
  }

  /** Draw the whole run: how busy the bus is, and the findings.
   * @param {number} width @param {Record<string, string>} colours */
  drawWhole(width, colours) {
    const now = [width, window.devicePixelRatio, ...Object.values(colours)].join(" ");
    if (this.drawn === now) return;
    this.drawn = now;
    const pen = new CanvasPen(prepared(this.whole, width, HEIGHT), colours);
    const { run, view } = this;
    const step = view.cycles / width;
    const high = HEIGHT - 16;
    const shares = [];
    for (let x = 0, before = 0; x < width; x++) {
      const until = this.busyBefore((x + 1) * step);
      shares.push((until - before) / step);
      before = until;
    }
    const most = Math.max(...shares) || 1;
    shares.forEach((share, x) => {
      const tall = Math.max(share > 0 ? 1 : 0, (share / most) * high);
      pen.rect(x, HEIGHT - 2 - tall, 1, tall, "blue", 0.75);
    });
    this.box.title = `The whole run: how busy the bus is, up to ${(100 * Math.min(1, most)).toFixed(0)} % ` +
      "of the cycles, and the findings. Drag to move the window.";
    for (const finding of run.facts.findings) {
      const x = finding.cycle / step;
      pen.shape([[x, 12], [x - 5, 2], [x + 5, 2]], "orange");
    }
  }

  draw() {
    const width = this.box.clientWidth;
    if (width < 10) return;
    const colours = pageColours();
    this.drawWhole(width, colours);
    const context = prepared(this.canvas, width, HEIGHT);
    context.drawImage(this.whole, 0, 0, width, HEIGHT);
    const pen = new CanvasPen(context, colours);
    const { view } = this;
    const step = view.cycles / width;
    for (const cycle of view.moments) if (cycle !== null) pen.rect(cycle / step, 0, 1, HEIGHT, "orange");
    const from = view.from / step;
    const wide = Math.max(3, (view.to - view.from) / step);
    pen.rect(0, 0, from, HEIGHT, "grey", 0.18);
    pen.rect(from + wide, 0, width, HEIGHT, "grey", 0.18);
    pen.frame(from, 0, wide, HEIGHT, "ink");
    pen.frame(from + 1, 1, wide - 2, HEIGHT - 2, "ink");
  }
}
