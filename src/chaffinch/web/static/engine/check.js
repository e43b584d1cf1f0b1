// @ts-check
/**
 * Answer a check on the phone: how much was lost, where, what it costs, and whether it is over the limit.
 *
 * Twin of chaffinch.book.checks.answer; the answer has the shape of `chaffinch check FILE --json`. It reads no clock, no
 * network and no storage: the same table, setup and seed give the same figures.
 */

import { mustAgree } from "./agreement.js";
import { sum } from "./catch.js";
import { DrawBelief, defaultPrior, estimate, logPrior, rangeOf, times, verdict } from "./estimate.js";
import { tablesOf } from "./evidence.js";
import { sourcesSeen } from "./exposure.js";
import { assumedOf, warningsOf } from "./notices.js";
import { plain } from "./plain.js";
import { MOST_FURTHER, furtherCatches, prospectOfJoint, prospectOfOneSource } from "./plan.js";
import { prepare } from "./prepare.js";
import { roomFor } from "./sampler.js";
import { commonScaleSd, locate } from "./sources.js";
import { readTable } from "./table.js";
import { KINDS } from "./factors.js";
import { worthOf } from "./units.js";

/** @typedef {import("./types.js").Answer} Answer */
/** @typedef {import("./types.js").Loss} Loss */
/** @typedef {import("./types.js").Options} Options */
/** @typedef {import("./types.js").Range} Range */
/** @typedef {import("./types.js").Setup} Setup */
/** @typedef {import("./types.js").Table} Table */
/** @typedef {import("./table.js").Check} Check */
/** @typedef {import("./prepare.js").Prepared} Prepared */
/** @typedef {import("./exposure.js").Source} Source */
/** @typedef {import("./estimate.js").GridBelief} GridBelief */
/** @typedef {import("./sources.js").Joint} Joint */

/** Probability at the ends of the grid from which the sampler answers in its place [1]. */
const CUT_OFF = 0.001;
const KG_PER_T = 1000;

/**
 * Whether a table can be answered at all: everything but the estimate.
 * @param {Table} table
 * @param {Setup} setup
 * @throws {import("./errors.js").InputError} when the table says something that cannot be used
 */
export function examine(table, setup) {
  const check = readTable(table, setup);
  mustAgree(check);
  plain(prepare(check).catches);
}

/**
 * The limit in the unit that losses are shown in.
 * @param {Table} table
 * @param {Setup} setup
 * @returns {{value: number, unit: string} | null}  null where none is set
 * @throws {import("./errors.js").InputError} when the table says something that cannot be used
 */
export function limitOf(table, setup) {
  const check = readTable(table, setup);
  return check.limit_kg_ha === null ? null : { value: check.limit_kg_ha * measures(check).factor, unit: check.trade_unit };
}

/**
 * Answer a check.
 * @param {Table} table     a check file as JSON (docs/check-file.md)
 * @param {Setup} setup     the crops of /api/v1/setup
 * @param {Options} [options]
 * @returns {Answer}
 * @throws {import("./errors.js").InputError} when the table says something that cannot be used
 * @throws {import("./errors.js").SamplerError} when the catches contradict each other beyond what the model can hold
 */
