// @ts-check
/**
 * What quantity did they write, and what does it come to inside?
 *
 * Twin of chaffinch.units for the kinds a phone needs, decimal comma included; the vectors of
 * tests/vectors/estimates_units.json hold the two together.
 */

import { InputError } from "./errors.js";
import { KINDS } from "./factors.js";
import { take, tidy } from "./numerals.js";
import { CANONICAL, complainOfCapitals, currencyAfter, currencyBefore, refusal, unitIn } from "./spelling.js";

export { unitIn };

/**
 * @typedef {object} Quantity
 * @property {number} value     in the inside unit of its kind
 * @property {string} kind
 * @property {string} unit      canonical spelling as written
 * @property {number} step      the smallest division its digits imply, inside
 * @property {string} text
 * @property {string} currency
 */

/**
 * Read a quantity of whichever of several kinds its unit belongs to.
 * @param {unknown} text         a number and its unit: "12,5 g", "5 ft 6 in", "$14.50/bu"
 * @param {string[]} kinds
 * @param {string} field         where it stood, for errors
 * @param {number|null} [bushel_kg]  weight of a bushel; null: a quantity in bushels is refused
 * @returns {Quantity}
 */
export function readQuantity(text, kinds, field, bushel_kg = null) {
  const example = KINDS[kinds[0]].example;
  let tidied = tidy(text, field, example);
  const typed = /** @type {string} */ (text);
  const priced = kinds.some((kind) => KINDS[kind].money);
  let currency = "";
  if (priced) [currency, tidied] = currencyBefore(tidied);
  let [numeral, rest] = take(tidied, field, typed, example);
  for (const kind of kinds) {
    const pair = pairOf(numeral, rest, kind, field, typed);
    if (pair) return quantity(pair[0], pair[1], kind, typed, field, bushel_kg, "");
  }
  if (priced) [currency, rest] = currencyAfter(rest, currency, field, typed);
  for (const kind of kinds) {
    const unit = unitIn(rest, kind);
    if (unit === null || (currency && !KINDS[kind].money)) continue;
    complainOfCapitals(rest, field, typed);
    mustSuit(numeral, kind, field, typed);
    return quantity(numeral, unit, kind, typed, field, bushel_kg, currency);
  }
  throw refusal(rest, kinds, field, typed);
}

/**
 * What one of a unit is worth inside.
 * @param {string} unit
 * @param {string} kind
 * @param {string} field
 * @param {unknown} shown
 * @param {number|null} bushel_kg
 */
export function worthOf(unit, kind, field, shown, bushel_kg) {
  const known = KINDS[kind];
  const worth = known.units[unit];
  if (unit !== known.bushel && unit !== known.per_bushel) return worth;
  if (bushel_kg === null) {
    const others = Object.keys(known.units).filter((one) => !one.includes("bu")).join(", ");
    const problem = "is in bushels, and the weight of a bushel of this crop is not known";
    throw new InputError(field, shown, problem, `give the weight of a bushel or the country, or use ${others}`);
  }
  return unit === known.bushel ? worth * bushel_kg : worth / bushel_kg;
}

/**
 * @param {import("./numerals.js").Numeral} numeral
 * @param {string} unit
 * @param {string} kind
 * @param {string} text
 * @param {string} field
 * @param {number|null} bushel_kg
 * @param {string} currency
 * @returns {Quantity}
 */
function quantity(numeral, unit, kind, text, field, bushel_kg, currency) {
  const worth = worthOf(unit, kind, field, text, bushel_kg);
  const step = KINDS[kind].whole ? 1 : numeral.step * worth;
  return { value: numeral.value * worth, kind, unit, step, text, currency };
}

/** @param {import("./numerals.js").Numeral} numeral @param {string} kind @param {string} field @param {string} text */
function mustSuit(numeral, kind, field, text) {
  const known = KINDS[kind];
  if (known.whole && (numeral.fractional || !Number.isInteger(numeral.value))) {
    throw new InputError(field, text, "must be a whole number", `write it like "${known.example}"`);
  }
  if (known.whole && numeral.step === 0.001) {
    // "2.000 seeds" is more often two thousand than two: a factor of 1000 is not guessed.
    const problem = "must be a whole number without a decimal mark";
    throw new InputError(field, text, problem, "write 2 or 2000, as it is meant");
  }
  if (numeral.fractional && known.no_fractions) {
    throw new InputError(field, text, "is written as a fraction", `write a decimal number, like "${known.example}"`);
  }
}

/**
 * "2 ft 6 in" as one number in the smaller unit, or null when it is no such pair.
 * @param {import("./numerals.js").Numeral} numeral
 * @param {string} rest
 * @param {string} kind
 * @param {string} field
 * @param {string} text
 * @returns {[import("./numerals.js").Numeral, string]|null}
 */
function pairOf(numeral, rest, kind, field, text) {
  const { pairs = [], units, example } = KINDS[kind];
  for (const [large, small] of pairs) {
    const head = rest.match(/^(['"]|[A-Za-z ]+?)\.? ?,? ?(?:and )?(?=[0-9])/i);
    if (!head || CANONICAL.get(head[1].trim().toLowerCase()) !== large) continue;
    const [second, tail] = take(rest.slice(head[0].length), field, text, example);
    if (unitIn(tail, kind) !== small) continue;
    const ratio = Math.round(units[large] / units[small]);
    if (numeral.fractional || numeral.step !== 1) {
      const mend = `write a whole number before ${large}`;
      throw new InputError(field, text, `has parts of a ${large} beside the ${small}`, mend);
    }
    if (second.value >= ratio) {
      const problem = `has ${ratio} or more before ${small}, beside ${large}`;
      throw new InputError(field, text, problem, `write a number below ${ratio} before ${small}`);
    }
    const size = Math.abs(numeral.value) * ratio + second.value;
    return [{ ...second, value: numeral.negative ? -size : size, negative: numeral.negative }, small];
  }
  return null;
}
