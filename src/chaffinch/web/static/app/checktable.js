// @ts-check
/**
 * What does the stop in hand say as a check file, and as a record? The same table that is answered on the phone is
 * sealed and sent.
 */

import { cropCalled } from "../engine/table.js";
import { waiting } from "./stop.js";

/** @typedef {import("./stop.js").Stop} Stop */
/** @typedef {import("./stop.js").Catch} Catch */
/** @typedef {{id: string, name: string, parts: {[key: string]: any}}} Thing */
/** @typedef {{[key: string]: any}} Table */

export const PLACES = ["discharge", "behind", "header strip", "standing", "whole cut", "windrow", "leak"];

/** Places that see what left the machine: the widths of a combine are needed there. */
const NEEDS_COMBINE = new Set(["discharge", "behind", "whole cut", "windrow", "leak"]);

/**
 * What stands above the catches, from the things of the book.
 * @param {object} chosen
 * @param {Table} [chosen.farm]
 * @param {Thing | null} [chosen.field]
 * @param {Thing | null} [chosen.combine]
 * @param {Thing | null} [chosen.operator]
 * @param {Table} [chosen.own]  what the person said for this stop: crop, limit, speed, spreading, widths …
 * @param {"farm" | "metric" | "north american"} [chosen.units]
 * @param {{key: string, name: string, also?: string[], bushel_kg?: number | null} | null} [chosen.crop]  the person's, else the field's
 * @returns {{where: {[key: string]: string}, terms: Table}}
 */
export function termsOf({ farm = {}, field, combine, operator, own = {}, units = "farm", crop }) {
  /** @type {{[key: string]: string}} */
  const where = {};
  /** @type {Table} */
  const terms = {};
  for (const key of ["country", "currency", "report_in"]) if (farm[key]) terms[key] = farm[key];
  const before = new Set(Object.keys(terms));
  if (field) {
    where.field = field.id;
    if (field.parts.season) where.season = field.parts.season;
    terms.field = clean({ name: field.name, area: field.parts.area });
    Object.assign(
      terms,
      clean({
        crop: field.parts.crop,
        yield: field.parts.yield_actual ?? field.parts.yield_expected,
        limit: field.parts.limit,
        price: field.parts.price,
        windrowed: field.parts.windrowed || undefined,
      }),
    );
  }
  if (own.crop && terms.crop && !(crop ? cropCalled([crop], terms.crop) : own.crop === terms.crop)) {
    // The field's terms are for the field's crop.
    for (const key of ["yield", "limit", "price"]) delete terms[key];
  }
  const { cut_width, drop_width, spread_width, ...rest } = own;
  Object.assign(terms, clean(rest));
  // A price that names its currency has its own.
  if (before.has("currency") && /[^\d\s.,/a-z²]/i.test(String(terms.price ?? "").split("/")[0])) delete terms.currency;
  const report = reportIn(units, crop);
  if (report) terms.report_in = report;
  const machine = clean({ cut_width, drop_width, spread_width });
  if (combine) {
    where.combine = combine.id;
    const parts = combine.parts;
    terms.combine = {
      ...clean({
        name: combine.name,
        cut_width: parts.cut_width,
        drop_width: parts.drop_width,
        spread_width: parts.spread_width,
        widths_taped: parts.widths_taped || undefined,
      }),
      ...machine,
    };
  } else if (Object.keys(machine).length > 0) {
    terms.combine = machine;
  }
  if (operator) {
    where.operator = operator.id;
    terms.operator = operator.name;
  }
  return { where, terms };
}

/**
 * The unit losses are shown in, where the person chose one over the farm's.
 * @param {"farm" | "metric" | "north american"} units
 * @param {{bushel_kg?: number | null} | null | undefined} crop
 * @returns {string | null}
 */
function reportIn(units, crop) {
  if (units === "metric") return "kg/ha";
  if (units === "north american") return crop?.bushel_kg ? "bu/ac" : "lb/ac";
  return null;
}

/**
 * The check as a check file says it; bags that wait to be weighed are left out.
 * @param {Stop} stop
 * @returns {Table}
 */
export function tableOf(stop) {
  const needs = stop.catches.some((one) => NEEDS_COMBINE.has(one.place));
  const { combine, spreading, ...terms } = stop.terms;
  return {
    ...terms,
    // Frames in standing crop need no machine; one without a cut width would be refused for nothing.
    ...(combine && (needs || combine.cut_width) ? { combine } : {}),
    ...(spreading === undefined || !needs ? {} : { spreading }),
    catch: stop.catches.filter((one) => one.amount !== null).map(catchTable),
  };
}

/**
 * A pan as a catch's keys say it.
 * @param {import("./stop.js").Pan} pan
 * @returns {Table}
 */
export function sizeOf({ area, width, length, time }) {
  return area ? { pan: area } : clean({ width, length, time });
}

/**
 * @param {Catch} one
 * @returns {Table}
 */
function catchTable(one) {
  const { n: _, key: _key, pan, ...rest } = one;
  return clean({ ...rest, ...sizeOf(pan) });
}

/**
 * The bodies of the records that a stop becomes: the check, and beside it a monitor reading and photos. Their ids come
 * with the journal, so that the same stop always gives the same records, whichever window or phone seals it.
 * @param {Stop} stop
 * @returns {{id: string, kind: string, body: Table}[]}
 * @throws {Error} while a bag waits to be weighed or no catch is there: a check is sealed once
 */
export function bodiesOf(stop) {
  if (waiting(stop).length > 0) throw new Error("a bag waits to be weighed");
  if (stop.catches.length === 0) throw new Error("there is no catch yet");
  const check = clean({
    taken_at: stop.opened_at,
    check: tableOf(stop),
    ...stop.where,
    settings: stop.settings.length > 0 ? stop.settings : undefined,
    conditions: Object.keys(stop.conditions).length > 0 ? stop.conditions : undefined,
    replaces: stop.replaces.length > 0 ? stop.replaces : undefined,
    reason: stop.replaces.length > 0 ? stop.reason || "corrected on the phone" : undefined,
  });
  const bodies = [{ id: stop.id, kind: "check", body: check }];
  if (stop.monitor && stop.where.combine) {
    bodies.push({
      id: stop.monitor.id,
      kind: "monitor",
      body: clean({
        taken_at: stop.opened_at,
        combine: stop.where.combine,
        check: stop.id,
        reading: stop.monitor.reading,
        per: stop.monitor.per,
        speed: stop.terms.speed,
      }),
    });
  }
  for (const photo of stop.photos) {
    bodies.push({
      id: photo.id,
      kind: "photo",
      body: {
        taken_at: photo.at,
        of: stop.id,
        file: `${photo.sha256.slice(0, 16)}.jpg`,
        sha256: photo.sha256,
        bytes: photo.bytes,
      },
    });
  }
  return bodies;
}

/**
 * A table without keys that say nothing.
 * @param {Table} table
 * @returns {Table}
 */
export function clean(table) {
  return Object.fromEntries(Object.entries(table).filter(([, value]) => value !== undefined && value !== null && value !== ""));
}
