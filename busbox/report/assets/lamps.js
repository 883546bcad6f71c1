// The lamps, one frame after the other: slow motion, and only after a click.

import { Run } from "./run.js";
import { made } from "./elements.js";
import { colourText, grouped, showTime } from "./words.js";

/**
 * Milliseconds for which a frame stays. A flash is a pair of opposite changes, so that two changes a
 * second make one flash a second at most: WCAG 2.2, success criterion 2.3.1, allows three.
 */
export const SLOW = 500;

export class Lamps {
  /**
   * @param {HTMLElement} box
   * @param {Run} run
   * @param {(asked: string) => void} ask
   */
  constructor(box, run, ask) {
    this.run = run;
    this.ask = ask;
    const find = (/** @type {string} */ what) => /** @type {HTMLElement} */ (box.querySelector(what));
    this.string = find(".string");
    this.words = find(".frame");
    this.choice = /** @type {HTMLSelectElement} */ (find("select"));
    this.play = /** @type {HTMLButtonElement} */ (find(".play"));
    this.number = 0;
    this.timer = 0;
    run.frames.forEach((frames, n) => this.choice.append(new Option(frames.label, String(n))));
    this.choice.addEventListener("change", () => this.show(0));
    find(".next").addEventListener("click", () => this.show(this.number + 1));
    find(".before").addEventListener("click", () => this.show(this.number - 1));
    find(".ask").addEventListener("click", () => this.ask(`frame.${this.line}.${this.number}`));
    this.play.addEventListener("click", () => (this.timer ? this.stop() : this.start()));
    this.show(0);
  }

  get line() {
    return Number(this.choice.value);
  }

  start() {
    this.play.textContent = "Stop";
    if (this.number + 1 >= this.run.frames[this.line].cycles.length) this.show(0);
    this.timer = window.setInterval(() => {
      if (this.number + 1 >= this.run.frames[this.line].cycles.length) this.stop();
      else this.show(this.number + 1);
    }, SLOW);
  }

  stop() {
    clearInterval(this.timer);
    this.timer = 0;
    this.play.textContent = "Play slowly";
  }

  /** @param {number} number */
  show(number) {
    const frames = this.run.frames[this.line];
    this.number = Math.min(Math.max(0, number), frames.cycles.length - 1);
    const first = frames.firsts[this.number];
    const colours = frames.colours.subarray(first, first + frames.sizes[this.number]);
    this.string.replaceChildren(...Array.from(colours, (colour, n) => {
      const lamp = made("li", "");
      const swatch = made("i", "");
      swatch.style.background = `#${colourText(frames.onScreen(colour))}`;
      lamp.append(swatch, made("span", `${n}`), made("code", colourText(colour)));
      return lamp;
    }));
    const cycle = frames.cycles[this.number];
    this.words.textContent = `Frame ${grouped(this.number)} of ${grouped(frames.cycles.length)}, ` +
      `${showTime(cycle, this.run.clock)} (cycle ${grouped(cycle)})`;
  }
}
