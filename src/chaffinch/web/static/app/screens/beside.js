// @ts-check
/** How was the machine set, what was the air like, what did the monitor show? Optional, and quick: last values offered. */

import { choice, entry, h } from "../dom.js";
import { newId } from "../phone.js";
import { CONDITION_SPAN, CONDITIONS, SETTINGS } from "../texts.js";
import { numberText, twoWays } from "../typed.js";

/** @typedef {import("../app.js").App} App */

/**
 * @param {App} app
 * @param {string} id
 */
export function beside(app, id) {
  const { phone } = app;
  const stop = phone.stops.get(id);
  if (!stop || stop.closed) return null;
  const machine = stop.where.combine ?? "";
  const last = phone.chosen.settings?.[machine] ?? [];
  const settings = offered(stop.settings, last);
  /** @type {{[key: string]: string}} */
  const conditions = Object.fromEntries(Object.entries(stop.conditions).map(([key, value]) => [key, String(value)]));
  let bar = stop.monitor ? String(stop.monitor.reading) : "";
  let per = stop.monitor?.per ?? phone.chosen.per?.[machine] ?? null;
  const error = h("p.error", { role: "alert" });
  const known = last.length > 0 && stop.settings.length === 0;

  const form = h("div.grid");
  const sameAgain = () => {
    settings.forEach((one) => (one.text = one.text || one.last));
    fillForm();
  };
  fillForm();
  const save = async () => {
    const found = read(settings, conditions, bar, per, machine);
    if (typeof found === "string") {
      error.textContent = found;
      error.scrollIntoView({ block: "center" });
      return;
    }
    const line = { stop: id, what: "beside", at: phone.now(), settings: found.settings, conditions: found.conditions, monitor: found.monitor && { id: stop.monitor?.id ?? newId(), ...found.monitor } };
    const chosen = {
      ...phone.chosen,
      settings: { ...phone.chosen.settings, [machine]: found.settings.length > 0 ? found.settings : last },
      per: { ...phone.chosen.per, [machine]: per },
    };
    if (await app.say(line, { kept: { chosen } })) history.back();
  };

  return {
    title: "Settings and conditions",
    node: h(
      "div.stack",
      {},
      h("section", {}, h("h2", {}, "Settings"),
        known ? h("button.second", { onclick: sameAgain }, "Same as last time") : null),
      form,
      h("section", {}, h("h2", {}, "Air, grain and straw"),
        h("div.grid", {}, CONDITIONS.map(([key, words, unit]) => entry(`${words}, ${unit}`, { name: key, mode: "decimal", value: conditions[key] ?? "", oninput: (text) => (conditions[key] = text) })))),
      h("section", {}, h("h2", {}, "Loss monitor"),
        machine
          ? [entry("What it showed, in its own units", { name: "bar", mode: "decimal", value: bar, oninput: (text) => (bar = text) }),
             choice("It counts hits per", [["time", "Per time"], ["area", "Per area"]], per, (value) => (per = value))]
          : h("p.soft", {}, "Choose a combine for this stop first: the reading belongs to one.")),
      error,
    ),
    back: true,
    foot: [h("button.main", { onclick: save }, "Keep these")],
  };

  function fillForm() {
    form.replaceChildren(...settings.map((one) =>
      entry(one.unit ? `${one.name}, ${one.unit}` : one.name, {
        name: one.name,
        mode: "decimal",
        value: one.text,
        example: one.last === "" ? undefined : `last time ${one.last}`,
        oninput: (text) => (one.text = text),
      })));
  }
}

/**
 * Rows of settings: those said, those of last time, and the usual ones.
 * @param {{name: string, value: number, unit?: string}[]} said
 * @param {{name: string, value: number, unit?: string}[]} last
 */
function offered(said, last) {
  /** @type {Map<string, {name: string, unit: string, text: string, last: string}>} */
  const rows = new Map();
  for (const [name, unit] of SETTINGS) rows.set(name, { name, unit, text: "", last: "" });
  for (const one of last) rows.set(one.name, { name: one.name, unit: one.unit ?? "", text: "", last: String(one.value) });
  for (const one of said) {
    rows.set(one.name, { name: one.name, unit: one.unit ?? "", text: String(one.value), last: rows.get(one.name)?.last ?? "" });
  }
  return [...rows.values()];
}

/** @param {string} text */
function asked(text) {
  return `“${text}” can be read in two ways; write it without a comma.`;
}

/**
 * @param {{name: string, unit: string, text: string}[]} settings
 * @param {{[key: string]: string}} conditions
 * @param {string} bar
 * @param {string | null} per
 * @param {string} machine
 * @returns {string | {settings: any[], conditions: {[key: string]: number}, monitor: {reading: number, per: string} | null}}
 */
function read(settings, conditions, bar, per, machine) {
  const found = [];
  for (const one of settings) {
    if (one.text.trim() === "") continue;
    const number = numberText(one.text);
    if (twoWays(one.text)) return `${one.name}: ${asked(one.text)}`;
    if (number === null) return `${one.name}: “${one.text}” is no number; write it like 12.5.`;
    found.push({ name: one.name, value: Number(number), ...(one.unit ? { unit: one.unit } : {}) });
  }
  /** @type {{[key: string]: number}} */
  const read = {};
  for (const [key, words] of CONDITIONS) {
    const text = conditions[key] ?? "";
    if (text.trim() === "") continue;
    const number = numberText(text);
    const [low, high] = CONDITION_SPAN[key];
    if (number === null) return `${words}: “${text}” is no number; write it like 12.5.`;
    if (Number(number) < low || Number(number) > high) return `${words}: ${number} is beyond what can be meant; it can be ${low} to ${high}.`;
    read[key] = Number(number);
  }
  if (bar.trim() === "") return { settings: found, conditions: read, monitor: null };
  const reading = numberText(bar);
  if (twoWays(bar)) return `Loss monitor: ${asked(bar)}`;
  if (!machine) return "Loss monitor: no combine is chosen for this stop.";
  if (reading === null || Number(reading) < 0) return `Loss monitor: “${bar}” is no reading; write what it showed, 0 or more.`;
  if (per === null) return "Loss monitor: say whether it counts per time or per area.";
  return { settings: found, conditions: read, monitor: { reading: Number(reading), per } };
}
