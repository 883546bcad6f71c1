// Unpacks the data of the page: see busbox/report/packing.py.

/** @typedef {Uint8Array | Int32Array | Float64Array} Column */
/** @typedef {{name: string, count: number, bytes: number, kind: string, delta: boolean}} Head */

/** The columns of the page; each is read when it is first asked for. */
export class Columns {
  /**
   * @param {Uint8Array} bytes
   * @param {number} at where the first column begins
   * @param {Head[]} heads
   */
  constructor(bytes, at, heads) {
    this.bytes = bytes;
    this.heads = heads;
    /** @type {Map<string, number>} */
    this.numbers = new Map(heads.map((head, number) => [head.name, number]));
    /** @type {number[]} */
    this.places = [];
    for (const head of heads) {
      this.places.push(at);
      at += head.bytes;
    }
    /** @type {(Column | undefined)[]} */
    this.read = [];
  }

  /**
   * @param {string | number} asked name or number
   * @returns {Column}
   */
  get(asked) {
    const number = typeof asked === "number" ? asked : this.numbers.get(asked);
    if (number === undefined || !this.heads[number]) {
      throw new Error(`there is no column ${asked}`);
    }
    return (this.read[number] ??= decoded(this.bytes, this.places[number], this.heads[number]));
  }
}

/**
 * @param {Uint8Array} bytes
 * @param {number} at
 * @param {Head} head
 * @returns {Column}
 */
function decoded(bytes, at, head) {
  const { count, kind, delta } = head;
  const column = kind === "u8" ? new Uint8Array(count)
    : kind === "i32" ? new Int32Array(count) : new Float64Array(count);
  let before = 0;
  for (let number = 0; number < count; number++) {
    let byte = bytes[at++];
    let value = byte & 127;
    for (let scale = 128; byte > 127; scale *= 128) {
      byte = bytes[at++];
      value += (byte & 127) * scale;
    }
    const signed = value % 2 ? -(value + 1) / 2 : value / 2;
    before = delta ? before + signed : signed;
    column[number] = before;
  }
  return column;
}

/**
 * Return the facts and the columns.
 * @param {string} text in base64
 * @returns {Promise<{facts: any, columns: Columns}>}
 */
export async function unpack(text) {
  const letters = atob(text.trim());
  const packed = new Uint8Array(letters.length);
  for (let place = 0; place < letters.length; place++) packed[place] = letters.charCodeAt(place);
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
  const bytes = new Uint8Array(await new Response(stream).arrayBuffer());
  const head = { name: "", count: 1, bytes: 0, kind: "f64", delta: false };
  const length = decoded(bytes, 0, head)[0];
  let at = 1;
  while (bytes[at - 1] > 127) at++;
  const facts = JSON.parse(new TextDecoder().decode(bytes.subarray(at, at + length)));
  return { facts, columns: new Columns(bytes, at + length, facts.columns) };
}

/**
 * Return the first place whose number is not below a value.
 * @param {ArrayLike<number>} column in order
 * @param {number} value
 */
export function lowerBound(column, value) {
  let low = 0;
  let high = column.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (column[middle] < value) low = middle + 1;
    else high = middle;
  }
  return low;
}

/**
 * Return the first place whose number is above a value.
 * @param {ArrayLike<number>} column in order
 * @param {number} value
 */
export function upperBound(column, value) {
  let low = 0;
  let high = column.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (column[middle] <= value) low = middle + 1;
    else high = middle;
  }
  return low;
}
