// @ts-check
/**
 * How many further catches until the verdict is clear?
 *
 * Catches are played forward through the model, as chaffinch.engine.plan does it (docs/method/plan.md), with half as many
 * futures and another source of chance: a number near the edge may differ by a catch or two from the server's.
 */

import { CLEAR, logPrior } from "./estimate.js";
import { GRID, LN_LOSS } from "./evidence.js";
import { GRAMS_PER_KG_HA_M2 } from "./exposure.js";
import { sobolColumn } from "./sobol.js";
import { NEGLIGIBLE, fallen, lnGamma, lnGammaP, normalQuantile } from "./special.js";
import { C_NODES, ON_GRID, VARIATION_SD, nodeAt } from "./variation.js";

/** @typedef {import("./exposure.js").Catch} Catch */
/** @typedef {import("./exposure.js").Source} Source */
/** @typedef {import("./sources.js").Joint} Joint */

/** Further catches looked ahead. */
export const MOST_FURTHER = 12;
/** Chance of a clear verdict that is called enough. */
export const ENOUGH_CHANCE = 0.8;
const PARTICLES = 512;
const FUTURES = 256;
/** Log-likelihood of an empty pan that cannot be, for one that is. */
const LN_NEVER = -1e3;

/**
 * Equally likely draws of what a further catch would meet, given all catches so far.
 * @typedef {object} Prospect
 * @property {Float64Array} mean_g       its expected mass
 * @property {Float64Array} c            coefficient of variation [1]
 * @property {Float64Array} loss_kg_ha   the loss the verdict is about, shared errors included
 * @property {number} seed_g
 * @property {number} step_g
 */

/** @typedef {{catches: number|null, chance: number}} Outlook */

/**
 * One more catch like `like`, when every catch sees only `source`.
 * @param {ReturnType<typeof import("./evidence.js").tablesOf>} evidence  of the catches so far, on the grid
 * @param {Source} source
 * @param {import("./estimate.js").Prior} prior
 * @param {number} scale_sd
 * @param {Catch} like
 * @param {number} seed
 * @returns {Prospect}
 */
export function prospectOfOneSource({ tables, total: likelihood }, source, prior, scale_sd, like, seed) {
  const ln_prior = logPrior(prior);
  const total = likelihood.map((value, i) => value + ln_prior[i]);
  const top = total.reduce((a, b) => Math.max(a, b));
  const cumulative = new Float64Array(GRID);
  let passed = 0;
  for (let i = 0; i < GRID; i += 1) cumulative[i] = passed += Math.exp(total[i] - top);
  const [u_loss, u_c, u_scale] = [0, 1, 2].map((k) => sobolColumn(PARTICLES, k, seed));
  const own = tables.find((one) => one.alike === like.alike);
  const factor = like.exposure.variation_factor;
  const area = GRAMS_PER_KG_HA_M2 * like.exposure.area_m2[source];
  const rows = u_loss.map((u) => firstFrom(cumulative, u * passed));
  const c = rows.map((row, i) => {
    const one = own ? own.c[nodeAt(own.table, row * C_NODES, u_c[i], ON_GRID)] : fromPrior(like.c0, u_c[i]);
    return one * factor;
  });
  return {
    mean_g: rows.map((row) => Math.exp(LN_LOSS[row]) * area),
    c,
    loss_kg_ha: rows.map((row, i) => Math.exp(LN_LOSS[row] + scale_sd * normalQuantile(u_scale[i]))),
    seed_g: like.reading.seed_g,
    step_g: stepOf(like),
  };
}

/**
 * One more catch like `like`, from the joint posterior of several sources.
 * @param {Joint} joint
 * @param {Catch} like
 * @param {string[]} judged  sources whose sum the verdict is about
 * @param {number} seed
 * @returns {Prospect}
 */
export function prospectOfJoint(joint, like, judged, seed) {
  const cumulative = new Float64Array(joint.weights.length);
  let passed = 0;
  for (let i = 0; i < cumulative.length; i += 1) cumulative[i] = passed += joint.weights[i];
  const picked = Array.from(sobolColumn(PARTICLES, 0, seed), (u) => firstFrom(cumulative, u * passed));
  const reading_error = joint.reading_error.get(like.reading.kind);
  const total = joint.sum(judged);
  const mean_g = Float64Array.from(picked, (at) => {
    let mean = 0;
    joint.sources.forEach((source, k) => {
      const part = GRAMS_PER_KG_HA_M2 * like.exposure.area_m2[source] * joint.caught[k][at];
      const rests = (source === "machine" || source === "leak") && like.exposure.by_width && joint.width_error;
      mean += rests ? part * rests[at] : part;
    });
    return reading_error ? mean * reading_error[at] : mean;
  });
  const drawn = joint.cDraws(like.alike, picked);
  const u_c = sobolColumn(PARTICLES, 1, seed);
  const factor = like.exposure.variation_factor;
  const c = u_c.map((u, i) => (drawn ? drawn[i] : fromPrior(like.c0, u)) * factor);
  return {
    mean_g,
    c,
    loss_kg_ha: Float64Array.from(picked, (at) => total[at]),
    seed_g: like.reading.seed_g,
    step_g: stepOf(like),
  };
}

