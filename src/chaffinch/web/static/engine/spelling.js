// @ts-check
/**
 * Which unit, and which currency, did they mean?
 *
 * Spelled as chaffinch.units.spelling and .money read them. Words with more than one meaning are refused with the way out.
 */

import { InputError } from "./errors.js";
import { KINDS } from "./factors.js";

/** Canonical piece of a unit → ways it is spelled, parted by commas. @type {{[piece: string]: string}} */
const SPELLED = {
  m: "m,metre,metres,meter,meters",
  cm: "cm,centimetre,centimetres,centimeter,centimeters",
  mm: "mm,millimetre,millimetres,millimeter,millimeters",
  in: "in,inch,inches",
  ft: "ft,foot,feet",
  yd: "yd,yds,yard,yards",
  g: "g,gm,gram,grams,gramme,grammes",
  mg: "mg,milligram,milligrams",
  kg: "kg,kgs,kilo,kilos,kilogram,kilograms,kilogramme,kilogrammes",
  dt: "dt,decitonne,decitonnes",
  t: "t,mt,tonne,tonnes,metric ton,metric tons,metric tonne,metric tonnes",
  oz: "oz,ounce,ounces",
  lb: "lb,lbs,pound,pounds",
  cwt: "cwt,hundredweight,hundredweights",
  bu: "bu,bus,bushel,bushels",
  "bu US": "bu us,bushel us",
  "US bu": "us bu,us bushel,winchester bushel",
  "bu imp": "bu imp,bu imperial,bushel imp,bushel imperial",
  "imp bu": "imp bu,imp bushel,imperial bu,imperial bushel",
  ha: "ha,hectare,hectares",
  ac: "ac,acre,acres",
  mL: "ml,millilitre,millilitres,milliliter,milliliters",
  dL: "dl,decilitre,decilitres,deciliter,deciliters",
  L: "l,litre,litres,liter,liters",
  hL: "hl,hectolitre,hectolitres,hectoliter,hectoliters",
  cm3: "cm3,cc,ccm,cu cm,cubic cm,cubic centimetre,cubic centimetres,cubic centimeters",
  m3: "m3,cu m,cubic m,cubic metre,cubic metres,cubic meter,cubic meters",
  "US fl oz": "us fl oz,us fluid ounce,us fluid ounces,fl oz us",
  "imp fl oz":
    "imp fl oz,imp fluid ounce,imp fluid ounces,imperial fl oz,imperial fluid ounce,imperial fluid ounces,fl oz imp,uk fl oz",
  "US cup": "us cup,us cups,cup us,cups us",
  seeds: "seeds,seed,kernels,kernel,beans,bean",
  km: "km,kilometre,kilometres,kilometer,kilometers",
  mi: "mi,mile,miles",
  "km/h": "kph,kmh,kmph",
  mph: "mph",
  s: "s,sec,secs,second,seconds",
  min: "min,mins,minute,minutes",
  h: "h,hr,hrs,hour,hours",
  "%": "%,percent,per cent,pct",
  "": "",
};

/** @type {Map<string, string>} */
export const CANONICAL = new Map([["'", "ft"], ['"', "in"]]);
for (const [name, ways] of Object.entries(SPELLED)) {
  for (const way of ways.split(",")) {
    CANONICAL.set(way, name);
    if (/^(m|cm|mm|in|ft|yd)$/.test(name)) {
      for (const squared of [`${way}2`, `sq ${way}`, `sq${way}`, `square ${way}`]) CANONICAL.set(squared, `${name}2`);
    }
  }
}

/** Pieces whose capitals change the meaning. @type {{[piece: string]: [string, string]}} */
const CAPITALS = {
  G: ["a thousand million", "g for grams"],
  T: ["a US short ton", "t for a tonne of 1000 kg"],
  Mg: ["a tonne", "mg or t"],
  MG: ["a tonne", "mg or t"],
  ML: ["a million litres", "mL"],
  Ml: ["a million litres", "mL"],
};

/** Words with more than one meaning: kinds, why, and the way out. @type {[RegExp, string, string, string][]} */
const TWO_MEANINGS = [
  [/^tons?$/, "mass area_mass price", "says 'ton', which is 1000 kg, 2000 lb or 2240 lb",
    "write t for a tonne of 1000 kg, or use kg or lb"],
  [/^cups?$/, "volume", "says 'cup', which differs by country", "write US cup, or give it in mL"],
  [/^(fl oz|floz|fluid ounces?)$/, "volume", "says 'fl oz', and the US and the imperial fluid ounce differ by 4 %",
    "write US fl oz or imp fl oz"],
  [/^lb\/bu$/, "density", "says lb/bu, and the US and the imperial bushel measure differ by 3 %",
    "write lb/bu US or lb/bu imp"],
];

