// @ts-check
/**
 * What does one catch of a check file say: its place, its pan, its reading?
 *
 * Twin of chaffinch.records.catchtable: what concerns a catch alone is judged here.
 */

import { AMOUNTS, Entries, PAN_AREA, STEPS } from "./entries.js";
import { InputError } from "./errors.js";

/** @typedef {import("./types.js").CropFigures} CropFigures */
/** @typedef {import("./units.js").Quantity} Quantity */
/** @typedef {"weighed"|"measured"|"counted"|"flat"} ReadingKind */
/** @typedef {{kind: ReadingKind, value: number, step: number, step_inferred: boolean}} Amount */
/** @typedef {{area_m2: number, width_m: number|null}} Pan */

export const PLACES = ["standing", "header strip", "discharge", "behind", "whole cut", "windrow", "leak"];

/** @type {{[kind: string]: ReadingKind}} */
const READ_AS = { mass: "weighed", volume: "measured", seeds: "counted", flat_area: "flat" };

/**
 * @typedef {object} CheckCatch
 * @property {number} number
 * @property {string} place
 * @property {Amount} amount
 * @property {Pan|null} pan
 * @property {number} subsample
 * @property {number} clean
 * @property {number|null} moisture_pct
 * @property {Amount|null} unthreshed
 * @property {number|null} heads
 * @property {number|null} seeds_per_head
 * @property {number|null} offset_m
 * @property {number} run
 * @property {number|null} length_m
 * @property {number|null} seconds
 * @property {number|null} variation
 */

/** @typedef {{crop: CropFigures, pan: Pan|null, step_g: number|null, moisture_pct: number|null}} Defaults */

/** @param {unknown} table @param {number} number @param {Defaults} defaults @returns {CheckCatch} */
export function catchOf(table, number, defaults) {
  const entries = new Entries(table, "catch", `catch ${number}`);
  const place = entries.text("place").toLowerCase().replace(/[_-]/g, " ").replace(/\s+/g, " ");
  if (!place) throw new InputError(`catch ${number}, place`, null, "is missing", `write one of ${PLACES.join(", ")}`);
  if (!PLACES.includes(place)) throw entries.wrong("place", "is not a place we know", `write one of ${PLACES.join(", ")}`);
  const amount = readingOf(entries, defaults);
  const unthreshed = unthreshedOf(entries, amount, defaults);
  const clean = entries.part("clean");
  if (clean < 1 && amount.kind === "counted") {
    throw entries.wrong("clean", "does not go with a count", "count seeds only and leave clean out");
  }
  const [heads, seeds_per_head] = [entries.number("heads", true), entries.number("seeds_per_head")];
  if ((heads === null) !== (seeds_per_head === null)) {
    const [there, missing] = heads === null ? ["seeds_per_head", "heads"] : ["heads", "seeds_per_head"];
    throw new InputError(entries.field(missing), null, `is missing beside ${there}`, `give both, or leave ${there} out`);
  }
  if (heads !== null && unthreshed) {
    const mend = "keep unthreshed for heads rubbed out, or heads for heads counted";
    throw entries.wrong("heads", "is given beside unthreshed, which would count that seed twice", mend);
  }
  const alone = place === "windrow" || place === "leak";
  for (const key of alone ? ["pan", "width", ...(place === "leak" ? ["length"] : [])] : []) {
    if (entries.has(key)) throw entries.wrong(key, `does not go with the place ${place}`, "leave it out");
  }
  if (place !== "leak" && entries.has("time")) throw entries.wrong("time", "belongs to a leak", "leave it out");
  if (place !== "discharge" && entries.has("offset")) {
    throw entries.wrong("offset", `does not go with the place ${place}`, "leave it out; only pans in the discharge make a profile");
  }
  const pan = alone ? null : (panOf(entries, "pan") ?? defaults.pan);
  if (!alone && !pan) {
    throw new InputError(entries.field("pan"), null, "is missing", 'write pan = "4 ft2", or width and length');
  }
  for (const [needed, key, what] of [["windrow", "length", "metres shaken out"], ["leak", "time", "time caught"]]) {
    if (place === needed && !entries.has(key)) {
      throw new InputError(entries.field(key), null, `is missing for a ${place}`, `give the ${what}`);
    }
  }
  entries.text("note");
  entries.text("bag");
  return {
    number,
    place,
    amount,
    pan,
    subsample: entries.part("subsample"),
    clean,
    moisture_pct: entries.value("moisture") ?? defaults.moisture_pct,
    unthreshed,
    heads,
    seeds_per_head,
    offset_m: entries.value("offset"),
    run: entries.number("run", true) ?? 1,
    length_m: place === "windrow" ? entries.value("length") : null,
    seconds: place === "leak" ? entries.value("time") : null,
    variation: entries.number("variation"),
  };
}

