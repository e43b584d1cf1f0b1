// The phone's advice against Python's, in Node.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { nextQuestion, rank, ranked, splitOfRanges, standing, weigh } from "../../src/chaffinch/web/static/advice/advice.js";

const { table, cases } = JSON.parse(readFileSync(new URL("../vectors/advice.json", import.meta.url), "utf8"));

const alike = (a, b, within) => Math.abs(a - b) <= within * Math.max(1e-9, Math.abs(a), Math.abs(b));

function said(one) {
  const ranges = Object.fromEntries(Object.entries(one.ranges).map(([s, [low, median, high]]) => [s, { low, median, high }]));
  const split = Object.keys(ranges).length > 0 ? splitOfRanges(ranges, one.yield_kg_ha) : null;
  const belief = weigh(table, one.situation, split);
  const asked = Object.keys(one.situation.answers).length + one.skipped.length;
  const changes = rank(table, one.situation, belief, split);
  const best = changes.find((each) => each.expected > 0)?.expected ?? null;
  return { belief, question: nextQuestion(table, one.situation, belief, { asked, skipped: one.skipped }), changes, standing: standing(table, belief, best) };
}

test("there are cases of every sort", () => {
  assert.ok(cases.length >= 36);
  for (const wanted of ["change", "measure", "nothing"]) assert.ok(cases.some((one) => one.standing === wanted), wanted);
  assert.ok(cases.some((one) => one.question === null) && cases.some((one) => one.question !== null));
});

test("causes, question, changes and standing are Python's", () => {
  const faults = [];
  cases.forEach((one, number) => {
    const found = said(one);
    // Sums of a few hundred terms in another order; the normal quantile is another program's.
    found.belief.causes.forEach((cause, k) => {
      if (!alike(found.belief.p[k], one.p[cause.key] ?? NaN, 1e-6)) faults.push(`${number} ${cause.key}`);
    });
    if (found.belief.causes.length !== Object.keys(one.p).length) faults.push(`${number}: other causes`);
    if ((found.question?.sign.key ?? null) !== (one.question?.[0] ?? null)) faults.push(`${number}: question ${found.question?.sign.key}`);
    if (one.question && !alike(found.question.bits, one.question[1], 1e-5)) faults.push(`${number}: bits`);
    if (one.question && !alike(found.question.worth, one.question[2], 1e-5)) faults.push(`${number}: worth`);
    one.changes.forEach(([key, expected, low, high], place) => {
      const mine = found.changes.find((each) => each.change.key === key);
      if (!mine || !alike(mine.expected, expected, 1e-6 + 1e-6 / Math.abs(expected))) faults.push(`${number} ${key}: ${mine?.expected} for ${expected}`);
      const width = Math.max(0.05, high - low);
      if (mine && (Math.abs(mine.gain.low - low) > 0.01 * width || Math.abs(mine.gain.high - high) > 0.01 * width)) faults.push(`${number} ${key}: range`);
      if (place === 0 && found.changes[0].change.key !== key && !alike(found.changes[0].expected, expected, 1e-6)) faults.push(`${number}: first ${found.changes[0].change.key}`);
    });
    if (found.standing !== one.standing) faults.push(`${number}: ${found.standing} for ${one.standing}`);
  });
  assert.deepEqual(faults, []);
});

test("the comparison notices a wrong probability", () => {
  const one = structuredClone(cases[0]);
  one.p[Object.keys(one.p)[0]] *= 1.001;
  const found = said(one);
  assert.ok(!found.belief.causes.every((cause, k) => alike(found.belief.p[k], one.p[cause.key], 1e-6)));
});

test("a step that needs this machine's own slope is left to the book", () => {
  for (const one of cases.slice(0, 6)) assert.ok(said(one).changes.every((each) => !each.change.gate));
});

test("contradicting signs leave the causes flat and ask to measure first", () => {
  const situation = { crop: "wheat", machine: "rotor", header: "draper", windrowed: false, answers: { found: "line", chaff: "far", tank: "green", straw: "short", strip: "ragged", seat: "lumps" } };
  const belief = weigh(table, situation, null);
  assert.ok(ranked(belief)[0].p < 0.6);
  assert.equal(standing(table, belief, 1), "measure");
});
