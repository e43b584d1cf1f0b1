// @ts-check
/**
 * What does a check-file table say, read into plain numbers?
 *
 * The layout is docs/check-file.md, schema 1, as chaffinch.records reads it. The crop's figures come from the setup. What
 * cannot be used is refused, never guessed.
 */

import { catchOf, panOf } from "./catchtable.js";
import { Entries } from "./entries.js";
import { InputError } from "./errors.js";
import { unitIn, worthOf } from "./units.js";

/** @typedef {import("./types.js").Setup} Setup */
/** @typedef {import("./types.js").CropFigures} CropFigures */
/** @typedef {import("./units.js").Quantity} Quantity */
/** @typedef {import("./catchtable.js").CheckCatch} CheckCatch */

const MOST_CATCHES = 500;

/**
 * @typedef {object} Check
 * @property {CropFigures} crop
 * @property {CheckCatch[]} catches
 * @property {string} trade_unit
 * @property {number|null} bushel_kg
 * @property {number|null} yield_kg_ha
 * @property {number|null} price_per_t
 * @property {number|null} limit_kg_ha
 * @property {string} currency
 * @property {number|null} tkw_g
 * @property {number|null} test_weight_kg_hl
 * @property {number|null} market_moisture_pct
 * @property {{cut_width_m: number, drop_width_m: number|null, spread_width_m: number|null, widths_taped: boolean}|null} combine
 * @property {boolean|null} spreading
 * @property {boolean} windrowed
 * @property {number|null} windrower_width_m
 * @property {number|null} working_width_m
 * @property {number|null} speed_kmh
 * @property {number|null} field_area_ha
 */

/**
 * Read a table into plain numbers; what its parts say together is judged by agreement.js.
 * @param {unknown} table
 * @param {Setup} setup
 * @returns {Check}
 */
export function readTable(table, setup) {
  const top = new Entries(table, "", "");
  const schema = top.raw("schema");
  if (schema !== undefined && schema !== 1) {
    throw new InputError("schema", schema, "is unknown: this program knows schema 1", "write schema = 1, or bring the app up to date");
  }
  const crop = cropOf(top, setup);
  const ours = figuresAreFor(top, setup);
  const bushel_g = top.value("bushel");
  const bushel_kg = bushel_g === null ? (ours ? (crop.bushel_kg ?? null) : null) : bushel_g / 1000;
  const expected = top.quantity("yield", bushel_kg);
  const limit = top.quantity("limit", bushel_kg);
  const price = top.quantity("price", bushel_kg);
  const catches = catchesOf(top, crop);
  return {
    crop,
    catches,
    trade_unit: tradeUnit(top, bushel_kg, limit ?? expected),
    bushel_kg,
    yield_kg_ha: expected?.value ?? null,
    price_per_t: price?.value ?? null,
    limit_kg_ha: limit?.value ?? null,
    currency: top.text("currency") || (price?.currency ?? ""),
    tkw_g: top.value("tkw"),
    test_weight_kg_hl: top.value("test_weight"),
    market_moisture_pct: marketMoisture(top, crop, ours, catches),
    combine: combineOf(top),
    spreading: top.flag("spreading"),
    windrowed: top.flag("windrowed") ?? false,
    windrower_width_m: top.value("windrower_width"),
    working_width_m: top.value("working_width"),
    speed_kmh: top.value("speed"),
    field_area_ha: top.table("field")?.value("area") ?? null,
  };
}

/** @param {string} text */
const folded = (text) => text.toLowerCase().replace(/[^\p{L}\p{N}]/gu, "");

/**
 * The crop of a name: its key, its own name, or one of the others it answers to, in any case and spelling.
 *
 * @template {{key: string, name: string, also?: string[]}} Known
 * @param {Known[]} crops @param {string} name
 */
export function cropCalled(crops, name) {
  const wanted = folded(name);
  return crops.find((one) => [one.key, one.name, ...(one.also ?? [])].some((known) => folded(known) === wanted));
}

/** @param {Entries} top @param {Setup} setup */
function cropOf(top, setup) {
  const name = top.text("crop");
  if (!name) throw new InputError("crop", null, "is missing", 'write crop = "canola"');
  const found = cropCalled(setup.crops, name);
  if (!found) throw top.wrong("crop", "is not a crop this phone knows", "choose one from the list");
  return found;
}

/** Whether bushel and market moisture of the setup, which hold for the farm's country, hold for this check. */
/** @param {Entries} top @param {Setup} setup */
function figuresAreFor(top, setup) {
  const country = top.text("country");
  return !country || country.toUpperCase() === (setup.farm?.country ?? "").toUpperCase();
}

/** @param {Entries} top @param {number|null} bushel_kg @param {Quantity|null} spoken */
function tradeUnit(top, bushel_kg, spoken) {
  const written = top.text("report_in");
  if (!written) return spoken?.unit ?? "kg/ha";
  const unit = unitIn(written, "area_mass");
  if (unit === null) throw top.wrong("report_in", "is not a unit of mass per land", "write kg/ha, lb/ac or bu/ac");
  worthOf(unit, "area_mass", "report_in", written, bushel_kg);
  return unit;
}

/** @param {Entries} top @param {CropFigures} crop @param {boolean} ours @param {CheckCatch[]} catches */
function marketMoisture(top, crop, ours, catches) {
  const stated = top.value("market_moisture");
  if (stated !== null) return stated;
  const asking = catches.find(
    (one) => one.moisture_pct !== null && (one.amount.kind !== "counted" || (one.unthreshed?.kind ?? "counted") !== "counted"),
  );
  if (!asking) return null;
  const known = ours ? (crop.market_moisture_pct ?? null) : null;
  if (known === null) {
    const problem = `is needed, since catch ${asking.number} has a moisture`;
    throw new InputError("market_moisture", null, problem, 'name the country, or write market_moisture = "10 %"');
  }
  return known;
}

/** @param {Entries} top */
function combineOf(top) {
  const table = top.table("combine");
  if (!table) return null;
  const cut_width_m = table.value("cut_width");
  if (cut_width_m === null) {
    throw new InputError("combine, cut_width", null, "is missing", 'write cut_width = "40 ft"');
  }
  table.text("name");
  return {
    cut_width_m,
    drop_width_m: table.value("drop_width"),
    spread_width_m: table.value("spread_width"),
    widths_taped: table.flag("widths_taped") ?? false,
  };
}

/** @param {Entries} top @param {CropFigures} crop */
function catchesOf(top, crop) {
  const pan_table = top.table("pan");
  const pan = pan_table && panOf(pan_table, "area");
  if (pan_table && !pan) throw new InputError("pan, area", null, "is missing", 'write area = "4 ft2", or width and length');
  const scale = top.table("scale");
  const step_g = scale ? scale.value("step") : null;
  if (scale && step_g === null) throw new InputError("scale, step", null, "is missing", 'write step = "0.1 g"');
  const listed = top.raw("catch");
  if (!Array.isArray(listed) || !listed.length) {
    throw new InputError("catch", null, "is missing", "give a list of catches, each with place and amount");
  }
  if (listed.length > MOST_CATCHES) {
    throw new InputError("catch", null, `has ${listed.length} catches`, `a check has ${MOST_CATCHES} at most: split it`);
  }
  const defaults = { crop, pan, step_g, moisture_pct: top.value("moisture") };
  return listed.map((table, i) => catchOf(table, i + 1, defaults));
}
