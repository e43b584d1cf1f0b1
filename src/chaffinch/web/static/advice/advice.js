// @ts-check
/**
 * What is most likely wrong, what would tell, and which step is worth trying, on the phone.
 *
 * Twin of chaffinch.engine.advice.causes, advice_split and advice_changes (docs/method/advice.md), over the ranges of the
 * phone's own estimate; the table comes with the book's set-up. It reads no clock, no network and no storage.
 */

import { PRIOR_SD, defaultPrior } from "../engine/estimate.js";
import { sobolColumn } from "../engine/sobol.js";
import { normalQuantile } from "../engine/special.js";

/** @typedef {import("../engine/types.js").Range} Range */
/** @typedef {"standing" | "header" | "machine" | "leak"} Source */
/** @typedef {{key: string, part: string, says: string, odds: {[group: string]: number}, odds_for?: {[machine: string]: number}, lifts: {[source: string]: [number, number]}, machine?: string, header?: string, crop_is?: string}} Cause */
/** @typedef {{key: string, asks: string, how: string, near: boolean, effort: number, auto: string, answers: {[key: string]: string}, usual: {[key: string]: number}, says: {cause?: string, part?: string, times: {[key: string]: number}}[]}} Sign */
/** @typedef {{key: string, part: string, says: string, step: string, undo: string, near: boolean, minutes: number, setting: string, way: string, gate: string, unfit: string[], machine?: string, header?: string, crop_is?: string, helps: [string, string, number, number][], spoils: [string, string, number, number][], known: string[]}} Change */
/** @typedef {{figures: {[name: string]: number}, groups: {[name: string]: string[]}, usual_pct: {[group: string]: {[source: string]: number}}, causes: Cause[], signs: Sign[], changes: Change[], leaks: {part: string, says: string, look: string, mend: string}[]}} Table */
/** @typedef {{crop: string, machine: string, header: string, windrowed: boolean, answers: {[sign: string]: string}}} Situation */
/** @typedef {{draws: {[source: string]: Float64Array}, yield_kg_ha: number | null}} Split */
/** @typedef {{causes: Cause[], p: number[], weights: Float64Array[]}} Belief */

/** @type {Source[]} */
export const SOURCES = ["standing", "header", "machine", "leak"];
export const USUAL = "usual";
export const UNEXPLAINED = "unexplained";
/** How many times the likeliest cause the usual must be to leave the settings alone. */
const BY_FAR = 3;
/** Probability, from which a step is proposed, of the causes it helps against. */
export const LEAST_CAUSE = 0.2;
/** What it is worth that the true cause surely comes among the first three [bit]. */
const THREE_BITS = 2;
const REEL = ["", "draper", "auger", "other", "reel"];
const SHARE = { standing: 0.003, header: 0.015, machine: 0.02, leak: 0.001 };
const TWO_SIDED = 3.29;
const RANGE_DRAWS = 256;
const FUTURES = 1024;
/** Yield where none is told [kg/ha], as in chaffinch.book.advice.advise. */
const UNTOLD_YIELD = 2000;

/**
 * Draws from the ranges of an estimate: each loss a lognormal of two halves, moving by itself.
 * @param {{[source: string]: Range}} ranges
 * @param {number | null} yield_kg_ha
 * @returns {Split}
 */
export function splitOfRanges(ranges, yield_kg_ha) {
  /** @type {{[source: string]: Float64Array}} */
  const draws = {};
  for (const [source, r] of Object.entries(ranges)) {
    const [low, middle, high] = [r.low, r.median, r.high].map(Math.log);
    const column = sobolColumn(RANGE_DRAWS, 8 + SOURCES.indexOf(/** @type {Source} */ (source)), 1);
    draws[source] = column.map((u) => {
      const z = normalQuantile(u);
      return Math.exp(middle + (z * (z < 0 ? middle - low : high - middle)) / (TWO_SIDED / 2));
    });
  }
  return { draws, yield_kg_ha };
}

/** @param {Table} table @param {string} crop */
export function groupOf(table, crop) {
  return Object.keys(table.groups).find((name) => table.groups[name].includes(crop)) ?? "other";
}

/**
 * Whether a row is for this machine, header and crop; what is not told shuts nothing out.
 * @param {{machine?: string, header?: string, crop_is?: string}} one
 * @param {Situation} situation
 */
