// @ts-check
/** Which side of a trial does this stop belong to? Two settings, tried in turns: A, B, A. */

import { choice, entry, h, row } from "../dom.js";
import { newId } from "../phone.js";
import { readable } from "../shape.js";
import { numberText, twoWays } from "../typed.js";

/** @typedef {import("../app.js").App} App */

/**
 * @param {App} app
 * @param {string} id
 */
export function trial(app, id) {
  const { phone } = app;
  const stop = phone.stops.get(id);
  if (!stop || stop.closed) return null;
  const machine = stop.where.combine;
  const known = trialsOf(phone).filter((one) => one.body.combine === machine);
  /** @param {string | null} trialId @param {string} side */
  const belong = async (trialId, side) => {
    const line = trialId
      ? { stop: id, what: "beside", at: phone.now(), where: { trial: trialId, side } }
      : { stop: id, what: "beside", at: phone.now(), without: ["trial", "side"] };
    const kept = await app.say(line, { kept: { chosen: { ...phone.chosen, trial: trialId ? { id: trialId, side } : null } } });
    if (kept) app.go(`/stop/${id}`, { replace: true });
  };
  return {
    title: "Trial of two settings",
    node: h(
      "div.stack",
      {},
      h("p.lead", {}, "Change one thing only, and take stops in turns: A, B, A. Each stop belongs to one side."),
      known.map((one) => h("section.trial", {},
        h("h2", {}, `${sideWords(one.body.a)} or ${sideWords(one.body.b)}`),
        h("div.rows", {},
          ["A", "B"].map((side) => row(`Side ${side}`, sideWords(side === "A" ? one.body.a : one.body.b), () => belong(one.id, side), {
            "aria-pressed": String(stop.where.trial === one.id && stop.where.side === side),
            mark: h("span.side", { "aria-hidden": "true" }, side),
          }))))),
      stop.where.trial ? h("button.second", { onclick: () => belong(null, "") }, "This stop belongs to none") : null,
      machine ? starting(app, stop, belong) : h("p.soft", {}, "Choose a combine for this stop first: a trial is of one machine."),
    ),
    back: true,
  };
}

/** @param {import("../phone.js").Phone} phone */
export function trialsOf(phone) {
  const all = new Map();
  for (const one of [...(phone.kept.trials ?? []), ...phone.records]) if (one.kind === "trial" && readable(one)) all.set(one.id, one);
  const replaced = new Set([...all.values()].flatMap((one) => one.body.replaces ?? []));
  return [...all.values()].filter((one) => !replaced.has(one.id)).sort((a, b) => (a.body.taken_at < b.body.taken_at ? 1 : -1)).slice(0, 6);
}

/** @param {{name: string, value: number, unit?: string}[]} settings */
export function sideWords(settings) {
  return settings.map((one) => `${one.name} ${one.value}${one.unit ? ` ${one.unit}` : ""}`).join(", ");
}

/**
 * @param {App} app
 * @param {import("../stop.js").Stop} stop
 * @param {(trialId: string, side: string) => void} belong
 */
function starting(app, stop, belong) {
  const { phone } = app;
  const given = { name: "rotor speed", unit: "rpm", a: "", b: "" };
  let side = "A";
  const error = h("p.error", { role: "alert" });
  const start = async () => {
    const a = numberText(given.a);
    const b = numberText(given.b);
    if (given.name.trim() === "" || a === null || b === null || a === b) {
      error.textContent = "Name the setting, and give two different numbers, one for each side.";
      return;
    }
    const doubtful = [given.a, given.b].find(twoWays);
    if (doubtful !== undefined) {
      error.textContent = `“${doubtful}” can be read in two ways; write it without a comma.`;
      return;
    }
    /** @param {string} value */
    const setting = (value) => [{ name: given.name.trim(), value: Number(value), ...(given.unit.trim() ? { unit: given.unit.trim() } : {}) }];
    const body = { taken_at: phone.now(), combine: stop.where.combine, ...(stop.where.field ? { field: stop.where.field } : {}), a: setting(a), b: setting(b) };
    const id = newId();
    const kept = await app.write(async () => phone.add({ records: [await phone.sealed(id, "trial", body)], own: true }));
    if (kept) {
      app.post.soon();
      belong(id, side);
    }
  };
  return h("details", {}, h("summary", {}, "Start a new trial"),
    entry("Which setting", { name: "setting", value: given.name, oninput: (text) => (given.name = text) }),
    entry("Its unit", { name: "unit", value: given.unit, oninput: (text) => (given.unit = text) }),
    entry("Side A, as it is set now", { name: "a", mode: "decimal", oninput: (text) => (given.a = text) }),
    entry("Side B, what is tried", { name: "b", mode: "decimal", oninput: (text) => (given.b = text) }),
    choice("This stop belongs to", [["A", "This stop is A"], ["B", "This stop is B"]], side, (value) => (side = value)),
    error,
    h("button.main", { onclick: start }, "Start the trial"));
}
