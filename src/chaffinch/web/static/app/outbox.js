// @ts-check
/**
 * Which records still wait to be sent, and what does an answer change? Pure rules over the append-only log.
 *
 * A record is never marked: its state is read off the last line of the log that speaks of it. Only a receipt that
 * echoes id and hash counts, so that a lost, doubled or foreign answer changes nothing.
 */

/** @typedef {{id: string, kind: string, schema: number, device: string, device_time: string, body: any, hash: string}} Envelope */
/** @typedef {{id: string, hash: string, what: string, reason?: string, at?: string, version?: string, book?: string}} Line */
/** @typedef {"queued" | "sending" | "sent" | "elsewhere" | "attention"} State */
/** @typedef {{state: State, reason: string, what: string}} Standing */
/** @typedef {{id: string, hash: string, outcome: string, reason?: string}} Receipt */

/** Most records and bytes of one batch: small enough to get through a weak signal; the server takes 200 and 2 MB. */
export const MOST_RECORDS = 50;
export const MOST_BYTES = 500_000;

const SETTLED = new Set(["accepted", "known"]);

/**
 * The name of one record among all: its id may be claimed by two.
 * @param {{id: string, hash: string}} record
 * @returns {string}
 */
export function keyOf(record) {
  return `${record.id} ${record.hash}`;
}

/**
 * @typedef {object} Now
 * @property {string} [version]  the server's, last seen
 * @property {Set<string>} [sending]  what is on its way
 * @property {string} [book]  id of the book this phone belongs to
 * @property {string} [unnamed]  id of the book that lines speak of which name none
 */

/**
 * Where every record stands.
 * @param {Iterable<Envelope>} records
 * @param {Iterable<Line>} lines  in the order they were written
 * @param {Now} now
 * @returns {Map<string, Standing>}
 */
export function standings(records, lines, now = {}) {
  /** @type {Map<string, Line>} */
  const last = new Map();
  for (const line of lines) {
    const before = last.get(keyOf(line));
    // Once in the book, always in the book: a late "refused" cannot take it back. Only the book's own word that it is
    // not there any more can: an older copy of it may have been put back.
    if (before && SETTLED.has(before.what) && line.what !== "gone") continue;
    last.set(keyOf(line), line);
  }
  const found = new Map();
  for (const record of records) {
    const key = keyOf(record);
    found.set(key, standing(last.get(key), now, now.sending?.has(key) ?? false));
  }
  return found;
}

/**
 * @param {Line | undefined} line
 * @param {Now} now
 * @param {boolean} sending
 * @returns {Standing}
 */
function standing(line, now, sending) {
  const what = line?.what ?? "";
  if (line && SETTLED.has(what)) return { state: isHere(line, now) ? "sent" : "elsewhere", reason: "", what };
  if (line && (what === "conflict" || what === "refused")) {
    // A newer server may take what an older one refused.
    const changed = what === "refused" && now.version !== undefined && line.version !== now.version;
    if (!changed) return { state: "attention", reason: line.reason ?? "", what };
  }
  return { state: sending ? "sending" : "queued", reason: "", what };
}

/**
 * Whether a line speaks of the book this phone belongs to.
 * @param {Line} line
 * @param {Now} now
 */
function isHere(line, now) {
  const book = line.book ?? now.unnamed;
  return !book || !now.book || book === now.book;
}

/**
 * The next records to send, oldest first.
 * @param {Iterable<Envelope>} records
 * @param {Map<string, Standing>} where
 * @param {number} [most]
 * @returns {Envelope[]}
 */
export function nextBatch(records, where, most = MOST_RECORDS) {
  const batch = [];
  let bytes = 0;
  for (const record of records) {
    if (where.get(keyOf(record))?.state !== "queued") continue;
    const size = JSON.stringify(record).length * 2;
    if (batch.length > 0 && (batch.length >= most || bytes + size > MOST_BYTES)) break;
    batch.push(record);
    bytes += size;
  }
  return batch;
}

/**
 * The lines an answer adds to the log: one for each record of the batch that it speaks of by id and hash.
 * @param {Envelope[]} batch
 * @param {unknown} answer  the body of the answer, whatever it is
 * @param {string} at  this phone's time
 * @param {string | undefined} version  the server's
 * @param {string | undefined} book  id of the book that answered
 * @returns {Line[]}
 */
export function linesOf(batch, answer, at, version, book) {
  const receipts = isTable(answer) && Array.isArray(answer.receipts) ? answer.receipts : [];
  const sent = new Set(batch.map(keyOf));
  const lines = [];
  for (const one of receipts) {
    if (!isTable(one) || typeof one.id !== "string" || typeof one.hash !== "string") continue;
    if (!["accepted", "known", "conflict", "refused"].includes(one.outcome)) continue;
    // Deleted, so that an answer naming one record twice adds one line.
    if (!sent.delete(keyOf(/** @type {Receipt} */ (one)))) continue;
    const reason = typeof one.reason === "string" ? one.reason : "";
    lines.push({ id: one.id, hash: one.hash, what: one.outcome, reason, at, version, book });
  }
  return lines;
}

/**
 * Pictures that the server took and, as far as it said, still has.
 * @param {Iterable<Line>} lines  in the order they were written
 * @param {Now} [now]
 * @returns {Set<string>}  SHA-256 of each
 */
export function photosTaken(lines, now = {}) {
  const taken = new Set();
  for (const line of lines) {
    if (!isHere(line, now)) continue;
    if (line.what === "photo sent") taken.add(line.hash);
    else if (line.what === "photo gone") taken.delete(line.hash);
  }
  return taken;
}

/**
 * The lines that the book's word on what it misses adds to the log: only for what it was asked after.
 * @param {{records: {id: string, hash: string}[], photos: string[]}} asked
 * @param {unknown} answer  the body of the answer, whatever it is
 * @param {string} at  this phone's time
 * @param {string | undefined} book  id of the book that answered
 * @returns {Line[]}
 */
export function goneOf(asked, answer, at, book) {
  /** @param {string} name @returns {any[]} */
  const told = (name) => (isTable(answer) && Array.isArray(answer[name]) ? answer[name] : []);
  const records = new Set(told("records").filter(isTable).map((one) => keyOf(/** @type {any} */ (one))));
  const photos = new Set(told("photos"));
  return [
    ...asked.records.filter((one) => records.has(keyOf(one))).map(({ id, hash }) => ({ id, hash, what: "gone", at, book })),
    ...asked.photos.filter((one) => photos.has(one)).map((hash) => ({ id: "", hash, what: "photo gone", at, book })),
  ];
}

/**
 * How many records stand where.
 * @param {Map<string, Standing>} where
 * @returns {{[state in State]: number}}
 */
export function counted(where) {
  const sum = { queued: 0, sending: 0, sent: 0, elsewhere: 0, attention: 0 };
  for (const one of where.values()) sum[one.state] += 1;
  return sum;
}

/**
 * @param {unknown} value
 * @returns {value is {[key: string]: any}}
 */
function isTable(value) {
  return typeof value === "object" && value !== null && !Array.isArray(value);
}