export function fits(one, situation) {
  if (one.machine && ["rotor", "walker"].includes(situation.machine) && one.machine !== situation.machine) return false;
  if (one.crop_is && one.crop_is !== (situation.windrowed ? "windrowed" : "standing")) return false;
  if (one.header === "reel") return REEL.includes(situation.header);
  return !one.header || one.header === situation.header;
}

/**
 * P(answer | cause) of a sign, a row for each cause.
 * @param {Sign} sign @param {Cause[]} causes @param {number} lapse
 */
export function likelihoods(sign, causes, lapse) {
  const names = Object.keys(sign.answers);
  return causes.map((cause) => {
    const own = sign.says.filter((one) => one.cause === cause.key);
    const said = own.length > 0 ? own : sign.says.filter((one) => one.part === cause.part);
    // A slip, two faults at once: any answer as likely as any other.
    const row = names.map((name) => cause.key === UNEXPLAINED ? 1 : said.reduce((weight, one) => weight * (one.times[name] ?? 1), sign.usual[name]));
    const total = row.reduce((a, b) => a + b);
    return row.map((weight) => (1 - lapse) * (weight / total) + lapse / names.length);
  });
}

/**
 * Belief about the causes from the split of the loss and the answers so far.
 * @param {Table} table @param {Situation} situation @param {Split | null} split
 * @returns {Belief}
 */
export function weigh(table, situation, split) {
  const group = groupOf(table, situation.crop);
  const odds = (/** @type {Cause} */ one) => (one.odds[group] ?? one.odds.all) * (one.odds_for?.[situation.machine] ?? 1);
  const causes = table.causes.filter((one) => odds(one) > 0 && fits(one, situation));
  const log_p = causes.map((one) => Math.log(odds(one)));
  /** @type {Float64Array[]} */
  const weights = [];
  causes.forEach((cause, k) => {
    const found = split ? evidence(table, cause, group, split) : { log: 0, weights: new Float64Array(0) };
    log_p[k] += found.log;
    weights.push(found.weights);
  });
  for (const sign of table.signs) {
    const answer = situation.answers[sign.key];
    if (answer === undefined || !(answer in sign.answers)) continue;
    const place = Object.keys(sign.answers).indexOf(answer);
    likelihoods(sign, causes, table.figures.lapse).forEach((row, k) => (log_p[k] += Math.log(row[place])));
  }
  const top = Math.max(...log_p);
  const p = log_p.map((one) => Math.exp(one - top));
  const total = p.reduce((a, b) => a + b);
  return { causes, p: p.map((one) => one / total), weights };
}

/** ln of the mean of p_k/p₀ over the draws, and the draws' weights under the cause. */
/** @param {Table} table @param {Cause} cause @param {string} group @param {Split} split */
function evidence(table, cause, group, split) {
  const sources = Object.keys(split.draws);
  const n = split.draws[sources[0]].length;
  const log = new Float64Array(n).fill(-Math.log(n));
  for (const source of sources) {
    const prior = defaultPrior(/** @type {Source} */ (source), split.yield_kg_ha);
    const level = levelOf(table, cause, group, /** @type {Source} */ (source), prior.median_kg_ha);
    const before = Math.log(prior.median_kg_ha);
    split.draws[source].forEach((loss, i) => {
      const x = Math.log(loss);
      log[i] += density(x, level.mean, level.sd) - density(x, before, PRIOR_SD);
    });
  }
  const top = log.reduce((a, b) => Math.max(a, b));
  const weights = log.map((one) => Math.exp(one - top));
  const total = weights.reduce((a, b) => a + b);
  return { log: top + Math.log(total), weights: weights.map((one) => one / total) };
}

/** @param {number} x @param {number} mean @param {number} sd */
function density(x, mean, sd) {
  return -0.5 * ((x - mean) / sd) ** 2 - Math.log(sd);
}

/** @param {Table} table @param {Cause} cause @param {string} group @param {Source} source @param {number} prior_kg_ha */
function levelOf(table, cause, group, source, prior_kg_ha) {
  if (cause.key === UNEXPLAINED) return { mean: Math.log(prior_kg_ha), sd: PRIOR_SD };
  const usual = Math.log((prior_kg_ha * (table.usual_pct[group][source] / 100)) / SHARE[source]);
  const lift = cause.lifts[source] ? normalOf(...cause.lifts[source]) : { mean: 0, sd: 0 };
  return { mean: usual + lift.mean, sd: Math.hypot(table.figures.usual_sd_log, lift.sd) };
}