/** @param {Entries} entries @param {string} area_key @returns {Pan|null} */
export function panOf(entries, area_key) {
  const sides = ["width", "length"].filter((key) => entries.has(key));
  if (entries.has(area_key)) {
    if (sides.length) throw entries.wrong(sides[0], `is given beside ${area_key}`, `keep ${area_key}, or width and length`);
    return { area_m2: /** @type {number} */ (entries.value(area_key)), width_m: null };
  }
  if (!sides.length) return null;
  const [width, length] = [entries.value("width"), entries.value("length")];
  if (width === null || length === null) {
    const missing = width === null ? "width" : "length";
    throw new InputError(entries.field(missing), null, `is missing beside ${sides[0]}`, `write ${missing} = "2 ft"`);
  }
  const area_m2 = width * length;
  if (area_m2 < PAN_AREA[0] || area_m2 > PAN_AREA[1]) {
    throw entries.wrong("width", `times length makes ${area_m2.toPrecision(4)} m2, beyond what can be meant`, "check both numbers and units");
  }
  return { area_m2, width_m: width };
}

/** @param {Entries} entries @param {Defaults} defaults @returns {Amount} */
function readingOf(entries, defaults) {
  const parts = ["gross", "tare"].filter((key) => entries.has(key));
  const found = entries.amount("amount", AMOUNTS);
  if (found) {
    if (parts.length) throw entries.wrong(parts[0], "is given beside amount", "keep amount, or gross and tare");
    mustSuit(entries, "amount", found, defaults.crop);
    return withStep(entries, "amount", found.value, found.kind, found.step, "step", defaults);
  }
  const [gross, tare] = [entries.quantity("gross"), entries.quantity("tare")];
  if (!gross || !tare) {
    const missing = parts.length ? (gross ? "tare" : "gross") : "amount";
    const mend = 'write amount = "12.5 g" (g, oz, mL, seeds or cm2 flat), or gross and tare';
    throw new InputError(entries.field(missing), null, "is missing", mend);
  }
  if (gross.value < tare.value) {
    throw entries.wrong("gross", `is less than the tare of ${tare.text.trim()}`, "check both; they may be swapped");
  }
  // A microgram, far below any scale, sheds the binary dust of the difference.
  const seed_g = Math.round((gross.value - tare.value) * 1e6) / 1e6;
  if (seed_g > AMOUNTS.mass[1]) {
    throw entries.wrong("gross", "less tare is beyond what can be meant", "check both and their units");
  }
  return withStep(entries, "gross", seed_g, "mass", Math.max(gross.step, tare.step), "step", defaults);
}

/** @param {Entries} entries @param {Amount} amount @param {Defaults} defaults @returns {Amount|null} */
function unthreshedOf(entries, amount, defaults) {
  const found = entries.amount("unthreshed", AMOUNTS);
  if (!found) {
    for (const key of ["unthreshed_step", "unthreshed_step_inferred"]) {
      if (entries.has(key)) throw entries.wrong(key, "stands without unthreshed", `leave ${key} out`);
    }
    return null;
  }
  mustSuit(entries, "unthreshed", found, defaults.crop);
  const kind = READ_AS[found.kind];
  if (!entries.has("unthreshed_step") && entries.has("step") && kind === amount.kind && kind !== "counted") {
    return { ...amount, value: found.value };
  }
  return withStep(entries, "unthreshed", found.value, found.kind, found.step, "unthreshed_step", defaults);
}

/**
 * The reading with its step: stated, else the scale's, else the one its digits imply.
 * @param {Entries} entries
 * @param {string} key
 * @param {number} value
 * @param {string} kind        kind of quantity
 * @param {number} digits_step
 * @param {string} step_key
 * @param {Defaults} defaults
 * @returns {Amount}
 */
function withStep(entries, key, value, kind, digits_step, step_key, defaults) {
  const flag_key = `${step_key}_inferred`;
  const flagged = entries.flag(flag_key);
  const how = READ_AS[kind];
  if (kind === "seeds") {
    const stated = entries.amount(step_key, { seeds: AMOUNTS.seeds }, true);
    if ((stated && stated.value !== 1) || flagged) {
      throw entries.wrong(flagged ? flag_key : step_key, "does not go with a count, which is exact", "leave it out");
    }
    return { kind: how, value, step: 1, step_inferred: false };
  }
  const stated = entries.amount(step_key, STEPS, true);
  if (stated) {
    if (stated.kind !== kind) throw entries.wrong(step_key, `is of another kind than ${key}`, 'write it like "0.1 g"');
    return { kind: how, value, step: stated.value, step_inferred: flagged ?? false };
  }
  if (flagged !== null) throw entries.wrong(flag_key, `stands without ${step_key}`, `give ${step_key} too`);
  if (kind === "mass" && defaults.step_g !== null) {
    return { kind: how, value, step: defaults.step_g, step_inferred: false };
  }
  const [low, high] = STEPS[kind];
  if (digits_step < low || digits_step > high) {
    const side = digits_step < low ? `finer than ${low}` : `coarser than ${high}`;
    throw entries.wrong(key, `is written to a step ${side}`, `write only the digits read, or write ${step_key}`);
  }
  return { kind: how, value, step: digits_step, step_inferred: true };
}

/** @param {Entries} entries @param {string} key @param {Quantity} found @param {CropFigures} crop */
function mustSuit(entries, key, found, crop) {
  if (found.kind === "flat_area" && !crop.round_seed) {
    const problem = `is a flat layer, and the seed of ${crop.name} is not round`;
    throw entries.wrong(key, problem, "weigh it, measure it in mL, or count the seeds");
  }
}
