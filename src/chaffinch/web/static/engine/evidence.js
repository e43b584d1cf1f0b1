// @ts-check
/**
 * What do the catches say about a loss: the log-likelihood on one fixed grid of ln(loss).
 *
 * The same likelihood, grid and nodes of c as chaffinch.engine.evidence (docs/method/evidence.md). Tables are flat
 * arrays: one row for each expected mass, one column for each coefficient of variation.
 */

import { GRAMS_PER_KG_HA_M2 } from "./exposure.js";
import { exp, gammaP, gammaQ, legendre, ln, lnGamma, lnGammaP } from "./special.js";
import { C_NODES, ON_GRID, averageOfRow, cNodes } from "./variation.js";

/** @typedef {import("./exposure.js").Catch} Catch */
/** @typedef {import("./exposure.js").Source} Source */

export const GRID = 577;
const LN_LOW = Math.log(0.05); // [ln kg/ha]
const LN_HIGH = Math.log(5000);
/** Distance between grid points [ln]. */
export const GRID_STEP = (LN_HIGH - LN_LOW) / (GRID - 1);
/** The one grid of ln(loss in kg/ha). */
export const LN_LOSS = Float64Array.from({ length: GRID }, (_, i) => LN_LOW + i * GRID_STEP);

const MOST_NODES = 96;
/** An empty pan that may hide fewer seeds than this is summed seed by seed [1]. */
const FEW_SEEDS = 8;
/** Masses that differ by less are equal [1]. */
const ROUNDING = 1e-9;
/** Interval over the width of the density, in ln, below which the density at the middle and its curvature stand for it [1]. */
const NARROW = 0.5;
/** A slope times interval up to which that holds to 1e-4, and to 1e-5 where c < 1 [1]; own figure, by trial. */
const GENTLE = 1;

/**
 * Catches that share one coefficient of variation, in the order they come.
 * @param {Catch[]} catches
 * @returns {Map<string, Catch[]>}
 */
export function byLikeness(catches) {
  /** @type {Map<string, Catch[]>} */
  const groups = new Map();
  for (const one of catches) {
    const group = groups.get(one.alike);
    if (group) group.push(one);
    else groups.set(one.alike, [one]);
  }
  return groups;
}

/** Rows between those of the first, coarse look at the grid; fewer where c is so small that they would miss a peak. */
const COARSE = 8;
/** Log of a part of the posterior that nothing on the grid feels; rows below it are not worked out. */
const UNFELT = -60;

/**
 * One table on `LN_LOSS` for each way of taking catches, and the log-likelihood that they give together.
 *
 * Rows are worked out where the posterior may be felt: around every coarse row that is, and on from there until it is
 * no more. The others are −∞ in the total and empty in the tables.
 * @param {Catch[]} catches
 * @param {Source} source
 * @param {Float64Array} ln_prior  on `LN_LOSS`
 */
export function tablesOf(catches, source, ln_prior) {
  let stride = COARSE;
  /** @type {{ln_area: number, adds: Adds[], table: Float64Array}[]} */
  const members = [];
  const tables = [...byLikeness(catches)].map(([alike, group]) => {
    const c = cNodes(group[0].c0, ON_GRID);
    const table = new Float64Array(GRID * C_NODES);
    for (const some of groupBy(group, (one) => `${one.exposure.area_m2[source]} ${one.exposure.variation_factor}`)) {
      const { area_m2, variation_factor } = some[0].exposure;
      members.push({ ln_area: Math.log(GRAMS_PER_KG_HA_M2 * area_m2[source]), adds: likelihoods(some, c), table });
      stride = Math.max(1, Math.min(stride, Math.floor((group[0].c0 * variation_factor) / GRID_STEP)));
    }
    return { alike, c, table };
  });
  const total = new Float64Array(GRID).fill(-Infinity);
  const done = new Uint8Array(GRID);
  let top = -Infinity;
  /** Work out a row, and say whether it may be felt. @param {number} row */
  const felt = (row) => {
    if (!done[row]) {
      done[row] = 1;
      const [from, to] = [row * C_NODES, row * C_NODES + C_NODES];
      for (const { ln_area, adds, table } of members) {
        const ln_mean = Float64Array.of(LN_LOSS[row] + ln_area);
        for (const add of adds) add(ln_mean, table.subarray(from, to));
      }
      total[row] = 0;
      for (const { table } of tables) total[row] += averageOfRow(table, from, ON_GRID);
      top = Math.max(top, total[row] + ln_prior[row]);
    }
    return total[row] + ln_prior[row] >= top + UNFELT;
  };
  for (let row = 0; row < GRID; row += stride) felt(row);
  for (let row = 0, near = 0; row < GRID; row += 1) if (done[row] || near > 0) near = felt(row) ? stride : near - 1;
  for (let row = GRID - 1, near = 0; row >= 0; row -= 1) if (done[row] || near > 0) near = felt(row) ? stride : near - 1;
  return { tables, total };
}

