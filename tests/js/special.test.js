// The special functions, against identities that need no other library.
import assert from "node:assert/strict";
import { test } from "node:test";

import {
  exp,
  gammaP,
  gammaPInverseOfThree,
  gammaQ,
  legendre,
  ln,
  lnGamma,
  lnGammaP,
  normalQuantile,
} from "../../src/chaffinch/web/static/engine/special.js";

const near = (a, b, relative) => assert.ok(Math.abs(a - b) <= relative * Math.max(Math.abs(b), 1e-300), `${a}, not ${b}`);

test("exp and ln are Math's, to the digits they promise and beyond the ends of their tables", () => {
  for (let n = 0; n < 20000; n += 1) {
    const x = -745 + 1454 * ((n * 0.6180339887) % 1);
    near(exp(x), Math.exp(x), 1e-13);
    const value = n % 2 ? Math.exp(0.95 * x) : 1 + 1e-3 * (x / 745) ** 9;
    const wanted = Math.log(value);
    assert.ok(Math.abs(ln(value) - wanted) <= 1e-15 * Math.max(1, Math.abs(wanted)), `ln ${value}: ${ln(value)}`);
  }
  assert.deepEqual([exp(-Infinity), exp(0), exp(Infinity), exp(NaN)], [0, 1, Infinity, NaN]);
  assert.deepEqual([ln(0), ln(Infinity), ln(-1)], [-Infinity, Infinity, NaN]);
});

test("lnGamma: factorials and halves", () => {
  let ln_factorial = 0;
  for (let n = 2; n <= 170; n += 1) {
    ln_factorial += Math.log(n);
    near(lnGamma(n + 1), ln_factorial, 1e-13);
  }
  near(lnGamma(0.5), 0.5 * Math.log(Math.PI), 1e-13);
  near(lnGamma(1e-9), Math.log(1e9) - 0.5772156649e-9, 1e-13);
});

test("gammaP: whole shapes are Poisson sums", () => {
  for (const a of [1, 2, 5, 20, 120]) {
    for (const x of [0.01 * a, 0.5 * a, a, 1.3 * a, 3 * a]) {
      let term = Math.exp(-x);
      let upper = term;
      for (let n = 1; n < a; n += 1) upper += term *= x / n;
      near(gammaQ(a, x), upper, 1e-11);
      assert.ok(Math.abs(gammaP(a, x) + gammaQ(a, x) - 1) < 1e-14);
    }
  }
});

test("lnGammaP goes where the probability itself has underflowed", () => {
  near(lnGammaP(2, 1e-3), Math.log(gammaP(2, 1e-3)), 1e-12);
  // P(a, x) → x^a e^(−x) / Γ(a+1) · (1 + x/(a+1) + …) for x far below a.
  const [a, x] = [5000, 10];
  near(lnGammaP(a, x), a * Math.log(x) - x - lnGamma(a + 1) + Math.log1p(x / (a + 1) + (x / (a + 1)) ** 2), 1e-9);
  assert.equal(gammaP(a, x), 0);
});

test("quantiles undo the distributions", () => {
  for (const u of [1e-9, 1e-4, 0.05, 0.3, 0.5, 0.8, 0.95, 0.9999]) near(gammaP(3, gammaPInverseOfThree(u)), u, 1e-9);
  // Φ(z) = 1/2 + P(1/2, z²/2)/2 for z above 0
  for (const p of [0.5001, 0.6, 0.8, 0.95, 0.999, 1 - 1e-9]) {
    near(0.5 + 0.5 * gammaP(0.5, normalQuantile(p) ** 2 / 2), p, 1e-14);
    near(normalQuantile(1 - p), -normalQuantile(p), 1e-6);
  }
});

test("Gauss-Legendre is exact for the powers it promises", () => {
  for (const count of [1, 4, 9, 40, 96]) {
    const [nodes, weights] = legendre(count);
    for (const power of [0, 2 * Math.floor(count / 2), 2 * count - 2]) {
      const sum = nodes.reduce((total, x, i) => total + weights[i] * x ** power, 0);
      near(sum, 2 / (power + 1), 1e-12);
    }
  }
});
