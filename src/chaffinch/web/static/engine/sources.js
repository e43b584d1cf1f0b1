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
import { sourcesSeen } from "./exposure.js";
import { dot } from "./matrix.js";
import { FIRST_ROOM, longer, roomFor, sample } from "./sampler.js";
import { normalColumn, sobolColumn } from "./sobol.js";
import { exp, ln } from "./special.js";
import { Tables } from "./tables.js";
import { nodeAt } from "./variation.js";

/** @typedef {import("./exposure.js").Catch} Catch */
/** @typedef {import("./exposure.js").Source} Source */
/** @typedef {import("./estimate.js").Prior} Prior */
/** @typedef {import("./tables.js").Drawn} Drawn */

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
   * @param {(alike: string, picked: number[]) => Float64Array|null} parts.cDraws  c of catches taken so, for some draws
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
    const total = roomFor(`sum of ${sources.join()}`, this.weights.length).fill(0);
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
    const per_loss = ratios(this.weights, this.of(this.sources).values);
    return this.perSource((k) => 100 * dot(per_loss, this.loss[k]));
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
  const drawn = new Columns(seen.length);
  const per_sd = prior_sd.map((sd) => 1 / sd);

  /** @param {Float64Array[]} straight @param {number} from @param {Float64Array} values */
  const logDensity = (straight, from, values) => {
    drawn.set(straight, from, values.length);
    values.fill(0);
    [...drawn.ln_loss, ...drawn.errors].forEach((column, k) => addPrior(column, prior_mean[k], per_sd[k], from, values));
    tables.addLogLikelihoods(drawn, from, values);
  };

  const start = straightened(prior_mean, prior_sd, seen.length);
  const { weights, ess } = sample(logDensity, start.mean, start.sd, seed);
  return joint(drawn, weights, ess, seen, nuisance, tables, prior_sd, seed);
}

/**
 * Add the log of a normal prior to the values of draws.
 * @param {Float64Array} column
 * @param {number} middle
 * @param {number} scale  one over its sd
 * @param {number} from   first of the draws
 * @param {Float64Array} values
 */
function addPrior(column, middle, scale, from, values) {
  for (let n = 0; n < values.length; n += 1) {
    const apart = (column[from + n] - middle) * scale;
    values[n] -= 0.5 * apart * apart;
  }
}

/** Draws as the tables want them, kept as they are worked out. @implements {Drawn} */
class Columns {
  /** @param {number} sources */
  constructor(sources) {
    this.ln_loss = Array.from({ length: sources }, (_, k) => roomFor(`ln loss ${k}`, FIRST_ROOM));
    this.loss = Array.from({ length: sources }, (_, k) => roomFor(`loss ${k}`, FIRST_ROOM));
    /** @type {Float64Array[]} */
    this.errors = [];
  }

  /**
   * Turn (ln of the sum, ln ratios, errors) into losses and errors: the sampler works on the former, in which the legs
   * of a posterior that knows only a sum lie in line. Each step has the determinant 1.
   * @param {Float64Array[]} straight
   * @param {number} from
   * @param {number} count
   */
  set(straight, from, count) {
    const to = from + count;
    if (to > this.loss[0].length) {
      this.ln_loss = this.ln_loss.map((column) => longer(column, to));
      this.loss = this.loss.map((column) => longer(column, to));
    }
    const { ln_loss, loss } = this;
    this.errors = straight.slice(loss.length);
    const [left, sum] = [ln_loss[0], loss[0]];
    for (let i = from; i < to; i += 1) sum[i] = exp((left[i] = straight[0][i]));
    for (let k = loss.length - 1; k > 0; k -= 1) {
      const [ratios, ln_part, part] = [straight[k], ln_loss[k], loss[k]];
      for (let i = from; i < to; i += 1) {
        const ratio = ratios[i];
        const lesser = exp(-Math.abs(ratio));
        const rise = ln(1 + lesser);
        const larger = sum[i] / (1 + lesser);
        ln_part[i] = left[i] - (ratio > 0 ? rise : rise - ratio);
        left[i] -= ratio > 0 ? ratio + rise : rise;
        part[i] = ratio > 0 ? larger : larger * lesser;
        sum[i] = ratio > 0 ? larger * lesser : larger;
      }
    }
  }
}

