// @ts-check
/**
 * What may be wrong, and what is worth trying? Questions with big buttons, over the phone's own estimate of a stop;
 * without signal as far as the phone can know: what needs the book's curves and trials is left to the book, and said.
 */

import { h } from "../app/dom.js";
import { percent, plainNumber } from "../app/figures.js";
import { newId } from "../app/phone.js";
import { lossFactor } from "../app/said.js";
import { CAUTIONS } from "../app/wording.js";
import { LEAST_CAUSE, nextQuestion, rank, ranked, splitOfRanges, standing, UNEXPLAINED, USUAL, usualLeads, weigh } from "./advice.js";

/** @typedef {import("../app/app.js").App} App */
/** @typedef {import("../engine/types.js").Answer} Answer */
/** @typedef {{answers: {[sign: string]: string}, skipped: string[]}} Told */

const ANSWERS = "Advice answers: ";
const TAKEN_BACK = "taken back";
const LAST_ROUND = 999999;
const HEAD = { change: "Worth trying", measure: "Measure first", nothing: "Nothing worth changing" };

/**
 * @param {App} app
 * @param {string} id  of an open stop, or "leaks" for the leak walk
 */
export function advise(app, id) {
  const { phone } = app;
  const table = phone.setup.advice;
  if (!table) return page("Advice", h("div.stack", {}, before(app), h("p.lead", {}, "The table of the advice comes with the book: pair this phone, or meet the book once, then it works without signal.")));
  if (id === "leaks") return page("Leak walk", h("div.stack", {}, before(app), leaks(table)));
  const stop = phone.stops.get(id);
  if (!stop || stop.closed) return null;
  const { answer } = app.answerOfStop(stop);
  const told = toldOf(app, id);
  const machine = phone.thing("combines", stop.where.combine)?.parts ?? {};
  const split = answer ? splitOfRanges(Object.fromEntries(Object.entries(answer.sources).map(([source, one]) => [source, one.kg_ha])), yieldOf(answer)) : null;
  const crop = phone.crop(stop.terms.crop)?.key ?? answer?.crop ?? "";
  const itself = byItself(table, stop, answer);
  const situation = { crop, machine: machine.separation ?? "", header: machine.header ?? "", windrowed: stop.terms.windrowed === true, answers: { ...itself, ...told.answers } };
  const belief = weigh(table, situation, split);
  const asked = Object.keys(told.answers).length + told.skipped.length;
  const question = nextQuestion(table, situation, belief, { asked, skipped: told.skipped });
  const changes = rank(table, situation, belief, split).filter((one) => one.expected > 0 && one.p_cause >= LEAST_CAUSE).slice(0, 3);
  const said = standing(table, belief, changes[0]?.expected ?? null);
  return page("What may be wrong", h("div.stack", {},
    before(app),
    question ? asking(app, id, told, question.sign) : null,
    h("section.answer", { "aria-live": "polite" },
      h("p.verdict", { tabindex: "-1" }, h("span", {}, h("strong", {}, HEAD[said]), sentence(table, said, belief, changes)))),
    said === "change" ? h("section", {}, h("h2", {}, "One at a time"), h("div.rows", {}, changes.map((one) => step(one, answer)))) : null,
    said === "measure" ? h("p", {}, answer?.sources.header ? "A second check at another place would tell more than a changed setting." : "Frames in the cut strip would part header from machine.") : null,
    h("section", {}, h("h2", {}, "What it may be"),
      h("ul.plain", {}, ranked(belief).slice(0, 4).map(({ cause, p }) => h("li", {}, h("strong", {}, `${percent(p)}\u00a0%`), cause.says)))),
    given(app, id, told, table),
    h("p.soft", {}, "Chances and effects are our own figures, no source. Curves, prices and this machine's own trials are in the book: ask there too. Your operator's manual comes first."),
    h("button.second", { onclick: () => app.go("/advice/leaks") }, "Leak walk: where to look")),
  );
}