/**
 * @template T
 * @param {T[]} items
 * @param {(item: T) => string} key
 * @returns {T[][]}
 */
export function groupBy(items, key) {
  /** @type {Map<string, T[]>} */
  const groups = new Map();
  for (const item of items) {
    const name = key(item);
    const group = groups.get(name);
    if (group) group.push(item);
    else groups.set(name, [item]);
  }
  return [...groups.values()];
}

/** @typedef {(ln_mean_g: Float64Array, table: Float64Array) => void} Adds */

/**
 * What adds the log-likelihood of catches with one exposure to a table, made ready for any number of rows.
 *
 * Weighed catches of one seed mass share the Gamma's shape and scale, which are most of the work.
 * @param {Catch[]} catches
 * @param {Float64Array} c
 * @returns {Adds[]}
 */
export function likelihoods(catches, c) {
  const spread = c.map((one) => one * catches[0].exposure.variation_factor);
  /** @type {Adds[]} */
  const found = [];
  const weighed = [];
  /** @type {Map<number, number[]>} counts by ln(seeds per gram) */
  const counts = new Map();
  for (const { reading } of catches) {
    const { count, mass_g, step_g, seed_g, seeds_per_g } = reading;
    if (count !== null || step_g / 2 < seed_g * (1 - ROUNDING)) {
      const ln_factor = count === null ? -Math.log(seed_g) : Math.log(seeds_per_g);
      counts.set(ln_factor, [...(counts.get(ln_factor) ?? []), count ?? mass_g / seed_g]);
    } else {
      const high = mass_g + step_g / 2;
      if (mass_g === 0 && high < FEW_SEEDS * seed_g) {
        found.push((ln_mean, table) => addFew(high / seed_g, ln_mean, -Math.log(seed_g), spread, table));
      } else {
        weighed.push(reading);
      }
    }
  }
  for (const [ln_factor, alike] of counts) found.push(counted(alike, ln_factor, spread));
  for (const alike of groupBy(weighed, (reading) => String(reading.seed_g))) found.push(gamma(alike, spread));
  return found;
}

/**
 * Log probability of counts under the negative binomial with mean ν and shape r = 1/c².
 * @param {number[]} counts        seeds; a mass in seeds need not be whole
 * @param {number} ln_factor       ln ν = ln_mean + ln_factor
 * @param {Float64Array} c
 * @returns {Adds}
 */
function counted(counts, ln_factor, c) {
  const r = c.map((one) => 1 / (one * one));
  // C(n + r − 1, n) (r/(r+ν))^r (ν/(r+ν))^n, with ln(r+ν) taken once.
  const constant = r.map((one) =>
    counts.reduce((sum, n) => sum + lnGamma(n + one) - lnGamma(one) - lnGamma(n + 1) + one * Math.log(one), 0),
  );
  const seeds = counts.reduce((a, b) => a + b);
  const power = r.map((one) => counts.length * one + seeds);
  return (ln_mean, table) => addCounted({ r, constant, power, seeds, ln_factor }, ln_mean, table);
}

// What does the work stands outside of the functions that are made for each check: a browser learns how to run it once.

/**
 * @param {{r: Float64Array, constant: Float64Array, power: Float64Array, seeds: number, ln_factor: number}} counts
 * @param {Float64Array} ln_mean
 * @param {Float64Array} table
 */
