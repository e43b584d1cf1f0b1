// @ts-check
/**
 * What does this phone hold, and what may be done with it? Memory over the kept log: every change is written down
 * first and shown afterwards.
 */

import { seal } from "../engine/canonical.js";
import { cropCalled } from "../engine/table.js";
import { bodiesOf, termsOf } from "./checktable.js";
import { NotKept } from "./keep.js";
import { counted, keyOf, standings } from "./outbox.js";
import { nextBag, stopsOf } from "./stop.js";

/** @typedef {import("./keep.js").Keep} Keep */
/** @typedef {import("./keep.js").Parts} Parts */
/** @typedef {import("./outbox.js").Envelope} Envelope */
/** @typedef {import("./stop.js").Stop} Stop */
/** @typedef {import("../engine/types.js").CropFigures} CropFigures */
/** @typedef {import("./checktable.js").Thing} Thing */

/** Newest version of each kind of record that this app writes. */
export const SCHEMA = { check: 1, monitor: 1, note: 1, photo: 1, trial: 1 };
/** Years a record may speak of; a clock outside them is broken. */
const YEARS = [1900, 2200];
/** Seconds by which this phone's clock may differ from the book's before it is said. */
const CLOCK_SLACK_S = 600;

export class Phone extends EventTarget {
  /**
   * @param {Keep} keep
   * @param {import("./keep.js").Everything} all
   * @param {any} plainSetup  crops for a phone that has not met its book yet
   */
  constructor(keep, all, plainSetup) {
    super();
    this.keep = keep;
    /** @type {{stops?: Map<string, Stop>, standings?: Map<string, import("./outbox.js").Standing>}} worked out since the last change */
    this.seen = {};
    this.plainSetup = plainSetup;
    this.records = all.records;
    this.lines = all.lines;
    this.journal = all.journal;
    this.kept = all.kept;
    this.photos = all.photos;
    /** @type {Set<string>} */
    this.sending = new Set();
    this.signal = "";
    this.persisted = true;
    this.newerApp = false;
    /** @type {import("./stop.js").JournalLine[]} what could not be kept and is only in memory */
    this.carried = [];
  }

  /** @param {import("./keep.js").Everything} all */
  take(all) {
    this.records = all.records;
    this.lines = all.lines;
    this.journal = [...all.journal, ...this.carried];
    this.kept = all.kept;
    this.photos = all.photos;
    this.seen = {};
  }

  /** Read everything anew: another window wrote. */
  async refresh() {
    if (!this.keep.database) return; // What is in memory is all there is.
    this.take(await this.keep.everything());
    this.changed();
  }

  changed() {
    this.seen = {};
    this.dispatchEvent(new Event("change"));
  }

  // --- what is there ------------------------------------------------------------------------------------------------

  get setup() {
    return this.kept.setup ?? this.plainSetup;
  }

  get bookId() {
    return this.kept.pairing?.book?.id ?? "";
  }

  get token() {
    return this.kept.pairing?.token ?? "";
  }

  get role() {
    return this.kept.pairing?.role ?? "";
  }

  /** What was chosen last: field, combine, place, pan, units … @returns {{[key: string]: any}} */
  get chosen() {
    return this.kept.chosen ?? {};
  }

  get device() {
    return this.kept.device ?? "phone";
  }

  /** @returns {Map<string, Stop>} */
  get stops() {
    return (this.seen.stops ??= stopsOf(this.journal));
  }

  /** @returns {Stop[]} */
  get openStops() {
    return [...this.stops.values()].filter((stop) => !stop.closed);
  }

  /** What decides where a record stands, beside the log. @returns {import("./outbox.js").Now} */
  get facts() {
    return { version: this.kept.version, sending: this.sending, book: this.bookId, unnamed: this.kept.unnamed };
  }

  get standings() {
    return (this.seen.standings ??= standings(this.records, this.lines, this.facts));
  }

  get counts() {
    return counted(this.standings);
  }

  get nextBag() {
    return nextBag(this.stops.values());
  }

  /**
   * A thing of the book that is in use.
   * @param {string} list  "fields", "combines" …
   * @param {string | undefined} id
   * @returns {Thing | null}
   */
  thing(list, id) {
    const found = (this.setup[list] ?? []).find((/** @type {Thing} */ one) => one.id === id);
    return found && !found.parts?.retired ? found : null;
  }

  /** @param {string} list @returns {Thing[]} */
  things(list) {
    return (this.setup[list] ?? []).filter((/** @type {Thing} */ one) => !one.parts?.retired);
  }

  /** @param {string | undefined} name */
  crop(name) {
    return name ? (cropCalled(/** @type {CropFigures[]} */ (this.setup.crops), name) ?? null) : null;
  }

  /** What stands above the catches, by what was chosen. */
  get terms() {
    const chosen = this.chosen;
    const field = this.thing("fields", chosen.field);
    const own = chosen.own ?? {};
    return termsOf({
      farm: this.setup.farm,
      field,
      combine: this.thing("combines", chosen.combine),
      operator: this.thing("operators", chosen.operator),
      own,
      units: chosen.units ?? "farm",
      crop: this.crop(own.crop ?? field?.parts.crop),
    });
  }

