// @ts-check
/**
 * What number did they write: decimal points and commas, thousands marks, halves and quarters, signs.
 *
 * Twin of chaffinch.units.numerals; what can be read in two ways is refused, never guessed.
 */

import { InputError } from "./errors.js";

const LONGEST_TEXT = 80; // [characters]
const LARGEST = 1e15;
const LARGEST_EXPONENT = 30;
const LARGEST_DENOMINATOR = 1000;

/**
 * @typedef {object} Numeral
 * @property {number} value
 * @property {number} step         the smallest division its digits imply: 0.1 for 12.5
 * @property {boolean} negative
 * @property {boolean} fractional  written as a fraction
 */

/** Characters that keyboards and spreadsheets put in place of the plain ones. @type {[RegExp, string][]} */
const LOOKALIKES = [
  [/[−‐‑‒–]/g, "-"],
  [/[⁄∕]/g, "/"],
  [/[′’‘ʹ´]/g, "'"],
  [/[″”“‟]/g, '"'],
  [/٫/g, "."],
  [/٬/g, ","],
  [/٪/g, "%"],
];

/**
 * The text in plain characters with single spaces, trimmed.
 * @param {unknown} text
 * @param {string} field
 * @param {string} example
 */
export function tidy(text, field, example) {
  if (typeof text !== "string") {
    throw new InputError(field, text, "is not text", `write it as text with its unit, like "${example}"`);
  }
  if ([...text].length > LONGEST_TEXT) {
    throw new InputError(field, text, `is ${[...text].length} characters long`, `write only the quantity, like "${example}"`);
  }
  if (/[\p{Cc}\p{Cs}\p{Cn}\p{Co}\p{Zl}\p{Zp}]/u.test(text.trim())) {
    throw new InputError(field, text, "holds a character that cannot be printed", `write it plainly, like "${example}"`);
  }
  let plain = text.trim().replace(/\p{Cf}/gu, "");
  for (const [shapes, mark] of LOOKALIKES) plain = plain.replace(shapes, mark);
  // "2½" must not read as 21/2, and a raised 2 is only an exponent after a letter.
  plain = plain.replace(/(\p{Nd}?)([¼-¾⅐-⅞↉])/gu, (_, before, one) => {
    return `${before}${before ? " " : ""}${one.normalize("NFKC").replace("⁄", "/")}`;
  });
  plain = plain.replace(/(?<=\p{L})[²³]/gu, (one) => (one === "²" ? "2" : "3"));
  plain = [...plain].map((one) => plainDigit(one, field, text)).join("");
  const tidied = plain.replace(/\s+/g, " ").trim().replace(/''/g, '"');
  if (!tidied) throw new InputError(field, text, "is empty", `write a number and its unit, like "${example}"`);
  return tidied;
}

/** @param {string} character @param {string} field @param {string} text */
function plainDigit(character, field, text) {
  if (/\p{Nd}/u.test(character)) {
    if (character >= "0" && character <= "9") return character;
    // Digits stand in tens, each set beginning at a code whose predecessor is no digit.
    const code = /** @type {number} */ (character.codePointAt(0));
    for (let start = code; ; start -= 1) {
      if (!/\p{Nd}/u.test(String.fromCodePoint(start - 1)) || code - start === 9) return String(code - start);
    }
  }
  const shape = character.normalize("NFKC");
  if (/^[0-9]/.test(shape)) {
    throw new InputError(field, text, `has a raised, lowered or ringed digit '${character}'`, "write plain digits");
  }
  return shape;
}

/**
 * Split a tidied text into the number at its head and the rest.
 * @param {string} tidied
 * @param {string} field
 * @param {string} text
 * @param {string} example
 * @returns {[Numeral, string]}
 */
