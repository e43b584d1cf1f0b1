// @ts-check
/**
 * The inference kernel: draws from a posterior known only up to a constant.
 *
 * The same adaptive importance sampling on the same Sobol points as chaffinch.engine.sampling.sampler (docs/method/sampler.md),
 * so that phone and server give the same figures for the same check. Points are columns, one for each coordinate.
 */

import { SamplerError } from "./errors.js";
import { cholesky, eigen, meanAndCov, trace } from "./matrix.js";
import { local, single } from "./proposals.js";
import { exp } from "./special.js";

/** @typedef {import("./proposals.js").Proposal} Proposal */
/**
 * Sets one value for each of the points from `from` on. Those of rounds stand behind all before them, any others at 0.
 * @typedef {(points: Float64Array[], from: number, values: Float64Array) => void} LogDensity
 */
/** @typedef {{points: Float64Array[], weights: Float64Array, ess: number}} Draws  columns may be longer than the weights */

const ROUNDS = 4;
const POINTS_PER_ROUND = 2048;
/** Effective draws below which an answer is refused. */
const LEAST_ESS = 400;
/** Effective draws below which further rounds with local proposals are spent. */
const COMFORTABLE_ESS = 1000;
const BENT_ROUNDS = 6;
/** Points there is room for at first. */
export const FIRST_ROOM = ROUNDS * POINTS_PER_ROUND;

/** @type {Map<string, Float64Array>} */
const rooms = new Map();

/**
 * Room for one number of each of so many points, not cleared. The next check gets the same, so nothing kept in it
 * outlives an answer: a check asks for megabytes, and a phone clears them away in the middle of another.
 * @param {string} name
 * @param {number} count
 */
export function roomFor(name, count) {
  if (count > FIRST_ROOM) return new Float64Array(count);
  const room = rooms.get(name) ?? new Float64Array(FIRST_ROOM);
  rooms.set(name, room);
  return room.subarray(0, count);
}

/**
 * Draw from the density whose logarithm is `logDensity`, up to a constant.
 * @param {LogDensity} logDensity
 * @param {Float64Array} start_mean  a generous first guess
 * @param {Float64Array} start_sd
 * @param {number} seed
 * @returns {Draws}
 */
export function sample(logDensity, start_mean, start_sd, seed) {
  const d = start_mean.length;
  const { mode, cov } = climb(logDensity, start_mean, start_sd);
  const run = new Run(logDensity, d);
  // Beyond 2^53 a number no longer knows its successor.
  const first = BigInt(seed);
  run.add(single(mode, cholesky(cov, d), POINTS_PER_ROUND - POINTS_PER_ROUND / 4), first);
  const wide = new Float64Array(d * d);
  for (let i = 0; i < d; i += 1) wide[i * d + i] = start_sd[i] ** 2;
  run.add(single(start_mean, cholesky(wide, d), POINTS_PER_ROUND / 4), first + 1n);
  for (let turn = 1; turn < ROUNDS; turn += 1) {
    const found = moments(run.points, run.weights);
    run.add(single(found.mean, cholesky(found.cov, d), POINTS_PER_ROUND), first + BigInt(1 + turn));
  }
  for (let turn = 0; turn < BENT_ROUNDS && run.ess < COMFORTABLE_ESS; turn += 1) {
    const count = POINTS_PER_ROUND * (turn < BENT_ROUNDS / 2 ? 2 : 4);
    run.add(local(run.points, run.weights, count), first + BigInt(101 + turn));
  }
  if (run.ess < LEAST_ESS) {
    throw new SamplerError(
      `only ${run.ess.toFixed(0)} effective draws of ${run.weights.length} in ${d} dimensions ` +
        `(at least ${LEAST_ESS} are needed): the catches pin down a sum of losses too sharply, or contradict each ` +
        "other beyond what the model can hold; check the readings and any variation you gave",
    );
  }
  return { points: run.points, weights: run.weights, ess: run.ess };
}

