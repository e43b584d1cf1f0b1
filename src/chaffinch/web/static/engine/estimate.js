// @ts-check
/**
 * How large is the loss, and is it over the limit: evidence and prior to a range and a verdict.
 *
 * Twin of chaffinch.engine.estimate (docs/method/estimate.md).
 */

import { GRID, GRID_STEP, LN_LOSS } from "./evidence.js";
import { UPPER } from "./special.js";

/** @typedef {import("./exposure.js").Source} Source */
/** @typedef {import("./types.js").Range} Range */
/** @typedef {{median_kg_ha: number, sd_log: number}} Prior */

/** Prior median as a share of expected yield [1]; own figures, wide on purpose. */
const PRIOR_SHARE = Object.freeze({ machine: 0.02, header: 0.015, standing: 0.003, leak: 0.001 });
/** Prior median without a yield [kg/ha]; own figures. */
const PRIOR_MEDIAN_KG_HA = Object.freeze({ machine: 40, header: 20, standing: 5, leak: 2 });
/** Sd of ln(loss) before any catch [1]. */
export const PRIOR_SD = 1.3;
/** Probability from which a verdict is given. */
export const CLEAR = 0.8;

/**
 * Prior of one source: a share of the expected yield, or a fixed median without one.
 * @param {Source} source
 * @param {number|null} yield_kg_ha
 * @returns {Prior}
 */
export function defaultPrior(source, yield_kg_ha) {
  const median = yield_kg_ha === null ? PRIOR_MEDIAN_KG_HA[source] : PRIOR_SHARE[source] * yield_kg_ha;
  return { median_kg_ha: median, sd_log: PRIOR_SD };
}

/** Log of the prior on the grid, unnormalised. @param {Prior} prior */
export function logPrior(prior) {
  const centre = Math.log(prior.median_kg_ha);
  return LN_LOSS.map((ln_loss) => -0.5 * ((ln_loss - centre) / prior.sd_log) ** 2);
}

/**
 * Posterior of a loss: evidence times prior, convolved with the error that all catches share.
 * @param {Float64Array} log_likelihood  on `LN_LOSS`; −∞ where the posterior is not felt
 * @param {Prior} prior
 * @param {number} scale_sd              sd of the log of that error [1]
 * @returns {GridBelief}
 */
export function estimate(log_likelihood, prior, scale_sd) {
  const ln_prior = logPrior(prior);
  const log_post = log_likelihood.map((value, i) => value + ln_prior[i]);
  const top = log_post.reduce((a, b) => Math.max(a, b));
  const mass = log_post.map((value) => Math.exp(value - top));
  const total = mass.reduce((a, b) => a + b);
  return new GridBelief(blur(mass.map((value) => value / total), scale_sd));
}

/**
 * Convolve grid mass with a normal in ln(loss); what leaves the grid stays at its ends.
 * @param {Float64Array} mass
 * @param {number} scale_sd
 */
export function blur(mass, scale_sd) {
  if (scale_sd < GRID_STEP / 4) return mass;
  const reach = Math.ceil((4.5 * scale_sd) / GRID_STEP);
  const kernel = Float64Array.from({ length: 2 * reach + 1 }, (_, i) =>
    Math.exp(-0.5 * (((i - reach) * GRID_STEP) / scale_sd) ** 2),
  );
  const total = kernel.reduce((a, b) => a + b);
  const blurred = new Float64Array(GRID);
  for (let i = 0; i < GRID; i += 1) {
    for (let k = -reach; k <= reach; k += 1) {
      const to = Math.min(GRID - 1, Math.max(0, i + k));
      blurred[to] += (mass[i] * kernel[k + reach]) / total;
    }
  }
  return blurred;
}

/** Posterior of one loss on the grid. */
export class GridBelief {
  /** @param {Float64Array} mass  sums to 1 */
  constructor(mass) {
    this.mass = mass;
  }

  /** Loss below which the probability is `p`, by interpolation in ln(loss) [kg/ha]. @param {number} p */
  quantile(p) {
    let passed = 0;
    let last = 0;
    for (let i = 0; i < GRID; i += 1) {
      const here = this.mass[i];
      if (!(passed + here > passed)) continue;
      last = i;
      if (passed + here >= p) return Math.exp(LN_LOSS[i] + GRID_STEP * ((p - passed) / here - 0.5));
      passed += here;
    }
    return Math.exp(LN_LOSS[last] + GRID_STEP / 2);
  }

  /** @param {number[]} all */
  quantiles(all) {
    return all.map((p) => this.quantile(p));
  }

  /** Probability that the loss exceeds this. @param {number} loss_kg_ha */
  probabilityAbove(loss_kg_ha) {
    const place = (Math.log(loss_kg_ha) - LN_LOSS[0]) / GRID_STEP + 0.5;
    const cell = Math.floor(place);
    if (cell < 0) return 1;
    let below = 0;
    for (let i = 0; i < Math.min(cell, GRID); i += 1) below += this.mass[i];
    if (cell < GRID) below += this.mass[cell] * (place - cell);
    return 1 - below;
  }

  /** Probability within 4 % of either end of the grid, where the belief would be cut off. */
  atTheEnds() {
    return this.mass[0] + this.mass[1] + this.mass[GRID - 2] + this.mass[GRID - 1];
  }