function addCounted({ r, constant, power, seeds, ln_factor }, ln_mean, table) {
  for (let i = 0, at = 0; i < ln_mean.length; i += 1) {
    const ln_nu = ln_mean[i] + ln_factor;
    const nu = Math.exp(ln_nu);
    for (let j = 0; j < r.length; j += 1, at += 1) table[at] += constant[j] + seeds * ln_nu - power[j] * ln(r[j] + nu);
  }
}

/**
 * Log probability of at most so many seeds under the same negative binomial, summed seed by seed.
 * @param {number} seeds
 * @param {Float64Array} ln_mean
 * @param {number} ln_factor
 * @param {Float64Array} c
 * @param {Float64Array} table
 */
function addFew(seeds, ln_mean, ln_factor, c, table) {
  // 0.3 g of 0.1 g seed is 2.9999999999999996 in floats: three seeds all the same.
  const most = Math.floor(seeds * (1 + ROUNDING));
  for (let j = 0; j < c.length; j += 1) {
    const r = 1 / (c[j] * c[j]);
    for (let i = 0; i < ln_mean.length; i += 1) {
      const nu = Math.exp(ln_mean[i] + ln_factor);
      const odds = nu / (r + nu);
      // P(n+1) = P(n) · (n + r)/(n + 1) · ν/(r + ν)
      let term = 1;
      let sum = 1;
      for (let n = 0; n < most; n += 1) {
        term *= ((n + r) / (n + 1)) * odds;
        sum += term;
      }
      table[i * c.length + j] += -r * Math.log1p(nu / r) + Math.log(sum);
    }
  }
}

/**
 * How the density is summed over one reading's interval, for one coefficient of variation.
 * @typedef {object} Rule
 * @property {boolean} narrow     the density at the middle and its curvature will do
 * @property {Float64Array} ln_y  nodes of the quadrature; none where the interval is much wider than the density
 * @property {Float64Array} y
 * @property {Float64Array} weight
 */

/**
 * What a reading leaves open, and how many readings do alike.
 * @typedef {{low_g: number, high_g: number, length: number, middle: number, middle_g: number, rules: Rule[], times: number}} Interval
 */

/**
 * The nodes follow the narrowest density (width about c) that may stand in the interval, and how far it leans: to 1e-5 of
 * the likelihood within 12 of its top (own figures, by trial).
 * @param {import("./catch.js").Reading[]} alike  equal ones
 * @param {Float64Array} c
 * @returns {Interval}
 */
function interval(alike, c) {
  const [{ mass_g, step_g }] = alike;
  const low_g = Math.max(0, mass_g - step_g / 2);
  const high_g = mass_g + step_g / 2;
  const length = low_g > 0 ? Math.log(high_g / low_g) : Infinity;
  /** @type {Map<string, Rule>} */
  const known = new Map();
  const rules = Array.from(c, (one) => {
    const narrow = length < NARROW * one;
    const nodes = Math.ceil(3 + one + length * (1.15 / one + 0.9));
    const count = nodes <= MOST_NODES ? nodes : 0;
    const key = `${count} ${narrow}`;
    const rule = known.get(key) ?? ruleOf(count, Math.log(low_g), length, narrow);
    known.set(key, rule);
    return rule;
  });
  const [middle, middle_g] = [Math.log(low_g) + length / 2, Math.sqrt(low_g * high_g)];
  return { low_g, high_g, length, middle, middle_g, rules, times: alike.length };
}

/** @param {number} count @param {number} ln_low @param {number} length @param {boolean} narrow @returns {Rule} */
function ruleOf(count, ln_low, length, narrow) {
  const [nodes, weights] = legendre(count);
  const ln_y = nodes.map((x) => ln_low + (length * (x + 1)) / 2);
  return { narrow, ln_y, y: ln_y.map(Math.exp), weight: weights.map((w) => (w * length) / 2) };
}

/**
 * Weighed readings of one seed mass: Gamma with mean μ and variance (cμ)² + wμ, within half a step of each.
 * @param {import("./catch.js").Reading[]} readings
 * @param {Float64Array} c
 * @returns {Adds}
 */
