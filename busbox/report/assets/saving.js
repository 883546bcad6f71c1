// Saves the timetable as it is shown: as SVG, and as PNG.

import { drawLine } from "./draw.js";
import { CanvasPen, SvgPen } from "./pen.js";
import { AXIS, pageColours, Timetable } from "./timetable.js";

/** Pixels of the names beside the lines, and of all that is above them: title and axis. */
const [NAMES, HEAD] = [170, 68];

/** @param {Timetable} timetable @returns {{width: number, height: number}} */
function sizeOf(timetable) {
  const lines = timetable.rows.reduce((sum, row) => sum + row.line.height, 0);
  return { width: NAMES + timetable.scale.width + 10, height: HEAD + lines + 26 * timetable.groups.length };
}

/**
 * Call back with what is drawn where: the title, the axis, each heading, each line.
 * @param {Timetable} timetable
 * @param {string} title
 * @param {(left: number, top: number, height: number, what: import("./lines.js").Line | null) => void} draw
 * @param {(x: number, y: number, text: string, size: number) => void} write
 */
function layOut(timetable, title, draw, write) {
  write(8, 16, title, 14);
  draw(NAMES, HEAD - 40, AXIS, null);
  let top = HEAD;
  for (const group of timetable.groups) {
    write(8, top + 14, group.title, 14);
    top += 26;
    for (const line of group.lines) {
      write(8, top + line.height / 2, line.label, 12);
      draw(NAMES, top, line.height, line);
      top += line.height;
    }
  }
}

/** @param {Timetable} timetable @param {string} title @returns {string} */
export function asSvg(timetable, title) {
  const pen = new SvgPen(pageColours());
  const { scale } = timetable;
  const { width, height } = sizeOf(timetable);
  layOut(timetable, title, (left, top, high, line) => {
    pen.move(left, top, scale.width, high);
    if (line) drawLine(line, pen, scale);
    else timetable.paintAxis(pen, scale);
    timetable.drawMoments(pen, scale, high, !line);
  }, (x, y, text, size) => {
    pen.room = null;
    pen.left = pen.top = 0;
    pen.text(x, y, text, "ink", size);
  });
  return pen.svg(width, height, title);
}

/** @param {Timetable} timetable @param {string} title @returns {HTMLCanvasElement} */
export function asCanvas(timetable, title) {
  const { scale } = timetable;
  const { width, height } = sizeOf(timetable);
  const canvas = document.createElement("canvas");
  canvas.width = 2 * width;
  canvas.height = 2 * height;
  const context = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
  context.scale(2, 2);
  const pen = new CanvasPen(context, pageColours());
  pen.rect(0, 0, width, height, "paper");
  layOut(timetable, title, (left, top, high, line) => {
    context.save();
    context.translate(left, top);
    context.beginPath();
    context.rect(0, 0, scale.width, high);
    context.clip();
    if (line) drawLine(line, pen, scale);
    else timetable.paintAxis(pen, scale);
    timetable.drawMoments(pen, scale, high, !line);
    context.restore();
  }, (x, y, text, size) => pen.text(x, y, text, "ink", size));
  return canvas;
}

/** @param {Blob} blob @param {string} name */
export function save(blob, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
