// @ts-check
/**
 * What has been said about the stop in hand? Its lines in the journal, folded into one picture.
 *
 * Every confirmation is one line, written before the page says so; nothing is changed, so closing the app at any
 * moment loses nothing. A stop becomes a sealed check once, and its id is the check's id from the first line on.
 */

/** @typedef {{area?: string, width?: string, length?: string, time?: string, name?: string}} Pan */
/**
 * @typedef {object} Catch
 * @property {number} n
 * @property {string} [key]  its own, so that two phones or windows that go on with one stop keep both of their catches
 * @property {string} place
 * @property {Pan} pan
 * @property {string | null} amount  null while the bag waits to be weighed
 * @property {string} [step]
 * @property {string} [bag]
 * @property {string} [moisture]
 * @property {string} [clean]
 * @property {string} [subsample]
 * @property {boolean} [gone]  taken back
 */
/**
 * @typedef {object} Stop
 * @property {string} id
 * @property {string} opened_at  UTC, by this phone
 * @property {string} said_at  when the last line but the closing one was written
 * @property {string} device  the phone that opened it
 * @property {{[key: string]: string}} where  ids of field, combine, operator, season, trial, and the side
 * @property {{[key: string]: any}} terms  what stands above the catches, as a check file says it
 * @property {Catch[]} catches  without those taken back
 * @property {number} next  number of the next catch
 * @property {Set<number | string>} seen  numbers and keys of every catch that was told, those taken back too
 * @property {{name: string, value: number, unit?: string}[]} settings
 * @property {{[key: string]: number}} conditions
 * @property {{id: string, reading: number, per: string} | null} monitor
 * @property {{id: string, sha256: string, bytes: number, at: string}[]} photos
 * @property {string[]} replaces
 * @property {string} reason
 * @property {string} closed  "", "sealed", "handed" or "dropped"
 */
/** @typedef {{stop: string, what: string, at: string, [key: string]: any}} JournalLine */

/**
 * Every stop of the journal, by id, in the order they were opened.
 * @param {Iterable<JournalLine>} lines
 * @returns {Map<string, Stop>}
 */
export function stopsOf(lines) {
  /** @type {Map<string, Stop>} */
  const stops = new Map();
  for (const line of lines) {
    const stop = stops.get(line.stop);
    if (line.what === "open") {
      if (!stop) stops.set(line.stop, opened(line));
    } else if (stop) {
      fold(stop, line);
    }
  }
  return stops;
}

/**
 * @param {JournalLine} line
 * @returns {Stop}
 */
function opened(line) {
  const catches = /** @type {Catch[]} */ (line.catches ?? []);
  return {
    id: line.stop,
    opened_at: line.at,
    said_at: line.at,
    device: line.device ?? "phone",
    where: { ...line.where },
    terms: { ...line.terms },
    catches: catches.map((one) => ({ ...one })),
    next: 1 + catches.reduce((most, one) => Math.max(most, one.n), 0),
    seen: new Set(catches.map((one) => one.n)),
    settings: [...(line.settings ?? [])],
    conditions: { ...line.conditions },
    monitor: line.monitor ?? null,
    photos: [],
    replaces: [...(line.replaces ?? [])],
    reason: line.reason ?? "",
    closed: "",
  };
}

/**
 * @param {Stop} stop
 * @param {JournalLine} line
 */
function fold(stop, line) {
  if (line.what !== "close") stop.said_at = line.at;
  if (line.what === "catch") {
    const { n, key } = line.catch;
    if (!stop.seen.has(key ?? n)) {
      // Another window or phone, unheard here, may have given the number to a catch of its own.
      const own = stop.seen.has(n) ? stop.next : n;
      stop.catches.push({ ...line.catch, n: own });
      stop.next = Math.max(stop.next, own + 1);
    }
    for (const one of [n, key]) if (one !== undefined) stop.seen.add(one);
  } else if (line.what === "weighed") {
    const one = stop.catches.find((c) => isMeant(c, line));
    if (one) Object.assign(one, { amount: line.amount, ...(line.step ? { step: line.step } : {}) });
  } else if (line.what === "taken back") {
    stop.catches = stop.catches.filter((one) => !isMeant(one, line));
  } else if (line.what === "terms") {
    stop.where = { ...line.where };
    stop.terms = { ...line.terms };
  } else if (line.what === "beside") {
    for (const key of ["settings", "conditions", "monitor", "reason"]) {
      if (key in line) Object.assign(stop, { [key]: line[key] });
    }
    if (line.where) stop.where = { ...stop.where, ...line.where };
    for (const key of line.without ?? []) delete stop.where[key];
  } else if (line.what === "photo") {
    stop.photos.push(line.photo);
  } else if (line.what === "close") {
    stop.closed = stop.closed || line.how;
  }
}

/**
 * Whether a line speaks of a catch: by its key, or by its number where it has none.
 * @param {Catch} one
 * @param {JournalLine} line
 */
function isMeant(one, { n, key }) {
  return one.key && key ? one.key === key : one.n === n;
}

/**
 * Bags that wait to be weighed.
 * @param {Stop} stop
 * @returns {Catch[]}
 */
export function waiting(stop) {
  return stop.catches.filter((one) => one.amount === null);
}

/**
 * The next free bag number over all open stops, so that no two bags in the cab carry one number.
 * @param {Iterable<Stop>} stops
 * @returns {string}
 */
export function nextBag(stops) {
  let most = 0;
  for (const stop of stops) {
    if (stop.closed) continue;
    for (const one of stop.catches) if (/^[0-9]+$/.test(one.bag ?? "")) most = Math.max(most, Number(one.bag));
  }
  return String(most + 1);
}