function gamma(readings, c) {
  const seed_g = readings[0].seed_g;
  const c2 = c.map((one) => one * one);
  const intervals = groupBy(readings, ({ mass_g, step_g }) => `${mass_g} ${step_g}`).map((alike) => interval(alike, c));
  return (ln_mean_g, table) => addWeighed(intervals, c2, seed_g, ln_mean_g, table);
}

/**
 * @param {Interval[]} intervals
 * @param {Float64Array} c2        squares of the coefficients of variation
 * @param {number} seed_g
 * @param {Float64Array} ln_mean_g
 * @param {Float64Array} table
 */
function addWeighed(intervals, c2, seed_g, ln_mean_g, table) {
  for (let i = 0, at = 0; i < ln_mean_g.length; i += 1) {
    const mean = Math.exp(ln_mean_g[i]);
    for (let j = 0; j < c2.length; j += 1, at += 1) {
      const scale = c2[j] * mean + seed_g;
      const shape = mean / scale;
      const rate = 1 / scale;
      let sum = 0;
      let within = 0;
      // Logarithms of narrow readings are taken at once.
      let product = 1;
      for (let n = 0; n < intervals.length; n += 1) {
        const one = intervals[n];
        const rule = one.rules[j];
        const count = rule.ln_y.length;
        if (count === 0) {
          const outside = one.low_g === 0 ? lnGammaP(shape, one.high_g * rate) : betweenTails(one, shape, rate);
          sum += one.times * outside;
          continue;
        }
        within += one.times;
        const v = one.middle_g * rate;
        const middle = shape * one.middle - v;
        const slope = shape - v;
        const steep = Math.abs(slope * one.length);
        if (rule.narrow && steep < GENTLE) {
          // The mean of e^g over ± L/2 is 1 + L²/24 (g₁² + g₂) + L⁴/1920 (g₁⁴ + 6 g₁² g₂ + 3 g₂² + 4 g₁ g₃ + g₄); here
          // the second and all further derivatives are −v.
          const l2 = one.length * one.length;
          const s2 = slope * slope;
          const fourth = s2 * s2 - 6 * s2 * v + 3 * v * v - 4 * slope * v - v;
          const factor = one.length * (1 + (l2 / 24) * (s2 - v) + ((l2 * l2) / 1920) * fourth);
          for (let k = 0; k < one.times; k += 1) product *= factor;
          sum += one.times * middle;
        } else {
          // The integral of y^(k−1) e^(−y/θ) over the interval by Gauss-Legendre quadrature in ln y.
          const { ln_y, y, weight } = rule;
          let best = middle;
          // The exponent bends downward, so it rises above its middle by at most half the slope times the interval.
          if (steep > 1000) for (let k = 0; k < count; k += 1) best = Math.max(best, shape * ln_y[k] - y[k] * rate);
          let integral = 0;
          for (let k = 0; k < count; k += 1) integral += weight[k] * exp(shape * ln_y[k] - y[k] * rate - best);
          sum += one.times * (best + ln(integral));
        }
      }
      if (within) sum -= within * (lnGamma(shape) + shape * ln(scale));
      table[at] += product === 1 ? sum : sum + ln(product);
    }
  }
}

/**
 * Log probability of an interval much wider than the density, in the tail that holds less.
 * @param {{low_g: number, high_g: number}} one
 * @param {number} shape
 * @param {number} rate
 */
function betweenTails({ low_g, high_g }, shape, rate) {
  const above = low_g * rate > shape;
  const probability = above
    ? gammaQ(shape, low_g * rate) - gammaQ(shape, high_g * rate)
    : gammaP(shape, high_g * rate) - gammaP(shape, low_g * rate);
  if (probability >= 1e-280) return Math.log(probability);
  // Where the difference underflows, the density at the nearer end times the interval stands in.
  const nearer = (above ? low_g : high_g) * rate;
  return shape * Math.log(nearer) - nearer - lnGamma(shape) + Math.log(Math.log(high_g / low_g));
}
