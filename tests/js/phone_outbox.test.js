// The outbox's rules: what a receipt may change, and that nothing is lost or doubled however answers come.
import assert from "node:assert/strict";
import { test } from "node:test";

import { counted, goneOf, keyOf, linesOf, MOST_RECORDS, nextBatch, photosTaken, standings } from "../../src/chaffinch/web/static/app/outbox.js";

const record = (n, more = {}) => ({ id: `id-${n}`, kind: "check", schema: 1, device: "d", device_time: "t", body: { n }, hash: `hash-${n}`, ...more });
const line = (n, what, more = {}) => ({ id: `id-${n}`, hash: `hash-${n}`, what, ...more });
const stateOf = (lines, now) => standings([record(1)], lines, now).get(keyOf(record(1))).state;

test("a record is queued until a receipt names its id and its hash", () => {
  assert.equal(stateOf([]), "queued");
  assert.equal(stateOf([line(1, "accepted")]), "sent");
  assert.equal(stateOf([line(1, "known")]), "sent");
  assert.equal(stateOf([line(1, "conflict")]), "attention");
  assert.equal(stateOf([line(1, "accepted", { hash: "another" })]), "queued");
  assert.equal(stateOf([], { sending: new Set([keyOf(record(1))]) }), "sending");
});

test("once in the book a late answer cannot take it back", () => {
  assert.equal(stateOf([line(1, "accepted"), line(1, "refused"), line(1, "conflict")]), "sent");
});

test("what another book took is in that book, and is neither asked of this one nor sent to it", () => {
  const taken = [line(1, "accepted", { book: "a" })];
  assert.equal(stateOf(taken, { book: "a" }), "sent");
  assert.equal(stateOf(taken, { book: "b" }), "elsewhere");
  assert.equal(stateOf([line(1, "known")], { book: "b" }), "sent"); // no phone has met two books before lines named them
  assert.equal(stateOf([line(1, "known")], { book: "b", unnamed: "a" }), "elsewhere");
  assert.equal(stateOf([line(1, "known")], { book: "a", unnamed: "a" }), "sent");
  assert.deepEqual(nextBatch([record(1)], standings([record(1)], taken, { book: "b" })), []);
  const pictures = [line(1, "photo sent", { book: "a", hash: "p" }), line(1, "photo sent", { book: "b", hash: "q" })];
  assert.deepEqual([...photosTaken(pictures, { book: "b" })], ["q"]);
});

test("what was refused is tried again when asked, or when the server is another", () => {
  const refused = line(1, "refused", { version: "1", reason: "no" });
  assert.equal(stateOf([refused], { version: "1" }), "attention");
  assert.equal(stateOf([refused], { version: "2" }), "queued");
  assert.equal(stateOf([refused, line(1, "again")], { version: "1" }), "queued");
  assert.equal(stateOf([line(1, "conflict", { version: "1" })], { version: "2" }), "attention");
});

test("two records that claim one id stand apart", () => {
  const twins = [record(1), record(1, { hash: "other" })];
  const where = standings(twins, [line(1, "accepted")]);
  assert.deepEqual(twins.map((one) => where.get(keyOf(one)).state), ["sent", "queued"]);
});

test("a foreign, doubled or empty answer changes nothing it should not", () => {
  const batch = [record(1), record(2)];
  const receipt = (n, outcome, more = {}) => ({ id: `id-${n}`, hash: `hash-${n}`, outcome, ...more });
  for (const answer of [null, "", 7, [], {}, { receipts: null }, { receipts: "all" }, { receipts: [null, 3, {}] }]) {
    assert.deepEqual(linesOf(batch, answer, "t", "v"), []);
  }
  const odd = [receipt(3, "accepted"), receipt(1, "accepted", { hash: "no" }), receipt(1, "fine"), receipt(2, "known"), receipt(2, "refused")];
  assert.deepEqual(linesOf(batch, { receipts: odd }, "t", "v").map((one) => [one.id, one.what]), [["id-2", "known"]]);
});

