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
import {
  C_NODES,
  GRID,
  LN_LOSS,
  addLogLikelihood,
  averageOfRow,
  byLikeness,
  cNodes,
  groupBy,
  nodeAt,
} from "./evidence.js";
import { GRAMS_PER_KG_HA_M2, sourcesSeen } from "./exposure.js";
import { meanAndCov } from "./matrix.js";
import { sample } from "./sampler.js";
import { sobolColumn } from "./sobol.js";
import { normalQuantile } from "./special.js";

/** @typedef {import("./exposure.js").Catch} Catch */
/** @typedef {import("./exposure.js").Source} Source */
/** @typedef {import("./estimate.js").Prior} Prior */

/** Widest spacing of ln μ in the tables the draws are read from; a quarter of c where c is small. */
const TABLE_STEP = 0.03;
/** Expected mass, as a share of half a step or of a seed, at which an empty reading is certain to about 2 %. */
const CERTAINLY_EMPTY = 0.002;
/** How far the tables extend beyond the expected masses of the grid of losses [ln]. */
const TABLE_MARGIN = 4;
const FLOOR = -1e9;

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

  /** Draws of the sum of the named sources [kg/ha]. @param {string[]} sources */
  sum(sources) {
    const columns = this.sources.map((s, k) => (sources.includes(s) ? this.loss[k] : null)).filter((x) => x !== null);
    return this.weights.map((_, i) => columns.reduce((total, column) => total + column[i], 0));
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
    const total = this.sum(this.sources);
    return this.perSource((k) => this.weights.reduce((sum, w, i) => sum + (100 * w * this.loss[k][i]) / total[i], 0));
  }

  /** Probability that each source is the largest of those seen. */
  pLargest() {
    const won = this.sources.map(() => 0);
    for (let i = 0; i < this.weights.length; i += 1) {
      let best = 0;
      for (let k = 1; k < won.length; k += 1) if (this.loss[k][i] > this.loss[best][i]) best = k;
      won[best] += this.weights[i];
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

  /** @param {Float64Array} straight @param {number} count */
  const logDensity = (straight, count) => {
    const points = lnLosses(straight, count, d, seen.length);
    const result = tables.logLikelihood(points, count, d);
    for (let n = 0; n < count; n += 1) {
      let squares = 0;
      for (let i = 0; i < d; i += 1) squares += ((points[n * d + i] - prior_mean[i]) / prior_sd[i]) ** 2;
      result[n] -= 0.5 * squares;
    }
    return result;
  };

  const start = straightened(prior_mean, prior_sd, seen.length);
  const found = sample(logDensity, start.mean, start.sd, seed);
  const points = lnLosses(found.points, found.weights.length, d, seen.length);
  return joint({ points, weights: found.weights, ess: found.ess }, seen, nuisance, tables, prior_sd, seed);
}

/** ln(1 + e^x). @param {number} x */
const softplus = (x) => (x > 0 ? x + Math.log1p(Math.exp(-x)) : Math.log1p(Math.exp(x)));

/**
 * Turn (ln of the sum, ln ratios, errors) into (ln losses, errors): the sampler works on the former, in which the legs
 * of a posterior that knows only a sum lie in line. Each step has the determinant 1.
 * @param {Float64Array} straight
 * @param {number} count
 * @param {number} d
 * @param {number} sources
 */
function lnLosses(straight, count, d, sources) {
  const points = Float64Array.from(straight);
  for (let n = 0; n < count; n += 1) {
    let left = straight[n * d];
    for (let k = sources - 1; k > 0; k -= 1) {
      const ratio = straight[n * d + k];
      points[n * d + k] = left - softplus(-ratio);
      left -= softplus(ratio);
    }
    points[n * d] = left;
  }
  return points;
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

/** Log-likelihood of draws, read from one table for each distinct exposure. */
class Tables {
  /** @param {Catch[]} catches @param {Source[]} seen @param {Nuisance} nuisance */
  constructor(catches, seen, nuisance) {
    this.groups = [...byLikeness(catches)].map(([alike, members]) => {
      const c = cNodes(members[0].c0);
      const rows = groupBy(members, ({ exposure, reading }) =>
        JSON.stringify([
          seen.map((s) => exposure.area_m2[s]),
          exposure.variation_factor,
          exposure.by_width,
          nuisance.kinds.indexOf(reading.kind),
        ]),
      );
      return { alike, c, rows: rows.map((group) => new Row(group, seen, nuisance, c)) };
    });
  }

  /**
   * Sum over the groups of the average over c, for each draw.
   * @param {Float64Array} points
   * @param {number} count
   * @param {number} d
   */
  logLikelihood(points, count, d) {
    const result = new Float64Array(count);
    const cells = new Float64Array(C_NODES);
    for (const { rows } of this.groups) {
      for (let n = 0; n < count; n += 1) {
        cells.fill(0);
        for (const row of rows) row.addAt(points, n * d, cells);
        result[n] += averageOfRow(cells, 0);
      }
    }
    return result;
  }
}

/** The table of catches that share an exposure and a kind of reading. */
class Row {
  /** @param {Catch[]} catches @param {Source[]} seen @param {Nuisance} nuisance @param {Float64Array} c */
  constructor(catches, seen, nuisance, c) {
    const { exposure, reading } = catches[0];
    this.areas = seen.map((s) => GRAMS_PER_KG_HA_M2 * exposure.area_m2[s]);
    this.by_width = seen.map((s) => s === "machine" || s === "leak");
    const kind = nuisance.kinds.indexOf(reading.kind);
    this.kind_at = kind < 0 ? -1 : seen.length + kind;
    this.width_at = nuisance.width && exposure.by_width ? seen.length + nuisance.kinds.length : -1;
    const positive = this.areas.filter((a) => a > 0);
    const low = Math.log(Math.min(...positive)) + LN_LOSS[0] - TABLE_MARGIN;
    const high = Math.log(positive.reduce((a, b) => a + b, 0)) + LN_LOSS[GRID - 1] + TABLE_MARGIN;
    // Where an empty reading has become certain its likelihood is flat, and may be read on straight from there.
    const certain = Math.min(
      ...catches.map((x) => CERTAINLY_EMPTY * Math.max(x.reading.step_g / 2, x.reading.seed_g)),
    );
    this.step = Math.min(TABLE_STEP, (catches[0].c0 * exposure.variation_factor) / 4);
    this.first = Math.min(low, Math.log(certain));
    const size = Math.ceil((high - this.first) / this.step);
    const ln_mean = Float64Array.from({ length: size }, (_, i) => this.first + i * this.step);
    this.last = size - 2;
    this.table = new Float64Array(size * C_NODES);
    addLogLikelihood(catches, ln_mean, c, this.table);
    // A floor keeps the linear reading finite, low enough for the climb to feel the slope above it.
    const floor = FLOOR * catches.length;
    for (let i = 0; i < this.table.length; i += 1) if (!(this.table[i] > floor)) this.table[i] = floor;
  }

  /**
   * Read the table for one draw, straight between its rows, and add it to the cells.
   * @param {Float64Array} points
   * @param {number} at             where the draw starts
   * @param {Float64Array} cells
   */
  addAt(points, at, cells) {
    const { areas, table } = this;
    const width = this.width_at < 0 ? 1 : Math.exp(-points[at + this.width_at]);
    let mean = 0;
    for (let k = 0; k < areas.length; k += 1) {
      if (areas[k] > 0) mean += Math.exp(points[at + k]) * areas[k] * (this.by_width[k] ? width : 1);
    }
    const ln_mean = Math.log(mean) - (this.kind_at < 0 ? 0 : points[at + this.kind_at]);
    const place = (ln_mean - this.first) / this.step;
    const index = Math.max(0, Math.min(this.last, Math.trunc(place)));
    const along = place - index;
    const row = index * C_NODES;
    for (let j = 0; j < C_NODES; j += 1) {
      cells[j] += table[row + j] * (1 - along) + table[row + C_NODES + j] * along;
    }
  }
}

/**
 * @param {{points: Float64Array, weights: Float64Array, ess: number}} draws
 * @param {Source[]} seen
 * @param {Nuisance} nuisance
 * @param {Tables} tables
 * @param {Float64Array} prior_sd
 * @param {number} seed
 */
function joint({ points, weights, ess }, seen, nuisance, tables, prior_sd, seed) {
  const n = weights.length;
  const d = prior_sd.length;
  /** @param {number} at @param {number} sign */
  const column = (at, sign) => weights.map((_, i) => Math.exp(sign * points[i * d + at]));
  const caught = seen.map((_, k) => column(k, 1));
  // The sampler used the first coordinates: one for each parameter and one for the tails.
  const [common, common_width] = [1, 2].map((k) => sobolColumn(n, d + k, seed).map(normalQuantile));
  const loss = caught.map((one) => one.map((value, i) => value * Math.exp(nuisance.common_sd * common[i])));
  const machine = seen.indexOf("machine");
  if (machine >= 0 && nuisance.common_width_sd) {
    loss[machine] = loss[machine].map((value, i) => value * Math.exp(nuisance.common_width_sd * common_width[i]));
  }
  const errors = seen.length + nuisance.kinds.length;
  const { cov } = meanAndCov(points, weights, d);
  /** @param {string} alike */
  const cDraws = (alike) => {
    const group = tables.groups.find((one) => one.alike === alike);
    if (!group) return null;
    const u = sobolColumn(n, d + 3, seed);
    const cells = new Float64Array(C_NODES);
    return weights.map((_, i) => {
      cells.fill(0);
      for (const row of group.rows) row.addAt(points, i * d, cells);
      return group.c[nodeAt(cells, 0, u[i])];
    });
  };
  return new Joint({
    sources: seen,
    loss,
    caught,
    weights,
    width_error: machine >= 0 && nuisance.width ? column(errors, -1) : null,
    reading_error: new Map(nuisance.kinds.map((kind, k) => [kind, column(seen.length + k, -1)])),
    ess,
    learned: Object.fromEntries(seen.map((s, k) => [s, 1 - Math.sqrt(cov[k * d + k]) / prior_sd[k]])),
    cDraws,
  });
}