// ISO 4217, from memory: a list, because "29 cts/lb" must not pass for 29 of a currency called CTS.
const CODES = new Set(
  ("AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BGN BHD BIF BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF CLP CNY " +
    "COP CRC CUP CVE CZK DJF DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GNF GTQ GYD HKD HNL HTG HUF IDR " +
    "ILS INR IQD IRR ISK JMD JOD JPY KES KGS KHR KMF KPW KRW KWD KYD KZT LAK LBP LKR LRD LSL LYD MAD MDL MGA MKD MMK " +
    "MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN PGK PHP PKR PLN PYG QAR RON RSD RUB RWF " +
    "SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TND TOP TRY TTD TWD TZS UAH UGX USD UYU " +
    "UZS VES VND VUV WST XAF XCD XOF XPF YER ZAR ZMW ZWG").split(" "),
);
const DOLLARS = new Set("USD CAD AUD NZD ARS CLP COP MXN UYU BRL NAD SGD HKD".split(" "));
const MARK = "(?:US|CA|C|AU|A|NZ|HK|S|R|MX)?\\$|[€£¥₴₽₹₺₸₦₩₪₫₱]|[A-Z]{3}";
const BEFORE = new RegExp(`^([+-]?) ?(${MARK}) ?(?=[+\\-0-9.,])`, "i");
const AFTER = new RegExp(`^(${MARK})(?= ?/| per |$)`, "i");

/** The unit of that kind which a person wrote, or null. @param {string} written @param {string} kind */
export function unitIn(written, kind) {
  const form = formOf(written);
  if (form === null) return null;
  const { units, also } = KINDS[kind];
  if (Object.hasOwn(units, form)) return form;
  return also && Object.hasOwn(also, form) ? also[form] : null;
}

/** Split a unit as written at its slashes, keeping capitals. @param {string} written */
function piecesOf(written) {
  const bare = written
    .replace(/(?<=[A-Za-z])\.(?=[ /)]|$)|(?<=[A-Za-z])\.(?=[A-Za-z])/g, " ")
    .replaceAll("^2", "2")
    .replaceAll("^3", "3")
    .replace(/[()]/g, " ");
  return bare
    .replace(/(?:^| )per (?!cent\b)/gi, "/")
    .split(/ ?\/ ?/)
    .map((piece) => piece.trim().replace(/\s+/g, " "));
}

/** @param {string} written @returns {string|null} */
function formOf(written) {
  const known = piecesOf(written).map((piece) => {
    const low = piece.toLowerCase();
    if (!low.endsWith(" flat")) return CANONICAL.get(low);
    const form = CANONICAL.get(low.slice(0, -5).replace(/[, ]+$/, ""));
    return form === undefined ? undefined : `${form} flat`;
  });
  return known.includes(undefined) ? null : known.join("/");
}

/** @param {string} written @param {string} field @param {unknown} text */
export function complainOfCapitals(written, field, text) {
  for (const piece of piecesOf(written)) {
    if (!Object.hasOwn(CAPITALS, piece)) continue;
    const [meaning, mend] = CAPITALS[piece];
    throw new InputError(field, text, `has the unit '${piece}', which can be ${meaning}`, `write ${mend}`);
  }
}

/** @param {string} written @param {string[]} kinds @param {string} field @param {unknown} text */
export function refusal(written, kinds, field, text) {
  const form = formOf(written);
  for (const word of [...piecesOf(written), form ?? ""]) {
    for (const [shape, meant, why, mend] of TWO_MEANINGS) {
      if (shape.test(word.toLowerCase()) && kinds.some((kind) => meant.split(" ").includes(kind))) {
        return new InputError(field, text, why, mend);
      }
    }
  }
  if (kinds.includes("flat_area") && !kinds.includes("area") && (form === "cm2" || form === "in2")) {
    const mend = `write "${form} flat" when it covers that area in one layer`;
    return new InputError(field, text, "is an area that does not say how the seed lies", mend);
  }
  const phrases = kinds.map((kind) => KINDS[kind].phrase);
  const either = phrases.length > 1 ? `${phrases.slice(0, -1).join(", ")} or ${phrases[phrases.length - 1]}` : phrases[0];
  const names = kinds.flatMap((kind) => Object.keys(KINDS[kind].units)).map((name) => name || "no unit");
  const problem = written ? `has the unit '${written}', which is not ${either}` : "has no unit";
  return new InputError(field, text, problem, `use ${names.join(", ")}; for example "${KINDS[kinds[0]].example}"`);
}

/** Split a currency off the head of a text. @param {string} tidied @returns {[string, string]} */
export function currencyBefore(tidied) {
  const found = tidied.match(BEFORE);
  const name = currencyIn(found && found[2]);
  return found && name ? [name, found[1] + tidied.slice(found[0].length)] : ["", tidied];
}

/** @param {string|null} letters */
function currencyIn(letters) {
  const name = (letters ?? "").toUpperCase();
  return CODES.has(name) || !/^\p{L}*$/u.test(name) ? name : "";
}

/** @param {string} rest @param {string} currency @param {string} field @param {string} text @returns {[string, string]} */
export function currencyAfter(rest, currency, field, text) {
  const found = rest.match(AFTER);
  const name = currencyIn(found && found[1]);
  if (!found || !name) return [currency, rest];
  if (currency && currency !== name && !(currency === "$" && DOLLARS.has(name))) {
    throw new InputError(field, text, `names two currencies, ${currency} and ${name}`, "keep one of them");
  }
  return [name, rest.slice(found[0].length).trim()];
}
