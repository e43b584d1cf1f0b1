// @ts-check
/** What if a screen cannot be shown? It is said, and everything that is kept can be taken along. */

import { h, row } from "../dom.js";

/** @typedef {import("../app.js").App} App */

/**
 * @param {App} app
 * @param {unknown} error
 */
export function broken(app, error) {
  return {
    title: "This cannot be shown",
    node: h(
      "div.stack",
      {},
      h("p.lead", {}, "The app made a mistake here. Everything that was saved is still on this phone."),
      h("p.soft", {}, error instanceof Error ? error.message : String(error)),
      h("div.rows", {},
        row("Everything here as a file", "records, stops not finished, photos", () => app.exportAll()),
        row("Outbox", "what waits, what went", () => app.go("/tray")),
        row("Cautions", "before anyone comes near the machine", () => app.go("/cautions"))),
    ),
    back: true,
    home: true,
  };
}
