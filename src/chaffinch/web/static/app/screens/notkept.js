// @ts-check
/** What if it could not be kept? Said in large letters, with the record to take along. */

import { h } from "../dom.js";

/** @typedef {import("../app.js").App} App */

/**
 * @param {App} app
 * @param {string} reason
 * @param {string} text  what could not be kept, as a file
 * @param {{again: () => void, back: () => void, on: (() => void) | null}} ways
 */
export function notKept(app, reason, text, { again, back, on }) {
  return h(
    "div.not-kept",
    { role: "alertdialog", "aria-labelledby": "not-kept-title", "aria-modal": "true" },
    h("h1", { id: "not-kept-title", tabindex: "-1" }, "NOT SAVED"),
    h("p.lead", {}, `${reason.charAt(0).toUpperCase()}${reason.slice(1)}.`),
    text
      ? [h("p", {}, "Take it as a file now, or copy the text below. It can be taken in again, here or on another phone."),
         h("textarea", { readonly: true, rows: 6, "aria-label": "The record as text", value: text })]
      : h("p", {}, "Nothing that was saved before is touched."),
    h("div.actions-in", {},
      text ? h("button.main", { onclick: () => app.saveFile(text, "not-saved") }, "Take it as a file") : null,
      h("button.second", { onclick: again }, "Try again"),
      on ? h("button.second", { onclick: on }, "Go on without keeping it") : null,
      h("button.quiet", { onclick: back }, "Go back")),
  );
}
