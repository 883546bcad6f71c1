// The events of the window as a table, for those who do not look at drawings.

import { Line } from "./lines.js";
import { made } from "./elements.js";
import { View } from "./view.js";
import { grouped, showTime } from "./words.js";

/** Rows of a page of the table. */
const ROWS = 100;

export class Table {
  /**
   * @param {HTMLElement} box
   * @param {Line[]} lines
   * @param {View} view
   * @param {number} clock
   * @param {(asked: string, row: string) => void} ask
   */
  constructor(box, lines, view, clock, ask) {
    this.lines = lines;
    this.view = view;
    this.clock = clock;
    this.ask = ask;
    const find = (/** @type {string} */ what) => /** @type {HTMLElement} */ (box.querySelector(what));
    this.body = find("tbody");
    this.caption = find("[role=status]");
    this.later = /** @type {HTMLButtonElement} */ (find(".later"));
    this.first = /** @type {HTMLButtonElement} */ (find(".first"));
    this.choice = /** @type {HTMLSelectElement} */ (find("select"));
    for (const line of lines) this.choice.append(new Option(line.label, line.id));
    /** The window whose events are shown. */
    this.filled = "";
    /** Where each line's rows begin on the next page. @type {number[]} */
    this.next = [];
    this.later.addEventListener("click", () => this.fill(this.next));
    this.first.addEventListener("click", () => this.fill());
    this.choice.addEventListener("change", () => this.fill());
    const details = /** @type {HTMLDetailsElement} */ (box.querySelector("details") ?? box);
    let timer = 0;
    view.onChange(() => {
      clearTimeout(timer);
      // Asked when the view rests: the table may have been filled by then.
      timer = window.setTimeout(() => {
        if (details.open && this.filled !== this.window) this.fill();
      }, 150);
    });
    details.addEventListener("toggle", () => details.open && this.fill());
  }

  /** @returns {Line[]} */
  get chosen() {
    const { value } = this.choice;
    return value ? this.lines.filter((line) => line.id === value) : this.lines;
  }

  /** The window as text. @returns {string} */
  get window() {
    return `${this.view.from} ${this.view.to}`;
  }

  /** Fill a page. @param {number[]} [begins] the place in each line; default: the window's start */
  fill(begins) {
    const { chosen, view } = this;
    this.filled = this.window;
    const [from, to] = [Math.ceil(view.from), Math.floor(view.to)];
    const bounds = chosen.map((line) => line.within(from, to));
    const places = begins && begins.length === chosen.length ? [...begins] : bounds.map(([first]) => first);
    const rows = [];
    while (rows.length < ROWS) {
      let best = -1;
      chosen.forEach((line, n) => {
        if (places[n] >= bounds[n][1]) return;
        if (best < 0 || line.moments[places[n]] < chosen[best].moments[places[best]]) best = n;
      });
      if (best < 0) break;
      rows.push(this.row(chosen[best], places[best]++));
    }
    this.body.replaceChildren(...rows);
    this.next = places;
    const all = bounds.reduce((sum, [first, end]) => sum + end - first, 0);
    const done = places.reduce((sum, place, n) => sum + place - bounds[n][0], 0);
    this.caption.textContent = all
      ? `Events ${grouped(done - rows.length + 1)} to ${grouped(done)} of ${grouped(all)} in the window.`
      : "No event in the window.";
    this.later.disabled = done >= all;
    this.first.disabled = done <= ROWS;
  }

  /** @param {Line} line @param {number} number */
  row(line, number) {
    const row = document.createElement("tr");
    const cycle = line.moments[number];
    const button = /** @type {HTMLButtonElement} */ (made("button", "why", "jump"));
    button.type = "button";
    button.setAttribute("aria-label", `why: ${line.text(number)}`);
    button.addEventListener("click", () => this.ask(line.ask(number), line.id));
    const last = document.createElement("td");
    last.append(button);
    row.append(made("td", showTime(cycle, this.clock)), made("td", grouped(cycle)),
      made("td", line.label), made("td", line.text(number)), last);
    return row;
  }
}
