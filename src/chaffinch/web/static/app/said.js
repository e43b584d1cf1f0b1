// @ts-check
/**
 * What does an answer say in words? The sentences are the house's own table (wording.js is made from it); here they
 * are filled in, in the person's unit. The twin of the Python room of that name.
 */

import { percent, plainNumber, rangeWords } from "./figures.js";
import { NEXT_STEP, NOTICE, SOURCE, TAPED, VERDICT_LINE } from "./wording.js";

/** @typedef {import("../engine/types.js").Answer} Answer */
/** @typedef {import("../engine/types.js").Notice} Notice */

/** Probability of being the largest source from which one is named as the likeliest place. */
const EVEN = 0.5;
/** From here a source is called the largest outright, as a verdict is called clear. */
const CLEAR = 0.8;
const FEET = 3.280839895013123; // in a metre

/**
 * Fill a sentence: `{name}`, `{name:g}`, `{name:.1f}`.
 * @param {string} sentence
 * @param {{[key: string]: any}} facts
 * @returns {string}
 */
export function fill(sentence, facts) {
  return sentence.replace(/\{(\w+)(?::([^}]*))?\}/g, (whole, name, form) => {
    if (!(name in facts)) return whole;
    const value = facts[name];
    if (form === undefined || typeof value !== "number") return String(value);
    const fixed = /^\.(\d)f$/.exec(form);
    return fixed ? value.toFixed(Number(fixed[1])) : String(Number(value.toPrecision(6)));
  });
}

/**
 * The sentence of a notice.
 * @param {Notice} notice
 * @param {Answer} answer
 * @returns {string}
 */
export function sentence(notice, answer) {
  /** @type {{[key: string]: any}} */
  const facts = { ...notice.facts, say_so: TAPED };
  const unit = answer.judged.trade.unit;
  const loss = facts.kg_ha ?? facts.smallest_kg_ha;
  if (loss !== undefined) facts.loss = `${short(loss * lossFactor(answer))} ${unit}`;
  if (facts.width_m !== undefined) {
    const acres = unit.endsWith("/ac");
    facts.width = `${short(facts.width_m * (acres ? FEET : 1))} ${acres ? "ft" : "m"}`;
  }
  if (facts.source !== undefined) facts.source = word(SOURCE, facts.source);
  if (facts.sources !== undefined) {
    facts.sources = facts.sources.map((/** @type {string} */ one) => word(SOURCE, one)).join(" and ");
  }
  return fill(word(NOTICE, notice.key), facts);
}

/**
 * Multiply kg/ha by this to get the answer's trade unit.
 * @param {Answer} answer
 */
export function lossFactor(answer) {
  return answer.judged.trade.median / answer.judged.kg_ha.median;
}

/**
 * "header and machine".
 * @param {Answer} answer
 */
export function judgedWords(answer) {
  return answer.judged.sources.map((one) => word(SOURCE, one)).join(" and ");
}

/**
 * What the loss is of: "machine loss", "loss before harvest".
 * @param {Answer} answer
 */
export function lossLabel(answer) {
  const what = judgedWords(answer);
  return answer.judged.sources.join() === "standing" ? `loss ${what}` : `${what} loss`;
}

/**
 * The verdict as a sentence; empty without one.
 * @param {Answer} answer
 * @returns {string}
 */
export function verdictLine(answer) {
  if (answer.verdict === null || answer.p_over === null || answer.limit_trade === null) return "";
  const limit = `${plainNumber(answer.limit_trade)} ${answer.judged.trade.unit}`;
  // An unsettled chance never reads as the 20 or 80 that would settle it.
  const chance = answer.verdict === "unsettled"
    ? String(Math.min(79, Math.max(21, Math.round(100 * answer.p_over))))
    : percent(answer.p_over);
  return fill(VERDICT_LINE[answer.verdict], { limit, chance, what: judgedWords(answer) });
}

/**
 * What to do next, in one or two sentences; empty without a verdict.
 * @param {Answer} answer
 * @param {string[]} places  of the catches, in order
 * @returns {string}
 */
export function nextStep(answer, places) {
  if (answer.verdict === null) return "";
  if (answer.verdict === "unsettled" && answer.more_catches_like) {
    const n = answer.more_catches;
    const like = answer.more_catches_like;
    return fill(NEXT_STEP[n === null ? "further-none" : "further"], {
      n,
      catches: n === 1 ? "catch" : "catches",
      like,
      place: places[like - 1] ?? "",
      chance: percent(answer.more_catches_chance ?? 0),
      ...tossUp(answer),
    });
  }
  if (answer.verdict !== "over") return word(NEXT_STEP, answer.verdict);
  if (!answer.judged.sources.includes("header")) return NEXT_STEP["over-machine-only"];
  const named = Object.entries(answer.sources);
  const [source, loss] = named.reduce((best, one) => (one[1].p_largest > best[1].p_largest ? one : best));
  if (loss.p_largest < EVEN || named.length === 1) return NEXT_STEP.over;
  if (source === "standing") return NEXT_STEP["over-standing-largest"];
  const key = loss.p_largest >= CLEAR ? "over-mostly" : "over-likely";
  return fill(NEXT_STEP[key], { source: word(SOURCE, source), p: Math.min(99, Math.round(100 * loss.p_largest)) });
}

/** @param {Answer} answer */
function tossUp(answer) {
  const keys = new Set([...answer.warnings, ...answer.assumed].map((one) => one.key));
  if (keys.has("width-guessed")) return { doubt: ", or the widths are too uncertain", mend: ", or tape the widths" };
  if (keys.has("not-told-apart") || keys.has("standing-left-in")) {
    return {
      doubt: ", or the sources are not told apart",
      mend: ", or take frames in standing crop and in the cut strip",
    };
  }
  return { doubt: "", mend: "" };
}

/**
 * What it is worth, one clause each: per area, per hour, over the field.
 * @param {Answer} answer
 * @param {string} field
 * @returns {string[]}
 */
export function worth(answer, field) {
  const sign = answer.money.currency;
  const lines = [];
  const area = answer.judged.money_per_area;
  if (area) lines.push(`${money(area, sign)} per ${area.unit.replace("/", "") === "ac" ? "acre" : "hectare"}`);
  if (answer.money.per_hour) lines.push(`${money(answer.money.per_hour, sign)} an hour of cutting`);
  if (answer.money.per_field) lines.push(`${money(answer.money.per_field, sign)} over ${field || "the field"}`);
  return lines;
}

/**
 * @param {import("../engine/types.js").Range} range
 * @param {string} sign
 */
function money(range, sign) {
  const { low, median, high } = rangeWords(range);
  const put = sign.length > 1 ? `${sign} ` : sign;
  return `${put}${median} (${low} to ${high})`;
}

/** @param {number} value */
function short(value) {
  if (value === 0) return "0";
  return Math.abs(value) < 10 ? String(Number(value.toPrecision(2))) : value.toFixed(0);
}

/**
 * @param {{[key: string]: string}} table
 * @param {string} key
 */
function word(table, key) {
  return table[key] ?? key;
}
