// @ts-check
/** Which field, which machine, who drives, and on which terms? Remembered until it is changed. */

import { choice, entry, h } from "../dom.js";

/** @typedef {import("../app.js").App} App */

/** What a person may say for a stop that the book does not: key, words, example. */
const OWN = [
  ["limit", "Limit: act above", "like 60 kg/ha or 1 bu/ac"],
  ["yield", "Yield expected", "like 2.5 t/ha or 45 bu/ac"],
  ["price", "Price", "like 640 /t or $14.50 /bu"],
  ["speed", "Ground speed", "like 6.5 km/h or 4 mph"],
  ["cut_width", "Cut width", "like 12.2 m or 40 ft"],
  ["drop_width", "Width of the discharge, spreading off", "like 1.7 m or 66 in"],
  ["spread_width", "Width of the throw, spreading on", "like 9 m or 30 ft"],
  ["windrower_width", "Width the windrower cut, for windrowed crop", "like 9 m or 30 ft"],
  ["country", "Country, for bushels and market moisture", "CA, US, AU or GB"],
];
const MACHINE = ["cut_width", "drop_width", "spread_width", "windrower_width"];
const CROP = ["crop", "limit", "yield", "price"];
const MANY = 8;

/**
 * @param {App} app
 * @param {string} [machine]  id of the combine that the code on its cab card names
 */
export function where(app, machine = "") {
  const { phone } = app;
  /** @type {{[key: string]: any}} */
  const given = { ...phone.chosen, own: { ...phone.chosen.own } };
  if (machine !== given.combine && phone.things("combines").some((one) => one.id === machine)) {
    for (const key of MACHINE) delete given.own[key];
    delete given.own.spreading;
    given.combine = machine;
  }
  const error = h("p.error", { role: "alert" });
  const save = async () => {
    error.textContent = app.problemOfTerms(given);
    if (error.textContent) {
      error.scrollIntoView({ block: "center" });
      return;
    }
    await phone.choose(given);
    app.go("/");
  };
  const cropPlace = h("div", {}, cropChoice(app, given));
  const own = h("details.own", { open: phone.things("combines").length === 0 }, h("summary", {}, "Limit, price, speed, widths, until changed"),
    OWN.map(([key, words, example]) => entry(words, {
      name: key,
      value: given.own[key],
      example,
      oninput: (text) => put(given.own, key, text),
    })));
  return {
    title: "Where and with what",
    node: h(
      "div.stack",
      // What was refused was another choice.
      { onchange: () => (error.textContent = "") },
      pick("Field", newestFirst(phone), given.field, (id) => {
        // What was said for one field's crop is not true of another's.
        if (id !== given.field) clear(given.own, CROP, own);
        given.field = id;
        cropPlace.replaceChildren(cropChoice(app, given));
      }, "No field", (one) => [one.parts.crop, one.parts.area, seasonOf(phone, one)?.name].filter(Boolean).join(" · ")),
      cropPlace,
      pick("Combine", phone.things("combines"), given.combine, (id) => {
        if (id !== given.combine) {
          clear(given.own, MACHINE, own);
          delete given.own.spreading;
        }
        given.combine = id;
      }, "No combine", (one) => `cut ${one.parts.cut_width}`),
      pick("Driver", phone.things("operators"), given.operator, (id) => (given.operator = id), "Not said", () => ""),
      own,
      h("section", {}, h("h2", {}, "Units on this phone"), choice("Units on this phone",
        [["farm", "As the farm"], ["metric", "kg/ha"], ["north american", "bu/ac, lb/ac"]],
        given.units ?? "farm", (value) => (given.units = value))),
      error,
    ),
    back: true,
    foot: [h("button.main", { onclick: save }, "Use these")],
  };
}

/**
 * The season of a field: the same field comes back each year, as another one.
 * @param {import("../phone.js").Phone} phone
 * @param {import("../checktable.js").Thing} field
 */
function seasonOf(phone, field) {
  return phone.things("seasons").find((one) => one.id === field.parts.season);
}

/**
 * Fields, those of the newest season first.
 * @param {import("../phone.js").Phone} phone
 */
function newestFirst(phone) {
  /** @param {import("../checktable.js").Thing} field */
  const starts = (field) => String(seasonOf(phone, field)?.parts.starts ?? "");
  return [...phone.things("fields")].sort((a, b) => starts(b).localeCompare(starts(a)));
}

/**
 * @param {{[key: string]: string}} own
 * @param {string[]} keys
 * @param {HTMLElement} form
 */
function clear(own, keys, form) {
  for (const key of keys) {
    delete own[key];
    const input = /** @type {HTMLInputElement | null} */ (form.querySelector(`[name="${key}"]`));
    if (input) input.value = "";
  }
}

/**
 * @param {{[key: string]: any}} table
 * @param {string} key
 * @param {string} text
 */
function put(table, key, text) {
  if (text.trim() === "") delete table[key];
  else table[key] = text.trim();
}

/**
 * @param {App} app
 * @param {{[key: string]: any}} given
 */
function cropChoice(app, given) {
  const { phone } = app;
  const field = phone.thing("fields", given.field);
  const crops = [...phone.setup.crops].sort((a, b) => a.name.localeCompare(b.name));
  const none = field?.parts.crop ? `the field's: ${field.parts.crop}` : "choose the crop";
  const select = h(
    "select",
    { id: "crop", onchange: (/** @type {Event} */ event) => put(given.own, "crop", /** @type {HTMLSelectElement} */ (event.target).value) },
    h("option", { value: "" }, none),
    crops.map((one) => h("option", { value: one.key, selected: one.key === given.own.crop }, one.name)),
  );
  return h("div.entry", {}, h("label", { for: "crop" }, "Crop"), select);
}

/**
 * A list of things of which one may be chosen.
 * @param {string} words
 * @param {import("../checktable.js").Thing[]} things
 * @param {string | undefined} chosen
 * @param {(id: string | undefined) => void} onchoose
 * @param {string} none
 * @param {(one: import("../checktable.js").Thing) => string} below
 */
function pick(words, things, chosen, onchoose, none, below) {
  if (things.length === 0) return null;
  const name = words.toLowerCase();
  const options = things.map((one) => option(one.id, one.name, below(one), one.id === chosen));
  options.push(option("", none, "", !things.some((one) => one.id === chosen)));
  /** @param {string} id @param {string} title @param {string} more @param {boolean} checked */
  function option(id, title, more, checked) {
    const input = h("input", { type: "radio", name, value: id, checked, onchange: () => onchoose(id || undefined) });
    return h("label.pick", {}, input, h("span.row-text", {}, h("span.row-title", {}, title), more ? h("span.row-below", {}, more) : null));
  }
  const filter = things.length > MANY
    ? h("input", { type: "search", "aria-label": `Find a ${name}`, placeholder: `Find a ${name}`, oninput: (/** @type {Event} */ event) => {
      const wanted = /** @type {HTMLInputElement} */ (event.target).value.toLowerCase();
      options.forEach((one) => (one.hidden = !one.textContent?.toLowerCase().includes(wanted)));
    } })
    : null;
  return h("fieldset", {}, h("legend", {}, words), filter, h("div.picks", {}, options));
}
