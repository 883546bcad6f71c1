// Two pens that draw alike: one on a canvas, one as SVG.

import { colourText } from "./words.js";

/** @typedef {Record<string, string>} Colours names of the page's colours, and what they are */

/**
 * What a pen can do. A colour is a name of the page or any colour of CSS.
 * @typedef {object} Pen
 * @property {(x: number, y: number, w: number, h: number, colour: string, alpha?: number) => void} rect
 * @property {(x: number, y: number, w: number, h: number, colour: string) => void} frame
 * @property {(x: number, y: number, w: number, h: number, colour: string) => void} hatch
 * @property {(x: number, y: number, text: string, colour: string, size?: number,
 *     middle?: boolean) => void} text
 * @property {(points: [number, number][], colour: string) => void} shape
 * @property {(y: number, h: number, columns: Int32Array, stack: Stack) => void} mosaic
 */

/**
 * What stands in the columns of a mosaic, one pixel wide each, from the left: ``columns`` has the number
 * of a stack of colours for each, or -1 for none; one above the other, all of a stack are equally high.
 * @typedef {{size: (number: number) => number, colour: (number: number, place: number) => number}} Stack
 */

const FONT = "system-ui, sans-serif";
/** Rows of the image behind a mosaic, at most: it is drawn no higher than that. */
const ROWS = 96;

/** @implements {Pen} */
export class CanvasPen {
  /**
   * @param {CanvasRenderingContext2D} context
   * @param {Colours} colours
   */
  constructor(context, colours) {
    this.context = context;
    this.colours = colours;
    /** @type {Map<string, CanvasPattern | null>} */
    this.patterns = new Map();
  }

  /** @param {string} colour */
  of(colour) {
    return this.colours[colour] ?? colour;
  }

  /** @type {Pen["rect"]} */
  rect(x, y, w, h, colour, alpha = 1) {
    this.context.globalAlpha = alpha;
    this.context.fillStyle = this.of(colour);
    this.context.fillRect(x, y, w, h);
    this.context.globalAlpha = 1;
  }

  /** @type {Pen["frame"]} */
  frame(x, y, w, h, colour) {
    this.context.strokeStyle = this.of(colour);
    this.context.lineWidth = 1;
    this.context.strokeRect(x + 0.5, y + 0.5, Math.max(0, w - 1), Math.max(0, h - 1));
  }

  /** @type {Pen["hatch"]} */
  hatch(x, y, w, h, colour) {
    let pattern = this.patterns.get(colour);
    if (pattern === undefined) {
      const tile = document.createElement("canvas");
      tile.width = tile.height = 6;
      const drawn = /** @type {CanvasRenderingContext2D} */ (tile.getContext("2d"));
      drawn.strokeStyle = this.of(colour);
      drawn.lineWidth = 1.5;
      drawn.beginPath();
      for (const shift of [-6, 0, 6]) {
        drawn.moveTo(shift - 1, 7);
        drawn.lineTo(shift + 7, -1);
      }
      drawn.stroke();
      pattern = this.context.createPattern(tile, "repeat");
      this.patterns.set(colour, pattern);
    }
    if (!pattern) return;
    this.context.fillStyle = pattern;
    this.context.fillRect(x, y, w, h);
  }

  /** @type {Pen["text"]} */
  text(x, y, text, colour, size = 12, middle = false) {
    this.context.fillStyle = this.of(colour);
    this.context.font = `${size}px ${FONT}`;
    this.context.textAlign = middle ? "center" : "left";
    this.context.textBaseline = "middle";
    this.context.fillText(text, x, y);
  }

  /** One image, one pixel a column: a rectangle for each colour would take a thousand times as long.
   * @type {Pen["mosaic"]} */
  mosaic(y, h, columns, stack) {
    let rows = 1;
    for (const number of columns) if (number >= 0) rows = Math.max(rows, stack.size(number));
    rows = Math.min(rows, ROWS);
    const image = new ImageData(columns.length, rows);
    const pixels = new Uint32Array(image.data.buffer);
    columns.forEach((number, x) => {
      const size = number < 0 ? 0 : stack.size(number);
      for (let row = 0; size && row < rows; row++) {
        const colour = stack.colour(number, Math.floor((row * size) / rows));
        const swapped = ((colour & 255) << 16) | (colour & 0xff00) | ((colour >> 16) & 255);
        pixels[row * columns.length + x] = (0xff000000 | swapped) >>> 0;
      }
    });
    const tile = document.createElement("canvas");
    tile.width = columns.length;
    tile.height = rows;
    /** @type {CanvasRenderingContext2D} */ (tile.getContext("2d")).putImageData(image, 0, 0);
    this.context.imageSmoothingEnabled = false;
    this.context.drawImage(tile, 0, y, columns.length, h);
  }

  /** @type {Pen["shape"]} */
  shape(points, colour) {
    this.context.fillStyle = this.of(colour);
    this.context.beginPath();
    for (const [x, y] of points) this.context.lineTo(x, y);
    this.context.closePath();
    this.context.fill();
  }
}