/** @param {string} title @param {Node} node */
function page(title, node) {
  return { title, node, back: true, home: true };
}

/** The cautions, before anything that brings anybody near. @param {App} app */
function before(app) {
  const all = app.phone.setup.cautions?.length ? app.phone.setup.cautions : CAUTIONS;
  return h("section.note", {}, h("strong", {}, "Before anyone goes near the machine"), h("ul", {}, all.map((/** @type {string} */ one) => h("li", {}, one))));
}

/** @param {App} app @param {string} id @param {Told} told @param {import("./advice.js").Sign} sign */
function asking(app, id, told, sign) {
  /** @param {Told} now */
  const say = (now) => {
    remember(app, id, now);
    app.show({ quiet: true }); // Where one is on the page stays: the next question stands where this one stood.
    onward();
  };
  return h("section.asked", {},
    h("p.lead", { tabindex: "-1" }, h("strong", {}, sign.asks)),
    h("p.soft", {}, sign.how),
    h("div.rows", {},
      Object.entries(sign.answers).map(([key, words]) =>
        h("button.row", { onclick: () => say({ ...told, answers: { ...told.answers, [sign.key]: key } }) }, words)),
      h("button.row", { onclick: () => say({ ...told, skipped: [...told.skipped, sign.key] }) }, "I cannot say")));
}

/** The button that was pressed is gone: who works by keys, or is read to, goes on at the question, else at the answer. */
function onward() {
  /** @type {HTMLElement | null} */ (document.querySelector(".asked .lead") ?? document.querySelector(".answer .verdict"))?.focus({ preventScroll: true });
}

/** What was answered, to be taken back or kept. @param {App} app @param {string} id @param {Told} told @param {import("./advice.js").Table} table */
function given(app, id, told, table) {
  const keys = Object.keys(told.answers);
  if (keys.length === 0 && Object.keys(keptAnswers(app.phone.records, id)).length === 0) return null;
  const back = (/** @type {string} */ key) => {
    const { [key]: _, ...rest } = told.answers;
    remember(app, id, { ...told, answers: rest });
    app.show({ quiet: true });
    onward();
  };
  const keep = async () => {
    if (keeping) return; // The first press is still being written down.
    keeping = true;
    try {
      await keepOnce(app, id, told.answers);
    } finally {
      keeping = false;
    }
  };
  return h("section", {}, h("h2", {}, "Answered"),
    h("ul.catches", {}, keys.map((key) => {
      const sign = table.signs.find((one) => one.key === key);
      return h("li", {}, h("span.catch-text", {}, sign?.answers[told.answers[key]] ?? key),
        h("button.quiet", { onclick: () => back(key), "aria-label": `Take back: ${sign?.asks ?? key}` }, "Take back"));
    })),
    h("button.second", { onclick: keep }, keys.length > 0 ? "Keep these answers" : "Keep that they were taken back"));
}

let keeping = false;

/** Only what this phone's notes do not say yet is written down. @param {App} app @param {string} id @param {Told["answers"]} answers */
async function keepOnce(app, id, answers) {
  const { phone } = app;
  // Another window may have kept them, unheard here.
  const notes = notesAbout(phone.keep.database ? (await phone.keep.everything()).records : phone.records, id);
  const told = overEachOther(notes);
  const before = holding(told);
  const fresh = [
    ...Object.entries(answers).filter(([key, answer]) => before[key] !== answer),
    ...Object.keys(before).filter((key) => !(key in answers)).map((key) => [key, TAKEN_BACK]),
  ];
  if (fresh.length === 0) return app.sheet("Kept already", h("p", {}, "These answers are on their way to the book, or in it. Nothing was written twice."));
  // One more than the highest round seen: it stands over those in every book, whatever order they come in.
  const round = fresh.some(([key]) => key in told) ? `; round = ${Math.min(LAST_ROUND, 1 + Math.max(...notes.map((one) => one.round)))}` : "";
  const text = ANSWERS + fresh.map(([key, answer]) => `${key} = ${answer}`).join("; ") + round;
  if (!(await app.write(async () => phone.add({ records: [await phone.sealed(newId(), "note", { text, of: id })], own: true })))) return undefined;
  app.post.soon();
  const changed = fresh.some(([key]) => key in before);
  return app.sheet(changed ? "Changed" : "Kept", h("p", {}, changed
    ? "The changed answers go to the book with this stop. The earlier ones stay readable there and count no more."
    : "The answers go to the book with this stop."));
}

