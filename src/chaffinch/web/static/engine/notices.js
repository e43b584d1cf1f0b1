// @ts-check
/**
 * What should a person know before trusting a check: warnings, and figures that were assumed.
 *
 * Keys and facts as chaffinch.book.checks.notices finds them; the sentences belong to the page that shows them.
 */

import { sum } from "./catch.js";
import { GRAMS_PER_KG_HA_M2 } from "./exposure.js";

/** @typedef {import("./table.js").Check} Check */
/** @typedef {import("./prepare.js").Prepared} Prepared */
/** @typedef {import("./plain.js").Plain} Plain */
/** @typedef {import("./types.js").Notice} Notice */

/** Below this narrowing of ln(loss) the catches are said to tell nothing about a source [1]; own figure. */
const LITTLE_LEARNED = 0.2;
/** Seeds in all below which a count says little [1]. */
const FEW_SEEDS = 10;
/** Largest over smallest reading of catches taken alike that is pointed out [1]; own figure. */
const UNEVEN_RATIO = 4;
/** Largest over smallest mean of places that see the same loss that is pointed out [1]; own figure. */
const DISAGREE_RATIO = 2.5;
/** Half a step may be this share of the limit before the kit is called too coarse [1]. */
const RESOLVED_SHARE = 0.25;

/**
 * Warnings, the ones that change the meaning of the number foremost.
 * @param {Check} check
 * @param {Prepared} ready
 * @param {Plain} plain
 * @param {string[]} seen
 * @param {string[]} judged
 * @param {{[source: string]: number}} learned
 * @returns {Notice[]}
 */
export function warningsOf(check, ready, plain, seen, judged, learned) {
  return [
    ...aboutPlaces(check, ready, plain, seen, learned),
    ...aboutKit(check, ready, judged),
    ...aboutReadings(ready),
  ];
}

/** @param {string} key @param {{[key: string]: any}} [facts] @returns {Notice} */
const notice = (key, facts = {}) => ({ key, facts });

/**
 * @param {Check} check
 * @param {Prepared} ready
 * @param {Plain} plain
 * @param {string[]} seen
 * @param {{[source: string]: number}} learned
 */
function* aboutPlaces(check, ready, plain, seen, learned) {
  const [header, machine] = [seen.includes("header"), seen.includes("machine")];
  if (machine && !header) yield notice(check.windrowed ? "machine-only-windrowed" : "machine-only");
  if (header && !machine) yield notice("header-only");
  if (seen.join() === "standing") yield notice("standing-only");
  if (seen.join() === "leak") yield notice("leak-only");
  else if (seen.includes("leak")) yield notice("leak-apart");
  const blurred = seen.length > 1 ? seen.filter((s) => learned[s] < LITTLE_LEARNED) : [];
  if (blurred.length) yield notice("not-told-apart", { sources: blurred });
  if (plain.left_in.includes("standing-left-in")) yield notice("standing-left-in");
  if (plain.left_in.includes("header-left-in")) yield notice("header-left-in");
  for (const source of ["header", "machine"]) {
    const value = plain.by_source[source];
    if (value !== null && value < 0) yield notice("negative-plain", { source, kg_ha: value });
  }
  const on = ready.numbers.filter((_, i) => ready.catches[i].exposure.taken === "spread");
  if (on.length === 1 && on[0].length === 1) yield notice("one-position-spreading");
  if (check.working_width_m !== null) yield notice("part-width", { width_m: check.working_width_m });
}

