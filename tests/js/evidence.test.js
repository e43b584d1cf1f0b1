// The likelihood and its average over c, against sums that take their time.
import assert from "node:assert/strict";
import { test } from "node:test";

import { likelihoods } from "../../src/chaffinch/web/static/engine/evidence.js";
import { fallen, gammaP } from "../../src/chaffinch/web/static/engine/special.js";
import { C_NODES, ON_GRID, averageOfRow, cNodes, nodeAt, nodesFor } from "../../src/chaffinch/web/static/engine/variation.js";

const near = (a, b, by) => assert.ok(Math.abs(a - b) <= by, `${a}, not ${b}`);
const averaged = (nodes, of_z) => averageOfRow(nodes.z.map(of_z), 0, nodes);

test("fallen is e^x on its own stretch", () => {
  for (let n = 0; n < 5000; n += 1) {
    const x = -40 * ((n * 0.6180339887) % 1);
    near(fallen(x) / Math.exp(x), 1, 2e-12);
  }
  assert.equal(fallen(0), 1);
});

test("fewer nodes of c average as all of them do, up to what so many catches can bend", () => {
  for (let catches = 1; catches <= 48; catches += 1) {
    const nodes = nodesFor(catches);
    assert.ok(nodes.z.length <= C_NODES && nodes.z.every((z, j) => Math.abs(z) <= 4 + 1e-9 && (!j || z > nodes.z[j - 1])));
    near(nodes.ln_weights.reduce((sum, w) => sum + Math.exp(w), 0), 1, 1e-12);
    // Twice the catches times the square of the sd of ln c, 0.35, is what they say of z at most.
    const narrow = 2 * catches * 0.35 ** 2;
    for (let middle = -3; middle <= 3; middle += 0.25) {
      const of_z = (z) => -0.5 * narrow * (z - middle) ** 2;
      near(averaged(nodes, of_z), averaged(ON_GRID, of_z), 1e-8);
    }
    for (const steep of [-6, -3, 3, 6]) near(averaged(nodes, (z) => steep * z), averaged(ON_GRID, (z) => steep * z), 2e-4);
  }
  assert.equal(nodesFor(16), ON_GRID);
});

test("a node is picked where the summed weights pass a number", () => {
  const nodes = nodesFor(3);
  const row = nodes.z.map((z) => z);
  const parts = row.map((value, j) => Math.exp(value + nodes.ln_weights[j]));
  const total = parts.reduce((a, b) => a + b);
  let passed = 0;
  for (let j = 0; j < parts.length; j += 1) {
    assert.equal(nodeAt(row, 0, (passed + parts[j] / 2) / total, nodes), j);
    passed += parts[j];
  }
});

const weighed = (mass_g, step_g) => ({
  exposure: { variation_factor: 1 },
  reading: { mass_g, step_g, count: null, seed_g: 0.003, seeds_per_g: null },
});

test("readings alike are worked out once, and count as often as they are", () => {
  const c = cNodes(0.4, ON_GRID);
  const ln_mean = Float64Array.of(-1, 0, 1, 2.5);
  const table = (catches) => {
    const found = new Float64Array(ln_mean.length * c.length);
    for (const add of likelihoods(catches, c)) add(ln_mean, found);
    return found;
  };
  const counted = (count) => ({ exposure: { variation_factor: 1 }, reading: { ...weighed(0, 1).reading, count, seeds_per_g: 300 } });
  const all = [weighed(2, 1), weighed(2, 1), weighed(0, 1), weighed(0, 1), weighed(0, 1), weighed(2.5, 0.1), weighed(2.5, 0.1)];
  all.push(counted(40), counted(40), counted(3));
  const together = table(all);
  const apart = all.map((one) => table([one]));
  together.forEach((value, i) => near(value, apart.reduce((sum, one) => sum + one[i], 0), 1e-10 * Math.abs(value)));
});

test("a coarse reading has the probability of its interval", () => {
  for (const nodes of [ON_GRID, nodesFor(2)]) {
    const c = cNodes(0.4, nodes);
    for (const [mass, step] of [[1, 1], [2, 1], [10, 5], [5, 5], [12.5, 0.5]]) {
      for (let ln_mean = Math.log(mass) - 2; ln_mean < Math.log(mass) + 2; ln_mean += 0.1) {
        const row = new Float64Array(c.length);
        for (const add of likelihoods([weighed(mass, step)], c)) add(Float64Array.of(ln_mean), row);
        const mean = Math.exp(ln_mean);
        row.forEach((value, j) => {
          const scale = c[j] ** 2 * mean + 0.003;
          const p = gammaP(mean / scale, (mass + step / 2) / scale) - gammaP(mean / scale, (mass - step / 2) / scale);
          // A difference of two probabilities keeps too few digits where it is small.
          if (p > 1e-5) near(value, Math.log(p), c[j] < 1 ? 2e-5 : 1e-4);
        });
      }
    }
  }
});
