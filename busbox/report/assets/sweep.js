// The page of a sweep: a drawing of one measure against one key, and the rows sorted and narrowed.

import { made } from "./elements.js";
import { counted, fourDigits, showTime } from "./words.js";

/** @typedef {{columns: string[], keys: string[], units: string[], rows: any[][], wrong: boolean[]}} Facts */

const [MOST_WIDE, HIGH, LEFT, FOOT] = [1100, 320, 90, 46];
/** Pixels of a mark; of more marks than this, each is smaller. */
const [MARK, MANY] = [4.5, 200];

/** @param {string} id @returns {HTMLElement} */
function part(id) {
  const element = document.getElementById(id);
  if (!element) throw new Error(`the page has no part ${id}`);
  return element;
}

/** @param {number} value @param {string} unit */
function numberText(value, unit) {
  const text = unit === "s" ? showTime(Math.abs(value), 1) : fourDigits(Math.abs(value));
  return value < 0 ? `-${text}` : text;
}

class Drawing {
  /** @param {Facts} facts @param {HTMLTableRowElement[]} rows */
  constructor(facts, rows) {
    this.facts = facts;
    this.rows = rows;
    this.up = /** @type {HTMLSelectElement} */ (part("up"));
    this.right = /** @type {HTMLSelectElement} */ (part("right"));
    facts.columns.forEach((name, n) => {
      if (facts.rows.some((row) => typeof row[n] === "number")) this.up.append(new Option(name, String(n)));
      if (facts.keys.includes(name)) this.right.append(new Option(name, String(n)));
    });
    if (!this.right.options.length) this.right.append(new Option("row", "-1"));
    const first = [...this.up.options].find((one) => one.text === "duration")
      ?? [...this.up.options].find((one) => !facts.keys.includes(one.text));
    if (first) first.selected = true;
    for (const choice of [this.up, this.right]) choice.addEventListener("change", () => this.draw());
    let width = 0;
    new ResizeObserver(() => {
      if (width === part("drawing").clientWidth) return;
      width = part("drawing").clientWidth;
      this.draw();
    }).observe(part("drawing"));
  }

  draw() {
    const { facts } = this;
    const WIDE = Math.min(MOST_WIDE, Math.max(280, part("drawing").clientWidth));
    const [up, right] = [Number(this.up.value), Number(this.right.value)];
    const [unit, unitRight] = [facts.units[up], right < 0 ? "" : facts.units[right]];
    const values = facts.rows.map((row, n) => (right < 0 ? n : row[right]));
    const numeric = values.every((value) => typeof value === "number");
    const names = numeric ? [] : [...new Set(values.map(String))];
    const xs = values.map((value) => (numeric ? value : names.indexOf(String(value))));
    const ys = facts.rows.map((row) => (typeof row[up] === "number" ? row[up] : null));
    const known = ys.filter((y) => y !== null);
    const [low, high] = [Math.min(...known), Math.max(...known)];
    const [first, last] = [Math.min(...xs), Math.max(...xs)];
    const x = (/** @type {number} */ at) => LEFT + 20 + ((WIDE - LEFT - 60) * (at - first)) / (last - first || 1);
    const y = (/** @type {number} */ at) => HIGH - FOOT - 16 - ((HIGH - FOOT - 50) * (at - low)) / (high - low || 1);
    const marks = xs.map((at, n) => (ys[n] === null ? "" : this.mark(n, x(at), y(/** @type {number} */ (ys[n])))));
    const ticks = numeric ? [first, last].filter((one, n) => n === 0 || last > first).map((at) => [x(at), numberText(at, unitRight)])
      : names.filter((_, n) => n % Math.ceil(names.length / Math.max(2, Math.floor((WIDE - LEFT) / 110))) === 0).map((name) => [x(names.indexOf(name)), name]);
    const box = part("drawing");
    box.innerHTML = `<svg width="${WIDE}" height="${HIGH}" role="img" aria-labelledby="reading">` +
      `<path d="M${LEFT},20 V${HIGH - FOOT} H${WIDE - 20}" fill="none" stroke="var(--ink)"/>${marks.join("")}</svg>`;
    const svg = /** @type {SVGElement} */ (box.firstChild);
    const write = (/** @type {number} */ left, /** @type {number} */ top, /** @type {string} */ text, /** @type {string} */ anchor) => {
      const element = document.createElementNS("http://www.w3.org/2000/svg", "text");
      for (const [name, value] of Object.entries({ x: left, y: top, "text-anchor": anchor, fill: "var(--ink)", "font-size": 13 })) {
        element.setAttribute(name, String(value));
      }
      element.textContent = text;
      svg.append(element);
    };
    for (const [left, text] of ticks) write(Number(left), HIGH - FOOT + 18, String(text), "middle");
    write((LEFT + WIDE) / 2, HIGH - 6, this.right.selectedOptions[0].text, "middle");
    write(4, 14, `${this.up.selectedOptions[0].text}${unit && unit !== "s" ? ` (${unit})` : ""}`, "start");
    if (known.length) {
      write(LEFT - 8, y(low) + 4, numberText(low, unit), "end");
      if (high > low) write(LEFT - 8, y(high) + 4, numberText(high, unit), "end");
    }
    part("reading").textContent = known.length
      ? `${this.up.selectedOptions[0].text}: from ${numberText(low, unit)} to ${numberText(high, unit)} in ${counted(known.length, "variant")}.`
      : "No variant has this measure.";
    svg.addEventListener("click", (event) => {
      const mark = event.target instanceof Element ? event.target.getAttribute("data-row") : null;
      if (mark !== null) this.choose(Number(mark));
    });
  }

