// @ts-check
/**
 * From a check's numbers to what the mathematics sees: readings, exposures and the crop's figures.
 *
 * Twin of chaffinch.book.checks.catches.
 */

import { cutWidth, dischargeWidth } from "./agreement.js";
import { flatLayerGramsPerCm2, headsAsReading, moistureFactor, read, together } from "./catch.js";
import { InputError } from "./errors.js";
import {
  GRAMS_PER_KG_HA_M2,
  SOURCES,
  WIDTH_SD,
  acrossWholeCut,
  behind,
  inDischarge,
  inHeaderStrip,
  inStandingCrop,
  inWindrow,
  leaking,
  makeCatch,
  profile,
} from "./exposure.js";

/** @typedef {import("./table.js").Check} Check */
/** @typedef {import("./catchtable.js").CheckCatch} CheckCatch */
/** @typedef {import("./catchtable.js").Amount} Amount */
/** @typedef {import("./exposure.js").Catch} Catch */

/** A single catch that stands for more than this is taken for a slip [kg/ha]; own figure. */
const MOST_LOSS_KG_HA = 4000;

/**
 * @typedef {object} Prepared
 * @property {Catch[]} catches      pans at offsets of one run have become one
 * @property {string[]} places
 * @property {number[][]} numbers   which catches of the check each one stands for
 * @property {number} width_sd
 * @property {number|null} cut_m
 * @property {number|null} discharge_m
 * @property {string[]} assumed     figures nobody measured on this crop: "tkw", "test-weight", "seed-size"
 */

/** @param {Check} check @returns {Prepared} */
export function prepare(check) {
  const cut_m = cutWidth(check);
  const discharge_m = dischargeWidth(check);
  /** @type {Prepared} */
  const ready = {
    catches: [],
    places: [],
    numbers: [],
    width_sd: WIDTH_SD[check.combine?.widths_taped ? "taped" : "guessed"],
    cut_m,
    discharge_m,
    assumed: assumedOf(check),
  };
  /** @param {Catch} one @param {string} place @param {number[]} numbers */
  const add = (one, place, numbers) => {
    refuseAbsurd(one, numbers[0]);
    ready.catches.push(one);
    ready.places.push(place);
    ready.numbers.push(numbers);
  };
  for (const one of check.catches) {
    if (one.offset_m === null) {
      add(makeCatch(readingOf(one, check), exposureOf(one, check, cut_m, discharge_m), one.variation), one.place, [one.number]);
    }
  }
  const placed = check.catches.filter((one) => one.offset_m !== null);
  for (const run of new Set(placed.map((one) => one.run))) {
    const members = placed.filter((one) => one.run === run);
    add(profileOf(members, check, cut_m, discharge_m), "discharge", members.map((one) => one.number));
  }
  return ready;
}

/** Refuse a catch that no field could have lost. @param {Catch} one @param {number} number */
function refuseAbsurd({ reading, exposure }, number) {
  const area = Math.max(...SOURCES.map((s) => exposure.area_m2[s]));
  const loss = reading.mass_g / (GRAMS_PER_KG_HA_M2 * area);
  if (loss > MOST_LOSS_KG_HA) {
    const problem = `stands for a loss of ${loss.toFixed(0)} kg/ha or more, beyond the ${MOST_LOSS_KG_HA} that can be meant`;
    const mend = "check amount and unit, pan, widths and subsample";
    throw new InputError(`catch ${number}`, `${reading.mass_g.toFixed(0)} g of seed`, problem, mend);
  }
}

/** @param {Check} check */
function assumedOf(check) {
  const kinds = check.catches.flatMap((one) => [one.amount.kind, ...(one.unthreshed ? [one.unthreshed.kind] : [])]);
  const counted = kinds.includes("counted") || check.catches.some((one) => one.heads);
  return [
    ...(check.tkw_g === null && counted ? ["tkw"] : []),
    ...(check.test_weight_kg_hl === null && kinds.includes("measured") ? ["test-weight"] : []),
    ...(kinds.includes("flat") ? ["seed-size"] : []),
  ];
}