export function answer(table, setup, { seed = 1, further = true } = {}) {
  const check = readTable(table, setup);
  mustAgree(check);
  const ready = prepare(check);
  const textbook = plain(ready.catches);
  const posterior = posteriorOf(check, ready, seed);
  const { seen } = posterior;
  const reachable = seen.filter((s) => s !== "standing");
  const judged = reachable.length ? reachable : seen;
  const belief = posterior.of(judged);
  const judged_range = rangeOf(belief);
  const asked = check.limit_kg_ha !== null && (judged.includes("header") || judged.includes("machine"));
  const p_over = asked && check.limit_kg_ha !== null ? belief.probabilityAbove(check.limit_kg_ha) : null;
  const said = p_over === null ? null : verdict(p_over);
  const next =
    further && said === "unsettled" && check.limit_kg_ha !== null
      ? soonest(ready, posterior, judged, check.limit_kg_ha, seed)
      : null;
  const measure = measures(check);
  const per_ha = check.price_per_t === null ? null : times(judged_range, check.price_per_t / KG_PER_T);
  const capacity_ha_h = capacityOf(check, ready);
  return {
    crop: check.crop.key,
    sources: Object.fromEntries(
      seen.map((s) => [s, lossOf(posterior, [s], textbook.by_source[s], check, measure)]),
    ),
    total: lossOf(posterior, seen, textbook.total, check, measure),
    judged: {
      sources: judged,
      kg_ha: judged_range,
      trade: measure.trade(judged_range),
      money_per_area: measure.money(judged_range),
    },
    limit_kg_ha: check.limit_kg_ha,
    limit_trade: check.limit_kg_ha === null ? null : check.limit_kg_ha * measure.factor,
    verdict: said,
    p_over,
    more_catches: next?.outlook.catches ?? null,
    more_catches_chance: next?.outlook.chance ?? null,
    more_catches_like: next?.like ?? null,
    unthreshed_percent: unthreshedPercent(check, ready),
    width_ratio: ready.cut_m !== null && ready.discharge_m !== null ? ready.cut_m / ready.discharge_m : null,
    money: {
      currency: check.currency,
      per_hour: per_ha && capacity_ha_h !== null ? times(per_ha, capacity_ha_h) : null,
      per_field: per_ha && check.field_area_ha !== null ? times(per_ha, check.field_area_ha) : null,
    },
    warnings: warningsOf(check, ready, textbook, seen, judged, posterior.learned),
    assumed: assumedOf(check, ready, seen),
    catches: ready.catches.length,
  };
}

/**
 * The posterior on the grid for a single source read one way, as joint draws otherwise.
 * @typedef {object} Posterior
 * @property {Source[]} seen
 * @property {{[source: string]: number}} learned
 * @property {(sources: string[]) => GridBelief|DrawBelief} of
 * @property {Joint|null} joint
 * @property {{[source: string]: number}} part_pct
 * @property {{[source: string]: number}} p_largest
 * @property {(like: import("./exposure.js").Catch, judged: string[], seed: number) => import("./plan.js").Prospect} prospect
 */

/** @param {Check} check @param {Prepared} ready @param {number} seed @returns {Posterior} */
function posteriorOf(check, { catches, width_sd }, seed) {
  const seen = sourcesSeen(catches);
  const priors = Object.fromEntries(seen.map((s) => [s, defaultPrior(s, check.yield_kg_ha)]));
  const scale_sd = commonScaleSd(catches, width_sd);
  if (seen.length === 1 && scale_sd !== null) {
    const [source] = seen;
    const { tables, total } = tablesOf(catches, source, logPrior(priors[source]));
    const belief = estimate(total, priors[source], scale_sd);
    // A loss that may lie beyond the grid (a drip, a disaster) is left to the sampler, which has no ends.
    if (belief.atTheEnds() <= CUT_OFF) {
      return {
        seen,
        learned: { [source]: 1 - belief.sdLog() / priors[source].sd_log },
        of: () => belief,
        joint: null,
        part_pct: { [source]: 100 },
        p_largest: { [source]: 1 },
        prospect: (like, _, chance) => prospectOfOneSource({ tables, total }, source, priors[source], scale_sd, like, chance),
      };
    }
  }
  const joint = locate(catches, priors, width_sd, seed);
  return {
    seen,
    learned: joint.learned,
    of: (sources) => joint.of(sources),
    joint,
    part_pct: joint.partOfLossPct(),
    p_largest: joint.pLargest(),
    prospect: (like, judged, chance) => prospectOfJoint(joint, like, judged, chance),
  };
}

/**
 * @param {Posterior} posterior
 * @param {Source[]} sources
 * @param {number|null} plain_kg_ha
 * @param {Check} check
 * @param {ReturnType<typeof measures>} measure
 * @returns {Loss}
 */
