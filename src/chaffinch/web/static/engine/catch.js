// @ts-check
/**
 * How much seed was in the pan: from what a person read to seed mass at market moisture.
 *
 * Twin of chaffinch.engine.catch; figures and their origin stand there and on docs/method/catch.md.
 */

import { InputError } from "./errors.js";

/** Area fraction covered by seeds lying one deep [1]; own figure, from memory of practice. */
export const PACKING = 0.8;

/** Sd of the log of the error that all catches read this way share [1]; own figures, from memory of practice. */
export const SCALE_SD = Object.freeze({
  weighed: 0,
  measured: 0.04,
  counted: 0.08,
  "counted, own TKW": 0.02,
  flat: 0.12,
});

/** Sd of the log of the pan's area [1]; own figure. */
export const PAN_SD = 0.01;

/**
 * Seed mass of one whole catch at market moisture, with what is needed to judge it.
 * @typedef {object} Reading
 * @property {number} mass_g
 * @property {number} step_g         width of the interval the true mass lies in; 0 when counted [g]
 * @property {number} seed_g         mass that one independent particle brings [g]
 * @property {number|null} count     seeds counted
 * @property {number} seeds_per_g    counted seeds per gram of the whole catch, with a count [1/g]
 * @property {string} kind           catches of one kind err together
 * @property {number} scale_sd       sd of the log of that shared error [1]
 * @property {number} unthreshed_g   part of the mass that was still in heads [g]
 */

/**
 * Mass of round seed lying one deep per cm² [g] = φ · (2/3) · d · ρ.
 * @param {number} seed_diameter_mm
 * @param {number} kernel_density_g_cm3
 */
export function flatLayerGramsPerCm2(seed_diameter_mm, kernel_density_g_cm3) {
  return PACKING * (2 / 3) * (seed_diameter_mm / 10) * kernel_density_g_cm3;
}

/**
 * Turn one reading into the mass of the whole catch.
 * @param {"weighed"|"measured"|"counted"|"flat"} kind
 * @param {number} value   in g, mL, seeds or cm²
 * @param {number} step    its smallest division
 * @param {object} how
 * @param {number} how.tkw_g            thousand-kernel weight [g]
 * @param {boolean} how.tkw_measured    on this crop
 * @param {number} how.gram_per_unit    grams of seed per unit read; not used when counting
 * @param {number} how.moisture_factor  (100 − M)/(100 − M_market); not used when counting
 * @param {number} how.clean            share of the reading that is seed, above 0
 * @param {number} how.subsample        share of the catch that was read, above 0
 * @returns {Reading}
 */
export function read(kind, value, step, { tkw_g, tkw_measured, gram_per_unit, moisture_factor, clean, subsample }) {
  const seed_g = tkw_g / 1000;
  if (kind === "counted") {
    const label = tkw_measured ? "counted, own TKW" : "counted";
    return {
      mass_g: (value * seed_g) / subsample,
      step_g: 0,
      seed_g: seed_g / subsample,
      count: value,
      seeds_per_g: subsample / seed_g,
      kind: label,
      scale_sd: SCALE_SD[label],
      unthreshed_g: 0,
    };
  }
  const factor = (gram_per_unit * moisture_factor * clean) / subsample;
  return {
    mass_g: value * factor,
    step_g: step * factor,
    seed_g: seed_g / subsample,
    count: null,
    seeds_per_g: 0,
    kind,
    scale_sd: SCALE_SD[kind],
    unthreshed_g: 0,
  };
}

/**
 * Seed in unthreshed heads that were counted: one independent particle is a head.
 * @param {number} heads
 * @param {number} seeds_per_head
 * @param {number} tkw_g
 * @param {boolean} tkw_measured
 * @returns {Reading}
 */
export function headsAsReading(heads, seeds_per_head, tkw_g, tkw_measured) {
  const per_head_g = (seeds_per_head * tkw_g) / 1000;
  const label = tkw_measured ? "counted, own TKW" : "counted";
  return {
    mass_g: heads * per_head_g,
    step_g: 0,
    seed_g: per_head_g,
    count: null,
    seeds_per_g: 0,
    kind: label,
    scale_sd: SCALE_SD[label],
    unthreshed_g: 0,
  };
}

/**
 * Add the parts of one catch: loose seed, seed rubbed out of heads, heads counted, pans of one profile.
 *
 * Counts of one kind and fraction stay a count; anything else becomes a mass whose steps add in quadrature.
 * @param {Reading[]} readings  at least one
 * @param {boolean[]} unthreshed
 * @returns {Reading}
 */
export function together(readings, unthreshed) {
  const first = readings[0];
  if (readings.length === 1 && !unthreshed[0]) return first;
  const mass_g = sum(readings.map((r) => r.mass_g));
  const unthreshed_g = sum(readings.map((r, i) => (unthreshed[i] ? r.mass_g : 0)));
  const alike = readings.every((r) => r.kind === first.kind);
  if (alike && readings.every((r) => r.count !== null && r.seeds_per_g === first.seeds_per_g)) {
    return { ...first, mass_g, count: sum(readings.map((r) => r.count ?? 0)), unthreshed_g };
  }
  const parts = readings.map((r) => (mass_g ? r.mass_g / mass_g : 1 / readings.length));
  const seed_g = sum(readings.map((r, i) => parts[i] * r.seed_g));
  // Counts are exact and add no step; counts alone, once they are a mass, are known to one seed.
  const step_g = Math.hypot(...readings.map((r) => r.step_g)) || Math.min(...readings.map((r) => r.seed_g));
  const spread = Math.hypot(...readings.map((r, i) => parts[i] * r.scale_sd));
  const kinds = [...new Set(readings.map((r) => r.kind))].sort();
  return {
    mass_g,
    step_g,
    seed_g,
    count: null,
    seeds_per_g: 0,
    kind: kinds.join("+"),
    scale_sd: alike ? first.scale_sd : spread,
    unthreshed_g,
  };
}

/** @param {number[]} values */
export function sum(values) {
  return values.reduce((a, b) => a + b, 0);
}

/**
 * Mass with the same dry matter at market moisture, as a factor [1].
 * @param {number} moisture_pct
 * @param {number} market_moisture_pct
 */
export function moistureFactor(moisture_pct, market_moisture_pct) {
  if (moisture_pct >= 100) {
    throw new InputError("moisture", moisture_pct, "must be below 100 %", "write wet-basis moisture, like 9.5 %");
  }
  return (100 - moisture_pct) / (100 - market_moisture_pct);
}
