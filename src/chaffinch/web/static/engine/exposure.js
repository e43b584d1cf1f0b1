// @ts-check
/**
 * What area of field does a catch stand for?
 *
 * Its expected mass is 0.1 · Σ λ_s e_s [g], with the loss λ in kg/ha and the area e in m². Twin of
 * chaffinch.engine.exposure; the geometry is told on docs/method/exposure.md.
 */

import { together, sum } from "./catch.js";
import { InputError } from "./errors.js";

/** @typedef {import("./catch.js").Reading} Reading */
/** @typedef {"spanning"|"narrow"|"spread"|"ground"|"across"} Taken */
/** @typedef {"standing"|"header"|"machine"|"leak"} Source */

/** @type {readonly Source[]} */
export const SOURCES = Object.freeze(["standing", "header", "machine", "leak"]);

/** Median coefficient of variation between catches taken alike [1]; own figures, from memory of practice. */
export const VARIATION = Object.freeze({ spanning: 0.2, narrow: 0.4, spread: 0.6, ground: 0.5, across: 0.3 });

/** Sd of the log of a drop or spread width [1]; own figures. */
export const WIDTH_SD = Object.freeze({ guessed: 0.08, taped: 0.02 });

/** 1 kg/ha over 1 m² is 0.1 g (exact). */
export const GRAMS_PER_KG_HA_M2 = 0.1;

/**
 * @typedef {object} Exposure
 * @property {{[source in Source]: number}} area_m2
 * @property {Taken} taken
 * @property {boolean} by_width          machine area rests on the drop or spread width
 * @property {number} variation_factor   below 1 for a profile of several pans
 */

/**
 * One catch as the mathematics sees it.
 * @typedef {object} Catch
 * @property {Reading} reading
 * @property {Exposure} exposure
 * @property {number} c0      median coefficient of variation between such catches [1]
 * @property {string} alike   catches with the same value share one coefficient of variation
 */

/**
 * @param {Reading} reading
 * @param {Exposure} exposure
 * @param {number|null} variation  the person's own median of c
 * @returns {Catch}
 */
export function makeCatch(reading, exposure, variation) {
  const c0 = variation ?? VARIATION[exposure.taken];
  return { reading, exposure, c0, alike: `${exposure.taken} ${c0}` };
}

/**
 * @param {number[]} areas  standing, header, machine, leak [m²]
 * @param {Taken} taken
 * @param {boolean} by_width
 * @param {number} [variation_factor]
 * @returns {Exposure}
 */
function exposure([standing, header, machine, leak], taken, by_width, variation_factor = 1) {
  return { area_m2: { standing, header, machine, leak }, taken, by_width, variation_factor };
}

/** Frame in standing crop: what fell before harvest. @param {number} area_m2 */
export const inStandingCrop = (area_m2) => exposure([area_m2, 0, 0, 0], "ground", false);

/** Frame in the cut strip ahead of the discharge. @param {number} area_m2 */
export const inHeaderStrip = (area_m2) => exposure([area_m2, area_m2, 0, 0], "ground", false);

/** Strip across the whole cut behind the machine: every source once. @param {number} area_m2 */
export const acrossWholeCut = (area_m2) => exposure([area_m2, area_m2, area_m2, area_m2], "across", false);

/** Windrow or straw of so many metres shaken out. @param {number} length_m @param {number} cut_m */
export const inWindrow = (length_m, cut_m) => exposure([0, 0, length_m * cut_m, 0], "spanning", false);

/** Timed leak catch: v · t · cut. @param {number} seconds @param {number} speed_kmh @param {number} cut_m */
export const leaking = (seconds, speed_kmh, cut_m) =>
  exposure([0, 0, 0, (speed_kmh / 3.6) * seconds * cut_m], "across", false);

/**
 * Pan that received the discharge only.
 * @param {number} area_m2
 * @param {number|null} width_m   across travel; null: the pan lies within the discharge
 * @param {number} cut_m
 * @param {number} discharge_m    drop or spread width
 * @param {boolean} spreading
 */
