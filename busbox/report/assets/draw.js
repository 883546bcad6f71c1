// Draws a line of the timetable between two cycles.

import { upperBound } from "./data.js";
import { BytesLine, FramesLine, Line, PinLine, RegisterLine, SpansLine, WordsLine } from "./lines.js";
import { hex } from "./words.js";

/** @typedef {import("./pen.js").Pen} Pen */
/** @typedef {{from: number, to: number, width: number}} Scale cycles, and pixels */

/** Strokes nearer than this, in pixels, are drawn as density. */
const NEAR = 3;

/** @param {Scale} scale @param {number} cycle */
export function xOf(scale, cycle) {
  return ((cycle - scale.from) / (scale.to - scale.from)) * scale.width;
}

/** @param {Scale} scale @param {number} x */
export function cycleAt(scale, x) {
  return scale.from + (x / scale.width) * (scale.to - scale.from);
}

/**
 * @param {Line} line
 * @param {Pen} pen
 * @param {Scale} scale
 */
export function drawLine(line, pen, scale) {
  if (line instanceof RegisterLine) drawRegister(line, pen, scale);
  else if (line instanceof PinLine) drawPin(line, pen, scale);
  else if (line instanceof BytesLine) drawBytes(line, pen, scale);
  else if (line instanceof FramesLine) drawFrames(line, pen, scale);
  else if (line instanceof SpansLine) drawSpans(line, pen, scale);
  else if (line instanceof WordsLine) drawWords(line, pen, scale);
}

/**
 * Call back for each column of pixels that has moments, with their count.
 * @param {ArrayLike<number>} moments
 * @param {Scale} scale
 * @param {(x: number, count: number) => void} draw
 * @param {number} wide pixels of a column
 */
function columns(moments, scale, draw, wide = 1) {
  const step = (scale.to - scale.from) / scale.width;
  let place = firstAfter(moments, scale.from);
  for (let x = 0; x < scale.width; x += wide) {
    const next = firstAfter(moments, scale.from + (x + wide) * step);
    if (next > place) draw(x, next - place);
    place = next;
  }
}

/** @param {ArrayLike<number>} moments @param {number} cycle the first place not before it */
function firstAfter(moments, cycle) {
  return upperBound(moments, Math.ceil(cycle) - 1);
}

/** The height for a count: a step for each factor of ten. @param {number} count @param {number} most */
function steps(count, most) {
  return Math.min(most, (most * (1 + Math.log10(count))) / 4);
}

/** @param {ArrayLike<number>} moments @param {Scale} scale */
function inView(moments, scale) {
  return [firstAfter(moments, scale.from), upperBound(moments, scale.to)];
}

/** @param {RegisterLine} line @param {Pen} pen @param {Scale} scale */
function drawRegister(line, pen, scale) {
  const middle = Math.round(line.height / 2);
  const most = middle - 3;
  pen.rect(0, middle, scale.width, 1, "grey", 0.55);
  const [first, end] = inView(line.moments, scale);
  if (end - first > scale.width / NEAR) {
    columns(line.writes, scale, (x, count) => {
      const high = steps(count, most);
      pen.rect(x, middle - high, 1, high, "blue");
    });
    columns(line.reads, scale, (x, count) => pen.rect(x, middle + 1, 1, steps(count, most), "purple"));
    return;
  }
  const { run } = line;
  for (let n = Math.max(0, first - 1); n < Math.min(line.moments.length, end + 1); n++) {
    const access = line.accesses[n];
    const [from, to] = [xOf(scale, run.starts[access]), xOf(scale, run.ends[access] + 1)];
    const write = Boolean(run.writes[access]);
    const colour = line.failed(n) ? "orange" : write ? "blue" : "purple";
    const top = write ? 4 : middle + 1;
    const wide = Math.max(2, to - from);
    if (wide > 5) {
      pen.rect(from, top, wide, most - 1, colour, 0.2);
      pen.frame(from, top, wide, most - 1, colour);
    }
    pen.rect(Math.max(from, to - 2), top, 2, most - 1, colour);
    if (line.failed(n)) pen.hatch(from, top, wide, most - 1, "orange");
    const next = n + 1 < line.moments.length ? xOf(scale, line.moments[n + 1]) : Infinity;
    const text = hex(run.data[access]);
    const before = n > 0 ? xOf(scale, run.ends[line.accesses[n - 1]] + 1) : -Infinity;
    const needs = 7 * text.length;
    const y = write ? 4 + most / 2 : middle + most / 2;
    // To the right of the access, else to the left, where it fits and the access is on the screen.
    if (to >= 0 && Math.min(next, scale.width + 8) - to > needs + 12) pen.text(to + 3, y, text, "ink", 11);
    else if (from <= scale.width && from - Math.max(before, 0) > needs + 12) pen.text(from - needs - 6, y, text, "ink", 11);
  }
}

