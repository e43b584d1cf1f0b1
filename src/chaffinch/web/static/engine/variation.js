// @ts-check
/**
 * Over which coefficients of variation is the likelihood averaged?
 *
 * chaffinch.engine.evidence takes 23 of them, evenly spaced in ln c (docs/method/evidence.md), and so does the grid here.
 * Draws take fewer, by the Gauss rule of those 23: the same average, as far as so many catches can bend it.
 */

import { eigen } from "./matrix.js";
import { NEGLIGIBLE, fallen, ln } from "./special.js";

/** Sd of ln c around its default [1]; own figure. */
export const VARIATION_SD = 0.35;
/** Nodes of the coefficient of variation, within four of its sds. */
export const C_NODES = 23;
const C_REACH = 4;
/**
 * Nodes of c, rising, and the log of each one's part of the average.
 * @typedef {object} Nodes
 * @property {Float64Array} z           sds of ln c above its median
 * @property {Float64Array} ln_weights
 * @property {Float64Array} room        for one row
 */

const EVEN_Z = Float64Array.from({ length: C_NODES }, (_, j) => -C_REACH + (2 * C_REACH * j) / (C_NODES - 1));
const EVEN_WEIGHTS = partsOf(EVEN_Z.map((z) => Math.exp(-0.5 * z * z)));
/** The nodes of the grid. */
export const ON_GRID = nodesOf(EVEN_Z, EVEN_WEIGHTS);

/** @param {Float64Array} values */
function partsOf(values) {
  const total = values.reduce((a, b) => a + b);
  return values.map((value) => value / total);
}

/** @param {Float64Array} z @param {Float64Array} weights @returns {Nodes} */
function nodesOf(z, weights) {
  return { z, ln_weights: weights.map(Math.log), room: new Float64Array(z.length) };
}

/** @type {Map<number, Nodes>} */
const known = new Map([[C_NODES, ON_GRID]]);

/**
 * Nodes for a group of catches: for a likelihood as narrow in ln c as so many catches can make it the log of the average
 * differs by 1e-8 at most (tried over middles within three of the four sds). Less would do for a range, but where a
 * posterior is bent, proposals made from its draws turn a difference of 1e-6 into a half percent of the range.
 * @param {number} catches
 */
export function nodesFor(catches) {
  const count = Math.min(C_NODES, 12 + Math.ceil(0.7 * catches));
  const found = known.get(count) ?? gauss(count);
  known.set(count, found);
  return found;
}

/**
 * Gauss rule of the 23 weighted nodes: exact for polynomials up to degree 2 count − 1. Its nodes and weights are the
 * eigenvalues and the squares of the first parts of the eigenvectors of the recurrence's matrix (G. H. Golub and
 * J. H. Welsch 1969, Mathematics of Computation 23, 221-230; from memory).
 * @param {number} count
 */
function gauss(count) {
  const matrix = new Float64Array(count * count);
  const vectors = [EVEN_WEIGHTS.map(Math.sqrt)];
  for (let k = 0; k < count; k += 1) {
    let next = vectors[k].map((one, i) => one * EVEN_Z[i]);
    matrix[k * count + k] = dot(next, vectors[k]);
    // Lanczos' vectors, held at right angles twice over.
    for (const one of [...vectors, ...vectors]) {
      const along = dot(next, one);
      next = next.map((value, i) => value - along * one[i]);
    }
    const length = Math.sqrt(dot(next, next));
    if (k + 1 < count) matrix[k * count + k + 1] = matrix[(k + 1) * count + k] = length;
    vectors.push(next.map((value) => value / length));
  }
  const { values, vectors: axes } = eigen(matrix, count);
  const order = [...values.keys()].sort((a, b) => values[a] - values[b]);
  return nodesOf(
    Float64Array.from(order, (k) => values[k]),
    partsOf(Float64Array.from(order, (k) => axes[k] ** 2)),
  );
}

/** @param {Float64Array} a @param {Float64Array} b */
const dot = (a, b) => a.reduce((sum, one, i) => sum + one * b[i], 0);

/** Coefficients of variation around their median. @param {number} c0 @param {Nodes} nodes */
export function cNodes(c0, { z }) {
  return z.map((one) => c0 * Math.exp(VARIATION_SD * one));
}

/** Log of the average over c of one row that starts at `at`. */
/** @param {Float64Array} table @param {number} at @param {Nodes} nodes */
export function averageOfRow(table, at, { ln_weights, room }) {
  for (let j = 0; j < room.length; j += 1) room[j] = table[at + j] + ln_weights[j];
  return lnOfSum(room);
}

/** Log of the sum over c of what its weights were added to. @param {Float64Array} cells */
export function lnOfSum(cells) {
  let top = -Infinity;
  for (let j = 0; j < cells.length; j += 1) if (cells[j] > top) top = cells[j];
  if (top === -Infinity) return -Infinity;
  let sum = 0;
  for (let j = 0; j < cells.length; j += 1) {
    const apart = cells[j] - top;
    if (apart > NEGLIGIBLE) sum += fallen(apart);
  }
  return top + ln(sum);
}

/**
 * The node of c at which the weights of one row, summed up, pass `u`.
 * @param {Float64Array} table
 * @param {number} at   where the row starts
 * @param {number} u    0 < u < 1
 * @param {Nodes} nodes
 * @returns {number}
 */
export function nodeAt(table, at, u, { ln_weights, room }) {
  const last = room.length - 1;
  let top = -Infinity;
  for (let j = 0; j <= last; j += 1) top = Math.max(top, table[at + j] + ln_weights[j]);
  let sum = 0;
  for (let j = 0; j <= last; j += 1) sum += room[j] = Math.exp(table[at + j] + ln_weights[j] - top);
  let passed = 0;
  for (let j = 0; j < last; j += 1) {
    passed += room[j] / sum;
    if (u <= passed) return j;
  }
  return last;
}
