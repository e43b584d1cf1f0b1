// What comes from outside: lines of a stop's journal that this app writes pass, every spoilt one is told.
import assert from "node:assert/strict";
import { test } from "node:test";

import { problemOfLine, readable } from "../../src/chaffinch/web/static/app/shape.js";
import { stopsOf } from "../../src/chaffinch/web/static/app/stop.js";

const stop = "5c1a4ff2-7a4f-4c38-9f1e-2d0f6b9a1c11";
const at = "2026-08-14T16:00:00Z";
const one = { n: 1, place: "discharge", pan: { area: "0.4 m2", name: "Red tray" }, amount: "21.5 g", step: "0.1 g" };
const lines = [
  { stop, what: "open", at, device: "Ann's phone", terms: { crop: "canola" }, where: { field: "f" }, settings: [{ name: "fan speed", value: 900, unit: "rpm" }], conditions: { wind_kmh: 4 }, replaces: [stop], reason: "slip", catches: [{ ...one, moisture: "9 %" }, { n: 2, place: "windrow", pan: { length: "3 m" } }] },
  { stop, what: "catch", at, catch: one },
  { stop, what: "catch", at, catch: { n: 2, place: "discharge", pan: { width: "50 cm", length: "50 cm" }, amount: null, bag: "7" } },
  { stop, what: "weighed", at, n: 2, amount: "9.8 g" },
  { stop, what: "taken back", at, n: 1 },
  { stop, what: "terms", at, terms: { crop: "canola" }, where: {} },
  { stop, what: "beside", at, settings: [], conditions: {}, monitor: null },
  { stop, what: "beside", at, settings: [], conditions: {}, monitor: { id: stop, reading: 3.5, per: "time" } },
  { stop, what: "beside", at, where: { trial: stop, side: "A" } },
  { stop, what: "beside", at, without: ["trial", "side"] },
  { stop, what: "photo", at, photo: { id: stop, sha256: "0".repeat(64), bytes: 100, at } },
  { stop, what: "close", at, how: "sealed" },
];

test("every kind of line that is written here passes", () => {
  for (const line of lines) assert.equal(problemOfLine(line), "", JSON.stringify(line));
});

test("whatever takes a line's place or one of its parts is told, or folds without harm", () => {
  const odd = [null, 7, "", "x", true, [], [null], [7], {}, { n: "1" }, { name: 3 }];
  let told = 0;
  for (const line of lines) {
    for (const key of Object.keys(line)) {
      for (const value of odd) {
        const spoilt = JSON.parse(JSON.stringify({ ...line, [key]: value }));
        if (problemOfLine(spoilt)) told += 1;
        else for (const found of stopsOf([lines[0], spoilt]).values()) [...found.catches, ...found.settings, ...found.photos, ...found.replaces].map((each) => each.n);
      }
    }
  }
  assert.ok(told > 300, `${told}`);
  for (const value of [undefined, ...odd]) assert.notEqual(problemOfLine(value), "");
  for (const what of ["constructor", "toString", "__proto__", "dance"]) assert.match(problemOfLine({ stop, what, at }), /does not know/);
});

test("a record is shown only where every part that a screen reads is there", () => {
  const bodies = {
    check: { taken_at: at, check: { crop: "canola", catch: [{}] } },
    monitor: { taken_at: at, reading: 3 },
    photo: { sha256: "0".repeat(64) },
    trial: { taken_at: at, a: [{ name: "fan speed", value: 900 }], b: [{ name: "fan speed", value: 800 }] },
    note: { text: "words" },
  };
  for (const [kind, body] of Object.entries(bodies)) {
    assert.ok(readable({ kind, body }), kind);
    for (const key of Object.keys(body)) assert.ok(!readable({ kind, body: { ...body, [key]: 7 } }) || key === "reading", `${kind} ${key}`);
    assert.ok(!readable({ kind, body: {} }), kind);
  }
  for (const kind of ["parcel", "constructor", "toString"]) assert.ok(!readable({ kind, body: bodies.check }), kind);
});