/** @param {PinLine} line @param {Pen} pen @param {Scale} scale */
function drawPin(line, pen, scale) {
  const [top, bottom] = [5, line.height - 5];
  const high = bottom - top;
  pen.rect(0, bottom, scale.width, 1, "grey", 0.55);
  const [first, end] = inView(line.moments, scale);
  if (end - first > scale.width / NEAR) {
    const step = (scale.to - scale.from) / scale.width;
    let before = line.highBefore(scale.from);
    columns(line.moments, scale, (x) => pen.rect(x, top, 1, high, "blue", 0.22));
    for (let x = 0; x < scale.width; x++) {
      const until = line.highBefore(scale.from + (x + 1) * step);
      const share = Math.min(1, (until - before) / step);
      if (share > 0) pen.rect(x, bottom - share * high, 1, share * high, "blue");
      before = until;
    }
    return;
  }
  for (let n = Math.max(0, first - 1); n < end; n++) {
    const from = Math.max(-2, xOf(scale, line.moments[n]));
    const last = n + 1 < line.moments.length ? line.moments[n + 1] : line.run.cycles;
    const to = Math.min(scale.width + 2, xOf(scale, last));
    if (line.levels[n] === 1) {
      pen.rect(from, top, Math.max(1, to - from), high, "blue", to - from > 4 ? 0.35 : 0.8);
      pen.rect(from, top, Math.max(1, to - from), 2, "blue");
    } else if (line.levels[n] === 2) pen.hatch(from, top + high / 3, to - from, high / 3, "grey");
    if (n > 0) pen.rect(from, top, 1, high, "blue");
  }
}

/** @param {BytesLine} line @param {Pen} pen @param {Scale} scale */
function drawBytes(line, pen, scale) {
  const [first, end] = inView(line.moments, scale);
  const bottom = line.height - 5;
  pen.rect(0, bottom, scale.width, 1, "grey", 0.55);
  if (end - first > scale.width / NEAR) {
    columns(line.moments, scale, (x, count) => {
      const high = steps(count, bottom - 4);
      pen.rect(x, bottom - high, 1, high, "purple");
    });
    return;
  }
  for (let n = Math.max(0, first - 1); n < Math.min(line.moments.length, end + 1); n++) {
    const x = xOf(scale, line.moments[n]);
    const text = line.chip(n);
    const wide = 8 + 7 * text.length;
    const room = Math.min(
      n > 0 ? x - xOf(scale, line.moments[n - 1]) : Infinity,
      n + 1 < line.moments.length ? xOf(scale, line.moments[n + 1]) - x : Infinity);
    if (room < wide + 2) {
      pen.rect(x - 1, 5, 2, bottom - 5, "purple");
      continue;
    }
    pen.rect(x - wide / 2, 3, wide, bottom - 2, "paper");
    pen.frame(x - wide / 2, 3, wide, bottom - 2, "purple");
    pen.text(x, 3 + (bottom - 2) / 2, text, "ink", 12, true);
  }
}

