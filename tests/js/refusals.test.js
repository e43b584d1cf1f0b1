// What cannot be used is refused, with the field that has to change.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { answer } from "../../src/chaffinch/web/static/engine/check.js";
import { InputError } from "../../src/chaffinch/web/static/engine/errors.js";

const vectors = JSON.parse(readFileSync(new URL("../vectors/estimates.json", import.meta.url), "utf8"));
const setup = vectors.setups.CA;
const pan = { place: "discharge", pan: "4 ft2", amount: "12.5 g", step: "0.1 g" };
const sound = {
  crop: "canola",
  limit: "1 bu/ac",
  combine: { cut_width: "40 ft", drop_width: "66 in" },
  catch: [pan],
};

const change = (changes, one = {}) => ({ ...sound, catch: [{ ...pan, ...one }], ...changes });

/** What is wrong, and the field that the error names. */
const REFUSED = {
  "no table": [null, "check"],
  "no crop": [{ ...sound, crop: undefined }, "crop"],
  "a crop nobody knows": [change({ crop: "moon rice" }), "crop"],
  "no catches": [change({ catch: [] }), "catch"],
  "a key nobody knows": [change({ colour: "red" }), "colour"],
  "a newer schema": [change({ schema: 2 }), "schema"],
  "a place nobody knows": [change({}, { place: "roof" }), "catch 1, place"],
  "no unit": [change({}, { amount: "12.5" }), "catch 1, amount"],
  "a comma that may part thousands": [change({}, { amount: "1,234 g" }), "catch 1, amount"],
  "less than nothing": [change({}, { amount: "-1 g" }), "catch 1, amount"],
  "half a seed": [change({}, { amount: "4.5 seeds", step: undefined }), "catch 1, amount"],
  "a step of nothing": [change({}, { step: "0 g" }), "catch 1, step"],
  "a step of another kind": [change({}, { step: "1 mL" }), "catch 1, step"],
  "a part above one": [change({}, { subsample: 1.5 }), "catch 1, subsample"],
  "a clean count": [change({}, { amount: "44 seeds", step: undefined, clean: 0.9 }), "catch 1, clean"],
  "more than any field could lose": [change({}, { amount: "5 kg", step: "1 g" }), "catch 1"],
  "a pan wider than the discharge": [change({}, { pan: "10 m2" }), "catch 1, pan"],
  "no discharge width": [change({ combine: { cut_width: "40 ft" } }), "combine, drop_width"],
  "a drop wider than the cut": [change({ combine: { cut_width: "1 m", drop_width: "66 in" } }), "combine, drop_width"],
  "no combine": [change({ combine: undefined }), "combine"],
  "spreading left open": [
    change({ combine: { cut_width: "40 ft", drop_width: "66 in", spread_width: "30 ft" } }),
    "spreading",
  ],
  "a limit above the yield": [change({ yield: "0.5 bu/ac" }), "limit"],
  "a limit as high as the yield": [change({ yield: "1 bu/ac", limit: "1 bu/ac" }), "limit"],
  "windrowed without its width": [change({ windrowed: true }), "windrower_width"],
  "a leak without a speed": [
    change({ catch: [{ place: "leak", time: "60 s", amount: "85 g", step: "1 g" }] }),
    "speed",
  ],
  "one pan that should make a profile": [change({}, { offset: "0.2 m" }), "catch 1, offset"],
  "bushels of another country": [change({ country: "AU" }), "limit"],
  "a moisture without the market's": [
    change({ crop: "canola", country: "FR", limit: "50 kg/ha" }, { moisture: "8 %" }),
    "market_moisture",
  ],
  "a flat layer of a seed that is not round": [
    change({ crop: "wheat", limit: "50 kg/ha" }, { amount: "100 cm2 flat", step: undefined }),
    "catch 1, amount",
  ],
  "text where a table belongs": [change({ combine: "12 m" }), "combine"],
  "a number where text belongs": [change({}, { pan: 4 }), "catch 1, pan"],
};

for (const [what, [table, field]] of Object.entries(REFUSED)) {
  test(`refused: ${what}`, () => {
    const wheat = setup.crops.find((one) => !one.round_seed && one.key.includes("wheat"));
    const asked = table && table.crop === "wheat" ? { ...table, crop: wheat.key } : table;
    const bare = asked && Object.fromEntries(Object.entries(asked).filter(([, value]) => value !== undefined));
    if (bare) bare.catch = bare.catch.map((one) => JSON.parse(JSON.stringify(one)));
    assert.throws(
      () => answer(bare, setup),
      (error) => {
        assert.ok(error instanceof InputError, String(error));
        assert.equal(error.field, field, error.message);
        assert.ok(error.problem && error.mend && !error.message.includes("\n"));
        return true;
      },
    );
  });
}

test("the sound check the others are made from is answered", () => {
  assert.equal(answer(sound, setup).verdict, "unsettled");
});

test("a choice of one is told as that one", () => {
  assert.throws(() => answer(change({ scale: { colour: "1 g" } }), setup), (error) => error instanceof InputError && error.message.includes("leave it out, or use step"));
});
