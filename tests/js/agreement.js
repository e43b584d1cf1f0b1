// @ts-check
/**
 * How far is the phone's answer from Python's? Shared by Node's tests and by the page that runs them in a browser.
 */

import { answer } from "../../src/chaffinch/web/static/engine/check.js";
import { readQuantity } from "../../src/chaffinch/web/static/engine/units.js";

/** Part of a range's width by which its ends and middle may differ. */
export const OF_WIDTH = 0.01;
/** By which a probability may differ. */
export const OF_PROBABILITY = 0.01;
/** Further catches by which the number may differ: half as many futures, drawn otherwise (docs/method/phone.md). */
export const OF_CATCHES = 3;
/** By which two chances from so few futures may differ: three sds of the difference, 0.03 (derived). */
const NEAR_CHANCE = 0.1;

/**
 * Every way in which the answer to one case differs from Python's by more than it may.
 * @param {any} vectors
 * @param {any} one
 * @returns {{faults: string[], of_width: number, of_probability: number}}
 */
export function compared(vectors, one) {
  const found = answer(one.table, vectors.setups[one.table.country]);
  const wanted = one.answer;
  /** @type {string[]} */
  const faults = [];
  let of_width = 0;
  /** @param {string} what @param {{low: number, median: number, high: number}|null} ours @param {number[]|null} theirs */
  const range = (what, ours, theirs) => {
    if (!ours || !theirs) {
      if (ours || theirs) faults.push(`${what}: ${JSON.stringify(ours)}, not ${JSON.stringify(theirs)}`);
      return;
    }
    const width = theirs[2] - theirs[0];
    [ours.low, ours.median, ours.high].forEach((value, i) => {
      const apart = Math.abs(value - theirs[i]) / width;
      if (!(apart <= OF_WIDTH)) {
        faults.push(`${what}: ${value}, not ${theirs[i]} (${(100 * apart).toFixed(2)} % of the width)`);
      }
      of_width = Math.max(of_width, apart);
    });
  };
  /** @param {string} what @param {unknown} ours @param {unknown} theirs */
  const same = (what, ours, theirs) => {
    if (JSON.stringify(ours) !== JSON.stringify(theirs)) {
      faults.push(`${what}: ${JSON.stringify(ours)}, not ${JSON.stringify(theirs)}`);
    }
  };
  /** @param {string} what @param {number|null} ours @param {number|null} theirs @param {number} may */
  const near = (what, ours, theirs, may) => {
    if (ours === null || theirs === null ? ours !== theirs : !(Math.abs(ours - theirs) <= may)) {
      faults.push(`${what}: ${ours}, not ${theirs}`);
    }
  };
  same("sources", Object.keys(found.sources), Object.keys(wanted.sources));
  for (const [source, loss] of Object.entries(wanted.sources)) {
    const ours = found.sources[source];
    near(`${source}, plain`, ours.plain_kg_ha, loss.plain, 1e-8 * Math.max(1, Math.abs(loss.plain ?? 0)));
    range(source, ours.kg_ha, loss.kg_ha);
    range(`${source}, share`, ours.share_percent, loss.share);
    near(`${source}, part`, ours.part_of_loss_percent, loss.part, 100 * OF_PROBABILITY);
    near(`${source}, largest`, ours.p_largest, loss.largest, OF_PROBABILITY);
  }
  near("total, plain", found.total.plain_kg_ha, wanted.total.plain, 1e-8 * Math.max(1, Math.abs(wanted.total.plain)));
  range("total", found.total.kg_ha, wanted.total.kg_ha);
  range("total, share", found.total.share_percent, wanted.total.share);
  same("judged sources", found.judged.sources, wanted.judged.sources);
  range("judged", found.judged.kg_ha, wanted.judged.kg_ha);
  near("limit", found.limit_kg_ha, wanted.limit_kg_ha, 1e-8 * (wanted.limit_kg_ha ?? 1));
  near("p_over", found.p_over, wanted.p_over, OF_PROBABILITY);
  same("verdict", found.verdict, wanted.verdict);
  range("money per hour", found.money.per_hour, wanted.per_hour);
  near("unthreshed", found.unthreshed_percent, wanted.unthreshed, 1e-6);
  same("warnings", found.warnings.map((n) => n.key).sort(), [...wanted.warnings].sort());
  same("assumed", found.assumed.map((n) => n.key).sort(), [...wanted.assumed].sort());
  if (wanted.more) {
    const [catches, chance] = wanted.more;
    const ours = found.more_catches;
    const our_chance = found.more_catches_chance ?? 0;
    // Where twelve catches just suffice, or just do not, either may be said.
    const edge = (catches === null) !== (ours === null) && Math.abs(our_chance - chance) < NEAR_CHANCE;
    // Where the chance hardly rises with the number, the first that reaches 0.80 is anybody's.
    const flat = catches !== null && ours !== null && Math.max(our_chance, chance) < 0.8 + NEAR_CHANCE / 2;
    if (!edge && !flat) near("further catches", ours, catches, OF_CATCHES);
  } else {
    same("further catches", found.more_catches_chance, null);
  }
  const of_probability =
    found.p_over === null || wanted.p_over === null ? 0 : Math.abs(found.p_over - wanted.p_over);
  return { faults, of_width, of_probability };
}

/**
 * Whether a quantity is read as Python reads it: the fault, or nothing.
 * @param {any} one
 * @param {number} bushel_kg
 * @returns {string|null}
 */
export function readAlike(one, bushel_kg) {
  const what = `${JSON.stringify(one.text)} as ${one.kinds.join(" or ")}`;
  let found;
  try {
    found = readQuantity(one.text, one.kinds, "it", bushel_kg);
  } catch (error) {
    if (!(error instanceof Error) || error.name !== "InputError") throw error;
    return one.refused ? null : `${what}: refused (${error.message}), not ${one.value}`;
  }
  if (one.refused) return `${what}: ${found.value} ${found.unit}, but Python says it ${one.refused}`;
  const close = (/** @type {number} */ a, /** @type {number} */ b) => Math.abs(a - b) <= 1e-14 * Math.abs(b);
  const alike = close(found.value, one.value) && close(found.step, one.step);
  if (alike && found.unit === one.unit && found.kind === one.kind && found.currency === (one.currency ?? "")) return null;
  return `${what}: ${JSON.stringify(found)}, not ${JSON.stringify(one)}`;
}
