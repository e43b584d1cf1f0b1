// @ts-check
/**
 * What was typed on the number pad? Digits and one decimal mark, point or comma, become a reading with its step.
 */

/** @typedef {"g" | "oz" | "mL" | "seeds" | "cm2 flat"} Unit */

/** Most characters of a reading; a scale shows seven digits at most. */
const LONGEST = 9;

/**
 * The text after one more key. A key that cannot follow changes nothing.
 * @param {string} text
 * @param {string} key  a digit, "." or "," for the decimal mark, "back" or "clear"
 * @param {boolean} whole  whether only whole numbers go (a count)
 * @returns {string}
 */
export function press(text, key, whole = false) {
  if (key === "clear") return "";
  if (key === "back") return text.slice(0, -1);
  if (text.length >= LONGEST) return text;
  if (key === "." || key === ",") {
    if (whole || /[.,]/.test(text)) return text;
    return `${text === "" ? "0" : text}${key}`;
  }
  if (!/^[0-9]$/.test(key)) return text;
  return text === "0" ? key : text + key;
}

/**
 * The reading as a check file says it, or null while nothing usable is typed. The digits stay as they were typed: they
 * say how finely the scale was read.
 * @param {string} text
 * @param {Unit} unit
 * @returns {string | null}
 */
export function amountOf(text, unit) {
  const plain = numberText(text);
  if (plain === null || (unit === "seeds" && plain.includes("."))) return null;
  return `${plain} ${unit}`;
}

/**
 * A typed number with a decimal point, or null.
 * @param {string} text
 * @returns {string | null}
 */
export function numberText(text) {
  const plain = text.trim().replace(",", ".").replace(/\.$/, "").replace("\u2212", "-");
  return /^-?[0-9]+(\.[0-9]+)?$/.test(plain) ? plain : null;
}

/**
 * Whether a number typed in letters could have a comma for thousands as well as for decimals: 1,100. The pad shows how
 * finely a scale was read; elsewhere it is asked about, as at the desk.
 * @param {string} text
 */
export function twoWays(text) {
  return /^-?[1-9][0-9]{0,2},[0-9]{3}$/.test(text.trim());
}

/**
 * The step that the digits typed stand for: 0.1 for 12.5.
 * @param {string} text
 * @returns {string}
 */
export function stepOf(text) {
  const plain = numberText(text);
  const part = plain === null ? "" : plain.split(".")[1] || "";
  return part === "" ? "1" : `0.${"0".repeat(part.length - 1)}1`;
}
