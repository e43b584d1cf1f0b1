// @ts-check
/** What did the pan hold? A number with its unit and step, or a bag to be weighed later. */

import { h, sign } from "../dom.js";
import { UNIT } from "../texts.js";
import { amountOf, press, stepOf } from "../typed.js";
import { catchWords } from "./home.js";

/** @typedef {import("../app.js").App} App */
/** @typedef {import("../typed.js").Unit} Unit */

/** @param {App} app */
export function pad(app) {
  const { phone, draft } = app;
  const { stopInHand: stop, bagInHand: weighing } = app;
  const crop = phone.crop(stop?.terms.crop ?? phone.terms.terms.crop);
  const units = /** @type {Unit[]} */ (["g", phone.chosen.units === "north american" ? "oz" : null, "mL", "seeds", crop?.round_seed ? "cm2 flat" : null].filter(Boolean));
  let unit = /** @type {Unit} */ (units.includes(phone.chosen.unit) ? phone.chosen.unit : "g");
  let step = phone.chosen.step ?? "";
  let text = draft.text ?? "";
  const mark = decimalMark();

  const number = h("output.number", { "aria-live": "polite", id: "reading" });
  const under = h("button.step", { onclick: () => app.sheet("Smallest division", stepChoice()) });
  const error = h("p.error", { role: "alert" });
  const unitButtons = units.map((one) =>
    h("button.choice", { onclick: () => setUnit(one), "data-unit": one }, UNIT[one]));
  const decimal = h("button.key", { "aria-label": "decimal mark", onclick: () => type(mark) }, mark);
  const add = h("button.main", { onclick: confirm }, weighing ? "Keep this weight" : "Add catch");

  function show() {
    const dot = number.querySelector(".digits");
    if (!dot) number.replaceChildren(h("span.digits", {}), h("span.unit", {}));
    /** @type {HTMLElement} */ (number.querySelector(".digits")).textContent = text || "–";
    /** @type {HTMLElement} */ (number.querySelector(".unit")).textContent = ` ${UNIT[unit]}`;
    unitButtons.forEach((one) => one.setAttribute("aria-pressed", String(one.dataset.unit === unit)));
    /** @type {HTMLButtonElement} */ (decimal).disabled = unit === "seeds";
    /** @type {HTMLButtonElement} */ (add).disabled = amountOf(text, unit) === null;
    /** @type {HTMLButtonElement} */ (under).disabled = unit === "seeds";
    const digits = text === "" ? "step by the digits" : `read to ${stepOf(text)} ${UNIT[unit]}, by the digits`;
    under.textContent = unit === "seeds" ? "counted one by one" : stepNow() ? `read to ${stepNow()}` : digits;
  }
  /** The step chosen, where it is of the reading's unit. */
  function stepNow() {
    return step.endsWith(` ${unit}`) ? step : null;
  }
  /** @param {Unit} one */
  function setUnit(one) {
    unit = one;
    if (unit === "seeds" && /[.,]/.test(text)) text = "";
    remember();
    show();
  }
  /** @param {string} key */
  function type(key) {
    text = press(text, key, unit === "seeds");
    error.textContent = "";
    remember();
    show();
  }
  function remember() {
    app.draft = { ...app.draft, text };
  }
  function stepChoice() {
    const fixed = unit === "mL" ? ["1", "5", "10"] : unit === "cm2 flat" ? ["1", "5", "25"] : ["0.01", "0.1", "1", "5"];
    const scales = phone.things("scales").map((one) => [one.parts.step, `${one.name}, ${one.parts.step}`]).filter(([value]) => String(value).endsWith(` ${unit}`));
    const options = [["", "By the digits typed"], ...scales, ...fixed.map((one) => [`${one} ${unit}`, `${one} ${UNIT[unit]}`])];
    return h("div.rows", {}, options.map(([value, words]) => h("button.row", { "aria-pressed": String(value === step), onclick: () => {
      step = value;
      app.closeSheet();
      show();
    } }, h("span.row-title", {}, words))));
  }

  async function confirm() {
    const amount = amountOf(text, unit);
    if (amount === null) return;
    const chosenStep = stepNow() ?? undefined;
    const problem = app.problemOfAmount(amount, chosenStep);
    if (problem) {
      error.textContent = problem;
      return;
    }
    const kept = await (weighing
      ? app.weighed(weighing.n, amount, chosenStep)
      : app.addCatch({ amount, step: chosenStep }, { unit, step }));
    if (kept) app.go(`/stop/${app.draft.stop}`, { replace: true });
  }

  function lost() {
    if (!stop || !weighing) return;
    app.sheet("Take the bag back?", h("div.stack", {},
      h("p", {}, `Catch ${weighing.n} in bag ${weighing.bag} will not count. The other catches of this stop stay.`),
      h("button.main", { onclick: async () => {
        app.closeSheet();
        if (await app.takeBack(stop, weighing.n)) app.go(`/stop/${stop.id}`, { replace: true });
      } }, "Take it back"),
      h("button.second", { onclick: () => app.closeSheet() }, "Keep looking for it")));
  }

  async function later() {
    const bag = h("input", { id: "entry-bag", value: phone.nextBag, inputmode: "text", maxlength: 40, autocomplete: "off" });
    const said = h("p.error", { role: "alert" });
    const keep = async () => {
      const name = /** @type {HTMLInputElement} */ (bag).value.trim();
      if (name === "") {
        said.textContent = "Write a number or a word on the bag, and the same here.";
        return;
      }
      app.closeSheet();
      if (await app.addCatch({ amount: null, bag: name }, {})) app.go(`/stop/${app.draft.stop}`, { replace: true });
    };
    app.sheet("Weigh it later", h("div.stack", {},
      h("p", {}, "Write this on the bag. The catch waits on this phone until its weight is here."),
      h("div.entry", {}, h("label", { for: "entry-bag" }, "Bag"), bag),
      said,
      h("button.main", { onclick: keep }, "Keep the bag")));
  }

  const n = weighing ? weighing.n : (stop?.next ?? 1);
  const at = weighing ?? draft;
  const held = catchWords(at.place, at.pan, stop?.terms ?? phone.terms.terms);
  const title = weighing ? `Bag ${weighing.bag}` : `Catch ${n}`;
  const keys = ["1", "2", "3", "4", "5", "6", "7", "8", "9"].map((one) => h("button.key", { onclick: () => type(one) }, one));
  show();
  return {
    title,
    node: h(
      "div.pad",
      {},
      weighing
        ? h("p.context", {}, held)
        : h("button.context", { onclick: () => app.go("/place") }, h("span.row-text", {}, held), h("span.below", {}, "change")),
      h("div.reading", {}, number, under),
      h("div.choices", { role: "group", "aria-label": "Unit of the reading" }, unitButtons),
      h("div.keys", { role: "group", "aria-label": "Digits" }, keys, decimal,
        h("button.key", { onclick: () => type("0") }, "0"),
        h("button.key", { "aria-label": "take the last digit back", onclick: () => type("back") }, sign("erase"))),
      error,
    ),
    back: true,
    keys: (/** @type {KeyboardEvent} */ event) => {
      if (/^[0-9.,]$/.test(event.key)) type(event.key);
      else if (event.key === "Backspace") type("back");
      else if (event.key === "Enter" && !(event.target instanceof HTMLButtonElement)) add.click();
      else return;
      event.preventDefault();
    },
    foot: [
      weighing
        ? h("button.second", { onclick: lost }, "Bag is lost")
        : h("button.second", { onclick: later }, "Weigh later"),
      add,
    ],
  };
}

/** The decimal mark of this phone's language; both are understood everywhere. */
function decimalMark() {
  const parts = new Intl.NumberFormat(navigator.language).formatToParts(1.5);
  return parts.find((one) => one.type === "decimal")?.value === "," ? "," : ".";
}