function lossOf(posterior, sources, plain_kg_ha, check, measure) {
  const kg_ha = rangeOf(posterior.of(sources));
  return {
    plain_kg_ha,
    kg_ha,
    trade: measure.trade(kg_ha),
    share_percent: check.yield_kg_ha === null ? null : shareOf(posterior, sources, kg_ha, check.yield_kg_ha),
    money_per_area: measure.money(kg_ha),
    part_of_loss_percent: sum(sources.map((s) => posterior.part_pct[s])),
    p_largest: sources.length === 1 ? posterior.p_largest[sources[0]] : 1,
  };
}

/** Percent of (harvested + lost): per draw where there are draws, since part and whole move together. */
/** @param {Posterior} posterior @param {Source[]} sources @param {Range} kg_ha @param {number} yield_kg_ha */
function shareOf({ joint, seen }, sources, kg_ha, yield_kg_ha) {
  /** @param {number} loss */
  const alone = (loss) => (100 * loss) / (yield_kg_ha + loss);
  // The share of the whole rises with it, so its percentiles are those of the whole.
  if (!joint || sources.length === seen.length) return { low: alone(kg_ha.low), median: alone(kg_ha.median), high: alone(kg_ha.high) };
  const whole = joint.of(seen).values;
  const part = joint.of(sources).values;
  const share = roomFor("share", part.length);
  for (let i = 0; i < share.length; i += 1) share[i] = (100 * part[i]) / (yield_kg_ha + whole[i]);
  return rangeOf(new DrawBelief(share, joint.weights));
}

/** A loss in the person's own unit, and as money per the same land unit. @param {Check} check */
function measures(check) {
  const unit = check.trade_unit;
  const factor = 1 / worthOf(unit, "area_mass", "report_in", unit, check.bushel_kg);
  const land = unit.endsWith("/ac") ? "ac" : "ha";
  const money = check.price_per_t === null ? null : (check.price_per_t / KG_PER_T) * KINDS.land.units[land];
  return {
    factor,
    /** @param {Range} kg_ha */
    trade: (kg_ha) => ({ unit, ...times(kg_ha, factor) }),
    /** @param {Range} kg_ha */
    money: (kg_ha) => (money === null ? null : { unit: `/${land}`, ...times(kg_ha, money) }),
  };
}

/** Land cut in an hour of cutting [ha/h]: km/h times m over ten. @param {Check} check @param {Prepared} ready */
function capacityOf(check, ready) {
  // A pick-up follows one windrow at a time: the windrower's width is what it brings in.
  const width_m = check.windrowed ? ready.cut_m : (check.working_width_m ?? check.combine?.cut_width_m ?? ready.cut_m);
  return check.speed_kmh === null || width_m === null ? null : (check.speed_kmh * width_m) / 10;
}

/** @param {Check} check @param {Prepared} ready */
function unthreshedPercent(check, { catches }) {
  if (check.catches.every((one) => one.unthreshed === null && one.heads === null)) return null;
  const mass = sum(catches.map((c) => c.reading.mass_g));
  return mass ? (100 * sum(catches.map((c) => c.reading.unthreshed_g))) / mass : null;
}

/**
 * Try one more catch like each kind taken, and keep the kind that settles the verdict soonest.
 * @param {Prepared} ready
 * @param {Posterior} posterior
 * @param {Source[]} judged
 * @param {number} limit_kg_ha
 * @param {number} seed
 */
function soonest(ready, posterior, judged, limit_kg_ha, seed) {
  /** @type {{outlook: import("./plan.js").Outlook, like: number}|null} */
  let best = null;
  const tried = new Set();
  for (const [i, one] of ready.catches.entries()) {
    const key = `${ready.places[i]} ${one.alike}`;
    if (tried.has(key) || !judged.some((s) => one.exposure.area_m2[s] > 0)) continue;
    tried.add(key);
    // Of another kind no more catches are of interest than of the best so far.
    const most = best?.outlook.catches ?? MOST_FURTHER;
    const outlook = furtherCatches(posterior.prospect(one, judged, seed), limit_kg_ha, seed, most);
    const far = Infinity;
    const [a, b] = [outlook.catches ?? far, best?.outlook.catches ?? far];
    if (!best || a < b || (a === b && outlook.chance > best.outlook.chance)) {
      best = { outlook, like: ready.numbers[i][0] };
    }
  }
  return best;
}
