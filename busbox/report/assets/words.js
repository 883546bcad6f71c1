// Numbers as text, as Busbox writes them everywhere (busbox/basics/units.py).

/** @type {[string, number][]} */
const UNITS = [["s", 1], ["ms", 1e3], ["us", 1e6], ["ns", 1e9], ["ps", 1e12]];

/**
 * Return a number with four significant digits, as Python's ``.4g``: ties go to the even digit.
 * @param {number} value not negative
 */
export function fourDigits(value) {
  if (value === 0) return "0";
  let text = value.toExponential(3);
  const exact = value.toExponential(60).replace(/e.*/, "").replace(".", "");
  if (/^50*$/.test(exact.slice(4)) && Number(exact[3]) % 2 === 0) {
    text = `${exact[0]}.${exact.slice(1, 4)}${value.toExponential(60).replace(/.*e/, "e")}`;
  }
  const [digits, power] = text.split("e");
  const exponent = Number(power);
  const short = digits.replace(/\.?0+$/, "");
  if (exponent < -4 || exponent >= 4) {
    const size = String(Math.abs(exponent)).padStart(2, "0");
    return `${short}e${exponent < 0 ? "-" : "+"}${size}`;
  }
  return String(Number(text));
}

/**
 * Return a moment: ``3.201 ms``.
 * @param {number} cycle
 * @param {number} clock hertz
 */
export function showTime(cycle, clock) {
  if (!cycle) return "0 s";
  for (const [unit, scale] of UNITS) {
    if (cycle * scale >= clock || unit === "ps") {
      return `${fourDigits((cycle * scale) / clock)} ${unit}`;
    }
  }
  return "";
}

/**
 * Return a whole number with commas.
 * @param {number} value
 */
export function grouped(value) {
  return String(value).replace(/\B(?=(\d{3})+$)/g, ",");
}

/**
 * @param {number} value
 * @param {number} digits at least
 */
export function hex(value, digits = 1) {
  return `0x${value.toString(16).padStart(digits, "0")}`;
}

/**
 * @param {number} count
 * @param {string} one
 * @param {string} [many]
 */
export function counted(count, one, many = `${one}s`) {
  return `${grouped(count)} ${count === 1 ? one : many}`;
}

/**
 * Return a byte as a chip shows it: the character, or two digits.
 * @param {number} value
 */
export function byteText(value) {
  return value > 32 && value < 127 ? String.fromCharCode(value)
    : value.toString(16).padStart(2, "0").toUpperCase();
}

/**
 * Return the colour of a lamp as six digits, or eight with white.
 * @param {number} colour
 */
export function colourText(colour) {
  return colour.toString(16).padStart(6, "0");
}

/** Light of full duty as shares, for the values 0 to 255, by what the values are (WCAG 2.2, sRGB). */
const LIGHTS = {
  linear: Array.from({ length: 256 }, (_, value) => value / 255),
  srgb: Array.from({ length: 256 }, (_, value) =>
    (value / 255 <= 0.04045 ? value / 255 / 12.92 : ((value / 255 + 0.055) / 1.055) ** 2.4)),
};

/**
 * Return the colour 0xRRGGBB of a screen that looks like a lamp's colour: white is in each channel, and
 * light is encoded as sRGB (IEC 61966-2-1). The same as busbox.lines.colour.on_screen.
 * @param {number} colour
 * @param {"linear" | "srgb"} light
 */
export function onScreen(colour, light) {
  const [table, white] = [LIGHTS[light], colour >>> 24];
  let shown = 0;
  for (const shift of [16, 8, 0]) {
    const share = Math.min(1, table[(colour >> shift) & 255] + table[white]);
    const curve = share <= 0.0031308 ? 12.92 * share : 1.055 * share ** (1 / 2.4) - 0.055;
    shown = (shown << 8) | Math.round(255 * curve);
  }
  return shown;
}
