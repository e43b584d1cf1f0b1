// @ts-check
/** What is thrown on purpose: the twins of chaffinch.errors. */

const LONGEST_SHOWN = 60; // [characters]

/** A value from outside cannot be used: which field, what stood there, what is wrong and what to write instead. */
export class InputError extends Error {
  /**
   * @param {string} field    where the value stood: "catch 2, amount"
   * @param {unknown} value   as it was given; null when there is none to show
   * @param {string} problem  a short clause: "must be above 0"
   * @param {string} mend     an instruction: "write it like 12.5 g"
   */
  constructor(field, value, problem, mend) {
    const shown = value === null || value === undefined ? "" : ` (got ${shorten(value)})`;
    super(`${field}: ${problem}${shown}; ${mend}`.replace(/\s+/g, " "));
    this.name = "InputError";
    this.field = field;
    this.value = value;
    this.problem = problem;
    this.mend = mend;
  }

  /** The same error with a place put in front of its field. @param {string} place @returns {InputError} */
  within(place) {
    return new InputError(`${place}, ${this.field}`, this.value, this.problem, this.mend);
  }
}

/** Too few effective draws: the answer would not be trustworthy. */
export class SamplerError extends Error {
  /** @param {string} message */
  constructor(message) {
    super(message);
    this.name = "SamplerError";
  }
}

/** @param {unknown} value @returns {string} */
function shorten(value) {
  const text = typeof value === "string" ? `'${value}'` : String(value);
  return text.length <= LONGEST_SHOWN ? text : text.slice(0, LONGEST_SHOWN - 1) + "…";
}
