// @ts-check
/** What do the catches say, what is it worth, and what now? The stop in hand: ruler, verdict, next step, its catches. */

import { h, row } from "../dom.js";
import { rangeWords } from "../figures.js";
import { ruler, verdictShape } from "../ruler.js";
import { lossLabel, nextStep, sentence, verdictLine, worth } from "../said.js";
import { waiting } from "../stop.js";
import { PLACE } from "../texts.js";
import { CAUTION, VERDICT } from "../wording.js";
import { catchWords, clock } from "./home.js";

/** @typedef {import("../app.js").App} App */
/** @typedef {import("../stop.js").Stop} Stop */
/** @typedef {import("../../engine/types.js").Answer} Answer */

/**
 * @param {App} app
 * @param {string} id
 */
export function verdict(app, id) {
  const stop = app.phone.stops.get(id);
  if (!stop || stop.closed) return null;
  const { answer, problem, working, earlier } = app.answerOfStop(stop);
  const bags = waiting(stop);
  const another = h("button", { onclick: () => app.another(stop) }, "Another catch");
  const save = h("button", { onclick: () => app.save(stop), disabled: bags.length > 0 || stop.catches.length === 0 || working || !!problem }, "Save check");
  const leading = bags.length > 0 || (answer?.verdict === "unsettled" && answer.more_catches !== null) || !answer ? another : save;
  another.className = another === leading ? "main" : "second";
  save.className = save === leading ? "main" : "second";
  return {
    title: stop.terms.field?.name ?? stop.terms.crop ?? "Stop",
    below: [`stop of ${clock(stop.opened_at)}`, app.phone.crop(stop.terms.crop)?.name ?? stop.terms.crop, stop.where.side ? `side ${stop.where.side}` : null].filter(Boolean).join(" · "),
    node: h(
      "div.stack",
      {},
      answer && bags.length > 0 ? h("p.note", {}, `${bags.length === 1 ? "A bag waits" : `${bags.length} bags wait`} to be weighed; the check can be saved when it is in. Nothing is lost when you leave.`) : null,
      answer ? answered(app, answer, stop.catches.filter((one) => one.amount !== null).map((one) => one.place), { earlier, field: stop.terms.field?.name }) : null,
      working ? h("p.lead.working", {}, "Kept. Working it out …") : null,
      !answer && !problem && !working ? h("p.lead", {}, bags.length > 0 ? "The bags wait to be weighed. Nothing is lost when you leave." : "No catch yet.") : null,
      problem ? h("div.note", { role: "alert" }, h("strong", {}, "Cannot be worked out"), h("p", {}, problem), h("button.quiet", { onclick: () => app.terms(stop) }, "Mend field, machine and terms")) : null,
      catchList(app, stop),
      beside(app, stop),
      answer ? remarks(answer) : null,
    ),
    back: true,
    home: true,
    foot: [save, another],
  };
}

/**
 * The answer itself: number, ruler, verdict, worth, next step.
 * @param {App} app
 * @param {Answer} answer
 * @param {string[]} places
 * @param {{earlier?: import("../../engine/types.js").Range[], field?: string}} more
 */
