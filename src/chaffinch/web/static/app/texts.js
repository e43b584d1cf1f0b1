// @ts-check
/**
 * What does the phone say that no other face says? One table, so that another language can stand beside it.
 */

/**
 * Where a catch is taken: what it is called on a button, what that means, and how one gets there safely.
 * @type {{[place: string]: {title: string, below: string, how: string}}}
 */
export const PLACE = {
  discharge: {
    title: "In the discharge",
    below: "A tray that took what left the machine, nothing else",
    how: "Use a tray that the machine releases. Without one, choose “Behind, on the ground”: stop, engine off, key out, wait, then lay the frame.",
  },
  behind: {
    title: "Behind, on the ground",
    below: "A frame on the stubble, in the band of straw",
    how: "Stop, back up a little, engine off, key out. When all movement has stopped, lay the frame where the straw fell.",
  },
  "header strip": {
    title: "Cut strip, before the discharge",
    below: "What fell before harvest and at the header",
    how: "Stop, back up about one machine length, engine off, key out. The frame goes on cut ground that the discharge has not reached.",
  },
  standing: {
    title: "Standing crop",
    below: "What had fallen before the combine came",
    how: "Walk into uncut crop ahead of the stopped machine, and lay the frame on the ground.",
  },
  "whole cut": {
    title: "Across the whole cut",
    below: "A strip over the full width behind",
    how: "With the machine well away or switched off, take a narrow strip over the whole width that was cut.",
  },
  windrow: {
    title: "Windrow shaken out",
    below: "Some metres of straw, shaken over a sheet",
    how: "With the machine well away or switched off, shake out a measured length of the windrow.",
  },
  leak: {
    title: "A leak, timed",
    below: "What drips from a seam or a door",
    how: "Hang or tape a bag under the seam while everything is switched off; drive; switch off again; take it down.",
  },
};

/** A place in words; one that this app does not know as it was written. @param {string} place */
export function placeTitle(place) {
  return PLACE[place]?.title ?? place;
}

/** Places whose catch depends on the spreader. */
export const SPREADABLE = new Set(["discharge", "behind"]);

/** Units of a reading, as the pad shows them. */
export const UNIT = { g: "g", oz: "oz", mL: "mL", seeds: "seeds", "cm2 flat": "cm² flat" };

/** @type {{[end: string]: string}} */
export const SIGNAL = {
  "": "Not looked yet",
  ok: "The book was reached",
  "no signal": "No signal to the book. Everything waits here",
  stranger: "Another page answers in the book's place, as in a hot spot's sign-in. Nothing was sent",
  "not let in": "The book no longer lets this phone in. Nothing is lost: pair it again",
  "may not": "This phone may read, not write. Ask for a code with the role crew",
  "other book": "The server there holds another book. Nothing was sent",
  wait: "The server asked for a pause",
  refused: "The server did not take it",
  trouble: "The server has trouble. Everything waits here",
  "no room": "This phone cannot write down what the book answers: its storage may be full. Everything waits here",
};

/** @type {{[state: string]: {mark: string, words: string, many?: string}}} */
export const STATE = {
  queued: { mark: "○", words: "waits on this phone", many: "wait on this phone" },
  sending: { mark: "◐", words: "on its way" },
  sent: { mark: "●", words: "in the book" },
  elsewhere: { mark: "●", words: "in another book" },
  attention: { mark: "!", words: "needs attention" },
};

export const CONDITIONS = [
  ["grain_moisture_pct", "Grain moisture", "%"],
  ["straw_moisture_pct", "Straw moisture", "%"],
  ["air_temperature_c", "Air", "°C"],
  ["humidity_pct", "Humidity of the air", "%"],
  ["wind_kmh", "Wind", "km/h"],
];

/** Spans of conditions, as in the record's rules. @type {{[key: string]: [number, number]}} */
export const CONDITION_SPAN = {
  air_temperature_c: [-60, 60],
  humidity_pct: [0, 100],
  wind_kmh: [0, 200],
  grain_moisture_pct: [0.1, 60],
  straw_moisture_pct: [0.1, 90],
};

/** Settings offered by name; a person may write others. */
export const SETTINGS = [
  ["rotor speed", "rpm"],
  ["concave clearance", "mm"],
  ["fan speed", "rpm"],
  ["upper sieve", "mm"],
  ["lower sieve", "mm"],
];

export const STANDS = "Only while the machine stands. Never tap while driving.";