/** @param {FramesLine} line @param {Pen} pen @param {Scale} scale */
function drawFrames(line, pen, scale) {
  const { frames } = line;
  const [top, high] = [4, line.height - 8];
  const shown = new Int32Array(Math.round(scale.width)).fill(-1);
  const [first, end] = inView(line.moments, scale);
  for (let x = 0, place = Math.max(0, first - 1); x < shown.length; x++) {
    const cycle = cycleAt(scale, x + 1);
    if (cycle > line.run.cycles + 1) break;
    place = end - first > scale.width ? upperBound(line.moments, cycle) : place;
    while (place < line.moments.length && line.moments[place] <= cycle) place++;
    shown[x] = place - 1;
  }
  pen.mosaic(top, high, shown, {
    size: (n) => frames.sizes[n],
    colour: (n, lamp) => frames.onScreen(frames.colours[frames.firsts[n] + lamp]),
  });
  if (end - first > scale.width / NEAR) return;
  for (let n = Math.max(0, first - 1); n < end; n++) {
    const next = n + 1 < line.moments.length ? line.moments[n + 1] : line.run.cycles;
    const [from, to] = [Math.max(-2, xOf(scale, line.moments[n])), Math.min(scale.width + 2, xOf(scale, next))];
    if (to - from > NEAR) pen.frame(from, top - 1, to - from, high + 2, "grey");
  }
}

/** @param {SpansLine} line @param {Pen} pen @param {Scale} scale */
function drawSpans(line, pen, scale) {
  const ends = line.until ?? [];
  const [top, high] = [5, line.height - 10];
  const [first, end] = inView(line.moments, scale);
  if (end - first > scale.width / NEAR) {
    columns(line.moments, scale, (x, count) => {
      const tall = steps(count, high);
      pen.rect(x, top + high - tall, 1, tall, "ink", 0.6);
    });
    return;
  }
  for (let n = Math.max(0, first - 1); n < end; n++) {
    const from = Math.max(-2, xOf(scale, line.moments[n]));
    const to = Math.min(scale.width + 2, xOf(scale, ends[n]));
    const wide = Math.max(1, to - from);
    if (line.kind === "functions") pen.rect(from, top, wide, high, "grey", 0.18);
    else pen.hatch(from, top, wide, high, "grey");
    pen.frame(from, top, wide, high, "grey");
    const left = Math.max(0, from) + 5;
    if (to - left > 8 + 7 * line.names[n].length) {
      if (line.kind !== "functions") {
        pen.rect(left - 2, top + 2, 4 + 7 * line.names[n].length, high - 4, "paper");
      }
      pen.text(left, top + high / 2, line.names[n], "ink", 12);
    }
  }
}

/** @param {WordsLine} line @param {Pen} pen @param {Scale} scale */
function drawWords(line, pen, scale) {
  const finding = line.kind === "findings";
  const [top, bottom] = [5, line.height - 5];
  const colour = finding ? "orange" : "ink";
  const [first, end] = inView(line.moments, scale);
  if (end - first > scale.width / NEAR) {
    columns(line.moments, scale, (x, count) => {
      const high = steps(count, bottom - top);
      pen.rect(x, bottom - high, 1, high, colour);
    });
    return;
  }
  for (let n = Math.max(0, first - 1); n < end; n++) {
    const x = xOf(scale, line.moments[n]);
    if (finding) pen.shape([[x, bottom], [x - 6, top], [x + 6, top]], colour);
    else pen.rect(x - 1, top, 2, bottom - top, colour);
    const next = n + 1 < line.moments.length ? xOf(scale, line.moments[n + 1]) : scale.width;
    const text = finding ? line.text(n).split(":", 1)[0] : line.text(n);
    if (next - x > 14 + 7 * text.length) pen.text(x + 8, line.height / 2, text, "ink", 12);
  }
}
