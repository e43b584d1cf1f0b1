// @ts-check
/** What may be wrong? The screen itself is fetched when it is first asked for, so that the app opens as lightly as before. */

import { h } from "../dom.js";

/** @typedef {import("../app.js").App} App */

/** @type {((app: App, id: string) => import("../app.js").Screen | null) | null} */
let screen = null;
let failed = false;

/**
 * @param {App} app
 * @param {string} id
 */
export function advice(app, id) {
  if (screen) return screen(app, id);
  if (!failed) {
    import("../../advice/screen.js").then(
      (found) => {
        screen = found.advise;
        app.show();
      },
      () => {
        failed = true;
        app.show();
        failed = false;
      },
    );
  }
  const text = failed ? "This screen could not be fetched: it needs the book's signal once. Then it works without." : "One moment.";
  return { title: "What may be wrong", node: h("p.lead", { role: "status" }, text), back: true, home: true };
}
