// The phone's engine against Python's answers, in Node.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { answer } from "../../src/chaffinch/web/static/engine/check.js";
import { compared, readAlike } from "./agreement.js";

const load = (name) => JSON.parse(readFileSync(new URL(`../vectors/${name}`, import.meta.url), "utf8"));
const vectors = load("estimates.json");
const typed = load("estimates_units.json");

test("there are enough cases, of every sort that is promised", () => {
  const { cases } = vectors;
  assert.ok(cases.length >= 300);
  const placed = new Set(cases.flatMap(({ table }) => table.catch.map((one) => one.place)));
  assert.deepEqual([...placed].sort(), ["behind", "discharge", "header strip", "leak", "standing", "whole cut", "windrow"]);
  assert.ok(new Set(cases.map(({ table }) => table.crop)).size >= 10);
  const having = (what) => cases.filter(({ table }) => what(table)).length;
  assert.ok(having((t) => t.spreading) >= 40);
  assert.ok(having((t) => t.catch.every((one) => one.amount?.startsWith("0 "))) >= 10, "nothing but empty pans");
  assert.ok(having((t) => t.catch.some((one) => one.amount?.endsWith("seeds"))) >= 40);
  for (const key of ["subsample", "moisture", "offset", "heads", "unthreshed", "variation"]) {
    assert.ok(having((t) => t.catch.some((one) => key in one)) >= 6, key);
  }
  for (let n = 1; n <= 12; n += 1) assert.ok(having((t) => t.catch.length === n) >= 5, `${n} catches`);
  const verdicts = new Set(cases.map((one) => one.answer.verdict));
  assert.deepEqual([...verdicts].map(String).sort(), ["null", "over", "under", "unsettled"]);
});

test("a crop answers to every name that the book takes", () => {
  const [{ table }] = vectors.cases;
  const known = vectors.setups[table.country];
  const setup = { ...known, crops: known.crops.map((one) => (one.key === table.crop ? { ...one, also: ["harvest gold"] } : one)) };
  assert.deepEqual(answer({ ...table, crop: "Harvest-Gold" }, setup), answer(table, setup));
});

test("every answer is Python's, within 1 % of the range's width and 0.01 of a probability", () => {
  const faults = [];
  for (const one of vectors.cases) {
    const found = compared(vectors, one);
    if (found.faults.length) faults.push(`${one.name}: ${found.faults.join("; ")}`);
  }
  assert.deepEqual(faults, []);
});

test("the comparison itself notices a wrong end, verdict and warning", () => {
  const one = structuredClone(vectors.cases.find((each) => each.answer.verdict === "over"));
  const ends = one.answer.judged.kg_ha;
  ends[2] += 0.02 * (ends[2] - ends[0]);
  one.answer.verdict = "under";
  one.answer.warnings.push("no such warning");
  const { faults } = compared(vectors, one);
  assert.equal(faults.filter((fault) => /^(judged|verdict|warnings):/.test(fault)).length, 3, faults.join("\n"));
});

test("every quantity is read, or refused, as Python does", () => {
  assert.ok(typed.quantities.length >= 200);
  assert.deepEqual(typed.quantities.map((one) => readAlike(one, typed.bushel_kg)).filter(Boolean), []);
});

test("the same table gives the same figures, and the table is left as it was", () => {
  for (const one of [vectors.cases[0], vectors.cases.find((each) => each.name.startsWith("several"))]) {
    const before = JSON.stringify(one.table);
    const setup = vectors.setups[one.table.country];
    assert.deepEqual(answer(one.table, setup), answer(one.table, setup));
    assert.equal(JSON.stringify(one.table), before);
  }
});

test("further catches may be left for later, and nothing else changes", () => {
  const one = vectors.cases.find((each) => each.answer.more);
  const setup = vectors.setups[one.table.country];
  const { more_catches, more_catches_chance, more_catches_like, ...whole } = answer(one.table, setup);
  const quick = answer(one.table, setup, { further: false });
  assert.ok(more_catches_chance > 0 && more_catches_like === 1 && more_catches !== undefined);
  assert.equal(quick.more_catches_chance, null);
  assert.deepEqual({ ...quick, ...whole }, quick);
});
