// @ts-check
/**
 * What travels between devices: a record sealed in an envelope, with a hash over its canonical form.
 *
 * The twin of chaffinch.sync.envelope, to the byte: RFC 8785 (JSON Canonicalization Scheme) and SHA-256. No clock and
 * no source of chance is read: id and time come in as arguments.
 */

import { InputError } from "./errors.js";
import { sha256 } from "./sha256.js";

export { sha256 as sha256Hex };

const ID_FORM = /^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$/;
const HASH_FORM = /^[0-9a-f]{64}$/;
const KIND_FORM = /^[a-z][a-z-]{1,30}$/;
/** Largest record [bytes]; a photo is a file beside the book, not a body. */
export const MOST_BYTES = 1_000_000;
const KEYS = ["id", "kind", "schema", "device", "device_time", "body", "hash"];
const DEEPEST = 200;

/** @typedef {{[key: string]: any}} Body */
/** @typedef {{id: string, kind: string, schema: number, device: string, device_time: string, body: Body}} Unsealed */
/** @typedef {Unsealed & {hash: string}} Envelope */

/**
 * Canonical JSON of a value.
 * @param {unknown} value
 * @returns {string}
 * @throws {InputError} for anything JSON cannot hold
 */
export function canonical(value) {
  return written(value, 0);
}

/** @param {unknown} value @param {number} depth @returns {string} */
function written(value, depth) {
  if (depth > DEEPEST) throw unwritable("is nested too deep");
  if (value === null || typeof value === "boolean") return String(value);
  if (typeof value === "number") {
    // ECMAScript's own spelling of a double is the one RFC 8785 asks for; −0 is written 0.
    if (!Number.isFinite(value)) throw unwritable(`has ${value}`);
    return JSON.stringify(value);
  }
  if (typeof value === "string") {
    if (!wellFormed(value)) throw unwritable("has half a character");
    return JSON.stringify(value);
  }
  if (Array.isArray(value)) return `[${Array.from(value, (one) => written(one, depth + 1)).join(",")}]`;
  if (typeof value === "object" && [Object.prototype, null].includes(Object.getPrototypeOf(value))) {
    // Plain sorting compares UTF-16 code units, as RFC 8785 section 3.2.3 asks.
    const table = /** @type {{[key: string]: unknown}} */ (value);
    const rows = Object.keys(table).sort();
    return `{${rows.map((key) => `${written(key, depth + 1)}:${written(table[key], depth + 1)}`).join(",")}}`;
  }
  throw unwritable(`has a value of type ${typeof value}`);
}

/** Whether every surrogate has its other half. @param {string} text */
function wellFormed(text) {
  return !/[\uD800-\uDBFF](?![\uDC00-\uDFFF])|(?<![\uD800-\uDBFF])[\uDC00-\uDFFF]/.test(text);
}

/** @param {string} reason */
function unwritable(reason) {
  return new InputError("record", null, `cannot be written as JSON (${reason})`, "use numbers, text, lists");
}

/**
 * SHA-256 of an envelope without its hash, in canonical JSON, hexadecimal.
 * @param {Unsealed} unsealed
 * @returns {Promise<string>}
 */
export async function contentHash({ id, kind, schema, device, device_time, body }) {
  const content = new TextEncoder().encode(canonical({ id, kind, schema, device, device_time, body }));
  if (content.length > MOST_BYTES) {
    throw new InputError("body", `${content.length} bytes`, "is too large for a record", "keep photos as files");
  }
  return sha256(content);
}

/**
 * Put a record into an envelope and compute its hash.
 * @param {string} id           UUID made on the device, lower case
 * @param {string} kind
 * @param {number} schema
 * @param {string} device       the device's own name for itself
 * @param {string} device_time  ISO 8601; information, never order
 * @param {Body} body
 * @returns {Promise<Envelope>}
 */
export async function seal(id, kind, schema, device, device_time, body) {
  const unsealed = { id, kind, schema, device, device_time, body };
  mustHaveForm(unsealed);
  return { ...unsealed, hash: await contentHash(unsealed) };
}

/**
 * Read an envelope that arrived, and check its form and its hash.
 * @param {any} data
 * @returns {Promise<Envelope>}
 */
export async function opened(data) {
  if (!isTable(data)) throw new InputError("envelope", null, "is no table", "send the envelope as a JSON object");
  const missing = KEYS.filter((key) => !Object.hasOwn(data, key));
  if (missing.length) throw new InputError("envelope", null, `lacks ${missing.join(", ")}`, "send the whole envelope");
  const extra = Object.keys(data).filter((key) => !KEYS.includes(key));
  if (extra.length) {
    const problem = `holds unknown keys: ${extra.sort().slice(0, 3).join(", ")}`;
    throw new InputError("envelope", null, problem, "send only known keys");
  }
  mustHaveForm(data);
  if (typeof data.hash !== "string" || !HASH_FORM.test(data.hash)) {
    throw new InputError("envelope, hash", null, "is no SHA-256", "send 64 hexadecimal digits");
  }
  if ((await contentHash(data)) !== data.hash) {
    throw new InputError("envelope, hash", data.hash, "does not fit the content", "send the record again, unchanged");
  }
  return data;
}

/** @param {unknown} value */
function isTable(value) {
  return typeof value === "object" && value !== null && !Array.isArray(value);
}

/** @param {any} data */
function mustHaveForm({ id, kind, schema, device, device_time, body }) {
  if (typeof id !== "string" || !ID_FORM.test(id)) {
    throw new InputError("envelope, id", id, "is no UUID", "make one on the device, in lower case");
  }
  if (typeof kind !== "string" || !KIND_FORM.test(kind)) {
    throw new InputError("envelope, kind", kind, "is no kind", "use lower-case letters and hyphens");
  }
  if (!Number.isInteger(schema) || schema < 1 || schema > 10_000) {
    throw new InputError("envelope, schema", schema, "is no schema version", "send a whole number from 1");
  }
  for (const [key, text] of Object.entries({ device, device_time })) {
    const long = typeof text === "string" ? [...text].length : 0;
    if (long < 1 || long > 200) {
      throw new InputError(`envelope, ${key}`, null, "must be text of 1 to 200 characters", "name the device");
    }
    if (/[\u0000-\u001f]/.test(text)) {
      throw new InputError(`envelope, ${key}`, null, "holds control characters", "write plain text");
    }
  }
  if (!isTable(body)) throw new InputError("envelope, body", null, "is no table", "send the record as a JSON object");
}