  /** Which records are being sent at this moment. @param {Envelope[]} records */
  onItsWay(records) {
    this.sending = new Set(records.map(keyOf));
    this.changed();
  }

  // --- clock --------------------------------------------------------------------------------------------------------

  /** Now, in UTC by this phone's clock. */
  now() {
    return new Date().toISOString().replace(/\.\d+Z$/, "Z");
  }

  /** Today where this phone is. */
  today() {
    const now = new Date();
    return `${now.getFullYear()}-${now.getMonth() + 1}-${now.getDate()}`;
  }

  /** Seconds by which this phone's clock is ahead of the book's; 0 while they agree or the book's is not known. */
  get clockAhead() {
    const ahead = this.kept.clock?.ahead ?? 0;
    return Math.abs(ahead) > CLOCK_SLACK_S ? ahead : 0;
  }

  get clockBroken() {
    const year = new Date().getFullYear();
    return year < YEARS[0] || year > YEARS[1];
  }

  // --- writing down -------------------------------------------------------------------------------------------------

  /**
   * Write down, then show.
   * @param {Parts} parts
   * @returns {Promise<Envelope[]>}
   * @throws {NotKept}
   */
  async add(parts) {
    const fresh = await this.keep.add(parts).catch(async (error) => {
      // Another window may have saved the stop in hand, unheard here.
      if (parts.ongoing) await this.refresh();
      throw error;
    });
    // Another window may have written some of them, unheard here.
    const here = new Set(this.records.map(keyOf));
    this.records.push(...(parts.records ?? []).filter((one) => !here.has(keyOf(one))));
    this.lines.push(...(parts.lines ?? []));
    this.journal.push(...(parts.journal ?? []));
    for (const photo of parts.photos ?? []) this.photos.set(photo.sha256, true);
    Object.assign(this.kept, parts.kept);
    this.seen = {};
    this.dispatchEvent(new Event("written"));
    this.changed();
    return fresh;
  }

  /**
   * Remember small things; where that cannot be kept they hold until the app is closed, and no record hangs on them.
   * @param {{[key: string]: any}} kept
   */
  async remember(kept) {
    try {
      await this.add({ kept });
    } catch (error) {
      if (!(error instanceof NotKept)) throw error;
      Object.assign(this.kept, kept);
      this.changed();
    }
  }

  /** @param {{[key: string]: any}} some  what to remember of the choices */
  async choose(some) {
    await this.remember({ chosen: { ...this.chosen, ...some } });
  }

  /**
   * Go on with lines that could not be kept, in memory only.
   * @param {import("./stop.js").JournalLine[]} lines
   * @returns {boolean}  true: go on
   */
  carry(lines) {
    this.journal.push(...lines);
    this.carried.push(...lines);
    this.changed();
    return true;
  }

  /**
   * Seal a record of this phone.
   * @param {string} id
   * @param {string} kind
   * @param {{[key: string]: any}} body
   * @param {{device: string, at: string}} [by]  the phone, and what its clock showed
   * @returns {Promise<Envelope>}
   */
  async sealed(id, kind, body, by = { device: this.device, at: this.now() }) {
    if (this.clockBroken) throw new NotKept("this phone's clock shows no possible year: set it, then save again");
    const schema = SCHEMA[/** @type {keyof typeof SCHEMA} */ (kind)];
    return seal(id, kind, schema, by.device, by.at, body);
  }

  /**
   * The sealed records of a stop: the same ones however often it is asked.
   * @param {Stop} stop
   * @returns {Promise<Envelope[]>}
   */
  async recordsOf(stop) {
    const by = { device: stop.device, at: stop.said_at };
    return Promise.all(bodiesOf(stop).map(({ id, kind, body }) => this.sealed(id, kind, body, by)));
  }

  /**
   * Make a check of a stop: its records go into the outbox and the stop is closed, all or nothing.
   * @param {Stop} stop
   * @param {Envelope[]} records  from `recordsOf`
   */
  async save(stop, records) {
    const close = { stop: stop.id, what: "close", how: "sealed", at: this.now() };
    await this.add({ records, own: true, journal: [close] });
    this.carried = this.carried.filter((line) => line.stop !== stop.id);
  }

  /**
   * The file that holds records which could not be kept, or everything.
   * @param {Envelope[]} records
   * @param {object} [beside]  what is on the phone and is no record
   * @returns {string}
   */
  asFile(records, beside) {
    const { id, title } = this.kept.pairing?.book ?? {};
    const head = { phone: "chaffinch", layout: 1, device: this.device, written_at: this.now(), ...(id ? { book: { id, title } } : {}), ...beside };
    return [head, ...records].map((one) => JSON.stringify(one)).join("\n") + "\n";
  }

  /** @param {Envelope} record */
  standing(record) {
    return this.standings.get(keyOf(record)) ?? { state: "queued", reason: "", what: "" };
  }
}

/** A new id, also where the page has no secure origin and with it no randomUUID. */
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}