/** All points so far, each weighted against the mixture of all proposals they came from. */
class Run {
  /** @param {LogDensity} logDensity @param {number} d */
  constructor(logDensity, d) {
    this.logDensity = logDensity;
    /** @type {Proposal[]} */
    this.proposals = [];
    /** Points there are, and in all arrays room for more. */
    this.n = 0;
    this.points = Array.from({ length: d }, (_, i) => roomFor(`point ${i}`, FIRST_ROOM));
    this.values = roomFor("value", FIRST_ROOM);
    /** e^(value − about the highest) at each point: rounds weigh anew without exponentials or logarithms. */
    this.heights = roomFor("height", FIRST_ROOM);
    this.highest = -Infinity;
    /** Density of the mixture at each point, each proposal counted as often as points came from it. */
    this.mixture = roomFor("mixture", FIRST_ROOM).fill(0);
    this.room = roomFor("weight", FIRST_ROOM);
    this.weights = this.room;
    this.ess = 0;
  }

  /** Draw from one more proposal and weigh everything anew (Cornuet et al. 2012). */
  /** @param {Proposal} proposal @param {bigint} seed */
  add(proposal, seed) {
    const before = this.n;
    const n = before + proposal.count;
    if (n > this.values.length) {
      this.points = this.points.map((column) => longer(column, n));
      this.values = longer(this.values, n);
      this.heights = longer(this.heights, n);
      this.mixture = longer(this.mixture, n);
      this.room = new Float64Array(n);
    }
    const { points, values, heights, mixture } = this;
    const own = proposal.draw(seed, points, before);
    valuesAt(this.logDensity, points, before, values.subarray(before, n));
    this.n = n;
    this.proposals.push(proposal);
    const unit = this.proposals[0].ln_det;
    for (const one of this.proposals.slice(0, -1)) one.addDensity(points, before, n, unit, mixture);
    // Where its own points stand in a single ellipse is known from drawing them.
    proposal.addDensity(points, 0, own ? before : n, unit, mixture);
    if (own) proposal.addOwn(own, before, unit, mixture);
    let highest = this.highest;
    for (let i = before; i < n; i += 1) if (values[i] > highest) highest = values[i];
    if (!Number.isFinite(highest)) {
      throw new SamplerError("the posterior is zero at every point tried: the readings contradict each other");
    }
    // A little higher changes nothing but the unit: all heights are taken anew only where they might overflow.
    const anew = highest > this.highest + 100;
    if (anew) this.highest = highest;
    for (let i = anew ? 0 : before; i < n; i += 1) heights[i] = exp(values[i] - this.highest);
    const weights = this.n === this.room.length ? this.room : this.room.subarray(0, n);
    let sum = 0;
    for (let i = 0; i < n; i += 1) sum += weights[i] = heights[i] / mixture[i];
    let squares = 0;
    const share = 1 / sum;
    for (let i = 0; i < n; i += 1) {
      const weight = (weights[i] *= share);
      squares += weight * weight;
    }
    this.weights = weights;
    this.ess = 1 / squares;
  }
}

/**
 * Weighted mean and covariance, kept positive definite when few points carry the weight.
 * @param {Float64Array[]} points
 * @param {Float64Array} weights
 */
function moments(points, weights) {
  const d = points.length;
  const { mean, cov } = meanAndCov(points, weights);
  const ridge = 1e-10 + (1e-6 * trace(cov, d)) / d;
  for (let i = 0; i < d; i += 1) cov[i * d + i] += ridge;
  return { mean, cov };
}

/**
 * Find the mode and its curvature by damped Newton steps with central differences, in units of `sd`.
 * @param {LogDensity} logDensity
 * @param {Float64Array} start
 * @param {Float64Array} sd
 */
