// @ts-check
/** What is done with a stop? Begun, added to, weighed, saved, corrected, left out: each a line of the journal first. */

import { Answers } from "./answers.js";
import { sizeOf, termsOf } from "./checktable.js";
import { h } from "./dom.js";
import { Frame } from "./frame.js";
import { chosenPicture, prepared } from "./photo.js";
import { newId } from "./phone.js";
import { Post } from "./post.js";
import { readable } from "./shape.js";

/** @typedef {import("./phone.js").Phone} Phone */
/** @typedef {import("./stop.js").Stop} Stop */
/** @typedef {import("./stop.js").JournalLine} JournalLine */
/** @typedef {import("./outbox.js").Envelope} Envelope */

export class Stops extends Frame {
  /**
   * @param {Phone} phone
   * @param {import("./frame.js").Places} places
   */
  constructor(phone, places) {
    super(phone, places);
    this.answers = new Answers(phone);
    this.post = new Post(phone);
    /** Id of the check that was saved a moment ago. */
    this.fresh = "";
  }

  /** Ask the browser to keep what is kept. @param {boolean} [tell]  say when it is refused */
  async askToStay(tell = false) {
    const storage = navigator.storage;
    if (!storage?.persist) return;
    this.phone.persisted = (await storage.persisted()) || (await storage.persist());
    if (tell && !this.phone.persisted) this.sheet("Refused", h("p", {}, "The browser decides itself. Installing the app on the home screen, or opening it often, helps."));
    else if (tell) this.show();
  }

  // --- a stop -------------------------------------------------------------------------------------------------------

  /** @param {{elsewhere?: boolean}} [how] */
  begin(how = {}) {
    const { place: at, pan: kept } = this.phone.chosen;
    const again = at && kept && !how.elsewhere && !this.problemOfCatch(at, kept, this.phone.chosen);
    this.draft = again ? { place: at, pan: kept } : { place: null, pan: null };
    this.go(again ? "/pad" : "/place");
  }

  /** @param {Stop} stop */
  another(stop) {
    const last = stop.catches[stop.catches.length - 1];
    this.draft = { stop: stop.id, place: last?.place ?? null, pan: last?.pan ?? null };
    this.go(last ? "/pad" : "/place");
  }

  /**
   * @param {Stop} stop
   * @param {number} n
   */
  weigh(stop, n) {
    this.draft = { stop: stop.id, weigh: n };
    this.go("/pad");
  }

  /**
   * Keep a catch; the first one opens the stop.
   * @param {{amount: string | null, step?: string, bag?: string}} reading
   * @param {{[key: string]: any}} remember
   * @returns {Promise<boolean>}
   */
  async addCatch(reading, remember) {
    const { phone, draft } = this;
    const [fresh, key] = [newId(), newId()];
    /** @type {{stop: string, lines: JournalLine[]}} */
    const lost = { stop: "", lines: [] };
    const done = await this.write(async () => {
      const stop = this.stopInHand;
      lost.stop = stop?.id ?? fresh;
      const at = phone.now();
      const one = { n: stop?.next ?? 1, key, place: draft.place, pan: draft.pan, ...reading };
      lost.lines = [{ stop: lost.stop, what: "catch", at, catch: one }];
      if (!stop) {
        const { where: filed, terms } = phone.terms;
        lost.lines.unshift({ stop: fresh, what: "open", at, device: phone.device, terms, where: { ...filed, ...nextSide(phone) } });
      }
      await phone.add({ journal: lost.lines, ongoing: lost.stop, kept: { chosen: { ...phone.chosen, ...remember } } });
    }, lost);
    if (done) {
      this.draft = { ...draft, stop: lost.stop, text: "" };
      this.askToStay();
    }
    return done;
  }

  /** The stop that the next catch belongs to; one that was saved or left out takes none any more. @returns {Stop | null} */
  get stopInHand() {
    const stop = this.draft.stop ? this.phone.stops.get(this.draft.stop) : null;
    return stop && !stop.closed ? stop : null;
  }

