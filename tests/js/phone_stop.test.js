// A stop in the making, its table, and what the number pad makes of keys.
import assert from "node:assert/strict";
import { test } from "node:test";

import { bodiesOf, tableOf, termsOf } from "../../src/chaffinch/web/static/app/checktable.js";
import { nextBag, stopsOf, waiting } from "../../src/chaffinch/web/static/app/stop.js";
import { amountOf, numberText, press, stepOf, twoWays } from "../../src/chaffinch/web/static/app/typed.js";
import { scaleFor, stepFor } from "../../src/chaffinch/web/static/app/ruler.js";

const at = (n) => `2026-08-14T16:0${n}:00Z`;
const journal = [
  { stop: "s1", what: "open", at: at(0), device: "Ann's phone", terms: { crop: "canola", combine: { cut_width: "12 m", drop_width: "1.7 m" } }, where: { field: "f", combine: "c" } },
  { stop: "s1", what: "catch", at: at(1), catch: { n: 1, place: "discharge", pan: { area: "0.4 m2", name: "Red tray" }, amount: "21.5 g" } },
  { stop: "s1", what: "catch", at: at(2), catch: { n: 2, place: "discharge", pan: { area: "0.4 m2" }, amount: null, bag: "7" } },
  { stop: "s1", what: "catch", at: at(3), catch: { n: 3, place: "standing", pan: { width: "50 cm", length: "50 cm" }, amount: "7 seeds" } },
];

test("a stop is its journal, and the journal may be cut anywhere", () => {
  for (let n = 0; n <= journal.length; n += 1) {
    const stop = stopsOf(journal.slice(0, n)).get("s1");
    assert.equal(stop?.catches.length ?? 0, Math.max(0, n - 1));
  }
});

test("lines that come twice, as from a file taken in again, change nothing", () => {
  const once = stopsOf(journal).get("s1");
  assert.deepEqual(stopsOf([...journal, ...journal]).get("s1").catches, once.catches);
});

test("two phones that go on with one stop keep each other's catches, bags and what was taken back", () => {
  const own = (key, more) => ({ n: 4, key, place: "discharge", pan: { area: "0.4 m2" }, ...more });
  const here = { stop: "s1", what: "catch", at: at(4), catch: own("a", { amount: "18.5 g" }) };
  const there = [
    { stop: "s1", what: "catch", at: at(5), catch: own("b", { amount: null, bag: "9" }) },
    { stop: "s1", what: "weighed", at: at(6), n: 4, key: "b", amount: "9.8 g" },
  ];
  const both = stopsOf([...journal, here, ...there, ...there, here]).get("s1");
  assert.deepEqual(both.catches.slice(3).map((one) => [one.n, one.amount]), [[4, "18.5 g"], [5, "9.8 g"]]);
  assert.equal(both.next, 6);
  const gone = stopsOf([...journal, here, ...there, { stop: "s1", what: "taken back", at: at(7), n: 5, key: "b" }, there[0]]).get("s1");
  assert.deepEqual(gone.catches.slice(3).map((one) => one.amount), ["18.5 g"]);
  // Lines of an app that gave no keys go by their number.
  const plain = stopsOf([...journal, { stop: "s1", what: "taken back", at: at(7), n: 1 }]).get("s1");
  assert.deepEqual(plain.catches.map((one) => one.n), [2, 3]);
  assert.ok(tableOf(both).catch.every((one) => !("key" in one) && !("n" in one)));
});

test("a bag waits and keeps the check open, and its number is not given twice", () => {
  const stops = stopsOf(journal);
  const stop = stops.get("s1");
  assert.deepEqual(waiting(stop).map((one) => one.bag), ["7"]);
  assert.equal(nextBag(stops.values()), "8");
  assert.throws(() => bodiesOf(stop), /bag/);
  assert.equal(tableOf(stop).catch.length, 2);
  const weighed = stopsOf([...journal, { stop: "s1", what: "weighed", at: at(4), n: 2, amount: "9.8 g" }]).get("s1");
  assert.deepEqual(bodiesOf(weighed)[0].body.check.catch[1], { place: "discharge", amount: "9.8 g", bag: "7", pan: "0.4 m2" });
});

