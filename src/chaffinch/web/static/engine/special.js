// @ts-check
/**
 * Which special functions does the likelihood need, and what are they here?
 *
 * Twins of scipy.special's gammaln, gammainc, gammaincc, gammaincinv (of three) and ndtri; the tests hold them to
 * 1e-10 of scipy's values.
 */

const HALF_LN_2PI = 0.5 * Math.log(2 * Math.PI);
const MOST_TERMS = 100000;
const TINY = 1e-300;
/** Relative size of a term at which a series or fraction ends: far below what a likelihood can tell [1]. */
const ENOUGH = 1e-13;

/** Steps into which `exp` and `ln` part a doubling. */
const PARTS = 256;
const DOUBLINGS = 1000;
const PER_PART = PARTS / Math.LN2;
const PART = Math.LN2 / PARTS;
const WITHIN = Float64Array.from({ length: PARTS }, (_, j) => 2 ** (j / PARTS));
const WHOLE = Float64Array.from({ length: 2 * DOUBLINGS + 1 }, (_, k) => 2 ** (k - DOUBLINGS));
const TURNED = Float64Array.from({ length: PARTS }, (_, j) => PARTS / (PARTS + j + 0.5));
const LN_WITHIN = TURNED.map((one) => -Math.log(one));
const FLOAT = new Float64Array(1);
const WORDS = new Uint32Array(FLOAT.buffer);
/** The word of a float that holds its exponent. */
export const UPPER = new Uint8Array(new Uint32Array([1]).buffer)[0] === 1 ? 1 : 0;

/** e^x to 1e-13, by a table and four terms: a third of what Math.exp takes. @param {number} x @returns {number} */
export function exp(x) {
  if (!(x > -690 && x < 690)) return Math.exp(x);
  const part = Math.floor(x * PER_PART) | 0;
  const r = x - part * PART;
  const rest = 1 + r * (1 + r * (0.5 + r * (1 / 6 + r * (1 / 24))));
  return WHOLE[(part >> 8) + DOUBLINGS] * WITHIN[part & 255] * rest;
}

/** Log of a part of a sum that the sum does not feel: half a float's last digit. */
export const NEGLIGIBLE = -40;
const FALLS = -64 / Math.LN2;
const FALL = 1 / FALLS;
const FALLEN = Float64Array.from({ length: NEGLIGIBLE * FALLS + 2 }, (_, k) => Math.exp(k * FALL));

/** e^x to 2e-12 where `NEGLIGIBLE` < x ≤ 0, by one table. @param {number} x @returns {number} */
export function fallen(x) {
  const part = (x * FALLS) | 0;
  const r = x - part * FALL;
  return FALLEN[part] * (1 + r * (1 + r * (0.5 + r * (1 / 6 + r * (1 / 24)))));
}

/** ln x to 1e-15 of max(1, ln x), likewise by a table. @param {number} x @returns {number} */
export function ln(x) {
  if (!(x > 1e-300 && x < 1e300)) return Math.log(x);
  FLOAT[0] = x;
  const upper = WORDS[UPPER];
  const doublings = (upper >>> 20) - 1023;
  const j = (upper >>> 12) & 255;
  const r = x * WHOLE[DOUBLINGS - doublings] * TURNED[j] - 1;
  return doublings * Math.LN2 + (LN_WITHIN[j] + r * (1 - r * (0.5 - r * (1 / 3 - r * (0.25 - r * 0.2)))));
}

/**
 * Logarithm of the gamma function, x > 0.
 *
 * Stirling's series (DLMF 5.11.1) from 8 up; below, the argument is first raised by the recurrence (DLMF 5.5.1).
 * @param {number} x
 * @returns {number}
 */
export function lnGamma(x) {
  let raised = 0;
  if (x < 8) {
    let product = x;
    for (x += 1; x < 8; x += 1) product *= x;
    raised = ln(product);
  }
  const y = 1 / x;
  const z = y * y;
  const series = y * (1 / 12 - z * (1 / 360 - z * (1 / 1260 - z * (1 / 1680 - z * (1 / 1188 - (z * 691) / 360360)))));
  return (x - 0.5) * ln(x) - x + HALF_LN_2PI + series - raised;
}

/** Sum of x^n / ((a+1)…(a+n)), DLMF 8.11.4. @param {number} a @param {number} x @returns {number} */
function lowerSeries(a, x) {
  let term = 1;
  let sum = 1;
  for (let n = 1; n < MOST_TERMS; n += 1) {
    term *= x / (a + n);
    sum += term;
    if (term < sum * ENOUGH) break;
  }
  return sum;
}

/** Continued fraction of the upper tail by Lentz's method, DLMF 8.9.2. @param {number} a @param {number} x */
function upperFraction(a, x) {
  let b = x + 1 - a;
  let c = 1 / TINY;
  let d = 1 / b;
  let whole = d;
  for (let n = 1; n < MOST_TERMS; n += 1) {
    const numerator = -n * (n - a);
    b += 2;
    d = numerator * d + b;
    if (Math.abs(d) < TINY) d = TINY;
    c = b + numerator / c;
    if (Math.abs(c) < TINY) c = TINY;
    d = 1 / d;
    const factor = d * c;
    whole *= factor;
    if (Math.abs(factor - 1) < ENOUGH) break;
  }
  return whole;
}

/**
 * Logarithm of the regularised lower incomplete gamma function; never underflows.
 * @param {number} a  shape, > 0
 * @param {number} x  ≥ 0
 * @returns {number}
 */
