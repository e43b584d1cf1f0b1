// @ts-check
/** Where is the catch taken, and with which pan? Two taps, remembered for the next stop. */

import { choice, entry, h, row, s } from "../dom.js";
import { PLACES } from "../checktable.js";
import { PLACE, SPREADABLE } from "../texts.js";
import { panWords } from "./home.js";

/** @typedef {import("../app.js").App} App */

/** @param {App} app */
export function place(app) {
  return {
    title: "Where is the catch?",
    node: h(
      "div.rows",
      {},
      PLACES.map((key) => {
        const words = PLACE[key];
        return row(words.title, words.below, () => {
          app.draft = { ...app.draft, place: key, pan: null };
          app.go("/pan");
        }, { mark: sketch(key), "aria-current": app.draft.place === key ? "true" : undefined });
      }),
    ),
    back: true,
  };
}

/** Where the mark lies on the sketch: x, y, width, height. @type {{[key: string]: number[]}} */
const MARK = {
  standing: [84, 22, 9, 9],
  "header strip": [58, 38, 9, 9],
  discharge: [33, 22, 9, 9],
  behind: [12, 22, 9, 9],
  "whole cut": [12, 6, 6, 41],
  windrow: [4, 22, 30, 9],
  leak: [50, 32, 6, 6],
};

/**
 * The place seen from above: the machine drives to the right, its straw lies behind it.
 * @param {string} key
 */
export function sketch(key) {
  const [x, y, width, height] = MARK[key];
  return s(
    "svg.sketch",
    { viewBox: "0 0 100 54", "aria-hidden": "true" },
    s("rect.crop", { x: 80, y: 0, width: 20, height: 54 }),
    s("path.cut", { d: "M0 6H74M0 47H74" }),
    s("rect.straw", { x: 0, y: 20, width: 44, height: 13 }),
    s("rect.machine", { x: 44, y: 18, width: 26, height: 17 }),
    s("rect.machine", { x: 70, y: 6, width: 8, height: 41 }),
    s("rect.mark", { x, y, width, height }),
  );
}

/** @param {App} app */
export function pan(app) {
  const { phone, draft } = app;
  const at = draft.place;
  const stop = app.stopInHand;
  const terms = stop?.terms ?? phone.terms.terms;
  const error = h("p.error", { role: "alert" });
  let spreading = stop ? stop.terms.spreading : phone.chosen.own?.spreading;
  const others = stop?.catches.some((one) => SPREADABLE.has(one.place)) ?? false;
  const asks = SPREADABLE.has(at) && terms.combine?.spread_width && terms.combine?.drop_width;
  /** @param {import("../stop.js").Pan} found */
  const take = async (found) => {
    if (asks && spreading === undefined) {
      error.textContent = "Say first whether spreader or chopper was on.";
      error.scrollIntoView({ block: "center" });
      return;
    }
    const own = { ...phone.chosen.own, ...(asks ? { spreading } : {}) };
    const problem = app.problemOfCatch(at, found, { ...phone.chosen, own }, stop ? { ...terms, ...(asks ? { spreading } : {}) } : undefined);
    if (problem) {
      error.textContent = problem;
      error.scrollIntoView({ block: "center" });
      return;
    }
    if (stop && asks && spreading !== terms.spreading) {
      // It is said of the whole stop, and the stop was opened with what was known then.
      if (!(await app.say({ stop: stop.id, what: "terms", at: phone.now(), where: stop.where, terms: { ...terms, spreading } }))) return;
    }
    app.draft = { ...draft, pan: found };
    await phone.choose({ place: at, pan: found, own });
    app.go("/pad");
  };
  return {
    title: at === "windrow" || at === "leak" ? PLACE[at].title : "Which pan or frame?",
    node: h(
      "div.stack",
      {},
      h("p.how", {}, sketch(at), h("span", {}, PLACE[at].how)),
      asks
        ? h("section", {}, h("h2", {}, others ? "Spreader or chopper, for all catches of this stop" : "Spreader or chopper"), choice("Spreader or chopper during the catch",
            [["false", "Off"], ["true", "On"]], spreading === undefined ? null : String(spreading), (value) => {
              spreading = value === "true";
              error.textContent = "";
            }))
        : null,
      at === "windrow" ? measured("Length shaken out", "length", "like 3 m or 10 ft", take)
        : at === "leak" ? measured("Time caught", "time", "like 60 s", take)
          : pans(phone, take),
      error,
    ),
    back: true,
  };
}

/**
 * @param {import("../phone.js").Phone} phone
 * @param {(pan: import("../stop.js").Pan) => void} take
 */
function pans(phone, take) {
  const rows = phone.things("pans").map((one) => {
    const { area, width, length } = one.parts;
    /** @type {{[key: string]: string}} */
    const size = width && length ? { width, length } : { area };
    if (!area && !(width && length)) return null;
    return row(one.name, panWords(size), () => take({ ...size, name: one.name }));
  });
  return h("div.stack", {}, h("div.rows", {}, rows), measured(rows.length > 0 ? "Another size" : "Size of the pan", "area", "like 0.4 m2, 4 ft2 or 40 cm x 60 cm", take));
}

const BY = /\s*(?:x|×|by)\s*/i;

/**
 * @param {string} words
 * @param {"area" | "length" | "time"} key
 * @param {string} example
 * @param {(pan: import("../stop.js").Pan) => void} take
 */
function measured(words, key, example, take) {
  let text = "";
  const use = () => {
    const sides = text.trim().split(BY);
    if (key === "area" && sides.length === 2) take({ width: sides[0], length: sides[1] });
    else take({ [key]: text.trim() });
  };
  return h(
    "form.own-pan",
    { onsubmit: (/** @type {Event} */ event) => {
      event.preventDefault();
      use();
    } },
    entry(words, { example, name: key, oninput: (typed) => (text = typed) }),
    h("button.second", { type: "submit" }, "Use it"),
  );
}
