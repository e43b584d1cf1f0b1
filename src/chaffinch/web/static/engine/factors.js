// @ts-check
/**
 * What is one of each unit worth inside?
 *
 * The units of chaffinch.units.factors that a phone needs. Base constants are exact by definition (NIST Special
 * Publication 811, from memory).
 */

const FOOT_M = 0.3048;
const INCH_M = 0.0254;
const YARD_M = 0.9144;
const MILE_M = 1609.344;
const POUND_G = 453.59237;
const OUNCE_G = POUND_G / 16;
const ACRE_HA = 0.40468564224;
const CUBIC_INCH_ML = 16.387064;
const US_FLUID_OUNCE_ML = (231 * CUBIC_INCH_ML) / 128;
const IMPERIAL_GALLON_ML = 4546.09;
const US_BUSHEL_HL = (2150.42 * CUBIC_INCH_ML) / 100_000;
const IMPERIAL_BUSHEL_HL = (8 * IMPERIAL_GALLON_ML) / 100_000;

/**
 * @typedef {object} Kind
 * @property {string} phrase
 * @property {string} example
 * @property {{[unit: string]: number}} units  what one of each is worth inside
 * @property {{[other: string]: string}} [also]  other canonical forms that mean the same here
 * @property {string} [bushel]          unit whose worth is to be multiplied by a bushel's weight [kg]
 * @property {string} [per_bushel]      unit whose worth is to be divided by it
 * @property {[string, string][]} [pairs]
 * @property {boolean} [no_fractions]
 * @property {boolean} [money]
 * @property {boolean} [whole]
 */

/** @type {{[kind: string]: Kind}} */
export const KINDS = {
  length: {
    phrase: "a length",
    example: "66 in",
    units: { m: 1, cm: 0.01, mm: 0.001, in: INCH_M, ft: FOOT_M, yd: YARD_M },
    pairs: [["ft", "in"]],
  },
  area: {
    phrase: "an area",
    example: "4 ft2",
    units: { m2: 1, cm2: 1e-4, mm2: 1e-6, ft2: FOOT_M ** 2, in2: INCH_M ** 2, yd2: YARD_M ** 2 },
  },
  flat_area: {
    phrase: "the area of a flat layer",
    example: "120 cm2 flat",
    units: { "cm2 flat": 1, "in2 flat": 2.54 ** 2 },
  },
  land: { phrase: "an area of land", example: "62 ha", units: { ha: 1, ac: ACRE_HA } },
  mass: {
    phrase: "a mass",
    example: "12.5 g",
    units: { g: 1, mg: 0.001, kg: 1000, oz: OUNCE_G, lb: POUND_G, t: 1e6 },
    pairs: [["lb", "oz"]],
  },
  volume: {
    phrase: "a volume",
    example: "35 mL",
    units: {
      mL: 1,
      dL: 100,
      L: 1000,
      "US fl oz": US_FLUID_OUNCE_ML,
      "imp fl oz": IMPERIAL_GALLON_ML / 160,
      "US cup": 8 * US_FLUID_OUNCE_ML,
    },
    also: { cm3: "mL" },
  },
  seeds: { phrase: "a count of seeds", example: "44 seeds", units: { seeds: 1 }, no_fractions: true, whole: true },
  speed: {
    phrase: "a speed",
    example: "7.5 km/h",
    units: { "km/h": 1, mph: MILE_M / 1000, "m/s": 3.6 },
    also: { "mi/h": "mph" },
  },
  time: {
    phrase: "a length of time",
    example: "20 min",
    units: { s: 1, min: 60, h: 3600 },
    pairs: [
      ["h", "min"],
      ["min", "s"],
    ],
  },
  area_mass: {
    phrase: "a mass per area of land",
    example: "1.2 t/ha",
    units: {
      "kg/ha": 1,
      "dt/ha": 100,
      "t/ha": 1000,
      "g/m2": 10,
      "g/ft2": 10 / FOOT_M ** 2,
      "lb/ac": POUND_G / 1000 / ACRE_HA,
      "cwt/ac": POUND_G / 10 / ACRE_HA,
      "bu/ac": 1 / ACRE_HA,
    },
    bushel: "bu/ac",
  },
  density: {
    phrase: "a bulk density",
    example: "65 kg/hL",
    units: {
      "kg/hL": 1,
      "g/L": 0.1,
      "kg/m3": 0.1,
      "g/mL": 100,
      "lb/bu US": POUND_G / 1000 / US_BUSHEL_HL,
      "lb/bu imp": POUND_G / 1000 / IMPERIAL_BUSHEL_HL,
    },
    also: { "g/cm3": "g/mL", "lb/US bu": "lb/bu US", "lb/imp bu": "lb/bu imp" },
  },
  price: {
    phrase: "a price",
    example: "14.50 /bu",
    units: { "/t": 1, "/kg": 1000, "/lb": 1e6 / POUND_G, "/cwt": 1e4 / POUND_G, "/bu": 1000 },
    per_bushel: "/bu",
    no_fractions: true,
    money: true,
  },
  percent: { phrase: "a percentage", example: "12.5 %", units: { "%": 1 } },
  fraction: { phrase: "a fraction", example: "0.25", units: { "": 1, "%": 0.01 } },
};