test("a stop gives the same records however often it is asked", () => {
  const lines = [journal[0], journal[1], { stop: "s1", what: "beside", at: at(5), settings: [], conditions: { humidity_pct: 45 }, monitor: { id: "m1", reading: 3, per: "time" } }];
  const [one, two] = [0, 1].map(() => bodiesOf(stopsOf(lines).get("s1")));
  assert.deepEqual(one, two);
  assert.deepEqual(one.map(({ id, kind }) => [id, kind]), [["s1", "check"], ["m1", "monitor"]]);
  assert.equal(stopsOf([...lines, { stop: "s1", what: "close", how: "sealed", at: at(9) }]).get("s1").said_at, at(5));
});

test("terms: the field's, the machine's, and the person's over both", () => {
  const field = { id: "f", name: "Long Hollow", parts: { crop: "canola", area: "62 ha", limit: "60 kg/ha", price: "$640 /t", season: "s", yield_expected: "2.5 t/ha" } };
  const combine = { id: "c", name: "Old Bess", parts: { cut_width: "40 ft", drop_width: "66 in", widths_taped: true } };
  const farm = { country: "CA", currency: "CAD", report_in: "bu/ac" };
  const { where, terms } = termsOf({ farm, field, combine, own: { drop_width: "70 in", speed: "6 km/h" } });
  assert.deepEqual(where, { field: "f", season: "s", combine: "c" });
  assert.equal(terms.combine.drop_width, "70 in");
  assert.equal(terms.yield, "2.5 t/ha");
  assert.equal(terms.currency, undefined); // the price has its own sign
  const other = termsOf({ farm, field, own: { crop: "pea" } }).terms;
  assert.deepEqual([other.crop, other.limit, other.price, other.yield], ["pea", undefined, undefined, undefined]);
  const osr = { id: "f", name: "Long Hollow", parts: { crop: "Oilseed rape", limit: "60 kg/ha" } };
  const canola = { key: "canola", name: "canola", also: ["oilseed rape"] };
  assert.equal(termsOf({ farm, field: osr, own: { crop: "canola" }, crop: canola }).terms.limit, "60 kg/ha", "one crop, two names");
  assert.equal(termsOf({ farm, units: "north american", crop: { bushel_kg: 22.7 } }).terms.report_in, "bu/ac");
  assert.equal(termsOf({ farm, units: "north american", crop: { bushel_kg: null } }).terms.report_in, "lb/ac");
  assert.equal(termsOf({ farm, units: "metric" }).terms.report_in, "kg/ha");
});

test("keys of the pad: one decimal mark, point or comma, and no more digits than a scale has", () => {
  const typed = (keys, whole) => [...keys].reduce((text, key) => press(text, key, whole), "");
  assert.equal(typed("12.5"), "12.5");
  assert.equal(typed("12,5,0."), "12,50");
  assert.equal(typed(",5"), "0,5");
  assert.equal(typed("007"), "7");
  assert.equal(typed("1.2", true), "12");
  assert.equal(typed("1234567890123").length, 9);
  assert.equal(press("12", "back"), "1");
  assert.equal(press("", "back"), "");
  assert.equal(press("12", "e"), "12");
});

test("a reading keeps its digits, for they say how finely the scale was read", () => {
  assert.equal(amountOf("18,0", "g"), "18.0 g");
  assert.equal(amountOf("18.", "g"), "18 g");
  assert.equal(amountOf("", "g"), null);
  assert.equal(amountOf("1.5", "seeds"), null);
  assert.equal(amountOf("0", "seeds"), "0 seeds");
  assert.deepEqual(["18", "18.0", "0,25", ""].map(stepOf), ["1", "0.1", "0.01", "1"]);
  assert.equal(numberText("−3,5"), "-3.5");
  assert.equal(numberText("1e3"), null);
});

test("a comma that could part thousands is asked about", () => {
  assert.deepEqual(["1,100", " 900,000 ", "-1,250"].map(twoWays), [true, true, true]);
  assert.deepEqual(["1100", "1.100", "12,5", "0,125", "1100,5", "1,1000", ""].map(twoWays), Array(7).fill(false));
});

test("a rule ends on a round number, and a far limit does not squeeze the bar", () => {
  assert.deepEqual([stepFor(100, 5), stepFor(100, 6), stepFor(0.9, 5)], [20, 20, 0.2]);
  const near = scaleFor({ low: 40, median: 57, high: 84 }, 60, 6);
  assert.deepEqual([near.end, near.notch, near.beyond], [100, 60, false]);
  const far = scaleFor({ low: 1, median: 2, high: 4 }, 60, 6);
  assert.ok(far.end < 6 && far.beyond && far.notch === null);
});
