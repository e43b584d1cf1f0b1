// @ts-check
/**
 * What does one table of a check file hold: which keys, and in which span can each be meant?
 *
 * The keys and spans of chaffinch.records.keys (docs/check-file.md); every error names the key, the value and the mend.
 */

import { InputError } from "./errors.js";
import { readQuantity } from "./units.js";

/** @typedef {import("./units.js").Quantity} Quantity */

const LONGEST_TEXT = 200; // [characters]
const LONGEST_NOTE = 5000;
const SMALLEST = 1e-12;

/** @type {{[kind: string]: [number, number]}} */
export const AMOUNTS = { mass: [0, 50_000], volume: [0, 100_000], seeds: [0, 10_000_000], flat_area: [0, 500_000] };
/** @type {{[kind: string]: [number, number]}} */
export const STEPS = { mass: [1e-5, 50_000], volume: [1e-5, 100_000], flat_area: [1e-5, 500_000] };

const CUT = [0.3, 30];
const DISCHARGE = [0.1, 60];
const SIDE = [0.01, 60];
const WET = [1, 60];
const PART = [0.0001, 1];
const POT = [0, 100_000];
export const PAN_AREA = [0.0001, 50];

/** What each key holds, and the span in which it can be meant in inside units; as in chaffinch.records.keys. */
/** @type {{[table: string]: {[key: string]: [string, number[]?]}}} */
const KEYS = {
  "": {
    schema: ["whole"], crop: ["text"], country: ["text"], yield: ["area_mass", [1, 30_000]],
    price: ["price", [0.01, 1e6]], limit: ["area_mass", [0.01, 30_000]], currency: ["text"], tkw: ["mass", [0.1, 2000]],
    test_weight: ["density", [10, 120]], market_moisture: ["percent", WET], moisture: ["percent", WET],
    bushel: ["mass", [2000, 50_000]], report_in: ["text"], spreading: ["flag"], windrowed: ["flag"],
    windrower_width: ["length", CUT], working_width: ["length", CUT], speed: ["speed", [0.1, 40]], when: ["text"],
    operator: ["text"], note: ["note"], combine: ["table"], field: ["table"], pan: ["table"], scale: ["table"],
    catch: ["tables"],
  },
  combine: {
    name: ["text"], cut_width: ["length", CUT], drop_width: ["length", DISCHARGE], spread_width: ["length", DISCHARGE],
    widths_taped: ["flag"],
  },
  field: { name: ["text"], area: ["land", [0.001, 100_000]] },
  pan: { area: ["area", PAN_AREA], width: ["length", SIDE], length: ["length", SIDE] },
  scale: { step: ["mass", STEPS.mass] },
  catch: {
    place: ["text"], pan: ["area", PAN_AREA], width: ["length", SIDE], length: ["length", [0.01, 1000]],
    amount: ["amount"], gross: ["mass", POT], tare: ["mass", POT], step: ["amount"], step_inferred: ["flag"],
    subsample: ["fraction", PART], clean: ["fraction", PART], moisture: ["percent", WET], unthreshed: ["amount"],
    unthreshed_step: ["amount"], unthreshed_step_inferred: ["flag"], heads: ["number", [0, 1e6]],
    seeds_per_head: ["number", [0.01, 10_000]], offset: ["length"], run: ["number", [1, 1e6]],
    time: ["time", [0.1, 86_400]], variation: ["number", [0.02, 3]], bag: ["text"], note: ["note"],
  },
};

/** One table, read key by key. */
export class Entries {
  /** @param {unknown} table @param {string} name @param {string} where */
  constructor(table, name, where) {
    if (typeof table !== "object" || table === null || Array.isArray(table)) {
      throw new InputError(where || "check", null, "is not a table", "give keys and values, like a check file");
    }
    /** @type {{[key: string]: any}} */
    this.rows = table;
    this.keys = KEYS[name];
    this.where = where;
    for (const key of Object.keys(table)) {
      if (!Object.hasOwn(this.keys, key)) {
        const known = Object.keys(this.keys);
        const mend = `leave it out, or use ${known.length === 1 ? "" : "one of "}${known.join(", ")}`;
        throw new InputError(this.field(key.slice(0, 40)), null, `is not a key of ${name || "a check"}`, mend);
      }
    }
  }

  /** @param {string} key */
  has(key) {
    return Object.hasOwn(this.rows, key);
  }

  /** @param {string} key @returns {unknown} */
  raw(key) {
    return this.has(key) ? this.rows[key] : undefined;
  }

  /** @param {string} key */
  field(key) {
    return this.where ? `${this.where}, ${key}` : key;
  }