  /** @param {number} row @param {number} x @param {number} y */
  mark(row, x, y) {
    const at = `data-row="${row}" stroke="var(--paper)" stroke-width="0.7"`;
    const r = this.facts.rows.length > MANY ? MARK * 0.7 : MARK;
    return this.facts.wrong[row]
      ? `<path d="M${x - 1.3 * r},${y + 1.1 * r} h${2.6 * r} l${-1.3 * r},${-2.4 * r} z" fill="var(--orange)" ${at}/>`
      : `<circle cx="${x}" cy="${y}" r="${r}" fill="var(--blue)" ${at}/>`;
  }

  /** @param {number} row */
  choose(row) {
    for (const one of this.rows) one.classList.remove("chosen");
    this.rows[row].hidden = false;
    this.rows[row].classList.add("chosen");
    this.rows[row].scrollIntoView({ block: "center" });
    const cells = this.facts.columns.map((name, n) => `${name} ${this.rows[row].cells[n].textContent}`);
    part("reading").textContent = cells.filter((text) => !text.endsWith(" ")).join(", ");
  }
}

/** @param {Facts} facts @param {HTMLTableRowElement[]} rows */
function listenToTable(facts, rows) {
  const body = /** @type {HTMLElement} */ (rows[0]?.parentElement);
  const heads = /** @type {HTMLTableCellElement[]} */ ([...document.querySelectorAll("thead th")]);
  heads.forEach((head, column) => head.addEventListener("click", () => {
    const turn = head.getAttribute("aria-sort") === "ascending" ? -1 : 1;
    for (const one of heads) one.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", turn > 0 ? "ascending" : "descending");
    const order = rows.map((_, n) => n).sort((one, other) => {
      const [a, b] = [facts.rows[one][column], facts.rows[other][column]];
      if (a === null || b === null) return Number(a === null) - Number(b === null);
      const less = typeof a === "number" && typeof b === "number" ? a - b : String(a).localeCompare(String(b));
      return turn * less || one - other;
    });
    body.append(...order.map((n) => rows[n]));
  }));
  const field = /** @type {HTMLInputElement} */ (part("search"));
  field.addEventListener("input", () => {
    const words = field.value.trim().toLowerCase();
    let count = 0;
    for (const row of rows) {
      row.hidden = Boolean(words) && !(row.textContent ?? "").toLowerCase().includes(words);
      if (!row.hidden) count++;
    }
    part("found").textContent = words ? `${counted(count, "variant")}.` : "";
  });
}

const facts = /** @type {Facts} */ (JSON.parse(part("data").textContent ?? ""));
const rows = /** @type {HTMLTableRowElement[]} */ ([...document.querySelectorAll("tbody tr")]);
if (rows.length) {
  new Drawing(facts, rows);
  listenToTable(facts, rows);
} else part("reading").append(made("span", "The sweep has no variant."));
document.body.classList.add("ready");
