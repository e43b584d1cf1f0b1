// @ts-check
/**
 * How is a loss drawn? A rule in the person's own unit, the limit cut into it as a notch, the range as a bar, the
 * middle as a tick; below it, thinner, the ranges of the catches before, so that one sees it narrow.
 */

import { s } from "./dom.js";
import { plainNumber, rounded, rangeWords } from "./figures.js";

/** @typedef {import("../engine/types.js").Range} Range */

const EARLIER_SHOWN = 4;

/**
 * A round step (1, 2, 5 × 10ⁿ) that divides `reach` into at most `most` parts.
 * @param {number} reach
 * @param {number} most
 * @returns {number}
 */
export function stepFor(reach, most) {
  const raw = reach / most;
  const power = 10 ** Math.floor(Math.log10(raw));
  for (const factor of [1, 2, 5]) if (factor * power >= raw * (1 - 1e-9)) return factor * power;
  return 10 * power;
}

/**
 * Where the rule ends and how it is divided.
 * @param {Range} range
 * @param {number | null} limit
 * @param {number} most  parts at most
 * @param {number} [earlierHigh]  upper end of the widest earlier range shown
 * @returns {{end: number, step: number, places: number, notch: number | null, beyond: boolean}}
 */
export function scaleFor(range, limit, most, earlierHigh = 0) {
  // A limit far beyond the range would squeeze the bar to a dot: then the range sets the scale.
  const near = limit !== null && limit < 3 * range.high ? limit : 0;
  // Earlier ranges may run off the rule a little: what counts now sets the scale.
  const reach = Math.max(range.high, near * 1.05, Math.min(earlierHigh, 1.25 * range.high));
  const step = stepFor(reach, most);
  const end = step * Math.ceil(reach / step - 1e-9);
  const beyond = limit !== null && limit > end;
  return { end, step, places: Math.max(0, -Math.floor(Math.log10(step) + 1e-9)), notch: beyond ? null : limit, beyond };
}

/**
 * The ruler in words, for those who do not see it.
 * @param {Range} range
 * @param {string} unit
 * @param {number | null} limit
 * @param {string} what
 * @param {number} earlier  how many ranges of earlier catches are drawn
 * @returns {string}
 */
export function rulerWords(range, unit, limit, what, earlier = 0) {
  const words = rangeWords(range);
  const about = limit === null ? "No limit is set." : `The limit is ${plainNumber(limit)} ${unit}.`;
  const before = earlier > 0 ? " The ranges after earlier catches are drawn below it." : "";
  return `Ruler: ${what}, middle ${words.median}, likely ${words.low} to ${words.high} ${unit}. ${about}${before}`;
}

/**
 * Draw a ruler as wide as its place.
 * @param {object} what
 * @param {Range} what.range  in `unit`
 * @param {string} what.unit
 * @param {number | null} what.limit
 * @param {string} what.label  what the loss is of
 * @param {Range[]} [what.earlier]  ranges after each earlier catch, newest first
 * @param {boolean} [what.rangeOnly]  no middle is claimed
 * @param {number} width  in pixels
 * @param {number} [text]  size of text in pixels
 * @returns {SVGElement}
 */
export function ruler({ range, unit, limit, label, earlier = [], rangeOnly = false }, width, text = 14) {
  const before = earlier.slice(0, EARLIER_SHOWN);
  const margin = text;
  const span = Math.max(120, width - 2 * margin);
  const most = Math.max(2, Math.floor(span / (text * 3.6)));
  const { end, step, places, notch, beyond } = scaleFor(range, limit, most, Math.max(0, ...before.map((r) => r.high)));
  /** @param {number} value */
  const x = (value) => margin + (Math.min(Math.max(value, 0), end) / end) * span;
  const rule = text * 1.9;
  const bar = rule + text * 2.3;
  const thick = text * 1.25;
  const below = bar + thick + text * 0.8;
  const height = below + before.length * text * 0.55 + 2;

  const parts = [];
  const cut = text * 0.45;
  const line = notch === null
    ? `M${margin} ${rule}H${margin + span}`
    : `M${margin} ${rule}H${Math.max(margin, x(notch) - cut)}L${x(notch)} ${rule + cut * 1.6}L${Math.min(margin + span, x(notch) + cut)} ${rule}H${margin + span}`;
  parts.push(s("path.rule", { d: line }));
  for (let i = 0; i * step <= end * (1 + 1e-9); i += 1) {
    const at = x(i * step);
    parts.push(s("line.rule", { x1: at, x2: at, y1: rule, y2: rule + text * 0.4 }));
    parts.push(s("text.number", { x: at, y: rule + text * 1.5, "text-anchor": "middle" }, rounded(i * step, places)));
  }
  if (limit !== null) {
    const words = `${beyond ? "limit beyond: " : "limit "}${plainNumber(limit)} ${unit}`;
    const at = beyond ? margin + span : x(limit);
    const half = words.length * text * 0.27;
    const anchor = at - half < 0 ? "start" : at + half > width ? "end" : "middle";
    const from = anchor === "start" ? Math.max(2, at - text) : anchor === "end" ? Math.min(width - 2, at + text) : at;
    parts.push(s("text.limit", { x: from, y: text * 1.05, "text-anchor": anchor }, words));
  }
  const left = x(range.low);
  parts.push(s("rect.bar", { x: left, y: bar, width: Math.max(2, x(range.high) - left), height: thick }));
  if (!rangeOnly) {
    const middle = x(range.median);
    parts.push(s("rect.middle-edge", { x: middle - 3.5, y: bar - text * 0.4, width: 7, height: thick + text * 0.8 }));
    parts.push(s("rect.middle", { x: middle - 1.5, y: bar - text * 0.4, width: 3, height: thick + text * 0.8 }));
  }
  if (notch !== null) {
    parts.push(s("line.limit-line", { x1: x(notch), x2: x(notch), y1: bar - text * 0.5, y2: bar + thick + text * 0.4 }));
  }
  before.forEach((r, i) => {
    const y = below + i * text * 0.55;
    parts.push(s("rect.earlier", { x: x(r.low), y, width: Math.max(2, x(r.high) - x(r.low)), height: text * 0.25 }));
  });
  const words = rulerWords(range, unit, limit, label, before.length);
  return s(
    "svg.ruler",
    { viewBox: `0 0 ${width} ${height}`, width, height, role: "img", "aria-label": words },
    parts,
  );
}

const SHAPES = {
  over: "M24 5L44 41H4Z",
  under: "M24 43L4 7H44Z",
  unsettled: "M24 3L45 24L24 45L3 24Z",
};

/**
 * The verdict's shape: up for over, down for under, a diamond for not settled.
 * @param {keyof typeof SHAPES | null} verdict
 * @returns {SVGElement | null}
 */
export function verdictShape(verdict) {
  if (verdict === null) return null;
  return s("svg.shape", { viewBox: "0 0 48 48", "aria-hidden": "true" }, s("path", { d: SHAPES[verdict] }));
}
