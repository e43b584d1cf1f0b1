// @ts-check
/** What is this phone's day? The field and the machine in hand, stops that stand open, what was saved, what waits. */

import { h, row, s } from "../dom.js";
import { rangeWords } from "../figures.js";
import { verdictShape } from "../ruler.js";
import { readable } from "../shape.js";
import { waiting } from "../stop.js";
import { PLACE, placeTitle, SIGNAL, SPREADABLE, STANDS, STATE } from "../texts.js";

/** @typedef {import("../app.js").App} App */

const SHOWN = 12;
/** What a person may have said over the book, and still holds: in short words. @type {{[key: string]: string}} */
const SAID = {
  limit: "limit", yield: "yield", price: "price", speed: "speed", cut_width: "cut", drop_width: "discharge", spread_width: "throw",
  windrower_width: "windrower", country: "country",
};

/** @param {App} app */
export function home(app) {
  const { phone } = app;
  return {
    title: "Chaffinch",
    heading: h("span.brand", {}, ourSign(), h("span", {}, phone.kept.pairing?.book?.title ?? "Chaffinch")),
    node: h(
      "div.stack",
      {},
      notes(app),
      whereCard(app),
      begin(app),
      dayRow(app),
      open(app),
      saved(app),
    ),
    back: false,
    foot: [outboxBar(app), h("button.bar-button.end", { onclick: () => app.go("/cautions") }, "Cautions")],
  };
}

/** Our sign, the ruler. */
function ourSign() {
  return s(
    "svg.our-sign",
    { viewBox: "0 0 40 24", "aria-hidden": "true" },
    s("path.rule", { d: "M2 8H21L25 14L29 8H38M2 8V13M11 8V11M20 8V11M38 8V13" }),
    s("rect.bar", { x: 8, y: 17, width: 18, height: 5 }),
  );
}

/** @param {App} app */
function whereCard(app) {
  const { phone } = app;
  const field = phone.thing("fields", phone.chosen.field);
  const combine = phone.thing("combines", phone.chosen.combine);
  const { terms } = phone.terms;
  const crop = phone.crop(terms.crop)?.name ?? "no crop chosen";
  const own = Object.entries(SAID).filter(([key]) => phone.chosen.own?.[key]).map(([key, words]) => `${words} ${phone.chosen.own[key]}`).join(", ");
  const machine = combine?.name ?? (terms.combine?.cut_width ? `cut width ${terms.combine.cut_width}` : "no combine chosen");
  return h(
    "section.where",
    {},
    h("p.where-field", {}, field?.name ?? "No field chosen"),
    h("p.soft", {}, [crop, app.answers.limitWords(terms)].join(" · ")),
    h("p.where-machine", {}, [machine, phone.thing("operators", phone.chosen.operator)?.name].filter(Boolean).join(", ")),
    own ? h("p.soft", {}, `said on this phone: ${own}`) : null,
    h("button.quiet", { onclick: () => app.go("/where") }, "Change field, machine or driver"),
  );
}

/** The desk's last plan, where there is one. @param {App} app */
function dayRow(app) {
  const kept = app.phone.kept.day;
  if (!kept?.day) return null;
  return row(`Day: ${kept.day.hours_to_work}`, `${kept.day.crop} · planned ${clock(kept.issued_at)}`, () => app.go("/day"));
}

/** @param {App} app */
function begin(app) {
  const { phone } = app;
  const { place, pan } = phone.chosen;
  const ready = phone.terms.terms.crop;
  if (!ready) return h("div.actions-in", {}, h("button.main", { onclick: () => app.go("/where") }, "Choose field and machine"));
  const again = place && pan && PLACE[place];
  return h(
    "div.actions-in",
    {},
    h(
      "button.main.tall",
      { onclick: () => app.begin() },
      "New check",
      again ? h("span.below", {}, catchWords(place, pan, phone.terms.terms, again.title.toLowerCase())) : null,
    ),
    again ? h("button.second", { onclick: () => app.begin({ elsewhere: true }) }, "New check at another place") : null,
  );
}

/**
 * Where, with spreader on or off where that counts, and with which pan.
 * @param {string} place
 * @param {{[key: string]: string}} pan
 * @param {{[key: string]: any}} terms  of the stop, or those chosen for the next
 * @param {string} [title]
 */
export function catchWords(place, pan, terms, title = placeTitle(place)) {
  const spreader = SPREADABLE.has(place) && terms.spreading !== undefined ? `spreader ${terms.spreading ? "on" : "off"}` : "";
  return [title, spreader, panWords(pan)].filter(Boolean).join(", ");
}

/** @param {{[key: string]: string}} pan */
export function panWords(pan) {
  const size = pan.width ? `${pan.width} × ${pan.length}` : pan.area ?? pan.length ?? pan.time ?? "";
  return (pan.name ? `${pan.name} (${size})` : size).replace(/\bm2\b/g, "m²").replace(/\bft2\b/g, "ft²");
}

/** Whether anything confirmed is in a stop, also where its catches were taken back. @param {import("../stop.js").Stop} stop */
export function holdsSomething({ catches, monitor, photos, settings, conditions }) {
  return catches.length > 0 || monitor !== null || photos.length > 0 || settings.length > 0 || Object.keys(conditions).length > 0;
}