test("batches are small, in order, and never empty while something waits", () => {
  const many = Array.from({ length: 120 }, (_, n) => record(n));
  const where = standings(many, []);
  assert.equal(nextBatch(many, where).length, MOST_RECORDS);
  assert.equal(nextBatch(many, where)[0], many[0]);
  const huge = [record(1, { body: { text: "x".repeat(900_000) } }), record(2)];
  assert.equal(nextBatch(huge, standings(huge, [])).length, 1);
});

/** Chance from a seed (mulberry32), so that a failure can be repeated. */
function chance(seed) {
  let a = seed;
  return () => {
    a = (a + 0x6d2b79f5) | 0;
    let t = Math.imul(a ^ (a >>> 15), 1 | a);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

test("a thousand checks from five phones, answers lost, doubled, late and cut short: each exactly once", () => {
  for (const seed of [1, 2, 3]) {
    const next = chance(seed);
    const book = new Map();
    const arrivals = [];
    const phones = Array.from({ length: 5 }, (_, p) => ({
      records: Array.from({ length: 200 }, (__, n) => record(`${p}-${n}`, { id: `id-${p}-${n}`, hash: `hash-${p}-${n}` })),
      lines: [],
      late: [],
    }));
    const receive = (batch) => batch.map((one) => {
      const known = book.get(one.id);
      if (known === undefined) {
        book.set(one.id, one.hash);
        arrivals.push(one.id);
        return { id: one.id, hash: one.hash, outcome: "accepted" };
      }
      return { id: one.id, hash: one.hash, outcome: known === one.hash ? "known" : "conflict" };
    });
    for (let round = 0; round < 4000; round += 1) {
      const phone = phones[Math.floor(next() * 5)];
      const batch = nextBatch(phone.records, standings(phone.records, phone.lines), 1 + Math.floor(next() * 20));
      if (batch.length === 0 && phone.late.length === 0) continue;
      const luck = next();
      if (luck < 0.2) continue; // never left the phone
      const arrived = luck < 0.4 ? batch.slice(0, Math.floor(batch.length / 2)) : batch;
      let receipts = receive(arrived);
      if (luck > 0.9) receipts = receive(arrived);
      if (luck < 0.55) continue; // no answer came
      if (luck < 0.65) phone.late.push([batch, receipts]);
      else phone.lines.push(...linesOf(batch, { receipts }, "t", "v"));
      if (next() < 0.3 && phone.late.length > 0) {
        const [then, answer] = phone.late.shift();
        phone.lines.push(...linesOf(then, { receipts: answer }, "t", "v"));
      }
    }
    assert.equal(arrivals.length, new Set(arrivals).size, `seed ${seed}`);
    for (const phone of phones) {
      const where = standings(phone.records, phone.lines);
      assert.deepEqual(counted(where), { queued: 0, sending: 0, sent: 200, elsewhere: 0, attention: 0 }, `seed ${seed}`);
      for (const one of phone.records) assert.equal(book.get(one.id), one.hash);
    }
    assert.equal(book.size, 1000);
  }
});

test("what the book says it has no more goes again, once, and only what was asked after", () => {
  const asked = { records: [{ id: "id-1", hash: "hash-1" }, { id: "id-2", hash: "hash-2" }], photos: ["pic-1", "pic-2"] };
  const answer = { records: [{ id: "id-2", hash: "hash-2" }, { id: "id-9", hash: "hash-9" }, null, 3], photos: ["pic-2", "pic-9"] };
  assert.deepEqual(goneOf(asked, answer, "t").map(({ what, hash }) => [what, hash]), [["gone", "hash-2"], ["photo gone", "pic-2"]]);
  for (const odd of [null, "", 7, [], {}, { records: "all", photos: null }]) assert.deepEqual(goneOf(asked, odd, "t"), []);
  assert.equal(stateOf([line(1, "accepted"), line(1, "gone")]), "queued");
  assert.equal(stateOf([line(1, "accepted"), line(1, "gone"), line(1, "known"), line(1, "refused")]), "sent");
  const pictures = ["photo sent", "photo gone", "photo sent"].map((what) => ({ id: "i", hash: "pic", what }));
  assert.deepEqual([1, 2, 3].map((n) => photosTaken(pictures.slice(0, n)).size), [1, 0, 1]);
});
