// @ts-check
/** What became of a check that was saved? Where it is now, what it said, and how it goes to another phone. */

import { h, row } from "../dom.js";
import { readable } from "../shape.js";
import { STATE } from "../texts.js";
import { clock } from "./home.js";
import { answered, remarks } from "./verdict.js";

/** @typedef {import("../app.js").App} App */

/**
 * @param {App} app
 * @param {string} id
 * @param {boolean} fresh  it was saved a moment ago
 */
export function saved(app, id, fresh) {
  const record = app.phone.records.find((one) => one.id === id && one.kind === "check" && readable(one));
  if (!record) return null;
  const standing = app.phone.standing(record);
  const state = STATE[standing.state];
  const answer = app.answerOf(record);
  const check = record.body.check;
  return {
    title: fresh ? "Saved" : (check.field?.name ?? check.crop),
    below: fresh ? undefined : `${clock(record.body.taken_at)} · ${check.crop}`,
    node: h(
      "div.stack",
      {},
      h(
        "p.receipt",
        { role: "status" },
        h("span.receipt-mark", { "aria-hidden": "true" }, state.mark),
        h("span", {}, h("strong", {}, "Saved on this phone"), h("span.row-below", {}, `check ${id.slice(0, 8)}, ${state.words}`)),
      ),
      standing.reason ? h("p.error", {}, standing.reason) : null,
      answer ? answered(app, answer, check.catch.map((/** @type {any} */ one) => one.place), { field: check.field?.name }) : null,
      h("div.rows", {},
        row("Hand to another phone", "as a picture to scan, or as a file", () => app.go(`/hand/${id}`)),
        standing.state === "elsewhere" ? null : row("Correct it", "a new version; this one stays readable", () => app.correct(record))),
      answer ? remarks(answer) : null,
    ),
    back: !fresh,
    home: true,
    foot: [
      h("button.second", { onclick: () => app.go("/") }, "Done"),
      h("button.main", { onclick: () => app.begin() }, "New check here"),
    ],
  };
}