/** @param {App} app */
function open(app) {
  const stops = app.phone.openStops.filter(holdsSomething);
  if (stops.length === 0) return null;
  return h(
    "section",
    {},
    h("h2", {}, "Not finished"),
    stops.map((stop) => {
      const bags = waiting(stop);
      const bagged = bags.length > 0 ? ` · to weigh: bag ${bags.map((one) => one.bag).join(", ")}` : "";
      const count = stop.catches.length;
      const below = `${clock(stop.opened_at)} · ${count} ${count === 1 ? "catch" : "catches"}${bagged}`;
      return row(stop.terms.field?.name ?? stop.terms.crop ?? "Stop", below, () => app.go(`/stop/${stop.id}`));
    }),
  );
}

/** @param {App} app */
function saved(app) {
  const replaced = new Set(app.phone.records.flatMap((one) => one.body.replaces ?? []));
  const checks = app.phone.records.filter((one) => one.kind === "check" && readable(one) && !replaced.has(one.id)).slice(-SHOWN).reverse();
  if (checks.length === 0) return h("p.soft", {}, STANDS);
  return h(
    "section",
    {},
    h("h2", {}, "Saved on this phone"),
    checks.map((record) => {
      const answer = app.answerOf(record);
      const state = STATE[app.phone.standing(record).state];
      const loss = answer ? rangeWords(answer.judged.trade).median + " " + answer.judged.trade.unit : "saved";
      const where = record.body.check.field?.name ?? record.body.check.crop;
      return row(`${loss}`, `${where} · ${clock(record.body.taken_at)}`, () => app.go(`/saved/${record.id}`), {
        mark: answer ? verdictShape(answer.verdict) : null,
        end: h("span.state", {}, h("span", { "aria-hidden": "true" }, state.mark), " ", state.words),
      });
    }),
  );
}

/** @param {string} utc  @returns {string}  local time, with the date when it is not today's */
export function clock(utc) {
  const then = new Date(utc);
  const time = `${String(then.getHours()).padStart(2, "0")}:${String(then.getMinutes()).padStart(2, "0")}`;
  const today = new Date().toDateString() === then.toDateString();
  return today ? time : `${then.getFullYear()}-${String(then.getMonth() + 1).padStart(2, "0")}-${String(then.getDate()).padStart(2, "0")} ${time}`;
}

/** @param {App} app */
export function notes(app) {
  const { phone } = app;
  const found = [];
  if (phone.keep.trouble) found.push(["Nothing can be kept here", `${phone.keep.trouble}. Every check will have to be taken as a file.`]);
  else if (phone.carried.length > 0) found.push(["Not everything is kept", "Catches that could not be kept are lost when this page is closed. Take them as a file."]);
  if (phone.clockBroken) found.push(["This phone's clock is wrong", "It shows no possible year. Set it before you save a check."]);
  else if (phone.clockAhead) {
    const way = phone.clockAhead > 0 ? "ahead of" : "behind";
    found.push(["This phone's clock is off", `It is ${span(Math.abs(phone.clockAhead))} ${way} the book's. Nothing is lost by it, but checks carry its time: set it.`]);
  }
  if (!phone.kept.pairing) found.push(["Not paired with a book yet", "Checks are kept here and go into the book once it is."]);
  else if (!phone.token) found.push(["Shut out of the book", SIGNAL["not let in"] + "."]);
  if (!phone.persisted && phone.counts.queued > 0) {
    found.push(["Send soon", "This browser may clear what is kept here when the phone runs short of room. Take a file along if there is no signal."]);
  }
  if (phone.newerApp) found.push(["A newer version of this app is here", "It is used from the next time you open it."]);
  return found.map(([title, text]) =>
    h(
      "div.note",
      { role: "note" },
      h("strong", {}, title),
      h("p", {}, text),
      /paired|Shut/.test(title) ? h("button.quiet", { onclick: () => app.go("/pair") }, "Pair with a book") : null,
    ),
  );
}

/** @param {number} seconds */
function span(seconds) {
  if (seconds >= 2 * 31_557_600) return `${Math.round(seconds / 31_557_600)} years`;
  if (seconds >= 2 * 86_400) return `${Math.round(seconds / 86_400)} days`;
  if (seconds >= 2 * 3600) return `${Math.round(seconds / 3600)} hours`;
  return `${Math.round(seconds / 60)} minutes`;
}

/** @param {App} app */
export function outboxBar(app) {
  const { queued, sending, sent, attention } = app.phone.counts;
  const waitingNow = queued + sending;
  const words = attention > 0
    ? `${attention} ${attention === 1 ? "needs" : "need"} attention`
    : waitingNow > 0
      ? `${waitingNow} to send`
      : sent > 0
        ? "All in the book"
        : "Outbox is empty";
  const mark = attention > 0 ? STATE.attention.mark : waitingNow > 0 ? STATE.queued.mark : STATE.sent.mark;
  return h("button.bar-button", { onclick: () => app.go("/tray") }, h("span.bar-mark", { "aria-hidden": "true" }, mark), words);
}
