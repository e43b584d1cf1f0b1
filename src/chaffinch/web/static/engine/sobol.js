// @ts-check
/**
 * Evenly scattered points for the sampler: the same shifted Sobol sequence as chaffinch.engine.sampling.sobol.
 *
 * S. Joe and F. Y. Kuo (2008), "Constructing Sobol sequences with better two-dimensional projections", SIAM J. Sci.
 * Comput. 30(5), 2635-2654; direction numbers new-joe-kuo-6.
 */

import { normalQuantile } from "./special.js";

const BITS = 30;

/** Primitive polynomial and initial odd numbers of each dimension. @type {readonly [number, number[]][]} */
const DIRECTIONS = [
  [1, [1]], [3, [1]], [7, [1, 3]], [11, [1, 3, 1]], [13, [1, 1, 1]], [19, [1, 1, 3, 3]], [25, [1, 3, 5, 13]],
  [37, [1, 1, 5, 5, 17]], [41, [1, 1, 5, 5, 5]], [47, [1, 1, 7, 11, 19]], [55, [1, 1, 5, 1, 1]],
  [59, [1, 1, 1, 3, 11]], [61, [1, 3, 5, 5, 31]], [67, [1, 3, 3, 9, 7, 49]], [91, [1, 1, 1, 15, 21, 21]],
  [97, [1, 3, 1, 13, 27, 49]], [103, [1, 1, 1, 15, 7, 5]], [109, [1, 3, 1, 15, 13, 25]],
  [115, [1, 1, 5, 5, 19, 61]], [131, [1, 3, 7, 11, 23, 15, 103]], [137, [1, 3, 7, 13, 13, 15, 69]],
];

/** Coordinates there are. */
export const MAX_DIMENSIONS = DIRECTIONS.length;

/**
 * One coordinate of the first `count` points, strictly between 0 and 1.
 * @param {number} count
 * @param {number} dimension  from 0
 * @param {number|bigint} seed  chooses the digital shift
 * @returns {Float64Array}
 */
export function sobolColumn(count, dimension, seed) {
  if (!(dimension < MAX_DIMENSIONS)) throw new RangeError(`there is no coordinate ${dimension}`);
  const directions = directionIntegers(dimension);
  const shift = shiftOf(seed, dimension);
  const column = new Float64Array(count);
  let digits = 0;
  for (let i = 0; i < count; i += 1) {
    // Gray code: from one point to the next a single digit changes, the one of the lowest zero bit.
    if (i > 0) digits ^= directions[31 - Math.clz32(i & -i)];
    column[i] = ((digits ^ shift) + 0.5) / 2 ** BITS;
  }
  return column;
}

/** @type {Map<string, Float64Array>} */
const known = new Map();

/**
 * The same coordinate as standard normal numbers. They depend on nothing but these three, so the last are kept.
 * @param {number} count
 * @param {number} dimension
 * @param {number|bigint} seed
 */
export function normalColumn(count, dimension, seed) {
  const key = `${count} ${dimension} ${seed}`;
  const found = known.get(key) ?? sobolColumn(count, dimension, seed).map(normalQuantile);
  if (known.size >= 64) known.clear();
  known.set(key, found);
  return found;
}

/** Direction integers, recurrence of Joe and Kuo (2008), eq. 2. @param {number} dimension */
function directionIntegers(dimension) {
  const [polynomial, initial] = DIRECTIONS[dimension];
  const degree = 31 - Math.clz32(polynomial);
  const m = [...initial];
  if (degree === 0) while (m.length < BITS) m.push(1);
  for (let k = degree; m.length < BITS; k += 1) {
    let next = BigInt(m[k - degree]) ^ (BigInt(m[k - degree]) << BigInt(degree));
    for (let i = 1; i < degree; i += 1) {
      if ((polynomial >> (degree - i)) & 1) next ^= BigInt(m[k - i]) << BigInt(i);
    }
    m.push(Number(next));
  }
  return m.map((value, k) => Number((BigInt(value) << BigInt(BITS - 1 - k)) & 0xffffffffn));
}

/** Well-mixed number from seed and dimension: splitmix64 finaliser (Steele et al. 2014). */
/** @param {number|bigint} seed @param {number} dimension */
function shiftOf(seed, dimension) {
  const mask = (1n << 64n) - 1n;
  let z = (BigInt(seed) * 0x9e3779b97f4a7c15n + BigInt(dimension + 1) * 0xd1b54a32d192ed03n) & mask;
  z = ((z ^ (z >> 30n)) * 0xbf58476d1ce4e5b9n) & mask;
  z = ((z ^ (z >> 27n)) * 0x94d049bb133111ebn) & mask;
  return Number((z ^ (z >> 31n)) >> BigInt(64 - BITS));
}