  /** @param {string} key @param {string} problem @param {string} mend */
  wrong(key, problem, mend) {
    const value = this.raw(key);
    const shown = ["string", "number", "boolean"].includes(typeof value) ? value : null;
    return new InputError(this.field(key), shown, problem, mend);
  }

  /** A text, trimmed; empty when the key is absent. @param {string} key */
  text(key) {
    if (!this.has(key)) return "";
    const value = this.raw(key);
    if (typeof value !== "string") throw this.wrong(key, "is not text", "write it in quotes");
    const note = this.keys[key][0] === "note";
    const plain = value.replaceAll("\r\n", "\n").trim();
    const longest = note ? LONGEST_NOTE : LONGEST_TEXT;
    if ([...value].length > longest) {
      throw this.wrong(key, `is ${[...value].length} characters long`, `write at most ${longest}`);
    }
    if (/[\p{Cc}\p{Cs}\p{Zl}\p{Zp}]/u.test(note ? plain.replace(/[\n\t]/g, "") : plain)) {
      throw this.wrong(key, "holds a character that cannot be printed", "write it plainly, on one line");
    }
    if (!plain) throw this.wrong(key, "is blank", "write something or leave the key out");
    return plain;
  }

  /** True or false; null when the key is absent. @param {string} key */
  flag(key) {
    if (!this.has(key)) return null;
    const value = this.raw(key);
    if (typeof value !== "boolean") throw this.wrong(key, "is not true or false", `write ${key} = true or ${key} = false`);
    return value;
  }

  /** A plain number in its span; null when the key is absent. @param {string} key @param {boolean} [whole] */
  number(key, whole = false) {
    if (!this.has(key)) return null;
    const value = this.raw(key);
    const mend = `write ${key} = ${whole ? "12" : "0.4"}, a plain number without quotes`;
    if (typeof value !== "number" || !Number.isFinite(value)) throw this.wrong(key, "is not a number", mend);
    if (whole && !Number.isInteger(value)) throw this.wrong(key, "must be a whole number", mend);
    this.within(key, value, this.keys[key][1]);
    return value;
  }

  /** A part of the whole, a number or a text; 1 when the key is absent. @param {string} key */
  part(key) {
    if (!this.has(key)) return 1;
    const value = this.raw(key);
    const part = typeof value === "number" ? value : readQuantity(value, ["fraction"], this.field(key)).value;
    if (!(part > 0 && part <= 1)) {
      throw this.wrong(key, "must be above 0 and at most 1", 'write it like 0.25, "1/4" or "25 %"');
    }
    this.within(key, part, this.keys[key][1]);
    return part;
  }

  /** The quantity a key holds, in its span. @param {string} key @param {number|null} [bushel_kg] @returns {Quantity|null} */
  quantity(key, bushel_kg = null) {
    if (!this.has(key)) return null;
    const [holds, span] = this.keys[key];
    const found = readQuantity(this.raw(key), [holds], this.field(key), bushel_kg);
    if (span) {
      if (span[0] > 0 && !(found.value > 0)) throw this.wrong(key, "must be above 0", "write a number above 0");
      if (found.value < 0) throw this.wrong(key, "must not be below 0", "write 0 or more");
    }
    this.within(key, found.value, span);
    return found;
  }

  /** @param {string} key */
  value(key) {
    return this.quantity(key)?.value ?? null;
  }

  /**
   * A reading of whichever of several kinds it is.
   * @param {string} key
   * @param {{[kind: string]: [number, number]}} spans
   * @param {boolean} [above_zero]
   */
  amount(key, spans, above_zero = false) {
    if (!this.has(key)) return null;
    const found = readQuantity(this.raw(key), Object.keys(spans), this.field(key));
    if (found.value < 0 || (above_zero && found.value === 0)) {
      const low = above_zero ? "above 0" : "0 or more";
      throw this.wrong(key, `must be ${low}`, `write a value ${low}, like "12.5 g"`);
    }
    this.within(key, found.value, spans[found.kind]);
    return found;
  }

  /** @param {string} key */
  table(key) {
    return this.has(key) ? new Entries(this.raw(key), key, key) : null;
  }

  /** @param {string} key @param {number} value @param {number[]} [span] */
  within(key, value, span) {
    if (value !== 0 && Math.abs(value) < SMALLEST) {
      throw this.wrong(key, "is smaller than can be meant", "check number and unit");
    }
    if (!span || (value >= span[0] && value <= span[1])) return;
    const [side, end] = value < span[0] ? ["below", span[0]] : ["above", span[1]];
    throw this.wrong(key, `is ${side} ${end}, beyond what can be meant`, "check number and unit");
  }
}