/** @param {number} low @param {number} high */
function normalOf(low, high) {
  const [a, b] = [Math.log(low), Math.log(high)];
  return { mean: 0.5 * (a + b), sd: (b - a) / TWO_SIDED };
}

/** Causes from the likeliest on. @param {Belief} belief */
export function ranked({ causes, p }) {
  return causes.map((cause, k) => ({ cause, p: p[k] })).sort((a, b) => b.p - a.p);
}

/**
 * The next question; null once it is settled, six were asked, or none would settle anything.
 * @param {Table} table @param {Situation} situation @param {Belief} belief
 * @param {{asked: number, skipped: string[]}} so_far
 * @returns {{sign: Sign, bits: number, worth: number} | null}
 */
export function nextQuestion(table, situation, belief, { asked, skipped }) {
  const { figures } = table;
  if (asked >= figures.most_questions || Math.max(...belief.p) >= figures.settled) return null;
  /** @type {{sign: Sign, bits: number, worth: number} | null} */
  let best = null;
  for (const sign of table.signs) {
    if (!sign.asks || sign.key in situation.answers || skipped.includes(sign.key)) continue;
    const { bits, three } = promise(sign, belief, figures.lapse);
    const worth = (bits + THREE_BITS * three) / sign.effort;
    if (bits >= figures.least_bits && (!best || worth > best.worth)) best = { sign, bits, worth };
  }
  return best;
}

/**
 * Expected information of a question [bit], and by how much it is expected to raise the chance that the true cause is
 * among the three likeliest.
 * @param {Sign} sign @param {Belief} belief @param {number} lapse
 */
function promise(sign, belief, lapse) {
  const given = likelihoods(sign, belief.causes, lapse);
  let after = 0;
  let three = -firstThree(belief.p);
  Object.keys(sign.answers).forEach((_, a) => {
    const joint = belief.p.map((p, k) => p * given[k][a]);
    const total = joint.reduce((x, y) => x + y);
    after += total * entropy(joint.map((x) => x / total));
    three += firstThree(joint);
  });
  return { bits: entropy(belief.p) - after, three };
}

/** Sum of the three largest. @param {number[]} p */
function firstThree(p) {
  return [...p].sort((a, b) => b - a).slice(0, 3).reduce((a, b) => a + b);
}

/** @param {number[]} p */
function entropy(p) {
  return -p.reduce((sum, x) => (x > 0 ? sum + x * Math.log2(x) : sum), 0);
}

/**
 * Changes that are expected to gain, best first, in seed [kg/ha]; steps that need this machine's own slope are left to
 * the book.
 * @param {Table} table @param {Situation} situation @param {Belief} belief @param {Split | null} split
 * @returns {{change: Change, gain: Range, expected: number, p_cause: number}[]}
 */
export function rank(table, situation, belief, split) {
  const yield_kg_ha = split?.yield_kg_ha ?? UNTOLD_YIELD;
  const future = futuresOf(table, situation, belief, split, yield_kg_ha);
  const group = groupOf(table, situation.crop);
  const known = new Map(belief.causes.map((one, k) => [one.key, k]));
  return table.changes
    .filter((one) => !one.gate && !one.unfit.includes(group) && fits(one, situation) && one.helps.some(([cause]) => known.has(cause)))
    .map((change) => {
      const gain = gainOf(table, change, future, known, yield_kg_ha);
      const sorted = Float64Array.from(gain).sort();
      const at = (/** @type {number} */ q) => {
        const place = q * FUTURES - 0.5;
        const below = Math.floor(place);
        return sorted[below] + (place - below) * (sorted[below + 1] - sorted[below]);
      };
      const helped = new Set(change.helps.map(([cause]) => cause));
      return {
        change,
        gain: { low: at(0.05), median: at(0.5), high: at(0.95) },
        expected: gain.reduce((a, b) => a + b) / FUTURES,
        p_cause: belief.causes.reduce((sum, one, k) => (helped.has(one.key) ? sum + belief.p[k] : sum), 0),
      };
    })
    .sort((a, b) => b.expected - a.expected);
}

/** @typedef {{cause: Int32Array, losses: {[source: string]: Float64Array}, effect: Float64Array, spoil: Float64Array}} Futures */

