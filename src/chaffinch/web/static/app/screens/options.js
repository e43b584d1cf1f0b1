// @ts-check
/** What can be set on this phone, and what is known about it? */

import { choice, h, row } from "../dom.js";

/** @typedef {import("../app.js").App} App */

/** @param {App} app */
export function options(app) {
  const { phone } = app;
  const room = h("p.soft", {}, "…");
  void navigator.storage?.estimate?.().then(({ usage = 0, quota = 0 }) => {
    room.textContent = `${size(usage)} of ${size(quota)} used by this app's pages and records.`;
  });
  const book = phone.kept.pairing?.book;
  return {
    title: "This phone",
    node: h(
      "div.stack",
      {},
      h("section", {}, h("h2", {}, "Light or dark"), choice("Light or dark",
        [["", "As the phone"], ["light", "Light"], ["dark", "Dark"]], phone.kept.theme ?? "", (value) => app.theme(value))),
      h("section", {}, h("h2", {}, "Units"), choice("Units",
        [["farm", "As the farm"], ["metric", "kg/ha"], ["north american", "bu/ac, lb/ac"]], phone.chosen.units ?? "farm", (value) => phone.choose({ units: value }))),
      h("section", {}, h("h2", {}, "Book"),
        h("p", {}, book ? `${book.title}, as ${phone.token ? phone.role : "nobody any more"}, under the name ${phone.device}` : "None yet."),
        h("button.second", { onclick: () => app.go("/pair") }, book ? "Pair again" : "Pair with a book")),
      h("section", {}, h("h2", {}, "What is kept here"), h("p", {}, phone.persisted
        ? "This browser keeps it until you remove it."
        : "This browser may clear it when the phone runs short of room: send soon, or take a file."), room,
        phone.persisted ? null : h("button.second", { onclick: () => app.askToStay(true) }, "Ask the browser to keep it")),
      h("div.rows", {},
        row("Cautions", "before anyone comes near the machine", () => app.go("/cautions")),
        row("Outbox and files", "what waits, what went", () => app.go("/tray")),
        h("a.row", { href: "/pair" }, h("span.row-text", {}, h("span.row-title", {}, "The book's pages"),
          h("span.row-below", {}, "fields, curves and reports in this browser; they ask for a code of their own, and need the signal")))),
      h("p.soft", {}, `App for records of schema 1. ${phone.kept.version ? `The book's program is ${phone.kept.version}.` : ""}`),
    ),
    back: true,
  };
}

/** @param {number} bytes */
function size(bytes) {
  return bytes > 5e8 ? `${(bytes / 1e9).toFixed(1)} GB` : bytes > 5e5 ? `${(bytes / 1e6).toFixed(1)} MB` : `${Math.round(bytes / 1000)} kB`;
}