  /** The bag of it that is being weighed. @returns {import("./stop.js").Catch | null} */
  get bagInHand() {
    return this.stopInHand?.catches.find((one) => one.n === this.draft.weigh) ?? null;
  }

  /**
   * @param {number} n
   * @param {string} amount
   * @param {string | undefined} step
   */
  weighed(n, amount, step) {
    const key = this.bagInHand?.key;
    const line = { stop: this.draft.stop, what: "weighed", at: this.phone.now(), n, ...(key ? { key } : {}), amount, ...(step ? { step } : {}) };
    return this.say(line);
  }

  /**
   * @param {Stop} stop
   * @param {number} n
   */
  takeBack(stop, n) {
    const key = stop.catches.find((one) => one.n === n)?.key;
    return this.say({ stop: stop.id, what: "taken back", at: this.phone.now(), n, ...(key ? { key } : {}) });
  }

  /**
   * Write down one line about an open stop.
   * @param {JournalLine} line
   * @param {import("./keep.js").Parts} [more]
   */
  say(line, more = {}) {
    return this.write(() => this.phone.add({ ...more, journal: [line], ongoing: line.stop }), { stop: line.stop, lines: [line] });
  }

  /** @param {Stop} stop */
  async drop(stop) {
    const leave = async () => {
      const line = { stop: stop.id, what: "close", how: "dropped", at: this.phone.now() };
      this.closeSheet();
      if (await this.write(() => this.phone.add({ journal: [line] }))) this.go("/");
    };
    this.sheet("Leave this stop out?", h("div.stack", {},
      h("p", {}, `Its ${stop.catches.length} catches will count nowhere. They stay in this phone's log and in its files.`),
      h("button.main", { onclick: leave }, "Leave it out"),
      h("button.second", { onclick: () => this.closeSheet() }, "Keep it open")));
  }

  /** @param {Stop} stop */
  async save(stop) {
    /** @type {{records: Envelope[], stop: string, lines: JournalLine[]}} */
    const lost = { records: [], stop: stop.id, lines: [] };
    const kept = await this.write(async () => {
      lost.records = await this.phone.recordsOf(stop);
      await this.phone.save(stop, lost.records);
    }, lost);
    if (!kept) return;
    this.fresh = stop.id;
    this.post.soon();
    this.go(`/saved/${stop.id}`, { replace: true });
  }

  /**
   * Open a new version of a saved check.
   * @param {Envelope} record
   */
  async correct(record) {
    const { check, settings, conditions } = record.body;
    const { catch: catches, schema: _, ...terms } = check;
    const filed = Object.fromEntries(["season", "field", "combine", "operator", "trial", "side"].filter((key) => record.body[key]).map((key) => [key, record.body[key]]));
    const line = {
      stop: newId(), what: "open", at: record.body.taken_at, device: this.phone.device, terms, where: filed, settings, conditions,
      replaces: [record.id], reason: "corrected on the phone",
      catches: catches.map((/** @type {any} */ one, /** @type {number} */ i) => asCatch(one, i + 1)),
    };
    if (await this.write(() => this.phone.add({ journal: [line] }))) this.go(`/stop/${line.stop}`);
  }

