// @ts-check
/**
 * What must something from outside look like, that the screens can show it? A file or a picture may come from another
 * app, or be spoilt: what does not look so is told and left out, for a line once kept is kept for good.
 */

/** @typedef {import("./outbox.js").Envelope} Envelope */

const ID = /^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$/;
const SHA256 = /^[0-9a-f]{64}$/;

/** @param {unknown} value @returns {value is {[key: string]: any}} */
const isTable = (value) => typeof value === "object" && value !== null && !Array.isArray(value);
/** @param {unknown} value */
const isText = (value) => typeof value === "string";
/** @param {unknown} value */
const isTime = (value) => typeof value === "string" && !Number.isNaN(Date.parse(value));
/** @param {unknown} value */
const isId = (value) => typeof value === "string" && ID.test(value);
/** @param {(value: unknown) => boolean} fits @returns {(value: unknown) => boolean} */
const maybe = (fits) => (value) => value === undefined || fits(value);
/** @param {(value: any) => boolean} fits @returns {(value: unknown) => boolean} */
const listOf = (fits) => (value) => Array.isArray(value) && value.every(fits);
/** @param {(value: any) => boolean} fits @returns {(value: unknown) => boolean} */
const tableOf = (fits) => (value) => isTable(value) && Object.values(value).every(fits);
const isSetting = (/** @type {any} */ one) => isTable(one) && isText(one.name) && Number.isFinite(one.value) && maybe(isText)(one.unit);
const isCatch = (/** @type {any} */ one) => isTable(one) && Number.isInteger(one.n) && one.n > 0 && isText(one.place)
  && tableOf(isText)(one.pan) && (one.amount === null || maybe(isText)(one.amount)) && ["step", "bag", "key"].every((key) => maybe(isText)(one[key]));
const isMonitor = (/** @type {any} */ one) => one === null || (isTable(one) && isId(one.id) && Number.isFinite(one.reading) && isText(one.per));
const isPhoto = (/** @type {any} */ one) => isTable(one) && isId(one.id) && isText(one.sha256) && SHA256.test(one.sha256) && Number.isInteger(one.bytes) && isTime(one.at);
const isCount = (/** @type {unknown} */ value) => Number.isInteger(value);

/** What may stand in any line, by its key. @type {{[key: string]: (value: unknown) => boolean}} */
const PARTS = {
  device: maybe((value) => isText(value) && value !== ""), terms: maybe(isTable), where: maybe(tableOf(isText)), catches: maybe(listOf(isCatch)),
  settings: maybe(listOf(isSetting)), conditions: maybe(tableOf(Number.isFinite)), monitor: maybe(isMonitor),
  replaces: maybe(listOf(isText)), without: maybe(listOf(isText)), reason: maybe(isText),
};
/** What must stand in a line, by what it says. @type {{[what: string]: {[key: string]: (value: unknown) => boolean}}} */
const NEEDED = {
  open: {},
  catch: { catch: isCatch },
  weighed: { n: isCount, key: maybe(isText), amount: isText, step: maybe(isText) },
  "taken back": { n: isCount, key: maybe(isText) },
  terms: { terms: isTable, where: isTable },
  beside: {},
  photo: { photo: isPhoto },
  close: { how: isText },
};

/**
 * What keeps a line of a stop's journal from being understood; empty where nothing does.
 * @param {any} line
 * @returns {string}
 */
export function problemOfLine(line) {
  if (!isTable(line) || !isText(line.what)) return "is no note of a stop";
  if (!isId(line.stop)) return "has no stop";
  if (!isTime(line.at)) return "has no time";
  const needed = Object.hasOwn(NEEDED, line.what) && NEEDED[line.what];
  if (!needed) return `says “${line.what.slice(0, 20)}”, which this app does not know`;
  const odd = Object.entries({ ...PARTS, ...needed }).find(([key, fits]) => !fits(line[key]));
  return odd ? `${line.what}, ${odd[0]} is not as it must be` : "";
}

/** Bodies that this app can show, by kind. @type {{[kind: string]: (body: any) => boolean}} */
const BODIES = {
  check: (body) => isTime(body.taken_at) && isTable(body.check) && listOf(isTable)(body.check.catch),
  monitor: (body) => isTime(body.taken_at) && Number.isFinite(body.reading),
  photo: (body) => isText(body.sha256) && SHA256.test(body.sha256),
  trial: (body) => isTime(body.taken_at) && listOf(isSetting)(body.a) && listOf(isSetting)(body.b),
  note: (body) => isText(body.text),
};

/**
 * Whether this app can show a record. One that it cannot show is kept, sent and handed on all the same.
 * @param {Envelope} record
 */
export function readable({ kind, body }) {
  return Object.hasOwn(BODIES, kind) && BODIES[kind](body);
}