/** What notes about a stop say, as the book reads them. @param {import("../app/outbox.js").Envelope[]} records @param {string} id */
function keptAnswers(records, id) {
  return holding(overEachOther(notesAbout(records, id)));
}

/**
 * Notes of answers about a stop, in the order in which they stand over each other.
 * @param {import("../app/outbox.js").Envelope[]} records @param {string} id
 */
function notesAbout(records, id) {
  return records
    .filter(({ kind, body }) => kind === "note" && body.of === id && String(body.text).startsWith(ANSWERS))
    .map((one) => {
      const parts = String(one.body.text).slice(ANSWERS.length).split(";").map((part) => part.split("=").map((each) => each.trim()));
      const rounds = parts.filter(([key, value]) => key === "round" && /^[0-9]{1,6}$/.test(value ?? "")).map(([, value]) => Number(value));
      return { id: one.id, answers: parts.filter(([key, answer]) => key !== "round" && answer), round: Math.max(1, ...rounds) };
    })
    .sort((a, b) => a.round - b.round || (a.id < b.id ? -1 : 1));
}

/** The last answer of each question, those taken back among them. @param {ReturnType<typeof notesAbout>} notes @returns {Told["answers"]} */
function overEachOther(notes) {
  return Object.fromEntries(notes.flatMap((one) => one.answers));
}

/** The answers that hold. @param {Told["answers"]} told @returns {Told["answers"]} */
function holding(told) {
  return Object.fromEntries(Object.entries(told).filter(([, answer]) => answer !== TAKEN_BACK));
}

/** In the unit of the stop's own answer; kg/ha where it has none yet. @param {ReturnType<typeof rank>[number]} one @param {Answer | null} answer */
function step({ change, gain, expected }, answer) {
  const [factor, unit] = answer ? [lossFactor(answer), answer.judged.trade.unit] : [1, "kg/ha"];
  const spoils = change.spoils.map(([, says, low, high]) => `${says} (${low} to ${high} %)`);
  return h("section.note", {},
    h("strong", {}, change.says),
    h("p", {}, `${twoFigures(factor * expected)} ${unit} less lost expected, likely ${twoFigures(factor * gain.low)} to ${twoFigures(factor * gain.high)}. ${change.minutes ? `About ${change.minutes} ${change.minutes === 1 ? "minute" : "minutes"}.` : "No stop."}`),
    h("p.soft", {}, `Step: ${change.step}.`),
    h("p.soft", {}, spoils.length > 0 ? `May spoil: ${spoils.join("; ")}.` : "May spoil: nothing known."),
    h("p.soft", {}, `See whether it helped: ${verify(change)} Undo: ${change.undo}.`));
}

/** As the desk says it: only a setting that can be put back and forth is tried in turn. @param {ReturnType<typeof rank>[number]["change"]} change */
function verify(change) {
  if (change.part === "timing") return "take a check then, at one speed in even crop, and lay it beside this one.";
  if (!change.setting || !change.way) return "take a check before and one after, near each other, within the hour and at one speed.";
  return "stops in turn, as it is set now (A) and one step on (B): A, B, B, A, at one speed in even crop, within the hour.";
}

/** Two figures are all that a guess deserves. @param {number} value */
function twoFigures(value) {
  return `${value < 0 ? "−" : ""}${plainNumber(Number(Math.abs(value).toPrecision(2)))}`;
}