  /**
   * Terms of a stop anew, from what is chosen on the phone.
   * @param {Stop} stop
   */
  terms(stop) {
    const use = async () => {
      const { where: filed, terms } = this.phone.terms;
      const keep = Object.fromEntries(["trial", "side"].filter((key) => stop.where[key]).map((key) => [key, stop.where[key]]));
      // Whether the spreader was on is a fact of this stop, whatever machine it is said to be of.
      const { spreading } = stop.terms;
      const line = { stop: stop.id, what: "terms", at: this.phone.now(), where: { ...filed, ...keep }, terms: { ...terms, ...(spreading === undefined ? {} : { spreading }) } };
      this.closeSheet();
      if (await this.say(line)) this.show();
    };
    const { terms } = this.phone.terms;
    this.sheet("Field, machine and terms", h("div.stack", {},
      h("p", {}, `Now chosen on this phone: ${[terms.field?.name, terms.crop, terms.combine?.name, terms.limit && this.answers.limitWords(terms)].filter(Boolean).join(", ")}.`),
      h("button.main", { onclick: use }, "Use these for this stop"),
      h("button.second", { onclick: () => { this.closeSheet(); this.go("/where"); } }, "Choose others first")));
  }

  /** @param {Stop} stop */
  async photo(stop) {
    const file = await chosenPicture();
    if (!file) return;
    let made;
    try {
      made = await prepared(file);
    } catch {
      this.sheet("No picture", h("p", {}, "This file could not be read as a picture. Nothing was kept of it."));
      return;
    }
    const photo = { id: newId(), sha256: made.sha256, bytes: made.bytes.byteLength, at: this.phone.now() };
    const line = { stop: stop.id, what: "photo", at: photo.at, photo };
    if (await this.say(line, { photos: [made] })) this.show();
  }

  // --- what the catches say -----------------------------------------------------------------------------------------

  /** @param {Stop} stop */
  answerOfStop(stop) {
    return this.answers.ofStop(stop);
  }

  /** @param {Envelope} record */
  answerOf(record) {
    return this.answers.ofRecord(record);
  }

  /** @param {{[key: string]: any}} chosen */
  #termsFor(chosen) {
    const { phone } = this;
    const field = phone.thing("fields", chosen.field);
    const own = chosen.own ?? {};
    return termsOf({
      farm: phone.setup.farm,
      field,
      combine: phone.thing("combines", chosen.combine),
      operator: phone.thing("operators", chosen.operator),
      own,
      units: chosen.units ?? "farm",
      crop: phone.crop(own.crop ?? field?.parts.crop),
    }).terms;
  }

  /** @param {{[key: string]: any}} chosen */
  problemOfTerms(chosen) {
    return this.answers.problemOfTerms(this.#termsFor(chosen));
  }

  /**
   * @param {string} at
   * @param {import("./stop.js").Pan} found
   * @param {{[key: string]: any}} chosen
   * @param {{[key: string]: any}} [terms]  of the stop in hand, where one is
   */
  problemOfCatch(at, found, chosen, terms = this.#termsFor(chosen)) {
    return this.answers.problemOfCatch(terms, { place: at, ...sizeOf(found), amount: "1 g", step: "0.1 g" });
  }

  /**
   * @param {string} amount
   * @param {string | undefined} step
   */
  problemOfAmount(amount, step) {
    const terms = { ...(this.stopInHand?.terms ?? this.phone.terms.terms) };
    return this.answers.problemOfCatch(terms, { place: "standing", pan: "1 m2", amount, ...(step ? { step } : {}) });
  }
}

/**
 * The trial and side of the next stop: those of the last one, until somebody changes the settings and says so.
 * @param {Phone} phone
 * @returns {{[key: string]: string}}
 */
function nextSide(phone) {
  const last = phone.chosen.trial;
  if (!last?.id) return {};
  const trials = [...(phone.kept.trials ?? []), ...phone.records];
  const found = trials.find((one) => one.kind === "trial" && readable(one) && one.id === last.id);
  if (!found || found.body.combine !== phone.terms.where.combine) return {};
  return { trial: last.id, side: last.side };
}

/**
 * @param {any} one  a catch as a check file says it
 * @param {number} n
 * @returns {import("./stop.js").Catch}
 */
function asCatch(one, n) {
  const { place: at, pan: area, width, length, time, ...rest } = one;
  return { n, place: at, pan: Object.fromEntries(Object.entries({ area, width, length, time }).filter(([, value]) => value)), ...rest };
}