  /** Sd of ln(loss) [1]. */
  sdLog() {
    let centre = 0;
    for (let i = 0; i < GRID; i += 1) centre += this.mass[i] * LN_LOSS[i];
    let square = 0;
    for (let i = 0; i < GRID; i += 1) square += this.mass[i] * (LN_LOSS[i] - centre) ** 2;
    return Math.sqrt(square);
  }
}

/** Bits of a float's upper word that its bin does not keep: 512 bins for each doubling. */
const DROPPED_BITS = 11;
/** Weight of a draw that no bin of its own is kept for: all of them together are far from a range's ends. */
const FEATHER = 1e-7;

/** Posterior of a quantity as weighted draws. */
export class DrawBelief {
  /**
   * @param {Float64Array} values   positive
   * @param {Float64Array} weights  sum to 1
   */
  constructor(values, weights) {
    this.values = values;
    this.weights = weights;
    this.words = new Uint32Array(values.buffer, values.byteOffset, 2 * values.length);
    this.least = 0;
    this.last = 0;
    /** @type {Float64Array|null} */
    this.passed = null;
  }

  /** Weight up to the end of each bin, from bin `least`. */
  inBins() {
    const { words, weights } = this;
    const n = weights.length;
    let least = 2 ** 31 - 1;
    let most = 0;
    for (let i = 0; i < n; i += 1) {
      if (weights[i] < FEATHER) continue;
      const bin = words[2 * i + UPPER] >>> DROPPED_BITS;
      if (bin < least) least = bin;
      if (bin > most) most = bin;
    }
    this.least = least;
    this.last = most - least;
    const passed = new Float64Array(this.last + 1);
    for (let i = 0; i < n; i += 1) passed[this.binOf(i)] += weights[i];
    for (let b = 1; b < passed.length; b += 1) passed[b] += passed[b - 1];
    return passed;
  }

  /** Draws beyond the bins lie in the first or last. @param {number} i */
  binOf(i) {
    const bin = (this.words[2 * i + UPPER] >>> DROPPED_BITS) - this.least;
    return bin < 0 ? 0 : bin > this.last ? this.last : bin;
  }

  /** Weighted quantile, interpolated between draws at the middle of their weights. @param {number} p */
  quantile(p) {
    return this.quantiles([p])[0];
  }

  /** Several of them, in one pass over the draws. @param {number[]} all */
  quantiles(all) {
    const passed = (this.passed ??= this.inBins());
    const { last } = this;
    const spans = all.map((p) => {
      let low = 0;
      let high = last;
      while (low < high) {
        const half = (low + high) >> 1;
        if (passed[half] > p) high = half;
        else low = half + 1;
      }
      // The draws beside it may be those of the next bins that hold any.
      do high += 1;
      while (high < last && passed[high] === passed[high - 1]);
      do low -= 1;
      while (low > 0 && passed[low] === passed[low - 1]);
      return { low: Math.max(0, low), high: Math.min(last, high) };
    });
    const wanted = new Uint8Array(passed.length);
    for (const { low, high } of spans) wanted.fill(1, low, high + 1);
    const { weights, values } = this;
    /** @type {number[]} */
    const near = [];
    for (let i = 0; i < weights.length; i += 1) {
      if (wanted[this.binOf(i)]) near.push(i);
    }
    near.sort((a, b) => values[a] - values[b]);
    return spans.map(({ low, high }, k) => this.amongst(near, low, high, all[k]));
  }

  /**
   * The quantile among draws of which those in bins `low` to `high` matter.
   * @param {number[]} near  rising
   * @param {number} low
   * @param {number} high
   * @param {number} p
   */
  amongst(near, low, high, p) {
    const { values, weights, passed } = this;
    let sum = low > 0 && passed ? passed[low - 1] : 0;
    let middle = -1;
    let value = NaN;
    for (const i of near) {
      const bin = this.binOf(i);
      if (bin < low) continue;
      if (bin > high) break;
      const before = middle;
      const lower = value;
      middle = sum + weights[i] / 2;
      value = values[i];
      if (middle > p) return before < 0 ? value : lower + ((value - lower) * (p - before)) / (middle - before);
      sum += weights[i];
    }
    return value;
  }

  /** Probability that the quantity exceeds this. @param {number} limit */
  probabilityAbove(limit) {
    let above = 0;
    for (let i = 0; i < this.values.length; i += 1) if (this.values[i] > limit) above += this.weights[i];
    return Math.min(1, above);
  }
}

/** 5 / 50 / 95 % points. @param {GridBelief|DrawBelief} belief @returns {Range} */
export function rangeOf(belief) {
  const [low, median, high] = belief.quantiles([0.05, 0.5, 0.95]);
  return { low, median, high };
}

/** @param {Range} range @param {number} factor @returns {Range} */
export function times({ low, median, high }, factor) {
  return { low: low * factor, median: median * factor, high: high * factor };
}

/** `over` from 0.80, `under` to 0.20, else `unsettled`. @param {number} p_over */
export function verdict(p_over) {
  if (p_over >= CLEAR) return "over";
  // Not p ≤ 1 − CLEAR: in floats 1 − 0.8 falls just short of 0.2.
  return 1 - p_over >= CLEAR ? "under" : "unsettled";
}
