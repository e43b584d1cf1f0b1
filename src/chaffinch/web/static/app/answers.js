// @ts-check
/**
 * What do the catches say, and what stands in the way of an answer? The engine, asked on the phone's behalf: estimates
 * in a worker beside the page, so that the screen never waits, and here where there is no worker.
 */

import { answer, examine, limitOf } from "../engine/check.js";
import { tableOf } from "./checktable.js";
import { plainNumber } from "./figures.js";

/** @typedef {import("./phone.js").Phone} Phone */
/** @typedef {import("./stop.js").Stop} Stop */
/** @typedef {import("../engine/types.js").Answer} Answer */
/** @typedef {import("../engine/types.js").Range} Range */
/** @typedef {{answer: Answer | null, problem: string}} Known */

/** A limit that is surely wide of the trial catch below: only what stands above it is being tried. */
const TRIED = { place: "standing", pan: "1 m2", amount: "5 g" };
/** How long the worker may take before the page answers itself [ms]; a hundred times what an estimate takes. */
const PATIENCE_MS = 10_000;

export class Answers extends EventTarget {
  /** @param {Phone} phone */
  constructor(phone) {
    super();
    this.phone = phone;
    /** @type {Map<string, Known>} */
    this.known = new Map();
    /** @type {Map<number, {key: string, table: any, further: boolean, late: number}>} asked of the worker */
    this.pending = new Map();
    this.count = 0;
    /** @type {Worker | null | undefined}  null where there is none */
    this.worker = undefined;
  }

  /**
   * The answer to a stop in hand, and the ranges after each earlier catch, newest first. It comes later, with the event
   * "answered", where `working` is true.
   * @param {Stop} stop
   * @returns {Known & {working: boolean, earlier: Range[]}}
   */
  ofStop(stop) {
    const table = tableOf(stop);
    if (table.catch.length === 0) return { answer: null, problem: "", working: false, earlier: [] };
    const found = this.#asked(table, true);
    const earlier = [];
    for (let n = table.catch.length - 1; found?.answer && n >= 1 && n >= table.catch.length - 4; n -= 1) {
      const part = { ...table, catch: table.catch.slice(0, n) };
      // It was asked with further catches when it was the newest, and without when the stop was opened anew. A profile
      // that was not complete then had no range.
      const before = (this.known.get(this.#key(part, true)) ?? this.#asked(part, false))?.answer;
      if (before?.judged.sources.join() === found.answer.judged.sources.join()) earlier.push(before.judged.trade);
    }
    return { ...(found ?? { answer: null, problem: "" }), working: !found, earlier };
  }

  /**
   * The answer to a saved check; null until it is there, and where this app cannot work it out: a check that came from
   * elsewhere may hold what this app does not know, and is kept and sent all the same.
   * @param {import("./outbox.js").Envelope} record
   * @returns {Answer | null}
   */
  ofRecord(record) {
    return this.#asked(record.body.check, true)?.answer ?? null;
  }

  /** @param {any} table @param {boolean} further */
  #key(table, further) {
    return JSON.stringify([table, further, this.phone.kept.setup ? this.phone.kept.setup.version : ""]);
  }

  /**
   * What is known about a table; undefined while the worker is at it.
   * @param {any} table
   * @param {boolean} further
   * @returns {Known | undefined}
   */
  #asked(table, further) {
    const key = this.#key(table, further);
    const known = this.known.get(key);
    if (known) return known;
    const worker = this.#started();
    if (!worker) return this.#here({ key, table, further });
    if ([...this.pending.values()].some((one) => one.key === key)) return undefined;
    const n = (this.count += 1);
    const late = setTimeout(() => this.#without(), PATIENCE_MS);
    this.pending.set(n, { key, table, further, late });
    worker.postMessage({ n, table, setup: this.phone.setup, further });
    return undefined;
  }

  /** Worked out on the page itself. @param {{key: string, table: any, further: boolean}} asked @returns {Known} */
  #here({ key, table, further }) {
    try {
      return this.#keep(key, { answer: answer(table, this.phone.setup, { further }), problem: "" });
    } catch (error) {
      return this.#keep(key, { answer: null, problem: problemText(error) });
    }
  }

  /** @param {string} key @param {Known} found */
  #keep(key, found) {
    if (this.known.size > 200) this.known.clear();
    this.known.set(key, found);
    return found;
  }

  /** The worker, if this browser has them. */
  #started() {
    if (this.worker !== undefined) return this.worker;
    try {
      this.worker = new Worker("/app/engine-worker.js", { type: "module" });
      this.worker.onmessage = ({ data }) => this.#came(data);
      this.worker.onerror = () => this.#without();
    } catch {
      this.worker = null;
    }
    return this.worker;
  }

  /** @param {{n: number, answer?: Answer, problem?: string}} data */
  #came({ n, answer: found, problem }) {
    const asked = this.pending.get(n);
    if (!asked) return;
    clearTimeout(asked.late);
    this.pending.delete(n);
    this.#keep(asked.key, { answer: found ?? null, problem: problem ? problemText(new Error(problem)) : "" });
    this.dispatchEvent(new Event("answered"));
  }

  /** A worker that cannot be had, or does not answer: the page does it. */
  #without() {
    this.worker?.terminate();
    this.worker = null;
    const asked = [...this.pending.values()];
    this.pending.clear();
    for (const one of asked) {
      clearTimeout(one.late);
      this.#here(one);
    }
    this.dispatchEvent(new Event("answered"));
  }

  /**
   * The limit in words, in the unit that losses are shown in.
   * @param {{[key: string]: any}} terms
   * @returns {string}
   */
  limitWords(terms) {
    if (!terms.limit) return "no limit set";
    try {
      const { combine: _, ...rest } = terms;
      const found = limitOf({ ...rest, catch: [TRIED] }, this.phone.setup);
      if (found) return `limit ${plainNumber(found.value)} ${found.unit}`;
    } catch {
      // What is wrong with the terms is told where they are chosen and used; here they stand as they were written.
    }
    return `limit ${terms.limit}`;
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
      examine(table, this.phone.setup);
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
