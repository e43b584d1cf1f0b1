// @ts-check
/**
 * Where was the seed lost: before harvest, at the header, through the machine, or by a leak?
 *
 * Joint posterior of the losses from all catches of a check, sampled as chaffinch.engine.sources does it
 * (docs/method/sources.md): same tables, same points, same weights.
 */

import { PAN_SD } from "./catch.js";
import { InputError } from "./errors.js";
import { DrawBelief } from "./estimate.js";
import { C_NODES, nodeAt } from "./evidence.js";
import { sourcesSeen } from "./exposure.js";
import { sample } from "./sampler.js";
import { normalColumn, sobolColumn } from "./sobol.js";
import { exp, ln } from "./special.js";
import { Tables } from "./tables.js";

/** @typedef {import("./exposure.js").Catch} Catch */
/** @typedef {import("./exposure.js").Source} Source */
/** @typedef {import("./estimate.js").Prior} Prior */

/**
 * Sd of the log of the shared error when every catch shares all of it, else null.
 * @param {Catch[]} catches
 * @param {number} width_sd
 */
export function commonScaleSd(catches, width_sd) {
  const kinds = scaleSds(catches);
  const by_width = new Set(catches.map((c) => c.exposure.by_width));
  if (kinds.size > 1 || by_width.size > 1) return null;
  return Math.hypot([...kinds.values()][0], by_width.has(true) ? width_sd : 0, PAN_SD);
}

/** Sd of the log of the reading's shared error by kind; of catches put together unlike, the largest. */
/** @param {Catch[]} catches @returns {Map<string, number>} */
function scaleSds(catches) {
  /** @type {Map<string, number>} */
  const found = new Map();
  for (const { reading } of catches) {
    found.set(reading.kind, Math.max(found.get(reading.kind) ?? 0, reading.scale_sd));
  }
  return found;
}

/** Joint posterior of the losses a check sees: weighted draws. */
export class Joint {
  /**
   * @param {object} parts
   * @param {Source[]} parts.sources
   * @param {Float64Array[]} parts.loss      one column for each source, shared errors included [kg/ha]
   * @param {Float64Array[]} parts.caught    the same without the errors common to all catches [kg/ha]
   * @param {Float64Array} parts.weights     sum to 1
   * @param {Float64Array|null} parts.width_error
   * @param {Map<string, Float64Array>} parts.reading_error
   * @param {number} parts.ess
   * @param {{[source: string]: number}} parts.learned
   * @param {(alike: string) => Float64Array|null} parts.cDraws  c of catches taken so, one for each draw
   */
  constructor({ sources, loss, caught, weights, width_error, reading_error, ess, learned, cDraws }) {
    this.sources = sources;
    this.loss = loss;
    this.caught = caught;
    this.weights = weights;
    this.width_error = width_error;
    this.reading_error = reading_error;
    this.ess = ess;
    this.learned = learned;
    this.cDraws = cDraws;
    /** @type {Map<string, DrawBelief>} */
    this.beliefs = new Map();
  }

  /** Draws of the sum of the named sources [kg/ha], not to be written to. @param {string[]} sources */
  sum(sources) {
    if (sources.length === 1) return this.loss[this.sources.findIndex((one) => one === sources[0])];
    const total = new Float64Array(this.weights.length);
    for (const [k, source] of this.sources.entries()) {
      if (!sources.includes(source)) continue;
      const part = this.loss[k];
      for (let i = 0; i < total.length; i += 1) total[i] += part[i];
    }
    return total;
  }

  /** Belief about the sum of the named sources. @param {string[]} sources */
  of(sources) {
    const key = sources.join();
    const known = this.beliefs.get(key) ?? new DrawBelief(this.sum(sources), this.weights);
    this.beliefs.set(key, known);
    return known;
  }

  /** Expected share of each source in the total loss [%]; they sum to 100. */
  partOfLossPct() {
    const total = this.of(this.sources).values;
    const per_loss = this.weights.map((w, i) => w / total[i]);
    return this.perSource((k) => {
      const loss = this.loss[k];
      let part = 0;
      for (let i = 0; i < total.length; i += 1) part += per_loss[i] * loss[i];
      return 100 * part;
    });
  }

  /** Probability that each source is the largest of those seen. */
  pLargest() {
    const { loss, weights } = this;
    const won = new Float64Array(loss.length);
    for (let i = 0; i < weights.length; i += 1) {
      let best = 0;
      let largest = loss[0][i];
      for (let k = 1; k < won.length; k += 1) {
        if (loss[k][i] <= largest) continue;
        best = k;
        largest = loss[k][i];
      }
      won[best] += weights[i];
    }
    return this.perSource((k) => won[k]);
  }

