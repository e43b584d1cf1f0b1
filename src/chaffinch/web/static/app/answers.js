// @ts-check
/** What do the catches say, and what stands in the way of an answer? The engine, asked on the phone's behalf. */

import { answer } from "../engine/check.js";
import { tableOf } from "./checktable.js";

/** @typedef {import("./phone.js").Phone} Phone */
/** @typedef {import("./stop.js").Stop} Stop */
/** @typedef {import("../engine/types.js").Answer} Answer */
/** @typedef {import("../engine/types.js").Range} Range */

/** A limit that is surely wide of the trial catch below: only what stands above it is being tried. */
const TRIED = { place: "standing", pan: "1 m2", amount: "5 g" };

export class Answers {
  /** @param {Phone} phone */
  constructor(phone) {
    this.phone = phone;
    /** @type {Map<string, Answer | null>} */
    this.known = new Map();
  }

  /**
   * The answer to a stop in hand, and the ranges after each earlier catch, newest first.
   * @param {Stop} stop
   * @returns {{answer: Answer | null, problem: string, earlier: Range[]}}
   */
  ofStop(stop) {
    const table = tableOf(stop);
    if (table.catch.length === 0) return { answer: null, problem: "", earlier: [] };
    try {
      const found = this.#asked(table, true);
      const earlier = [];
      for (let n = table.catch.length - 1; n >= 1 && earlier.length < 4; n -= 1) {
        const before = this.#before({ ...table, catch: table.catch.slice(0, n) });
        if (before && before.judged.sources.join() === found.judged.sources.join()) earlier.push(before.judged.trade);
      }
      return { answer: found, problem: "", earlier };
    } catch (error) {
      return { answer: null, problem: problemText(error), earlier: [] };
    }
  }

  /** @param {any} table */
  #before(table) {
    try {
      return this.#asked(table, false);
    } catch {
      // A profile that is not complete yet, say: no range was shown then either.
      return null;
    }
  }

  /**
   * @param {any} table
   * @param {boolean} further
   * @returns {Answer}
   */
  #asked(table, further) {
    const key = JSON.stringify([table, further, this.phone.kept.setup ? this.phone.kept.setup.version : ""]);
    const before = this.known.get(key);
    if (before) return before;
    const found = answer(table, this.phone.setup, { further });
    if (this.known.size > 200) this.known.clear();
    this.known.set(key, found);
    return found;
  }

  /**
   * The answer to a saved check; null where this app cannot work it out.
   * @param {import("./outbox.js").Envelope} record
   * @returns {Answer | null}
   */
  ofRecord(record) {
    if (!this.known.has(record.hash)) {
      let found = null;
      try {
        found = this.#asked(record.body.check, true);
      } catch {
        // A check that came from elsewhere may hold what this app does not know: it is kept and sent all the same.
      }
      this.known.set(record.hash, found);
    }
    return this.known.get(record.hash) ?? null;
  }

  /**
   * Why these terms cannot stand above a check; empty when they can.
   * @param {{[key: string]: any}} terms
   * @returns {string}
   */
  problemOfTerms(terms) {
    if (!terms.crop) return "Choose a field, or the crop.";
    return this.#problem({ ...terms, catch: [TRIED] });
  }

  /**
   * Why a catch cannot be taken so; empty when it can.
   * @param {{[key: string]: any}} terms
   * @param {{[key: string]: any}} catchTable
   * @returns {string}
   */
  problemOfCatch(terms, catchTable) {
    return this.#problem({ ...terms, catch: [catchTable] });
  }

  /** @param {any} table */
  #problem(table) {
    try {
      answer(table, this.phone.setup, { further: false });
      return "";
    } catch (error) {
      return problemText(error);
    }
  }
}

/**
 * An error of the engine in one line, without the place where a file would have it.
 * @param {unknown} error
 * @returns {string}
 */
export function problemText(error) {
  const text = error instanceof Error ? error.message : String(error);
  const plain = text.replace(/^catch \d+, /, "");
  return `${plain.charAt(0).toUpperCase()}${plain.slice(1)}`;
}