/** @param {Check} check @param {Prepared} ready @param {string[]} judged */
function* aboutKit(check, ready, judged) {
  if (check.limit_kg_ha !== null) {
    for (const [i, { reading, exposure }] of ready.catches.entries()) {
      const area = Math.max(...judged.map((s) => exposure.area_m2[/** @type {"machine"} */ (s)]));
      // Pans at offsets that were counted are one catch without a count of its own.
      const step_g = (reading.count === null ? reading.step_g : 1 / reading.seeds_per_g) || reading.seed_g;
      const smallest_kg_ha = step_g / 2 / (GRAMS_PER_KG_HA_M2 * area);
      if (area > 0 && smallest_kg_ha > RESOLVED_SHARE * check.limit_kg_ha) {
        yield notice("coarse-kit", { catch: ready.numbers[i][0], smallest_kg_ha });
        break;
      }
    }
  }
  const counts = ready.catches.map((c) => c.reading.count);
  const seeds = sum(counts.map((n) => n ?? 0));
  if (counts.every((n) => n !== null) && seeds < FEW_SEEDS) yield notice("few-seeds", { seeds });
}

/** @param {Prepared} ready */
function* aboutReadings(ready) {
  /** @type {Map<string, {place: string, values: number[]}>} */
  const alike = new Map();
  /** @type {Map<string, number[]>} */
  const machine_only = new Map();
  ready.catches.forEach(({ reading, exposure: { area_m2 }, alike: how }, i) => {
    const place = ready.places[i];
    const group = alike.get(`${place} ${how}`) ?? { place, values: [] };
    group.values.push(reading.mass_g / Math.max(area_m2.standing, area_m2.machine, area_m2.leak));
    alike.set(`${place} ${how}`, group);
    if (area_m2.standing === 0 && area_m2.machine > 0) {
      machine_only.set(place, [...(machine_only.get(place) ?? []), reading.mass_g / area_m2.machine]);
    }
  });
  for (const { place, values } of alike.values()) {
    const [least, most] = [Math.min(...values), Math.max(...values)];
    // Where nothing fell before harvest, nothing was missed.
    if (most === 0 && place !== "standing") yield notice("all-empty", { place });
    if (least > 0 && most > UNEVEN_RATIO * least) yield notice("uneven", { place, ratio: most / least });
  }
  const means = [...machine_only.values()].map((values) => sum(values) / values.length);
  const [least, most] = [Math.min(...means), Math.max(...means)];
  if (means.length > 1 && least > 0 && most > DISAGREE_RATIO * least) {
    yield notice("places-disagree", { ratio: most / least });
  }
}

/** Figures and terms that were assumed. @param {Check} check @param {Prepared} ready @param {string[]} seen */
export function assumedOf(check, ready, seen) {
  /** @type {Notice[]} */
  const found = [];
  if (check.windrowed && check.combine) found.push(notice("windrower-width-used", { width_m: ready.cut_m }));
  if (check.limit_kg_ha === null && (seen.includes("header") || seen.includes("machine"))) found.push(notice("no-limit"));
  if (check.yield_kg_ha === null) found.push(notice("no-yield"));
  const { crop } = check;
  if (ready.assumed.includes("tkw")) {
    found.push(notice("tkw-from-table", { tkw_g: crop.tkw_g, low_g: crop.tkw_low ?? null, high_g: crop.tkw_high ?? null }));
  }
  if (ready.assumed.includes("test-weight")) found.push(notice("test-weight-from-table", { kg_hl: crop.test_weight_kg_hl }));
  if (ready.assumed.includes("seed-size")) found.push(notice("seed-size-from-table"));
  if (check.catches.some((one) => one.amount.kind === "counted")) found.push(notice("lost-seed-is-lighter"));
  const weighed = check.catches.filter((one) => one.amount.kind !== "counted");
  if (weighed.length && weighed.every((one) => one.moisture_pct === null)) found.push(notice("moisture-as-is"));
  const inferred = weighed.find((one) => one.amount.step_inferred);
  if (inferred) {
    const unit = { weighed: "g", measured: "mL", flat: "cm²", counted: "" }[inferred.amount.kind];
    found.push(notice("step-from-digits", { step: inferred.amount.step, unit }));
  }
  const by_width = ready.catches.some((c) => c.exposure.by_width);
  if (by_width && check.combine && !check.combine.widths_taped) found.push(notice("width-guessed"));
  return found;
}