export function take(tidied, field, text, example) {
  const sign = /** @type {RegExpMatchArray} */ (tidied.match(/^([+-]?) ?/));
  const negative = sign[1] === "-";
  let rest = tidied.slice(sign[0].length);
  const fraction = rest.match(/^(?:([0-9]+)[ -])?([0-9]+) ?\/ ?([0-9]+)(?![0-9.,])/);
  let value;
  let step;
  if (fraction) {
    [value, step] = readFraction(fraction, field, text);
    rest = rest.slice(fraction[0].length);
  } else {
    const run = rest.match(/^[0-9.,]+(?: [0-9.,]+)*/);
    if (!run || !/[0-9]/.test(run[0])) {
      const mend = `write a number and its unit, like "${example}"`;
      throw new InputError(field, text, "does not start with a number", mend);
    }
    rest = rest.slice(run[0].length);
    let [digits, places] = readDecimal(run[0], field, text);
    const power = rest.match(/^[eE]([+-]?[0-9]+)/);
    if (power) {
      if (power[1].length > 4 || Math.abs(Number(power[1])) > LARGEST_EXPONENT) {
        throw new InputError(field, text, `has the exponent ${power[1]}`, "write the number out without an exponent");
      }
      places -= Number(power[1]);
      rest = rest.slice(power[0].length);
    }
    // Through text, so that it is the double nearest to what was written.
    value = Number(`${digits}e${-places}`);
    step = Number(`1e${-places}`);
  }
  if (value > LARGEST) throw new InputError(field, text, "is too large to be meant", "write a number below 1e15");
  return [{ value: negative ? -value : value, step, negative, fractional: fraction !== null }, rest.trim()];
}

/** @param {RegExpMatchArray} written @param {string} field @param {string} text @returns {[number, number]} */
function readFraction([, whole, top, bottom], field, text) {
  const under = Number(bottom);
  if (bottom.length > 4 || !(under > 0 && under <= LARGEST_DENOMINATOR)) {
    const mend = `divide by a whole number from 1 to ${LARGEST_DENOMINATOR}, or write a decimal number`;
    throw new InputError(field, text, `has a fraction over ${bottom}`, mend);
  }
  const part = Number(top) / under;
  // Above 1 it is more likely a slip of the finger ("12/5" for 12.5) than a measure.
  if (part > 1 || (part === 1 && whole !== undefined)) {
    throw new InputError(field, text, `has the fraction ${top}/${bottom}`, 'write it like "2 1/2", or as a decimal number');
  }
  return [(Number(whole ?? 0) * under + Number(top)) / under, 1 / under];
}

/**
 * Digits of a run of digits and marks, and how many of them are decimals.
 * @param {string} run
 * @param {string} field
 * @param {string} text
 * @returns {[string, number]}
 */
function readDecimal(run, field, text) {
  if (run.includes(" ")) {
    const spaced = run.match(/^([1-9][0-9]{0,2}(?: [0-9]{3})+)(?:[.,]([0-9]+))?$/);
    if (!spaced) {
      throw new InputError(field, text, "has a number split by spaces", "write the number without spaces");
    }
    return digitsOf(spaced[1].replaceAll(" ", ""), spaced[2]);
  }
  const points = run.split(".").length - 1;
  const commas = run.split(",").length - 1;
  const muddled = () => {
    const mend = "write it with one decimal point and no other mark, like 1234.5";
    return new InputError(field, text, "has points and commas that do not make a number", mend);
  };
  if (points && commas) {
    const last = Math.max(run.lastIndexOf("."), run.lastIndexOf(","));
    const [whole, decimals] = [run.slice(0, last), run.slice(last + 1)];
    const grouped = run[last] === "." ? /^[1-9][0-9]{0,2}(?:,[0-9]{3})+$/ : /^[1-9][0-9]{0,2}(?:\.[0-9]{3})+$/;
    if (!decimals || !grouped.test(whole)) throw muddled();
    return digitsOf(whole.replace(/[.,]/g, ""), decimals);
  }
  if (points + commas > 1) {
    if (!/^[1-9][0-9]{0,2}(?:[.,][0-9]{3})+$/.test(run)) throw muddled();
    return digitsOf(run.replace(/[.,]/g, ""), undefined);
  }
  if (/[.,]$/.test(run)) {
    const mend = "write the missing digits or leave the mark out";
    throw new InputError(field, text, `has a number that ends in '${run.slice(-1)}'`, mend);
  }
  const [whole, decimals] = run.split(/[.,]/);
  if (commas && decimals.length === 3 && /[1-9]/.test(whole)) {
    // "1,234" is 1234 to one reader and 1.234 to the next: a factor of a thousand is not ours to guess.
    const problem = "can be read in two ways, with a thousands comma or a decimal comma";
    throw new InputError(field, text, problem, `write ${whole}${decimals} or ${whole}.${decimals}`);
  }
  return digitsOf(whole, decimals);
}

/** @param {string} whole @param {string|undefined} decimals @returns {[string, number]} */
function digitsOf(whole, decimals = "") {
  return [whole + decimals, decimals.length];
}