  /** @param {(column: number) => number} value @returns {{[source: string]: number}} */
  perSource(value) {
    return Object.fromEntries(this.sources.map((s, k) => [s, value(k)]));
  }
}

/**
 * Sample the joint posterior of all losses that the catches see.
 * @param {Catch[]} catches  at least one
 * @param {{[source: string]: Prior}} priors
 * @param {number} width_sd  sd of the log of the drop or spread width [1]
 * @param {number} seed
 * @returns {Joint}
 */
export function locate(catches, priors, width_sd, seed) {
  const seen = sourcesSeen(catches);
  if (!seen.length) {
    throw new InputError("catches", catches.length, "there is no catch that sees a loss", "take at least one");
  }
  const nuisance = nuisanceOf(catches, width_sd);
  const tables = new Tables(catches, seen, nuisance);
  const sds = nuisance.sds;
  const prior_mean = Float64Array.from([...seen.map((s) => Math.log(priors[s].median_kg_ha)), ...sds.map(() => 0)]);
  const prior_sd = Float64Array.from([...seen.map((s) => priors[s].sd_log), ...sds]);
  const d = prior_mean.length;
  const k = seen.length;
  const point = new Float64Array(d);
  const loss = new Float64Array(k);
  const errors = new Float64Array(d - k);
  const per_sd = prior_sd.map((sd) => 1 / sd);

  /** @param {Float64Array} straight @param {Float64Array} values */
  const logDensity = (straight, values) => {
    for (let n = 0, at = 0; n < values.length; n += 1, at += d) {
      lnLosses(straight, at, d, k, point, loss);
      let squares = 0;
      for (let i = 0; i < d; i += 1) {
        const apart = (point[i] - prior_mean[i]) * per_sd[i];
        squares += apart * apart;
      }
      for (let i = k; i < d; i += 1) errors[i - k] = point[i];
      const width_factor = nuisance.width ? Math.exp(-point[d - 1]) : 1;
      values[n] = tables.logLikelihood(point, loss, errors, width_factor) - 0.5 * squares;
    }
  };

  const start = straightened(prior_mean, prior_sd, k);
  const found = sample(logDensity, start.mean, start.sd, seed);
  const { points, weights, ess } = found;
  const n = weights.length;
  const caught = seen.map(() => new Float64Array(n));
  for (let i = 0; i < n; i += 1) {
    lnLosses(points, i * d, d, k, point, loss);
    for (let j = 0; j < d; j += 1) points[i * d + j] = point[j];
    for (let j = 0; j < k; j += 1) caught[j][i] = loss[j];
  }
  return joint({ points, caught, weights, ess }, seen, nuisance, tables, prior_sd, seed);
}

/** ln(1 + e^x). @param {number} x */
const softplus = (x) => (x > 0 ? x + Math.log(1 + Math.exp(-x)) : Math.log(1 + Math.exp(x)));

/**
 * Turn (ln of the sum, ln ratios, errors) into (ln losses, errors): the sampler works on the former, in which the legs
 * of a posterior that knows only a sum lie in line. Each step has the determinant 1.
 * @param {Float64Array} straight
 * @param {number} at             where the draw starts
 * @param {number} d
 * @param {number} sources
 * @param {Float64Array} point    the draw, d numbers
 * @param {Float64Array} loss     the losses themselves [kg/ha]
 */
function lnLosses(straight, at, d, sources, point, loss) {
  let left = straight[at];
  let sum = exp(left);
  for (let k = sources - 1; k > 0; k -= 1) {
    const ratio = straight[at + k];
    const lesser = exp(-Math.abs(ratio));
    const larger = 1 / (1 + lesser);
    const rise = ln(1 + lesser);
    point[k] = left - (ratio > 0 ? rise : rise - ratio);
    left -= ratio > 0 ? ratio + rise : rise;
    loss[k] = sum * larger * (ratio > 0 ? 1 : lesser);
    sum *= larger * (ratio > 0 ? lesser : 1);
  }
  point[0] = left;
  loss[0] = sum;
  for (let i = sources; i < d; i += 1) point[i] = straight[at + i];
}

/** Where the sampler starts, in its own coordinates. */
/** @param {Float64Array} mean @param {Float64Array} sd @param {number} sources */
function straightened(mean, sd, sources) {
  const start = Float64Array.from(mean);
  const wide = Float64Array.from(sd);
  for (let k = 1; k < sources; k += 1) {
    start[k] = mean[k] - start[0];
    wide[k] = Math.hypot(sd[k], sd[k - 1]);
    start[0] += softplus(mean[k] - start[0]);
  }
  return { mean: start, sd: wide };
}