export function answered(app, answer, places, { earlier = [], field = "" } = {}) {
  const trade = answer.judged.trade;
  const words = rangeWords(trade);
  const label = lossLabel(answer);
  const rangeOnly = answer.warnings.some((one) => one.key === "one-position-spreading");
  const drawing = h("div.ruler-place");
  const draw = () => {
    const size = parseFloat(getComputedStyle(drawing).fontSize) || 16;
    const width = drawing.clientWidth || 328;
    drawing.replaceChildren(ruler({ range: trade, unit: trade.unit, limit: answer.limit_trade, label, earlier, rangeOnly }, width, size * 0.875));
  };
  app.whenShown(draw);
  const line = verdictLine(answer);
  const head = answer.verdict ? VERDICT[answer.verdict] : "";
  const rest = line.startsWith(head) ? line.slice(head.length) : ` ${line}`;
  const step = nextStep(answer, places);
  const money = worth(answer, field);
  const like = answer.more_catches_like ? places[answer.more_catches_like - 1] : null;
  const how = answer.verdict === "unsettled" && answer.more_catches !== null && like ? PLACE[like]?.how : null;
  return h(
    "section.answer",
    { "aria-live": "polite" },
    h("p.figure", {}, h("span.big", {}, rangeOnly ? `${words.low} to ${words.high}` : words.median), " ", h("span.big-unit", {}, trade.unit)),
    h("p.soft", {}, rangeOnly ? label : `${label}, likely ${words.low} to ${words.high}`),
    drawing,
    answer.verdict
      ? h("p.verdict", {}, verdictShape(answer.verdict), h("span", {}, h("strong", {}, head), rest))
      : null,
    money.length > 0 ? h("p.worth", {}, "That is ", h("strong", {}, money[0]), money.length > 1 ? `, ${money.slice(1).join(", ")}` : "", ".") : null,
    step ? h("p.next", {}, step) : null,
    how ? h("p.how-next", {}, how) : null,
    step && answer.verdict !== "under" ? h("p.caution", {}, CAUTION) : null,
  );
}

/**
 * @param {App} app
 * @param {Stop} stop
 */
function catchList(app, stop) {
  if (stop.catches.length === 0) return null;
  return h(
    "section",
    {},
    h("h2", {}, "Catches"),
    h("ul.catches", {}, stop.catches.map((one) => {
      const place = catchWords(one.place, one.pan, stop.terms);
      const reading = (one.amount === null ? `bag ${one.bag}, to weigh` : one.amount ?? "as it was read").replace("cm2 flat", "cm² flat");
      return h(
        "li",
        {},
        h("span.catch-text", {}, h("strong", {}, `${one.n}. ${reading}`), h("span.row-below", {}, place)),
        one.amount === null
          ? h("button.second", { onclick: () => app.weigh(stop, one.n), "aria-label": `Weigh bag ${one.bag}` }, "Weigh")
          : h("button.quiet", { onclick: () => app.takeBack(stop, one.n).then((kept) => kept && app.show()), "aria-label": `Take back catch ${one.n}` }, "Take back"),
      );
    })),
  );
}

/**
 * @param {App} app
 * @param {Stop} stop
 */
function beside(app, stop) {
  const count = stop.settings.length + Object.keys(stop.conditions).length + (stop.monitor ? 1 : 0);
  const said = count > 0 ? `${count} said` : "settings, air and grain, monitor";
  const trial = stop.where.trial ? `this stop belongs to side ${stop.where.side}` : "this stop belongs to none";
  const photos = stop.photos.length > 0 ? `${stop.photos.length} kept` : "of the catch, the stubble, the tank";
  return h(
    "section",
    {},
    h("h2", {}, "If you have a moment"),
    h("div.rows", {},
      row("Settings and conditions", said, () => app.go(`/beside/${stop.id}`)),
      row("What may be wrong", "a few questions, and one step worth trying", () => app.go(`/advice/${stop.id}`)),
      row("Trial of two settings", trial, () => app.go(`/trial/${stop.id}`)),
      // Not waited for: some browsers never say that no picture was taken.
      row("Photo", photos, () => void app.photo(stop)),
      row("Field, machine and terms", "for this stop", () => app.terms(stop)),
      row("Leave this stop out", "its catches stay in this phone's log, and count nowhere", () => app.drop(stop))),
  );
}

/** @param {Answer} answer */
export function remarks(answer) {
  const list = (/** @type {import("../../engine/types.js").Notice[]} */ all) => h("ul", {}, all.map((one) => h("li", {}, sentence(one, answer))));
  return h(
    "section.remarks",
    {},
    answer.warnings.length > 0 ? [h("h2", {}, "Mind"), list(answer.warnings)] : null,
    answer.assumed.length > 0 ? h("details", {}, h("summary", {}, "Taken as given"), list(answer.assumed)) : null,
  );
}
