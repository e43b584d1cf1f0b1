// @ts-check
/**
 * How does what is kept reach the book? Health first (is this the book, or a stranger's page?), then batches, photos,
 * and the book's things back. Whatever goes wrong leaves everything where it is.
 */

/** @typedef {import("./outbox.js").Envelope} Envelope */

const API = "/api/v1";
const PATIENCE_MS = 15_000;
/** Bytes that go in a millisecond where the signal is weak: what is large is given its time; own figure. */
const WEAK_BYTES_PER_MS = 10;

/**
 * How a call ended.
 * @typedef {object} Reply
 * @property {"ok" | "no signal" | "stranger" | "not let in" | "may not" | "other book" | "wait" | "refused" | "trouble" | "no room"} end
 * @property {any} [body]
 * @property {number} [status]
 * @property {number} [after]  seconds to wait, where the server said so
 */

/**
 * Ask an address of the book's server.
 * @param {string} path
 * @param {{method?: string, token?: string, json?: unknown, bytes?: ArrayBuffer, type?: string}} [how]
 * @returns {Promise<Reply>}
 */
export async function ask(path, how = {}) {
  /** @type {{[key: string]: string}} */
  const headers = { Accept: "application/json" };
  if (how.token) headers.Authorization = `Bearer ${how.token}`;
  /** @type {BodyInit | undefined} */
  let body;
  if (how.json !== undefined) {
    headers["Content-Type"] = "application/json";
    body = JSON.stringify(how.json);
  } else if (how.bytes) {
    headers["Content-Type"] = how.type ?? "application/octet-stream";
    body = how.bytes;
  }
  const giveUp = new AbortController();
  const size = typeof body === "string" ? body.length : (how.bytes?.byteLength ?? 0);
  const timer = setTimeout(() => giveUp.abort(), PATIENCE_MS + size / WEAK_BYTES_PER_MS);
  let answer;
  let text;
  try {
    answer = await fetch(API + path, {
      method: how.method ?? (body === undefined ? "GET" : "POST"),
      headers,
      body,
      cache: "no-store",
      credentials: "omit",
      redirect: "manual",
      signal: giveUp.signal,
    });
    text = await answer.text();
  } catch {
    return { end: "no signal" };
  } finally {
    clearTimeout(timer);
  }
  return read(answer, text);
}

/**
 * @param {Response} answer
 * @param {string} text
 * @returns {Reply}
 */
function read(answer, text) {
  // The book's server never redirects; a sign-in page of a hot spot does.
  if (answer.type === "opaqueredirect" || (answer.status >= 300 && answer.status < 400)) return { end: "stranger" };
  let body;
  try {
    body = text === "" ? null : JSON.parse(text);
  } catch {
    return { end: answer.status >= 500 ? "trouble" : "stranger", status: answer.status };
  }
  const status = answer.status;
  if (answer.ok) return { end: "ok", body, status };
  if (status === 401) return { end: "not let in", body, status };
  if (status === 403) return { end: "may not", body, status };
  if (status === 429 || status === 503) {
    return { end: "wait", body, status, after: Number(answer.headers.get("Retry-After")) || undefined };
  }
  return { end: status >= 500 ? "trouble" : "refused", body, status };
}

/**
 * Is the server there, and is it the book this phone is paired with?
 * @param {string} bookId  empty before pairing: any book will do
 * @returns {Promise<Reply & {version?: string}>}
 */
export async function health(bookId) {
  const reply = await ask("/health");
  if (reply.end !== "ok") {
    // Our server lets everybody ask for its health: whoever refuses that is somebody else.
    return ["refused", "not let in", "may not"].includes(reply.end) ? { ...reply, end: "stranger" } : reply;
  }
  const body = reply.body;
  if (typeof body !== "object" || body === null || body.app !== "chaffinch") return { end: "stranger" };
  const told = typeof body.book === "object" && body.book !== null ? body.book.id : (body.book ?? body.book_id);
  if (typeof told !== "string" || told === "") return { end: "stranger" };
  if (bookId && told !== bookId) return { ...reply, end: "other book" };
  return { ...reply, version: String(body.version ?? "") };
}

/**
 * @param {string} code
 * @param {string} deviceName
 * @returns {Promise<Reply>}
 */
export function pair(code, deviceName) {
  return ask("/pair", { json: { code, device_name: deviceName } });
}

/**
 * @param {string} token
 * @param {Envelope[]} envelopes
 * @returns {Promise<Reply>}
 */
export function sendBatch(token, envelopes) {
  return ask("/batch", { token, json: { envelopes } });
}

/**
 * What of all that was handed over does the book not have (any more)?
 * @param {string} token
 * @param {{records: {id: string, hash: string}[], photos: string[]}} asked
 * @returns {Promise<Reply>}
 */
export function askMissing(token, asked) {
  return ask("/missing", { token, json: asked });
}

/**
 * @param {string} token
 * @returns {Promise<Reply>}
 */
export function fetchSetup(token) {
  return ask("/setup", { token });
}

/**
 * The plan of the day that the desk made last.
 * @param {string} token
 * @returns {Promise<Reply>}
 */
export function fetchDay(token) {
  return ask("/day", { token });
}

/**
 * @param {string} token
 * @param {string} sha256
 * @param {ArrayBuffer} bytes
 * @returns {Promise<Reply>}
 */
export function sendPhoto(token, sha256, bytes) {
  return ask(`/photos/${sha256}`, { method: "PUT", token, bytes, type: "image/jpeg" });
}

/**
 * Records of the book since a place in its order; the phone keeps the trials of them.
 * @param {string} token
 * @param {number} seq
 * @returns {Promise<Reply>}
 */
export function fetchSince(token, seq) {
  return ask(`/since?seq=${seq}&limit=500`, { token });
}

/**
 * Seconds to wait before the next try: longer after each failure, five minutes at most.
 * @param {number} failures  in a row
 * @param {number} [asked]  seconds the server asked for
 * @returns {number}
 */
export function pause(failures, asked = 0) {
  return Math.max(asked, Math.min(300, 5 * 2 ** Math.max(0, failures - 1)));
}