/**
 * Shared errors that differ between catches and so must be sampled, and those common to all.
 * @typedef {object} Nuisance
 * @property {string[]} kinds
 * @property {boolean} width
 * @property {number[]} sds
 * @property {number} common_sd
 * @property {number} common_width_sd
 */

/** @param {Catch[]} catches @param {number} width_sd @returns {Nuisance} */
function nuisanceOf(catches, width_sd) {
  const scale = scaleSds(catches);
  const several = scale.size > 1;
  const kinds = several ? [...scale.keys()].filter((k) => (scale.get(k) ?? 0) > 0).sort() : [];
  const common = Math.hypot(PAN_SD, several ? 0 : [...scale.values()][0]);
  // A leak catch needs no drop width; a check that mixes it with pans must keep the width's error apart.
  const machine = catches
    .filter((c) => c.exposure.area_m2.machine > 0 || c.exposure.area_m2.leak > 0)
    .map((c) => c.exposure.by_width);
  const width = new Set(machine).size > 1;
  return {
    kinds,
    width,
    sds: [...kinds.map((k) => scale.get(k) ?? 0), ...(width ? [width_sd] : [])],
    common_sd: common,
    common_width_sd: machine.length && machine.every(Boolean) ? width_sd : 0,
  };
}

/**
 * @param {{points: Float64Array, caught: Float64Array[], weights: Float64Array, ess: number}} draws
 * @param {Source[]} seen
 * @param {Nuisance} nuisance
 * @param {Tables} tables
 * @param {Float64Array} prior_sd
 * @param {number} seed
 */
function joint({ points, caught, weights, ess }, seen, nuisance, tables, prior_sd, seed) {
  const n = weights.length;
  const d = prior_sd.length;
  /** @param {number} at */
  const column = (at) => {
    const found = new Float64Array(n);
    for (let i = 0, from = at; i < n; i += 1, from += d) found[i] = exp(-points[from]);
    return found;
  };
  // The sampler used the first coordinates: one for each parameter and one for the tails.
  const common = factors(normalColumn(n, d + 1, seed), nuisance.common_sd);
  const rests = nuisance.common_width_sd ? factors(normalColumn(n, d + 2, seed), nuisance.common_width_sd) : null;
  const machine = seen.indexOf("machine");
  const loss = caught.map((one, k) => {
    const all = new Float64Array(n);
    for (let i = 0; i < n; i += 1) all[i] = one[i] * common[i];
    if (k === machine && rests) for (let i = 0; i < n; i += 1) all[i] *= rests[i];
    return all;
  });
  const errors = seen.length + nuisance.kinds.length;
  /** @param {string} alike */
  const cDraws = (alike) => {
    const group = tables.groups.find((one) => one.alike === alike);
    if (!group) return null;
    const u = sobolColumn(n, d + 3, seed);
    const cells = new Float64Array(C_NODES);
    const losses = new Float64Array(seen.length);
    return weights.map((_, i) => {
      for (let k = 0; k < seen.length; k += 1) losses[k] = Math.exp(points[i * d + k]);
      const width_factor = nuisance.width ? Math.exp(-points[i * d + d - 1]) : 1;
      cells.fill(0);
      for (const row of group.rows) {
        const point = points.subarray(i * d, i * d + d);
        row.addAt(point, losses, point.subarray(seen.length), width_factor, cells);
      }
      return group.c[nodeAt(cells, 0, u[i])];
    });
  };
  return new Joint({
    sources: seen,
    loss,
    caught,
    weights,
    width_error: machine >= 0 && nuisance.width ? column(errors) : null,
    reading_error: new Map(nuisance.kinds.map((kind, k) => [kind, column(seen.length + k)])),
    ess,
    learned: Object.fromEntries(seen.map((s, k) => [s, 1 - sdOf(points, weights, k, d) / prior_sd[k]])),
    cDraws,
  });
}

/** e^(sd z) of a column, in a column of its own. @param {Float64Array} z @param {number} sd */
function factors(z, sd) {
  const found = new Float64Array(z.length);
  for (let i = 0; i < z.length; i += 1) found[i] = exp(sd * z[i]);
  return found;
}

/** Sd of one coordinate of weighted points. */
/** @param {Float64Array} points @param {Float64Array} weights @param {number} k @param {number} d */
function sdOf(points, weights, k, d) {
  let mean = 0;
  let squares = 0;
  for (let i = 0, at = k; i < weights.length; i += 1, at += d) mean += weights[i] * points[at];
  for (let i = 0, at = k; i < weights.length; i += 1, at += d) squares += weights[i] * (points[at] - mean) ** 2;
  return Math.sqrt(squares);
}