function climb(logDensity, start, sd) {
  const d = start.length;
  let x = Float64Array.from(start);
  let damping = 1e-2;
  let { gradient, hessian, here } = derivatives(logDensity, x, sd);
  let { values, vectors } = eigen(hessian.map((h) => -h), d);
  for (let turn = 0; turn < 40 && Number.isFinite(here); turn += 1) {
    const move = new Float64Array(d);
    for (let k = 0; k < d; k += 1) {
      let along = 0;
      for (let i = 0; i < d; i += 1) along += vectors[i * d + k] * gradient[i];
      along /= Math.max(Math.abs(values[k]), 1e-3) + damping;
      for (let i = 0; i < d; i += 1) move[i] += vectors[i * d + k] * along;
    }
    const length = Math.hypot(...move);
    const trial = x.map((xi, i) => xi + move[i] * Math.min(1, 3 / length) * sd[i]);
    const value = valuesAt(logDensity, Array.from(trial, (one) => Float64Array.of(one)), 0, new Float64Array(1))[0];
    if (value >= here) {
      x = trial;
      damping /= 10;
      const found = derivatives(logDensity, x, sd);
      const done = found.here - here < 1e-6 && length < 1e-3;
      ({ gradient, hessian, here } = found);
      ({ values, vectors } = eigen(hessian.map((h) => -h), d));
      if (done) break;
    } else {
      damping = Math.max(damping, 1e-3) * 10;
      if (damping > 1e8) break;
    }
  }
  const cov = new Float64Array(d * d);
  for (let k = 0; k < d; k += 1) {
    // A flat or upward direction has no width of its own: the prior's is 1 in these units.
    const variance = Number.isFinite(here) ? 1 / Math.max(values[k], 1) : 1;
    for (let i = 0; i < d; i += 1) {
      for (let j = 0; j < d; j += 1) {
        cov[i * d + j] += vectors[i * d + k] * variance * vectors[j * d + k] * sd[i] * sd[j];
      }
    }
  }
  return { mode: x, cov };
}

/**
 * Gradient and Hessian by central differences, all points in one call of the density.
 * @param {LogDensity} logDensity
 * @param {Float64Array} x
 * @param {Float64Array} sd
 */
function derivatives(logDensity, x, sd) {
  const d = x.length;
  const step = 1e-2;
  /** @type {number[][]} */
  const offsets = [[]];
  for (let i = 0; i < d; i += 1) offsets.push([i, 1], [i, -1]);
  for (let i = 0; i < d; i += 1) {
    for (let j = 0; j < i; j += 1) offsets.push([i, 1, j, 1], [i, 1, j, -1], [i, -1, j, 1], [i, -1, j, -1]);
  }
  const points = Array.from(x, (one) => new Float64Array(offsets.length).fill(one));
  offsets.forEach((offset, n) => {
    for (let k = 0; k < offset.length; k += 2) points[offset[k]][n] += step * offset[k + 1] * sd[offset[k]];
  });
  const f = valuesAt(logDensity, points, 0, new Float64Array(offsets.length));
  const here = f[0];
  const gradient = new Float64Array(d);
  const hessian = new Float64Array(d * d);
  if (!f.every(Number.isFinite)) {
    for (let i = 0; i < d; i += 1) hessian[i * d + i] = -1;
    return { gradient, hessian, here };
  }
  let n = 1;
  for (let i = 0; i < d; i += 1, n += 2) {
    gradient[i] = (f[n] - f[n + 1]) / (2 * step);
    hessian[i * d + i] = (f[n] + f[n + 1] - 2 * here) / step ** 2;
  }
  for (let i = 0; i < d; i += 1) {
    for (let j = 0; j < i; j += 1, n += 4) {
      hessian[i * d + j] = hessian[j * d + i] = (f[n] - f[n + 1] - f[n + 2] + f[n + 3]) / (4 * step ** 2);
    }
  }
  return { gradient, hessian, here };
}

/** @param {LogDensity} logDensity @param {Float64Array[]} points @param {number} from @param {Float64Array} values */
function valuesAt(logDensity, points, from, values) {
  logDensity(points, from, values);
  for (let i = 0; i < values.length; i += 1) {
    if (Number.isNaN(values[i])) {
      throw new SamplerError("the log density is no number: a reading or width is outside what the model can hold");
    }
  }
  return values;
}

/** @param {Float64Array} values @param {number} length */
export function longer(values, length) {
  const whole = new Float64Array(length);
  whole.set(values);
  return whole;
}
