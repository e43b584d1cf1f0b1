// @ts-check
/**
 * What is kept on this phone? One IndexedDB database, to which records, log lines and journal lines are only added.
 *
 * `add` returns after the browser has told that everything is on disk (a strict transaction, whole or not at all), or
 * throws `NotKept`: the page may say "saved" after it and not before.
 */

/** @typedef {import("./outbox.js").Envelope} Envelope */
/** @typedef {import("./outbox.js").Line} Line */
/** @typedef {import("./stop.js").JournalLine} JournalLine */
/** @typedef {{sha256: string, bytes: ArrayBuffer, sent?: boolean}} Photo */
/**
 * @typedef {object} Parts
 * @property {Envelope[]} [records]
 * @property {boolean} [own]  the records were sealed here: their ids must be new
 * @property {Line[]} [lines]
 * @property {JournalLine[]} [journal]
 * @property {string} [ongoing]  id of a stop that must not be sealed yet: what was said of one that is would count nowhere
 * @property {Photo[]} [photos]
 * @property {{[key: string]: any}} [kept]  small values by name: the pairing, what was chosen last
 */
/** @typedef {{records: Envelope[], lines: Line[], journal: JournalLine[], photos: Map<string, boolean>, kept: {[key: string]: any}}} Everything */

const NAME = "chaffinch";
const LAYOUT = 1;
const SEALED = "this stop was saved as a check meanwhile, in another window";
const STORES = ["records", "lines", "journal", "photos", "kept"];

/** Something could not be written down. */
export class NotKept extends Error {
  /** @param {string} problem */
  constructor(problem) {
    super(problem);
    this.name = "NotKept";
  }
}

/** This phone's database, or the reason why there is none. */
export class Keep {
  /**
   * @param {IDBDatabase | null} database
   * @param {string} trouble  why nothing can be kept; empty while it can
   */
  constructor(database, trouble = "") {
    this.database = database;
    this.trouble = trouble;
  }

  /**
   * Open the database; a browser that refuses storage gives a Keep that says so.
   * @returns {Promise<Keep>}
   */
  static async open() {
    try {
      const request = indexedDB.open(NAME, LAYOUT);
      request.onupgradeneeded = () => {
        const database = request.result;
        database.createObjectStore("records", { keyPath: ["id", "hash"] }).createIndex("id", "id");
        database.createObjectStore("lines", { autoIncrement: true });
        database.createObjectStore("journal", { autoIncrement: true });
        database.createObjectStore("photos", { keyPath: "sha256" });
        database.createObjectStore("kept");
      };
      const database = await promised(request);
      const keep = new Keep(database);
      // A newer app in another tab wants to change the layout: let it, and say that this one is out of date.
      database.onversionchange = () => {
        database.close();
        keep.database = null;
        keep.trouble = "a newer version of the app is open; load this page again";
      };
      return keep;
    } catch (error) {
      const newer = error instanceof DOMException && error.name === "VersionError";
      return new Keep(null, newer ? "a newer version of the app wrote here; load this page again" : reasonOf(error));
    }
  }

  /**
   * Everything that is kept, photos by name only.
   * @returns {Promise<Everything>}
   */
  async everything() {
    /** @type {Everything} */
    const all = { records: [], lines: [], journal: [], photos: new Map(), kept: {} };
    if (!this.database) return all;
    const transaction = this.database.transaction(STORES, "readonly");
    /** @param {string} name */
    const store = (name) => transaction.objectStore(name);
    const [records, lines, journal, names, keys, values] = await Promise.all([
      promised(store("records").getAll()),
      promised(store("lines").getAll()),
      promised(store("journal").getAll()),
      promised(store("photos").getAllKeys()),
      promised(store("kept").getAllKeys()),
      promised(store("kept").getAll()),
    ]);
    for (const name of names) all.photos.set(String(name), true);
    keys.forEach((key, i) => (all.kept[String(key)] = values[i]));
    records.sort((a, b) => (a.seq ?? 0) - (b.seq ?? 0));
    all.records = records.map(({ seq, ...envelope }) => envelope);
    return { ...all, lines, journal };
  }

  /**
   * One photo's bytes.
   * @param {string} sha256
   * @returns {Promise<ArrayBuffer | null>}
   */
  async photo(sha256) {
    if (!this.database) return null;
    const found = await promised(this.database.transaction("photos").objectStore("photos").get(sha256));
    return found ? found.bytes : null;
  }

  /**
   * Write down, all or nothing, and wait until it is on disk.
   * @param {Parts} parts
   * @returns {Promise<Envelope[]>}  the records that were new here
   * @throws {NotKept}
   */
  async add(parts) {
    if (!this.database) throw new NotKept(this.trouble);
    /** @type {Envelope[]} */
    const fresh = [];
    try {
      const transaction = this.database.transaction(STORES, "readwrite", { durability: "strict" });
      const done = finished(transaction);
      try {
        await this.#write(transaction, parts, fresh);
      } catch (error) {
        abort(transaction);
        await done.catch(() => undefined);
        throw error;
      }
      await done;
    } catch (error) {
      throw error instanceof NotKept ? error : new NotKept(reasonOf(error));
    }
    return fresh;
  }

  /**
   * @param {IDBTransaction} transaction
   * @param {Parts} parts
   * @param {Envelope[]} fresh
   */
  async #write(transaction, parts, fresh) {
    const records = transaction.objectStore("records");
    if (parts.ongoing && (await promised(records.index("id").count(parts.ongoing))) > 0) throw new NotKept(SEALED);
    let seq = 1;
    if (parts.records?.length) seq = 1 + (await promised(records.count()));
    for (const record of parts.records ?? []) {
      const known = await promised(records.index("id").getAllKeys(record.id));
      if (known.some((key) => Array.isArray(key) && key[1] === record.hash)) continue;
      if (parts.own && known.length > 0) throw new NotKept("this stop was already saved in another window");
      records.add({ ...record, seq: seq++ });
      fresh.push(record);
    }
    for (const line of parts.lines ?? []) transaction.objectStore("lines").add(line);
    for (const line of parts.journal ?? []) transaction.objectStore("journal").add(line);
    for (const photo of parts.photos ?? []) transaction.objectStore("photos").put(photo);
    for (const [key, value] of Object.entries(parts.kept ?? {})) transaction.objectStore("kept").put(value, key);
  }
}

/**
 * @template T
 * @param {IDBRequest<T>} request
 * @returns {Promise<T>}
 */
function promised(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

/**
 * @param {IDBTransaction} transaction
 * @returns {Promise<void>}
 */
function finished(transaction) {
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve();
    transaction.onabort = () => reject(transaction.error ?? new NotKept("the browser broke off writing"));
    transaction.onerror = () => reject(transaction.error);
  });
}

/** @param {IDBTransaction} transaction */
function abort(transaction) {
  try {
    transaction.abort();
  } catch {
    // Already over: the browser aborted it itself, and `finished` tells.
  }
}

/**
 * Why the browser would not keep something, in words.
 * @param {unknown} error
 * @returns {string}
 */
export function reasonOf(error) {
  const name = error instanceof Error || error instanceof DOMException ? error.name : "";
  if (name === "QuotaExceededError") return "this phone's storage is full";
  if (name === "InvalidStateError" || name === "SecurityError") return "this browser refuses to keep anything (a private window?)";
  const told = error instanceof Error ? error.message : String(error ?? "");
  return told ? `the browser could not write it down (${told})` : "the browser could not write it down";
}