/** @implements {Pen} */
export class SvgPen {
  /** @param {Colours} colours */
  constructor(colours) {
    this.colours = colours;
    /** @type {string[]} */
    this.drawn = [];
    /** @type {Map<string, string>} */
    this.patterns = new Map();
    this.left = 0;
    this.top = 0;
    /** @type {[number, number, number, number] | null} */
    this.room = null;
  }

  /** @param {string} colour */
  of(colour) {
    return this.colours[colour] ?? colour;
  }

  /** Draw what follows from this point on, and only within a width and height.
   * @param {number} x @param {number} y @param {number} w @param {number} h */
  move(x, y, w, h) {
    this.left = x;
    this.top = y;
    this.room = [0, 0, w, h];
  }

  /** @param {number} x @param {number} y @param {number} w @param {number} h @param {string} fill */
  box(x, y, w, h, fill) {
    const [left, top, wide, high] = this.room ?? [x, y, w, h];
    const [x1, y1] = [Math.max(x, left), Math.max(y, top)];
    const [x2, y2] = [Math.min(x + w, left + wide), Math.min(y + h, top + high)];
    if (x2 <= x1 || y2 <= y1) return;
    const at = `x="${round(x1 + this.left)}" y="${round(y1 + this.top)}"`;
    this.drawn.push(`<rect ${at} width="${round(x2 - x1)}" height="${round(y2 - y1)}" ${fill}/>`);
  }

  /** @type {Pen["rect"]} */
  rect(x, y, w, h, colour, alpha = 1) {
    const some = alpha === 1 ? "" : ` fill-opacity="${alpha}"`;
    this.box(x, y, w, h, `fill="${this.of(colour)}"${some}`);
  }

  /** @type {Pen["frame"]} */
  frame(x, y, w, h, colour) {
    this.box(x + 0.5, y + 0.5, Math.max(0.1, w - 1), Math.max(0.1, h - 1),
      `fill="none" stroke="${this.of(colour)}"`);
  }

  /** @type {Pen["hatch"]} */
  hatch(x, y, w, h, colour) {
    if (!this.patterns.has(colour)) this.patterns.set(colour, `hatch${this.patterns.size}`);
    this.box(x, y, w, h, `fill="url(#${this.patterns.get(colour)})"`);
  }

  /** @type {Pen["text"]} */
  text(x, y, text, colour, size = 12, middle = false) {
    if (this.room && (x < 0 || x > this.room[2])) return;
    const anchor = middle ? ' text-anchor="middle"' : "";
    const at = `x="${round(x + this.left)}" y="${round(y + this.top + size * 0.35)}"`;
    this.drawn.push(
      `<text ${at} fill="${this.of(colour)}" font-size="${size}"${anchor}>${escaped(text)}</text>`);
  }

  /** @type {Pen["mosaic"]} */
  mosaic(y, h, columns, stack) {
    for (let x = 0, next = 0; x < columns.length; x = next) {
      const number = columns[x];
      for (next = x + 1; next < columns.length && columns[next] === number;) next++;
      const size = number < 0 ? 0 : stack.size(number);
      for (let place = 0, end = 0; place < size; place = end) {
        const colour = stack.colour(number, place);
        for (end = place + 1; end < size && stack.colour(number, end) === colour;) end++;
        this.rect(x, y + (h * place) / size, next - x, (h * (end - place)) / size,
          `#${colourText(colour)}`);
      }
    }
  }

  /** @type {Pen["shape"]} */
  shape(points, colour) {
    const width = this.room ? this.room[2] : Infinity;
    if (points.every(([x]) => x < 0 || x > width)) return;
    const text = points.map(([x, y]) => `${round(x + this.left)},${round(y + this.top)}`).join(" ");
    this.drawn.push(`<polygon points="${text}" fill="${this.of(colour)}"/>`);
  }

  /**
   * @param {number} width
   * @param {number} height
   * @param {string} title
   */
  svg(width, height, title) {
    const patterns = [...this.patterns].map(([colour, name]) =>
      `<pattern id="${name}" width="6" height="6" patternUnits="userSpaceOnUse">` +
      `<path d="M-1,7 L7,-1 M-1,1 L1,-1 M5,7 L7,5" stroke="${this.of(colour)}"/></pattern>`);
    return `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${width} ${height}" ` +
      `width="${width}" height="${height}" font-family="${FONT}" role="img">` +
      `<title>${escaped(title)}</title><defs>${patterns.join("")}</defs>` +
      `<rect width="${width}" height="${height}" fill="${this.of("paper")}"/>` +
      `${this.drawn.join("\n")}</svg>\n`;
  }
}

/** @param {number} value */
function round(value) {
  return Math.round(value * 100) / 100;
}

/** @param {string} text */
export function escaped(text) {
  return text.replace(/[&<>"]/g, (letter) => `&#${letter.charCodeAt(0)};`)
    .replace(/[\x00-\x08\x0b\x0c\x0e-\x1f]/g, " ");
}