/** Grams of seed per unit read. @param {string} kind @param {Check} check @param {string} field */
function gramPerUnit(kind, { crop, test_weight_kg_hl }, field) {
  if (kind === "measured") return (test_weight_kg_hl ?? crop.test_weight_kg_hl) / 100;
  if (kind !== "flat") return 1;
  const { round_seed, seed_diameter_mm, kernel_density_g_cm3 } = crop;
  if (!round_seed || !seed_diameter_mm || !kernel_density_g_cm3) {
    throw new InputError(field, "flat", `${crop.name} is no round seed`, "weigh, measure or count the catch");
  }
  return flatLayerGramsPerCm2(seed_diameter_mm, kernel_density_g_cm3);
}

/** @param {CheckCatch} one @param {Check} check */
function readingOf(one, check) {
  const tkw_g = check.tkw_g ?? check.crop.tkw_g;
  const tkw_measured = check.tkw_g !== null;
  /** @param {Amount} amount @param {number} clean @param {number} subsample */
  const part = ({ kind, value, step }, clean, subsample) => {
    let moisture_factor = 1;
    if (one.moisture_pct !== null && kind !== "counted") {
      if (check.market_moisture_pct === null) {
        throw new InputError(`catch ${one.number}, moisture`, one.moisture_pct, "needs the market moisture", "add market_moisture");
      }
      moisture_factor = moistureFactor(one.moisture_pct, check.market_moisture_pct);
    }
    const gram_per_unit = gramPerUnit(kind, check, `catch ${one.number}, amount`);
    return read(kind, value, step, { tkw_g, tkw_measured, gram_per_unit, moisture_factor, clean, subsample });
  };
  const readings = [part(one.amount, one.clean, one.subsample)];
  // Heads are picked out of the whole catch and rubbed clean.
  if (one.unthreshed) readings.push(part(one.unthreshed, 1, 1));
  // No heads at all is good news, not a reading: it adds neither seed nor doubt.
  if (one.heads && one.seeds_per_head !== null) {
    readings.push(headsAsReading(one.heads, one.seeds_per_head, tkw_g, tkw_measured));
  }
  return together(readings, readings.map((_, i) => i > 0));
}

/** @param {CheckCatch} one @param {Check} check @param {number|null} cut_m @param {number|null} discharge_m */
function exposureOf(one, check, cut_m, discharge_m) {
  const field = `catch ${one.number}`;
  if (one.place === "windrow" || one.place === "leak") {
    if (cut_m === null) throw new InputError(field, one.place, "needs the cut width", "give the combine's cut_width");
    if (one.place === "windrow" && one.length_m !== null) return inWindrow(one.length_m, cut_m);
    if (one.seconds !== null && check.speed_kmh !== null) return leaking(one.seconds, check.speed_kmh, cut_m);
    throw new InputError(field, one.place, "needs its length, or time and speed", "give what is missing");
  }
  if (!one.pan) throw new InputError(`${field}, pan`, null, "is missing", 'add pan = "4 ft2"');
  const { area_m2, width_m } = one.pan;
  if (one.place === "standing") return inStandingCrop(area_m2);
  if (one.place === "header strip") return inHeaderStrip(area_m2);
  if (one.place === "whole cut") return acrossWholeCut(area_m2);
  if (cut_m === null || discharge_m === null) {
    throw new InputError(field, one.place, "needs cut and discharge width", "give the combine's cut_width and drop_width");
  }
  const place = one.place === "discharge" ? inDischarge : behind;
  return place(area_m2, width_m, cut_m, discharge_m, check.spreading === true);
}

/** @param {CheckCatch[]} members @param {Check} check @param {number|null} cut_m @param {number|null} discharge_m */
function profileOf(members, check, cut_m, discharge_m) {
  const field = `catch ${members[0].number}`;
  if (cut_m === null || discharge_m === null) {
    throw new InputError(field, "offset", "needs cut and discharge width", "give the combine's cut_width and drop_width");
  }
  if (new Set(members.map((one) => one.variation)).size > 1) {
    const mend = "give every pan of a run the same, or none";
    throw new InputError(`${field}, variation`, null, "differs within one run", mend);
  }
  return profile(
    members.map((one) => readingOf(one, check)),
    members.map((one) => one.pan?.area_m2 ?? NaN),
    members.map((one) => one.offset_m ?? NaN),
    cut_m,
    discharge_m,
    members[0].variation,
  );
}
