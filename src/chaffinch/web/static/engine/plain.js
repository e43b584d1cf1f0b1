// @ts-check
/**
 * What would a pencil say: subtract what lay there before, divide by the area, average.
 *
 * Twin of chaffinch.engine.plain (docs/method/plain.md). Nothing is cut off at zero.
 */

import { sum } from "./catch.js";
import { GRAMS_PER_KG_HA_M2 } from "./exposure.js";

/** @typedef {import("./exposure.js").Catch} Catch */

/**
 * @typedef {object} Plain
 * @property {{[source: string]: number|null}} by_source   [kg/ha]; header and machine may be negative
 * @property {number|null} header_and_machine              when only strips over the whole cut were taken [kg/ha]
 * @property {number} total                                [kg/ha]
 * @property {string[]} left_in                            "standing-left-in", "header-left-in", "not-parted"
 */

/** Textbook losses of one check. @param {Catch[]} catches @returns {Plain} */
export function plain(catches) {
  /** @param {boolean} s @param {boolean} h @param {boolean} m */
  const seeing = (s, h, m) =>
    catches.filter(({ exposure: { area_m2: e } }) => e.standing > 0 === s && e.header > 0 === h && e.machine > 0 === m);
  /** @param {Catch} one @param {number} area_m2 */
  const per = (one, area_m2) => one.reading.mass_g / (GRAMS_PER_KG_HA_M2 * area_m2);
  /** @param {Catch} one */
  const perGround = (one) => per(one, one.exposure.area_m2.standing);
  const standing = mean(seeing(true, false, false).map(perGround));
  const strip = mean(seeing(true, true, false).map(perGround));
  const leak = mean(seeing(false, false, false).map((c) => per(c, c.exposure.area_m2.leak)));
  const only_machine = seeing(false, false, true).map((c) => per(c, c.exposure.area_m2.machine));
  let everything = seeing(true, true, true);
  /** @type {Set<string>} */
  const left_in = new Set();
  const header = strip === null ? null : strip - (standing ?? 0);
  if (strip !== null && standing === null) left_in.add("standing-left-in");
  let together = null;
  if (everything.length && strip === null) {
    const across = everything.filter((c) => c.exposure.taken === "across");
    if (across.length) {
      together = (mean(across.map(perGround)) ?? 0) - (standing ?? 0) - (leak ?? 0);
      left_in.add("not-parted");
      everything = everything.filter((c) => c.exposure.taken !== "across");
      if (standing === null) left_in.add("standing-left-in");
    }
    if (everything.length) left_in.add("header-left-in");
  }
  // The leak drips behind too: where it is known it comes off what the frames behind show.
  const lay_there = strip ?? standing ?? 0;
  const behind = everything.map(
    (c) =>
      ((perGround(c) - lay_there) * c.exposure.area_m2.standing) / c.exposure.area_m2.machine - (leak ?? 0),
  );
  const machine = mean([...only_machine, ...behind]);
  const total =
    together === null
      ? sum([standing, header, machine, leak].map((x) => x ?? 0))
      : (standing ?? 0) + together + (leak ?? 0);
  return {
    by_source: { standing, header, machine, leak },
    header_and_machine: together,
    total,
    left_in: [...left_in],
  };
}

/** @param {number[]} values @returns {number|null} */
function mean(values) {
  return values.length ? sum(values) / values.length : null;
}
