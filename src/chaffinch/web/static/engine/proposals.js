// @ts-check
/**
 * Where does the sampler look next: Student-t proposals, one for a plain posterior, many for a bent one.
 *
 * Twin of chaffinch.engine.sampling.proposals.
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

/** Points whose density is worked out at once: what is known of them stays near the processor. */
const AT_ONCE = 512;
const SOLVED = new Float64Array(AT_ONCE);
const SQUARED = new Float64Array(AT_ONCE);

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

  /**
   * Draw `count` points, components in turn. Gives the shape of a single ellipse's density at each.
   * @param {bigint} seed
   * @param {Float64Array[]} points
   * @param {number} from  where the first one goes
   */
  draw(seed, points, from) {
    const { d, k, count, means, roots } = this;
    const { standard, shape } = standardDraws(count, d, seed);
    for (let i = 0; i < d; i += 1) {
      const column = points[i];
      for (let c = 0; c < k; c += 1) {
        const row = (c * d + i) * d;
        for (let n = c; n < count; n += k) column[from + n] = means[c * d + i];
        for (let j = 0; j <= i; j += 1) {
          const [root, part] = [roots[row + j], standard[j]];
          for (let n = c; n < count; n += k) column[from + n] += root * part[n];
        }
      }
    }
    return k === 1 ? shape : null;
  }

  /** Add the density at the points drawn from it. */
  /** @param {Float64Array} shape @param {number} from @param {number} unit @param {Float64Array} into */
  addOwn(shape, from, unit, into) {
    const share = this.count * Math.exp(unit - this.ln_det);
    for (let n = 0; n < shape.length; n += 1) into[from + n] += share * shape[n];
  }

  /**
   * Add the density at some of the points, times the number of points drawn from it, up to a factor common to all
   * proposals of one run.
   * @param {Float64Array[]} points
   * @param {number} from
   * @param {number} to
   * @param {number} unit        ln of the determinant that counts as 1
   * @param {Float64Array} into
   */
  addDensity(points, from, to, unit, into) {
    const { d, k, means } = this;
    const share = this.dets.map((det) => (this.count / k) * Math.exp(unit - det));
    const inverses = this.inverses();
    for (let start = from; start < to; start += AT_ONCE) {
      const count = Math.min(AT_ONCE, to - start);
      for (let c = 0; c < k; c += 1) {
        SQUARED.fill(0);
        for (let i = 0; i < d; i += 1) {
          const row = (c * d + i) * d;
          let middle = 0;
          for (let j = 0; j <= i; j += 1) middle -= inverses[row + j] * means[c * d + j];
          SOLVED.fill(middle);
          // A row of the inverse times the point less the mean: three columns at a time, beyond the diagonal nothing.
          for (let j = 0; j <= i; j += 3) {
            const [e, f, g] = [inverses[row + j], j < i ? inverses[row + j + 1] : 0, j + 1 < i ? inverses[row + j + 2] : 0];
            const [x, y, z] = [points[j], points[Math.min(j + 1, i)], points[Math.min(j + 2, i)]];
            if (j + 3 <= i) {
              for (let n = 0, k = start; n < count; n += 1, k += 1) SOLVED[n] += e * x[k] + f * y[k] + g * z[k];
            } else {
              for (let n = 0, k = start; n < count; n += 1, k += 1) {
                const solved = SOLVED[n] + (e * x[k] + f * y[k] + g * z[k]);
                SQUARED[n] += solved * solved;
              }
            }
          }
        }
        for (let n = 0; n < count; n += 1) into[start + n] += share[c] * shapeAt(SQUARED[n], d);
      }
    }
  }

  /** The roots turned over: a product is quicker than solving point by point. */
  inverses() {
    const { d, k, roots } = this;
    const found = new Float64Array(k * d * d);
    for (let from = 0; from < found.length; from += d * d) {
      for (let j = 0; j < d; j += 1) {
        for (let i = j; i < d; i += 1) {
          let rest = i === j ? 1 : 0;
          for (let m = j; m < i; m += 1) rest -= roots[from + i * d + m] * found[from + m * d + j];
          found[from + i * d + j] = rest / roots[from + i * d + i];
        }
      }
    }
    return found;
  }
}

/** (1 + s/ν)^(−(ν + d)/2). @param {number} squared @param {number} d */
function shapeAt(squared, d) {
  const base = 1 + squared / TAIL_DF;
  let result = d % 2 ? base * base * base * Math.sqrt(base) : base * base * base;
  for (let n = d >> 1; n > 0; n -= 1) result *= base;
  return 1 / result;
}

/** @type {Map<string, {standard: Float64Array[], shape: Float64Array}>} */
const drawn = new Map();

/**
 * Standard Student-t points, in columns: a normal over the root of an independent χ²/ν. They depend on nothing but their
 * number and the seed, so those of the last checks are kept.
 * @param {number} count
 * @param {number} d
 * @param {bigint} seed
 */
function standardDraws(count, d, seed) {
  const key = `${count} ${d} ${seed}`;
  const known = drawn.get(key);
  if (known) return known;
  const size = sobolColumn(count, d, seed).map((u) => Math.sqrt((gammaPInverseOfThree(u) * 2) / TAIL_DF));
  const standard = Array.from({ length: d }, (_, i) => normalColumn(count, i, seed).map((z, n) => z / size[n]));
  const shape = size.map((_, n) => shapeAt(standard.reduce((sum, column) => sum + column[n] ** 2, 0), d));
  if (drawn.size >= 32) drawn.clear();
  drawn.set(key, { standard, shape });
  return { standard, shape };
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
 * @param {Float64Array[]} points
 * @param {Float64Array} weights
 * @param {number} count
 */
export function local(points, weights, count) {
  const d = points.length;
  const { cov: whole } = meanAndCov(points, weights);
  const ridge = 1e-10 + (1e-6 * trace(whole, d)) / d;
  for (let i = 0; i < d; i += 1) whole[i * d + i] += ridge;
  const root = cholesky(whole, d);
  // Sorted along the first coordinate, evenly spaced ticks spread the centres over the whole shape.
  const order = [];
  for (let n = 0; n < weights.length; n += 1) if (weights[n] > HEAVY) order.push(n);
  const heavy = [...order];
  order.sort((a, b) => points[0][a] - points[0][b]);
  let total = 0;
  for (const n of order) total += weights[n];
  const means = new Float64Array(COMPONENTS * d);
  let rank = 0;
  let passed = weights[order[0]];
  for (let c = 0; c < COMPONENTS; c += 1) {
    const tick = ((c + 0.5) / COMPONENTS) * total;
    while (passed < tick && rank < order.length - 1) passed += weights[order[++rank]];
    for (let i = 0; i < d; i += 1) means[c * d + i] = points[i][order[rank]];
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
        apart[i] = points[i][n] - means[c * d + i];
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
