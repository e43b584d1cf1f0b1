// @ts-check
/**
 * Where does the sampler look next: Student-t proposals, one for a plain posterior, many for a bent one.
 *
 * Twin of chaffinch.engine.proposals.
 */

import { cholesky, meanAndCov, trace } from "./matrix.js";
import { normalColumn, sobolColumn } from "./sobol.js";
import { gammaPInverseOfThree } from "./special.js";

/** Degrees of freedom: heavier tails than a normal, finite variance. */
const TAIL_DF = 6;
/** Ellipses of a local mixture. */
const COMPONENTS = 48;
/** Kernel width of the draws that shape one ellipse, in sds of the whole posterior; own figure, by trial. */
const REACH = 0.5;
/** Weight from which a draw counts in shaping an ellipse. */
const HEAVY = 1e-12;

/** An equal mixture of multivariate Student-t distributions, from which `count` points are drawn. */
export class Proposal {
  /**
   * @param {Float64Array} means  k · d
   * @param {Float64Array} roots  k · d · d, lower Cholesky roots of the scale matrices
   * @param {number} d
   * @param {number} count
   */
  constructor(means, roots, d, count) {
    this.means = means;
    this.roots = roots;
    this.d = d;
    this.count = count;
    this.k = means.length / d;
    /** ln of the determinant of each ellipse's root */
    this.dets = new Float64Array(this.k);
    for (let c = 0; c < this.k; c += 1) {
      for (let i = 0; i < d; i += 1) this.dets[c] += Math.log(roots[(c * d + i) * d + i]);
    }
    this.ln_det = this.dets[0];
  }

  /** Draw `count` points, components in turn. @param {number} seed @param {Float64Array} points  d numbers for each */
  draw(seed, points) {
    const { d, k, count, means, roots } = this;
    const standard = standardDraws(count, d, seed);
    for (let n = 0, at = 0; n < count; n += 1, at += d) {
      const which = (n % k) * d;
      for (let i = 0; i < d; i += 1) {
        const row = (which + i) * d;
        let sum = means[which + i];
        for (let j = 0; j <= i; j += 1) sum += roots[row + j] * standard[at + j];
        points[at + i] = sum;
      }
    }
  }

  /**
   * Add the density at some of the points, times the number of points drawn from it, up to a factor common to all
   * proposals of one run.
   * @param {Float64Array} points
   * @param {number} from
   * @param {number} to
   * @param {number} unit        ln of the determinant that counts as 1
   * @param {Float64Array} into
   */
  addDensity(points, from, to, unit, into) {
    const { d, k, means } = this;
    const share = this.dets.map((det) => (this.count / k) * Math.exp(unit - det));
    // Divisions are slow: the diagonals of the roots are turned over once.
    const roots = Float64Array.from(this.roots);
    for (let c = 0; c < k; c += 1) for (let i = 0; i < d; i += 1) roots[(c * d + i) * d + i] **= -1;
    const solved = new Float64Array(d);
    for (let at = from; at < to; at += 1) {
      let sum = 0;
      for (let c = 0; c < k; c += 1) {
        let squared = 0;
        for (let i = 0; i < d; i += 1) {
          let rest = points[at * d + i] - means[c * d + i];
          const row = (c * d + i) * d;
          for (let j = 0; j < i; j += 1) rest -= roots[row + j] * solved[j];
          rest *= roots[row + i];
          solved[i] = rest;
          squared += rest * rest;
        }
        // (1 + s/ν)^(−(ν + d)/2)
        sum += share[c] * power(1 + squared / TAIL_DF, TAIL_DF + d);
      }
      into[at] += sum;
    }
  }
}

/** base^(−twice/2) for whole `twice`. @param {number} base @param {number} twice */
function power(base, twice) {
  let result = twice % 2 ? Math.sqrt(base) : 1;
  for (let n = twice >> 1; n > 0; n -= 1) result *= base;
  return 1 / result;
}