/** ln(1 + e^x). @param {number} x */
const softplus = (x) => (x > 0 ? x + Math.log(1 + Math.exp(-x)) : Math.log(1 + Math.exp(x)));

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
 * @param {Columns} drawn
 * @param {Float64Array} weights
 * @param {number} ess
 * @param {Source[]} seen
 * @param {Nuisance} nuisance
 * @param {Tables} tables
 * @param {Float64Array} prior_sd
 * @param {number} seed
 */
function joint(drawn, weights, ess, seen, nuisance, tables, prior_sd, seed) {
  const n = weights.length;
  const d = prior_sd.length;
  const caught = drawn.loss.map((one) => one.subarray(0, n));
  /** @param {number} k */
  const turned = (k) => factors(`error ${k}`, drawn.errors[k].subarray(0, n), -1);
  // The sampler used the first coordinates: one for each parameter and one for the tails.
  const common = factors("common", normalColumn(n, d + 1, seed), nuisance.common_sd);
  const rests = nuisance.common_width_sd ? factors("rests", normalColumn(n, d + 2, seed), nuisance.common_width_sd) : null;
  const machine = seen.indexOf("machine");
  const loss = caught.map((one, k) => {
    const all = roomFor(`lost ${k}`, n).fill(1);
    for (const factor of k === machine && rests ? [one, common, rests] : [one, common]) multiply(all, factor);
    return all;
  });
  /** @param {string} alike @param {number[]} picked */
  const cDraws = (alike, picked) => {
    const group = tables.groups.find((one) => one.alike === alike);
    if (!group) return null;
    const u = sobolColumn(n, d + 3, seed);
    const cells = new Float64Array(group.c.length);
    return Float64Array.from(picked, (at) => {
      cells.fill(0);
      for (const row of group.rows) {
        row.place(drawn, at, 1);
        row.addAt(0, cells);
      }
      return group.c[nodeAt(cells, 0, u[at], group.nodes)];
    });
  };
  return new Joint({
    sources: seen,
    loss,
    caught,
    weights,
    width_error: machine >= 0 && nuisance.width ? turned(nuisance.kinds.length) : null,
    reading_error: new Map(nuisance.kinds.map((kind, k) => [kind, turned(k)])),
    ess,
    learned: Object.fromEntries(seen.map((s, k) => [s, 1 - sdOf(drawn.ln_loss[k], weights) / prior_sd[k]])),
    cDraws,
  });
}

/** e^(sd z) of a column, in a column of its own. @param {string} name @param {Float64Array} z @param {number} sd */
function factors(name, z, sd) {
  const found = roomFor(name, z.length);
  for (let i = 0; i < z.length; i += 1) found[i] = exp(sd * z[i]);
  return found;
}

/** @param {Float64Array} values @param {Float64Array} factors */
function multiply(values, factors) {
  for (let i = 0; i < values.length; i += 1) values[i] *= factors[i];
}

/** @param {Float64Array} above @param {Float64Array} below */
function ratios(above, below) {
  const found = roomFor("ratios", above.length);
  for (let i = 0; i < found.length; i += 1) found[i] = above[i] / below[i];
  return found;
}

/** Sd of weighted values. @param {Float64Array} values @param {Float64Array} weights */
function sdOf(values, weights) {
  let mean = 0;
  let squares = 0;
  for (let i = 0; i < weights.length; i += 1) mean += weights[i] * values[i];
  for (let i = 0; i < weights.length; i += 1) squares += weights[i] * (values[i] - mean) ** 2;
  return Math.sqrt(squares);
}
