// @ts-check
/**
 * What the sampler asks of small symmetric matrices: roots, triangles and axes. Matrices are flat, row by row.
 */

/**
 * Lower Cholesky root; NaN where the matrix is not positive definite.
 * @param {Float64Array} a  d · d
 * @param {number} d
 */
export function cholesky(a, d) {
  const root = new Float64Array(d * d);
  for (let i = 0; i < d; i += 1) {
    for (let j = 0; j <= i; j += 1) {
      let sum = a[i * d + j];
      for (let k = 0; k < j; k += 1) sum -= root[i * d + k] * root[j * d + k];
      root[i * d + j] = i === j ? Math.sqrt(sum) : sum / root[j * d + j];
    }
  }
  return root;
}

/**
 * Eigenvalues and -vectors of a symmetric matrix by Jacobi's rotations; vectors stand in columns.
 * @param {Float64Array} matrix  d · d
 * @param {number} d
 * @returns {{values: Float64Array, vectors: Float64Array}}
 */
export function eigen(matrix, d) {
  const a = Float64Array.from(matrix);
  const vectors = new Float64Array(d * d);
  for (let i = 0; i < d; i += 1) vectors[i * d + i] = 1;
  for (let sweep = 0; sweep < 60; sweep += 1) {
    let off = 0;
    let size = 0;
    for (let i = 0; i < d; i += 1) {
      size += a[i * d + i] ** 2;
      for (let j = 0; j < i; j += 1) off += a[i * d + j] ** 2;
    }
    if (!(off > 1e-30 * size)) break;
    for (let p = 0; p < d; p += 1) {
      for (let q = p + 1; q < d; q += 1) rotate(a, vectors, d, p, q);
    }
  }
  return { values: Float64Array.from({ length: d }, (_, i) => a[i * d + i]), vectors };
}

/** @param {Float64Array} a @param {Float64Array} v @param {number} d @param {number} p @param {number} q */
function rotate(a, v, d, p, q) {
  const apart = a[p * d + q];
  if (apart === 0) return;
  const theta = (a[q * d + q] - a[p * d + p]) / (2 * apart);
  const t = (theta < 0 ? -1 : 1) / (Math.abs(theta) + Math.sqrt(theta * theta + 1));
  const cos = 1 / Math.sqrt(t * t + 1);
  const sin = t * cos;
  for (let k = 0; k < d; k += 1) {
    const kp = a[k * d + p];
    const kq = a[k * d + q];
    a[k * d + p] = cos * kp - sin * kq;
    a[k * d + q] = sin * kp + cos * kq;
  }
  for (let k = 0; k < d; k += 1) {
    const pk = a[p * d + k];
    const qk = a[q * d + k];
    a[p * d + k] = cos * pk - sin * qk;
    a[q * d + k] = sin * pk + cos * qk;
    const vp = v[k * d + p];
    const vq = v[k * d + q];
    v[k * d + p] = cos * vp - sin * vq;
    v[k * d + q] = sin * vp + cos * vq;
  }
}

/**
 * Weighted mean and covariance of points, one column for each coordinate.
 * @param {Float64Array[]} points
 * @param {Float64Array} weights  sum to 1
 */
export function meanAndCov(points, weights) {
  const d = points.length;
  const n = weights.length;
  const mean = Float64Array.from(points, (column) => dot(weights, column));
  const cov = new Float64Array(d * d);
  const pull = new Float64Array(n);
  for (let i = 0; i < d; i += 1) {
    const [column, middle] = [points[i], mean[i]];
    for (let k = 0; k < n; k += 1) pull[k] = weights[k] * (column[k] - middle);
    for (let j = 0; j <= i; j += 1) cov[i * d + j] = cov[j * d + i] = dotApart(pull, points[j], mean[j]);
  }
  return { mean, cov };
}

/** Sum of a b. @param {Float64Array} a @param {Float64Array} b  at least as long */
export function dot(a, b) {
  return dotApart(a, b, 0);
}

/** Sum of a (b − middle): in two sums, so that none waits for the other. */
/** @param {Float64Array} a @param {Float64Array} b @param {number} middle */
function dotApart(a, b, middle) {
  let [even, odd] = [0, 0];
  for (let k = 1; k < a.length; k += 2) {
    even += a[k - 1] * (b[k - 1] - middle);
    odd += a[k] * (b[k] - middle);
  }
  if (a.length % 2) even += a[a.length - 1] * (b[a.length - 1] - middle);
  return even + odd;
}

/** Sum of the diagonal. @param {Float64Array} a @param {number} d */
export function trace(a, d) {
  let sum = 0;
  for (let i = 0; i < d; i += 1) sum += a[i * d + i];
  return sum;
}
