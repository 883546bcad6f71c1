// Expressions and texts of a lesson, evaluated as busbox/lessons/expressions.py does: whole numbers of any size.

/** A number, a name, or an operator with trees. @typedef {number | string | TreeList} Tree */
/** @typedef {[string, ...any[]]} TreeList */
/** A string, or pieces of it: strings, and trees with the form of their number. @typedef {string | (string | [Tree, string])[]} Text */
/** @typedef {Map<string, bigint>} Values */

/** The largest number of places of a shift. */
const PLACES = 63n;

/** @param {bigint} left @param {bigint} right */
function divided(left, right) {
  if (!right) return 0n;
  const whole = left / right;
  return left % right && (left < 0n) !== (right < 0n) ? whole - 1n : whole;
}

/** @param {boolean} holds */
function bit(holds) {
  return holds ? 1n : 0n;
}

/** @type {Record<string, (...operands: bigint[]) => bigint>} */
const OPERATORS = {
  "+": (a, b) => a + b,
  "-": (a, b) => a - b,
  "*": (a, b) => a * b,
  "//": divided,
  "%": (a, b) => (b ? a - divided(a, b) * b : a),
  "<<": (a, b) => (b >= 0n && b <= PLACES ? a << b : 0n),
  ">>": (a, b) => (b >= 0n && b <= PLACES ? a >> b : 0n),
  "&": (a, b) => a & b,
  "|": (a, b) => a | b,
  "^": (a, b) => a ^ b,
  "~": (a) => ~a,
  neg: (a) => -a,
  not: (a) => bit(!a),
  "==": (a, b) => bit(a === b),
  "!=": (a, b) => bit(a !== b),
  "<": (a, b) => bit(a < b),
  "<=": (a, b) => bit(a <= b),
  ">": (a, b) => bit(a > b),
  ">=": (a, b) => bit(a >= b),
  and: (a, b) => bit(Boolean(a && b)),
  or: (a, b) => bit(Boolean(a || b)),
  if: (c, a, b) => (c ? a : b),
};

/** @param {Tree} tree @param {Values} values @returns {bigint} */
export function evaluate(tree, values) {
  if (typeof tree === "number") return BigInt(tree);
  if (typeof tree === "string") {
    const value = values.get(tree);
    if (value === undefined) throw new Error(`${tree} has no value`);
    return value;
  }
  const [operator, ...operands] = tree;
  const act = OPERATORS[operator];
  if (!act) throw new Error(`there is no operator ${operator}`);
  return act(...operands.map((operand) => evaluate(operand, values)));
}

/** Digits with a sign, as wide as Python's format makes them. @param {bigint} value @param {number} base @param {string} prefix @param {number} width */
function digits(value, base, prefix, width) {
  const sign = value < 0n ? "-" : "";
  const text = (value < 0n ? -value : value).toString(base);
  return sign + prefix + text.padStart(width - sign.length - prefix.length, "0");
}

/** The numbers of the bits that are 1, in words. @param {bigint} value */
function setOf(value) {
  const places = (value < 0n ? -value : value).toString(2).length;
  const names = [];
  for (let place = 0; place < places; place++) if ((value >> BigInt(place)) & 1n) names.push(String(place));
  if (names.length < 2) return names[0] ?? "none";
  return `${names.slice(0, -1).join(", ")} and ${names[names.length - 1]}`;
}

/** How a number is written. @type {Record<string, (value: bigint) => string>} */
const FORMS = {
  "": (value) => value.toString().replace(/\B(?=(\d{3})+$)/g, ","),
  address: (value) => digits(value, 16, "0x", 10),
  hex: (value) => digits(value, 16, "0x", 0),
  lanes: (value) => digits(value, 2, "", 4),
  plain: (value) => value.toString(),
  set: setOf,
  char: (value) => String.fromCharCode(Number(value & 0x7fn)),
  star: (value) => (value ? "*" : " "),
};

/**
 * Return a text with the values of its expressions.
 * @param {Text} text
 * @param {Values} values
 * @param {Record<string, string>} [words] for names that stand alone
 */
export function filled(text, values, words = {}) {
  if (typeof text === "string") return text;
  return text.map((piece) => {
    if (typeof piece === "string") return piece;
    const [tree, form] = piece;
    return typeof tree === "string" && tree in words ? words[tree] : FORMS[form](evaluate(tree, values));
  }).join("");
}