/** @param {Table} table @param {Situation} situation @param {Belief} belief @param {Split | null} split @param {number} yield_kg_ha @returns {Futures} */
function futuresOf(table, situation, belief, split, yield_kg_ha) {
  const u = (/** @type {number} */ dimension) => sobolColumn(FUTURES, dimension, 1);
  const cumulative = sums(belief.p);
  const cause = Int32Array.from(u(0), (x) => placeIn(cumulative, x));
  /** @type {{[source: string]: Float64Array}} */
  const losses = {};
  if (split) {
    const by_cause = belief.weights.map(sums);
    const draw = Int32Array.from(u(1), (x, i) => placeIn(by_cause[cause[i]], x));
    for (const source of Object.keys(split.draws)) losses[source] = Float64Array.from(draw, (d) => split.draws[source][d]);
  }
  const group = groupOf(table, situation.crop);
  SOURCES.forEach((source, place) => {
    if (source in losses || (source === "leak" && "machine" in losses)) return;
    const levels = belief.causes.map((one) => levelOf(table, one, group, source, SHARE[source] * yield_kg_ha));
    losses[source] = Float64Array.from(u(4 + place), (x, i) => Math.exp(levels[cause[i]].mean + levels[cause[i]].sd * normalQuantile(x)));
  });
  return { cause, losses, effect: u(2).map(normalQuantile), spoil: u(3).map(normalQuantile) };
}

/** @param {ArrayLike<number>} weights */
function sums(weights) {
  let passed = 0;
  return Float64Array.from(weights, (one) => (passed += one));
}

/** First place whose sum reaches x. @param {Float64Array} cumulative @param {number} x */
function placeIn(cumulative, x) {
  let low = 0;
  let high = cumulative.length - 1;
  while (low < high) {
    const half = (low + high) >> 1;
    if (cumulative[half] < x) low = half + 1;
    else high = half;
  }
  return low;
}

/** @param {Table} table @param {Change} change @param {Futures} future @param {Map<string, number>} known @param {number} yield_kg_ha */
function gainOf(table, change, future, known, yield_kg_ha) {
  const { figures } = table;
  const elsewhere = normalOf(figures.elsewhere_low, figures.elsewhere_high);
  const main = change.helps.find(([, loss]) => loss in future.losses)?.[1];
  const gain = new Float64Array(FUTURES);
  for (let i = 0; i < FUTURES; i += 1) {
    let value = 0;
    /** @type {{[source: string]: number}} */
    const factor = {};
    if (main) factor[main] = Math.exp(elsewhere.mean + elsewhere.sd * future.effect[i]);
    for (const [cause, loss, low, high] of change.helps) {
      if (known.get(cause) !== future.cause[i]) continue;
      if (loss === "value") value += spoilt(low, high, future.effect[i]);
      else if (loss in future.losses) {
        const { mean, sd } = normalOf(low, high);
        factor[loss] = Math.exp(mean + sd * future.effect[i]);
      }
    }
    for (const [what, , low, high] of change.spoils) {
      const pct = spoilt(low, high, future.spoil[i]);
      if (what === "value") value -= pct;
      else if (what in future.losses) factor[what] = (factor[what] ?? 1) * (1 + pct / 100);
    }
    gain[i] = (value / 100) * yield_kg_ha;
    for (const [source, times] of Object.entries(factor)) gain[i] += future.losses[source][i] * (1 - times);
  }
  return gain;
}

/** Percent: normal between its ends, cut at 0. @param {number} low @param {number} high @param {number} z */
function spoilt(low, high, z) {
  return Math.max(0, 0.5 * (low + high) + ((high - low) / TWO_SIDED) * z);
}

/** Whether nothing out of the ordinary is likelier by far than any cause. @param {Table} table @param {Belief} belief */
export function usualLeads(table, belief) {
  const usual = belief.p[belief.causes.findIndex((one) => one.key === USUAL)] ?? 0;
  return usual >= table.figures.lead && usual >= BY_FAR * leadingOf(belief);
}

/** @param {Belief} belief */
function leadingOf(belief) {
  return Math.max(...belief.p.filter((_, k) => ![USUAL, UNEXPLAINED].includes(belief.causes[k].key)));
}

/**
 * Whether to change something, to measure first, or to leave it.
 * @param {Table} table @param {Belief} belief @param {number | null} best
 * @returns {"change" | "measure" | "nothing"}
 */
export function standing(table, belief, best) {
  if (usualLeads(table, belief)) return "nothing";
  const leading = leadingOf(belief);
  const unexplained = belief.p[belief.causes.findIndex((one) => one.key === UNEXPLAINED)] ?? 0;
  if (leading < table.figures.lead || leading < unexplained) return "measure";
  return best === null || best <= 0 ? "nothing" : "change";
}
