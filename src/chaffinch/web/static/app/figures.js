// @ts-check
/**
 * How many digits may be shown? As many as the range supports, and no more. The same rules as on the terminal page.
 */

/** @typedef {import("../engine/types.js").Range} Range */

const THIN = "\u202f"; // a narrow blank that no line breaks at

/**
 * Decimal places so that the last place is a fifth to a fiftieth of the range; negative rounds to tens.
 * @param {Range} r
 * @returns {number}
 */
export function decimalsFor(r) {
  let width = r.high - r.low;
  // A long upper tail must not blot out the middle.
  if (r.median > 0) width = Math.min(width, 2.5 * r.median);
  return width > 0 && Number.isFinite(width) ? -Math.floor(Math.log10(width / 5)) : 2;
}

/**
 * A number with so many places (to tens or hundreds when negative), with thin thousands.
 * @param {number} value
 * @param {number} decimals
 * @returns {string}
 */
export function rounded(value, decimals) {
  const power = 10 ** Math.max(0, -decimals);
  const text = (Math.round(value / power) * power || 0).toFixed(0);
  const plain = decimals > 0 ? value.toFixed(Math.min(20, decimals)) : text;
  const [whole, part] = plain.replace("-", "").split(".");
  const grouped = whole.length > 3 ? whole.replace(/\B(?=(\d{3})+$)/g, THIN) : whole;
  const body = part === undefined ? grouped : `${grouped}.${part}`;
  return plain.startsWith("-") && /[1-9]/.test(plain) ? `\u2212${body}` : body;
}

/**
 * Low, median and high as text with the digits the range supports.
 * @param {Range} r
 * @returns {{low: string, median: string, high: string}}
 */
export function rangeWords(r) {
  const places = decimalsFor(r);
  return { low: rounded(r.low, places), median: rounded(r.median, places), high: rounded(r.high, places) };
}

/**
 * A given or derived number with three significant digits and no trailing noise.
 * @param {number} value
 * @returns {string}
 */
export function plainNumber(value) {
  if (value === 0) return "0";
  const text = rounded(value, 2 - Math.floor(Math.log10(Math.abs(value))));
  return text.includes(".") ? text.replace(/0+$/, "").replace(/\.$/, "") : text;
}

/**
 * A probability in percent, never shown as certain.
 * @param {number} probability
 * @returns {string}
 */
export function percent(probability) {
  const pct = Math.round(100 * probability);
  if (pct < 1) return "<1";
  return pct > 99 ? ">99" : String(pct);
}
