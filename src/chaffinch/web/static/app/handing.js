// @ts-check
/** How are records packed for a picture or a file, and read again? What comes from outside is checked against its hash. */

import { opened, sha256Hex } from "../engine/canonical.js";
import { problemOfLine } from "./shape.js";

/** @typedef {import("./outbox.js").Envelope} Envelope */

/** Longest address in a picture [characters]: above it, cameras of older phones fail to read it; own figure. */
export const PICTURE_MOST = 1800;
const MOST_LINES = 50_000;

/**
 * Records as a piece of an address.
 * @param {Envelope[]} records
 * @returns {Promise<string>}
 */
export async function packed(records) {
  const bytes = new TextEncoder().encode(records.map((one) => JSON.stringify(one)).join("\n"));
  if (typeof CompressionStream === "undefined") return `j${toText(bytes)}`;
  const stream = new Blob([bytes]).stream().pipeThrough(new CompressionStream("deflate-raw"));
  return `z${toText(new Uint8Array(await new Response(stream).arrayBuffer()))}`;
}

/**
 * Records out of such a piece.
 * @param {string} text
 * @returns {Promise<Envelope[]>}
 */
export async function unpacked(text) {
  const broken = new Error("This picture was not read whole. Scan it again.");
  let plain;
  try {
    let bytes = toBytes(text.slice(1));
    if (text[0] === "z") {
      const stream = new Blob([/** @type {Uint8Array<ArrayBuffer>} */ (bytes)]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
      bytes = new Uint8Array(await new Response(stream).arrayBuffer());
    }
    plain = new TextDecoder("utf-8", { fatal: true }).decode(bytes);
  } catch {
    throw broken;
  }
  const { records, wrong } = await readLines(plain);
  if (records.length === 0 || wrong.length > 0) throw broken;
  return records;
}

/**
 * What a file of lines holds: records that fit their hash, journal lines and photos of a whole export, and what is
 * wrong with the rest.
 * @param {string} text
 * @returns {Promise<{records: Envelope[], journal: any[], photos: {sha256: string, bytes: ArrayBuffer}[], wrong: string[], book: {id: string, title: string} | null}>}
 */
export async function readLines(text) {
  const found = { records: /** @type {Envelope[]} */ ([]), journal: /** @type {any[]} */ ([]), photos: /** @type {any[]} */ ([]), wrong: /** @type {string[]} */ ([]), book: /** @type {{id: string, title: string} | null} */ (null) };
  const all = text.split(/\r?\n/);
  const lines = all.slice(0, MOST_LINES);
  if (all.slice(MOST_LINES).some((line) => line.trim() !== "")) found.wrong.push(`lines after ${MOST_LINES}: are too many for one file`);
  for (const [i, line] of lines.entries()) {
    if (line.trim() === "") continue;
    let value;
    try {
      value = JSON.parse(line);
    } catch {
      found.wrong.push(`line ${i + 1}: is no JSON`);
      continue;
    }
    if (typeof value !== "object" || value === null) {
      found.wrong.push(`line ${i + 1}: is no record`);
    } else if (value.phone === "chaffinch") {
      await readHead(value, found);
    } else {
      try {
        found.records.push(await opened(value));
      } catch (error) {
        found.wrong.push(`line ${i + 1}: ${error instanceof Error ? error.message : "is no record"}`);
      }
    }
  }
  return found;
}

/**
 * What stands beside the records of an export: notes of stops, and photos.
 * @param {any} head
 * @param {Awaited<ReturnType<typeof readLines>>} found
 */
async function readHead({ journal, photos, book }, found) {
  if (typeof book?.id === "string") found.book = { id: book.id, title: String(book.title ?? "") };
  for (const [i, line] of (Array.isArray(journal) ? journal : []).entries()) {
    const problem = problemOfLine(line);
    if (problem) found.wrong.push(`note ${i + 1}: ${problem}`);
    else found.journal.push(line);
  }
  for (const [i, one] of (Array.isArray(photos) ? photos : []).entries()) {
    const bytes = bytesOf(one?.base64);
    if (bytes && (await sha256Hex(bytes)) === one.sha256) found.photos.push({ sha256: one.sha256, bytes: bytes.buffer });
    else found.wrong.push(`photo ${i + 1}: is not whole`);
  }
}

/** @param {unknown} text  base64 @returns {Uint8Array<ArrayBuffer> | null} */
function bytesOf(text) {
  try {
    return typeof text === "string" ? toBytes(text) : null;
  } catch {
    return null;
  }
}

/**
 * Bytes in base64 for addresses.
 * @param {Uint8Array} bytes
 * @returns {string}
 */
export function toText(bytes) {
  let text = "";
  for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
  return btoa(text).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
}

/**
 * @param {string} text
 * @returns {Uint8Array<ArrayBuffer>}
 */
export function toBytes(text) {
  const plain = atob(text.replace(/-/g, "+").replace(/_/g, "/"));
  const bytes = new Uint8Array(plain.length);
  for (let i = 0; i < plain.length; i += 1) bytes[i] = plain.charCodeAt(i);
  return bytes;
}