/** @param {import("./advice.js").Table} table @param {"change" | "measure" | "nothing"} said @param {import("./advice.js").Belief} belief @param {ReturnType<typeof rank>} changes */
function sentence(table, said, belief, changes) {
  if (said === "change") return `: ${changes[0].change.says}`;
  const chance = (/** @type {string} */ key) => ranked(belief).find(({ cause }) => cause.key === key)?.p ?? 0;
  if (said === "nothing" && usualLeads(table, belief)) return `: the losses are ${chance(USUAL) >= 0.5 ? "" : "most likely "}what is usual in this crop (${percent(chance(USUAL))} % by what is known). Leave the settings.`;
  if (said === "nothing") return ": no step is expected to bring more than it may spoil. Leave the settings.";
  const leading = ranked(belief).find(({ cause }) => cause.part !== "none");
  if (leading && chance(UNEXPLAINED) > leading.p) return ": the signs do not fit together, or something is wrong that stands in no table. Changing a setting now would be a guess.";
  return `: no cause stands out${leading ? `; the likeliest, ${leading.cause.says}, has ${percent(leading.p)} %` : ""}. Changing a setting now would be a guess.`;
}

/** What the stop answers by itself: air and straw, and how much was still in heads or pods. */
/** @param {import("./advice.js").Table} table @param {import("../app/stop.js").Stop} stop @param {Answer | null} answer */
export function byItself(table, stop, answer) {
  const { figures } = table;
  /** @type {{[sign: string]: string}} */
  const told = {};
  const { straw_moisture_pct: straw, humidity_pct: humidity } = stop.conditions;
  if (straw !== undefined) told.air = straw <= figures.straw_dry_pct ? "dry" : straw >= figures.straw_damp_pct ? "damp" : "middling";
  else if (humidity !== undefined) told.air = humidity <= figures.air_dry_pct ? "dry" : humidity >= figures.air_damp_pct ? "damp" : "middling";
  const pods = answer?.unthreshed_percent;
  if (pods !== null && pods !== undefined && pods >= figures.pods_many_pct) told.pods = "many";
  else if (pods !== null && pods !== undefined && pods <= figures.pods_few_pct) told.pods = "few";
  return told;
}

/** Yield behind the shares of an answer [kg/ha]; null where it tells none. @param {Answer} answer */
export function yieldOf(answer) {
  const pct = answer.total.share_percent?.median;
  // The share is percent of harvested and lost, and its middle that of the loss.
  return pct ? (answer.total.kg_ha.median * (100 - pct)) / pct : null;
}

/** @param {import("./advice.js").Table} table */
function leaks(table) {
  const parts = [...new Set(table.leaks.map((one) => one.part))];
  return [
    h("p.lead", {}, "Seed that drips from the machine is easily taken for loss of the shoe or the walkers."),
    parts.map((part) => h("section", {}, h("h2", {}, part.charAt(0).toUpperCase() + part.slice(1)),
      h("div.picks", {}, table.leaks.filter((one) => one.part === part).map((one) =>
        h("label.pick", {}, h("input", { type: "checkbox" }), h("span", {}, h("strong", {}, one.says), h("span.row-below", {}, `Look for ${one.look}. Mend: ${one.mend}.`))))))),
    h("p", {}, "To put a figure on a leak: shut down, hang a bag or a tray below the place so that it touches nothing that moves, go well clear, cut for a time you note, shut down again before anyone fetches it. It is a catch of the place leak."),
  ].flat();
}

/** @param {App} app @param {string} id @returns {Told} */
function toldOf(app, id) {
  return app.draft.advice?.[id] ?? { answers: keptAnswers(app.phone.records, id), skipped: [] };
}

/** Answers stand in the draft of this window until they are kept; then in a note about the stop. @param {App} app @param {string} id @param {Told} told */
function remember(app, id, told) {
  app.draft.advice = { ...app.draft.advice, [id]: told };
}