/**
 * Least number of further catches after which a clear verdict is likely, found by halving.
 * @param {Prospect} prospect
 * @param {number} limit_kg_ha
 * @param {number} seed
 * @param {number} most  looked for
 * @returns {Outlook}
 */
export function furtherCatches(prospect, limit_kg_ha, seed, most) {
  const chance = lookAhead(prospect, limit_kg_ha, seed);
  let low = 0;
  let high = most;
  let at_high = chance(high);
  if (at_high < ENOUGH_CHANCE) return { catches: null, chance: at_high };
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    const at_middle = chance(middle);
    if (at_middle >= ENOUGH_CHANCE) [high, at_high] = [middle, at_middle];
    else low = middle;
  }
  return { catches: high, chance: at_high };
}

/**
 * Futures with further catches, played out once; ask after any number of them how often the verdict is clear.
 * @param {Prospect} prospect
 * @param {number} limit_kg_ha
 * @param {number} seed
 * @returns {(catches: number) => number}
 */
function lookAhead(prospect, limit_kg_ha, seed) {
  const { mean_g, c, seed_g, step_g, loss_kg_ha } = prospect;
  const n = mean_g.length;
  const shape = new Float64Array(n);
  const rate = new Float64Array(n);
  const constant = new Float64Array(n);
  const ln_empty = new Float64Array(n);
  for (let i = 0; i < n; i += 1) {
    const scale = c[i] * c[i] * mean_g[i] + seed_g;
    shape[i] = mean_g[i] / scale;
    rate[i] = 1 / scale;
    constant[i] = lnGamma(shape[i]) + shape[i] * Math.log(scale);
    ln_empty[i] = Math.max(LN_NEVER, lnGammaP(shape[i], step_g / 2 / scale));
  }
  // Sums of the readings are all the Gamma likelihood needs, so every number of catches comes from the same readings.
  const futures = Math.min(FUTURES, n);
  const chance = generator(seed);
  const readings = Array.from({ length: futures }, (_, i) =>
    Float64Array.from({ length: MOST_FURTHER }, () => {
      return Math.round((drawGamma(shape[i], chance) / rate[i]) / step_g) * step_g;
    }),
  );
  const ll = new Float64Array(n);
  return (catches) => {
    let clear = 0;
    for (const future of readings) {
      let ln_sum = 0;
      let sum = 0;
      let empty = 0;
      for (let k = 0; k < catches; k += 1) {
        if (future[k] > 0) {
          ln_sum += Math.log(future[k]);
          sum += future[k];
        } else {
          empty += 1;
        }
      }
      const full = catches - empty;
      let top = -Infinity;
      for (let i = 0; i < n; i += 1) {
        ll[i] = ln_sum * (shape[i] - 1) - sum * rate[i] - full * constant[i] + (empty ? empty * ln_empty[i] : 0);
        if (ll[i] > top) top = ll[i];
      }
      let total = 0;
      let over = 0;
      for (let i = 0; i < n; i += 1) {
        const apart = ll[i] - top;
        if (apart <= NEGLIGIBLE) continue;
        const weight = fallen(apart);
        total += weight;
        if (loss_kg_ha[i] > limit_kg_ha) over += weight;
      }
      const p_over = over / total;
      if (p_over >= CLEAR || 1 - p_over >= CLEAR) clear += 1;
    }
    return clear / futures;
  };
}

/** Position of the first element that is at least `value`. @param {Float64Array} rising @param {number} value */
function firstFrom(rising, value) {
  let low = 0;
  let high = rising.length - 1;
  while (low < high) {
    const half = (low + high) >> 1;
    if (rising[half] >= value) high = half;
    else low = half + 1;
  }
  return low;
}

/** @param {number} c0 @param {number} u */
const fromPrior = (c0, u) => c0 * Math.exp(VARIATION_SD * normalQuantile(u));

/** Step of a reading [g]; a count is known to one seed. @param {Catch} like */
function stepOf({ reading }) {
  return reading.count !== null ? 1 / reading.seeds_per_g : reading.step_g || reading.seed_g;
}

/** Numbers from 0 to 1, the same for the same seed: mulberry32 (public domain, from memory). @param {number} seed */
function generator(seed) {
  let state = Math.imul(seed, 0x9e3779b1) >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = Math.imul(state ^ (state >>> 15), 1 | state);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return (((t ^ (t >>> 14)) >>> 0) + 0.5) / 2 ** 32;
  };
}

/**
 * Gamma draw of scale 1: G. Marsaglia and W. W. Tsang (2000), "A simple method for generating gamma variables", ACM TOMS
 * 26, 363-372 (from memory).
 * @param {number} shape
 * @param {() => number} chance
 * @returns {number}
 */
function drawGamma(shape, chance) {
  if (shape < 1) return drawGamma(shape + 1, chance) * chance() ** (1 / shape);
  const d = shape - 1 / 3;
  const c = 1 / Math.sqrt(9 * d);
  for (;;) {
    const x = normalQuantile(chance());
    const v = (1 + c * x) ** 3;
    if (v > 0 && Math.log(chance()) < 0.5 * x * x + d - d * v + d * Math.log(v)) return d * v;
  }
}
