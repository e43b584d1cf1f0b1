// @ts-check
/** What waits, what went, what needs attention and why? The outbox, and everything on this phone as a file. */

import { h } from "../dom.js";
import { keyOf } from "../outbox.js";
import { readable } from "../shape.js";
import { SIGNAL, STATE } from "../texts.js";
import { clock } from "./home.js";

/** @typedef {import("../app.js").App} App */
/** @typedef {import("../outbox.js").Envelope} Envelope */

const SHOWN = 40;
const ORDER = ["attention", "queued", "sending", "sent", "elsewhere"];

/** @param {App} app */
export function tray(app) {
  const { phone } = app;
  const where = phone.standings;
  const records = [...phone.records].reverse();
  const lists = ORDER.map((state) => records.filter((one) => where.get(keyOf(one))?.state === state));
  const [attention] = lists;
  const input = h("input", { type: "file", id: "take-file", class: "unseen", accept: ".jsonl,.json,application/json,application/x-ndjson", onchange: (/** @type {Event} */ event) => {
    const file = /** @type {HTMLInputElement} */ (event.target).files?.[0];
    if (file) void app.takeFile(file);
  } });
  return {
    title: "Outbox",
    node: h(
      "div.stack",
      {},
      h("p.lead", { role: "status" }, signalWords(phone)),
      attention.length > 0 ? h("section", {}, h("h2", {}, "Needs attention"), attention.slice(0, SHOWN).map((one) => troubled(app, one))) : null,
      ORDER.slice(1).map((state, i) => plain(state, lists[i + 1])),
      h("section", {}, h("h2", {}, "Take it along"),
        h("div.rows", {},
          h("button.row", { onclick: () => app.exportAll() }, h("span.row-text", {}, h("span.row-title", {}, "Everything here as a file"), h("span.row-below", {}, "records, stops not finished, photos"))),
          h("label.row", { for: "take-file" }, h("span.row-text", {}, h("span.row-title", {}, "Take in a file"), h("span.row-below", {}, "from another phone, or your own"))), input)),
    ),
    back: true,
    foot: [h("button.main", { onclick: () => app.sendNow() }, "Send now")],
  };
}

/** @param {import("../phone.js").Phone} phone */
function signalWords(phone) {
  if (!phone.kept.pairing) return "Not paired with a book yet. Everything waits here.";
  const end = phone.token ? phone.signal : "not let in";
  return `${SIGNAL[end] ?? SIGNAL.trouble}.`;
}

/**
 * @param {App} app
 * @param {Envelope} record
 */
function troubled(app, record) {
  const { reason, what } = app.phone.standing(record);
  const why = what === "conflict"
    ? `Another record has this one's id. Both are kept and neither counts until somebody corrects it at the desk. ${reason}`
    : `The book did not take it: ${reason || "no reason was given"}`;
  return h(
    "div.note",
    {},
    h("strong", {}, describe(record)),
    h("p", {}, why),
    h("div.side-by-side", {},
      h("button.quiet", { onclick: () => app.tryAgain(record) }, "Try again"),
      h("button.quiet", { onclick: () => app.exportSome([record]) }, "Take as a file")),
  );
}

/**
 * @param {string} state
 * @param {Envelope[]} records
 */
function plain(state, records) {
  if (records.length === 0) return null;
  const { mark, words, many } = STATE[state];
  const rest = records.length - SHOWN;
  return h("section", {}, h("h2", {}, `${records.length} ${records.length > 1 ? (many ?? words) : words}`),
    h("ul.plain", {}, records.slice(0, SHOWN).map((one) =>
      h("li", {}, h("span.state-mark", { "aria-hidden": "true" }, mark), h("span", {}, describe(one))))),
    rest > 0 ? h("p.soft", {}, `and ${rest} more`) : null);
}

/** @param {unknown} text */
function noteWords(text) {
  return String(text).startsWith("Advice answers: ") ? "answers to the advice" : "note";
}

/** @param {Envelope} record */
export function describe(record) {
  const { body, kind } = record;
  if (!readable(record)) return `${kind}, which this app cannot show · ${record.id.slice(0, 8)}`;
  const what = kind === "check" ? `check, ${body.check?.field?.name ?? body.check?.crop ?? ""}` : kind === "monitor" ? `monitor reading ${body.reading}` : kind;
  // A note has no time of its own: then when it was written down.
  return `${kind === "note" ? noteWords(body.text) : what} · ${clock(body.taken_at ?? record.device_time)} · ${record.id.slice(0, 8)}`;
}