export function lnGammaP(a, x) {
  if (x <= 0) return -Infinity;
  if (x < a + 1) return a * Math.log(x) - x - lnGamma(a + 1) + Math.log(lowerSeries(a, x));
  return Math.log1p(-Math.exp(a * Math.log(x) - x - lnGamma(a)) * upperFraction(a, x));
}

/** Regularised lower incomplete gamma function P(a, x). @param {number} a @param {number} x @returns {number} */
export function gammaP(a, x) {
  if (x <= 0) return 0;
  if (x < a + 1) return Math.exp(a * Math.log(x) - x - lnGamma(a + 1)) * lowerSeries(a, x);
  return 1 - gammaQ(a, x);
}

/** Regularised upper incomplete gamma function Q(a, x). @param {number} a @param {number} x @returns {number} */
export function gammaQ(a, x) {
  if (x <= 0) return 1;
  if (x < a + 1) return 1 - gammaP(a, x);
  return Math.exp(a * Math.log(x) - x - lnGamma(a)) * upperFraction(a, x);
}

/**
 * The x with P(3, x) = u: half a χ² of six degrees of freedom. Newton's steps from Wilson and Hilferty's start.
 * @param {number} u  0 < u < 1
 * @returns {number}
 */
export function gammaPInverseOfThree(u) {
  const guess = 1 - 1 / 27 + normalQuantile(u) / Math.sqrt(27);
  let x = guess > 0.3 ? 3 * guess ** 3 : Math.cbrt(6 * u);
  for (let n = 0; n < 60; n += 1) {
    const density = 0.5 * x * x * Math.exp(-x);
    const p = x < 1 ? ((density * x) / 3) * lowerSeries(3, x) : 1 - Math.exp(-x) * (1 + x + 0.5 * x * x);
    const move = (p - u) / density;
    const next = x - move / (1 - 0.5 * move * (2 / x - 1));
    const done = Math.abs(next - x) <= 1e-12 * x;
    x = next > 0 ? next : x / 2;
    if (done) break;
  }
  return x;
}

// Rational approximations of Wichura (1988), algorithm AS 241, Applied Statistics 37, 477-484 (from memory; held to
// scipy's values by the tests).
const CENTRE = [
  [2509.0809287301226727, 33430.575583588128105, 67265.770927008700853, 45921.953931549871457, 13731.693765509461125,
    1971.5909503065514427, 133.14166789178437745, 3.387132872796366608],
  [5226.495278852854561, 28729.085735721942674, 39307.89580009271061, 21213.794301586595867, 5394.1960214247511077,
    687.1870074920579083, 42.313330701600911252, 1],
];
const SHOULDER = [
  [7.7454501427834140764e-4, 0.0227238449892691845833, 0.24178072517745061177, 1.27045825245236838258,
    3.64784832476320460504, 5.7694972214606914055, 4.6303378461565452959, 1.42343711074968357734],
  [1.05075007164441684324e-9, 5.475938084995344946e-4, 0.0151986665636164571966, 0.14810397642748007459,
    0.68976733498510000455, 1.6763848301838038494, 2.05319162663775882187, 1],
];
const TAIL = [
  [2.01033439929228813265e-7, 2.71155556874348757815e-5, 0.0012426609473880784386, 0.026532189526576123093,
    0.29656057182850489123, 1.7848265399172913358, 5.4637849111641143699, 6.6579046435011037772],
  [2.04426310338993978564e-15, 1.4215117583164458887e-7, 1.8463183175100546818e-5, 7.868691311456132591e-4,
    0.0148753612908506148525, 0.13692988092273580531, 0.59983220655588793769, 1],
];

/** @param {number[][]} ratio @param {number} x @returns {number} */
function rational(ratio, x) {
  let top = 0;
  let bottom = 0;
  for (let i = 0; i < 8; i += 1) {
    top = top * x + ratio[0][i];
    bottom = bottom * x + ratio[1][i];
  }
  return top / bottom;
}

/**
 * Standard normal quantile.
 * @param {number} p  0 < p < 1
 * @returns {number}
 */
export function normalQuantile(p) {
  const q = p - 0.5;
  if (Math.abs(q) <= 0.425) return q * rational(CENTRE, 0.180625 - q * q);
  const r = Math.sqrt(-Math.log(q < 0 ? p : 1 - p));
  const size = r <= 5 ? rational(SHOULDER, r - 1.6) : rational(TAIL, r - 5);
  return q < 0 ? -size : size;
}

/** @type {Map<number, [Float64Array, Float64Array]>} */
const legendreKnown = new Map();

/**
 * Gauss-Legendre nodes and weights on [−1, 1], by Newton's steps on the Legendre polynomial (DLMF 18.9, 3.5).
 * @param {number} count
 * @returns {[Float64Array, Float64Array]}
 */
export function legendre(count) {
  if (count === 0) return [new Float64Array(0), new Float64Array(0)];
  const known = legendreKnown.get(count);
  if (known) return known;
  const nodes = new Float64Array(count);
  const weights = new Float64Array(count);
  for (let i = 0; i < count; i += 1) {
    let x = -Math.cos((Math.PI * (i + 0.75)) / (count + 0.5));
    let slope = 1;
    for (let turn = 0; turn < 100; turn += 1) {
      let before = 1;
      let here = x;
      for (let n = 2; n <= count; n += 1) [before, here] = [here, ((2 * n - 1) * x * here - (n - 1) * before) / n];
      slope = (count * (x * here - before)) / (x * x - 1);
      const move = here / slope;
      x -= move;
      if (Math.abs(move) < 1e-15) break;
    }
    nodes[i] = x;
    weights[i] = 2 / ((1 - x * x) * slope * slope);
  }
  legendreKnown.set(count, [nodes, weights]);
  return [nodes, weights];
}
