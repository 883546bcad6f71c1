// An answer as a code of letters, for busbox lesson --code: see busbox/lessons/code.py.

const LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";

/** Groups of seven bits, the lowest first (LEB128, DWARF 5, section 7.6). @param {bigint} value */
function packed(value) {
  const bytes = [];
  while (value > 127n) {
    bytes.push(Number(value & 127n) | 128);
    value >>= 7n;
  }
  return [...bytes, Number(value)];
}

/** CRC-8, polynomial 0x07, from 0. @param {number[]} bytes */
function check(bytes) {
  let rest = 0;
  for (const byte of bytes) {
    rest ^= byte;
    for (let place = 0; place < 8; place++) rest = rest & 128 ? ((rest << 1) ^ 7) & 255 : rest << 1;
  }
  return rest;
}

/**
 * Return the code of an answer, such as ``AQEA CBYK``.
 * @param {number} lesson
 * @param {number} seed
 * @param {bigint[]} values in the order of the fields
 */
export function codeOf(lesson, seed, values) {
  const content = [BigInt(lesson), BigInt(seed), ...values].flatMap(packed);
  const bytes = [...content, check(content)];
  const bits = bytes.map((byte) => byte.toString(2).padStart(8, "0")).join("");
  const groups = bits.match(/.{1,5}/g) ?? [];
  const letters = groups.map((group) => LETTERS[parseInt(group.padEnd(5, "0"), 2)]).join("");
  return (letters.match(/.{1,4}/g) ?? []).join(" ");
}