export function inDischarge(area_m2, width_m, cut_m, discharge_m, spreading) {
  const [machine, spans] = dischargeArea(area_m2, width_m, cut_m, discharge_m);
  return exposure([0, 0, machine, 0], spans ? "spanning" : spreading ? "spread" : "narrow", !spans);
}

/**
 * Frame on the ground behind, in the discharge band: all sources at once. Parameters as for `inDischarge`.
 * @param {number} area_m2
 * @param {number|null} width_m
 * @param {number} cut_m
 * @param {number} discharge_m
 * @param {boolean} spreading
 */
export function behind(area_m2, width_m, cut_m, discharge_m, spreading) {
  const [machine, spans] = dischargeArea(area_m2, width_m, cut_m, discharge_m);
  return exposure([area_m2, area_m2, machine, machine], spreading ? "spread" : "ground", !spans);
}

/**
 * Machine exposure [m²], and whether the pan spans the discharge.
 * @param {number} area_m2
 * @param {number|null} width_m
 * @param {number} cut_m
 * @param {number} discharge_m
 * @returns {[number, boolean]}
 */
function dischargeArea(area_m2, width_m, cut_m, discharge_m) {
  if (width_m !== null && width_m >= discharge_m) return [(area_m2 / width_m) * cut_m, true];
  return [(area_m2 * cut_m) / discharge_m, false];
}

/**
 * One catch made of pans at known offsets: grams per metre of travel over the whole discharge.
 *
 * The density across it is piecewise linear through the pans and zero at both edges (trapezoid rule).
 * @param {Reading[]} pans
 * @param {number[]} areas_m2
 * @param {number[]} offsets_m   from the middle of the discharge; all different and within its edges
 * @param {number} cut_m
 * @param {number} discharge_m
 * @param {number|null} variation
 * @returns {Catch}
 */
export function profile(pans, areas_m2, offsets_m, cut_m, discharge_m, variation) {
  const order = offsets_m.map((_, i) => i).sort((a, b) => offsets_m[a] - offsets_m[b]);
  const edges = [-discharge_m / 2, ...order.map((i) => offsets_m[i]), discharge_m / 2];
  const lengths = new Array(pans.length).fill(0);
  order.forEach((i, rank) => (lengths[i] = (edges[rank + 2] - edges[rank]) / 2));
  const scaled = pans.map((r, i) => {
    const a = lengths[i] / areas_m2[i];
    if (!(a > 0)) throw new InputError("offset", offsets_m[i], "makes no profile", "measure from the discharge's middle");
    return {
      ...r,
      mass_g: a * r.mass_g,
      step_g: a * r.step_g,
      seed_g: a * r.seed_g,
      count: null,
      seeds_per_g: 0,
      unthreshed_g: a * r.unthreshed_g,
    };
  });
  const total = sum(scaled.map((r) => r.mass_g));
  const shares = scaled.map((r) => (total ? r.mass_g / total : 1 / scaled.length));
  const whole = together(scaled, scaled.map(() => false));
  // What lay below half a step errs in every empty pan the same way.
  const below = sum(scaled.map((r) => (r.mass_g === 0 ? r.step_g : 0)));
  const step_g = Math.hypot(below, ...scaled.map((r) => (r.mass_g > 0 ? r.step_g : 0)));
  const reading = {
    ...whole,
    step_g,
    count: null,
    seeds_per_g: 0,
    unthreshed_g: sum(scaled.map((r) => r.unthreshed_g)),
  };
  const factor = Math.sqrt(sum(shares.map((s) => s * s)));
  return makeCatch(reading, exposure([0, 0, cut_m, 0], "narrow", true, factor), variation);
}

/**
 * Sources that at least one catch is exposed to; the leak only with a catch that sees nothing else.
 * @param {Catch[]} catches
 * @returns {Source[]}
 */
export function sourcesSeen(catches) {
  const leaking = catches.some((c) => c.exposure.area_m2.leak > 0 && c.exposure.area_m2.machine === 0);
  return SOURCES.filter((s) => (s !== "leak" || leaking) && catches.some((c) => c.exposure.area_m2[s] > 0));
}