/** @type {Map<string, Float64Array>} */
const drawn = new Map();

/**
 * Standard Student-t points, d numbers each: a normal over the root of an independent χ²/ν. They depend on nothing but
 * their number and the seed, so those of the last checks are kept.
 * @param {number} count
 * @param {number} d
 * @param {number} seed
 */
function standardDraws(count, d, seed) {
  const key = `${count} ${d} ${seed}`;
  const known = drawn.get(key);
  if (known) return known;
  const points = new Float64Array(count * d);
  const size = sobolColumn(count, d, seed).map((u) => Math.sqrt((gammaPInverseOfThree(u) * 2) / TAIL_DF));
  for (let i = 0; i < d; i += 1) {
    const column = normalColumn(count, i, seed);
    for (let n = 0; n < count; n += 1) points[n * d + i] = column[n] / size[n];
  }
  if (drawn.size >= 32) drawn.clear();
  drawn.set(key, points);
  return points;
}

/**
 * One ellipse.
 * @param {Float64Array} mean
 * @param {Float64Array} root
 * @param {number} count
 */
export function single(mean, root, count) {
  return new Proposal(Float64Array.from(mean), root, mean.length, count);
}

/**
 * Many ellipses: centres resampled from weighted draws, shapes from the draws around each.
 * @param {Float64Array} points
 * @param {Float64Array} weights
 * @param {number} d
 * @param {number} count
 */
export function local(points, weights, d, count) {
  const { cov: whole } = meanAndCov(points, weights, d);
  const ridge = 1e-10 + (1e-6 * trace(whole, d)) / d;
  for (let i = 0; i < d; i += 1) whole[i * d + i] += ridge;
  const root = cholesky(whole, d);
  // Sorted along the first coordinate, evenly spaced ticks spread the centres over the whole shape.
  const order = [];
  for (let n = 0; n < weights.length; n += 1) if (weights[n] > HEAVY) order.push(n);
  const heavy = [...order];
  order.sort((a, b) => points[a * d] - points[b * d]);
  let total = 0;
  for (const n of order) total += weights[n];
  const means = new Float64Array(COMPONENTS * d);
  let rank = 0;
  let passed = weights[order[0]];
  for (let c = 0; c < COMPONENTS; c += 1) {
    const tick = ((c + 0.5) / COMPONENTS) * total;
    while (passed < tick && rank < order.length - 1) passed += weights[order[++rank]];
    for (let i = 0; i < d; i += 1) means[c * d + i] = points[order[rank] * d + i];
  }
  const roots = new Float64Array(COMPONENTS * d * d);
  const apart = new Float64Array(d);
  const solved = new Float64Array(d);
  for (let c = 0; c < COMPONENTS; c += 1) {
    const cov = new Float64Array(d * d);
    let sum = 0;
    for (const n of heavy) {
      let squared = 0;
      for (let i = 0; i < d; i += 1) {
        apart[i] = points[n * d + i] - means[c * d + i];
        let rest = apart[i];
        for (let j = 0; j < i; j += 1) rest -= root[i * d + j] * solved[j];
        solved[i] = rest / root[i * d + i];
        squared += solved[i] * solved[i];
      }
      const kernel = weights[n] * Math.exp((-0.5 * squared) / REACH ** 2);
      sum += kernel;
      for (let i = 0; i < d; i += 1) for (let j = 0; j <= i; j += 1) cov[i * d + j] += kernel * apart[i] * apart[j];
    }
    for (let i = 0; i < d; i += 1) {
      for (let j = 0; j <= i; j += 1) {
        cov[i * d + j] = cov[i * d + j] / sum + 0.003 * whole[i * d + j];
        cov[j * d + i] = cov[i * d + j];
      }
    }
    roots.set(cholesky(cov, d), c * d * d);
  }
  return new Proposal(means, roots, d, count);
}
