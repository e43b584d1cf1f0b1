// @ts-check
/** What must be known before anybody comes near the machine? Shown first, acknowledged once a day, always reachable. */

import { h } from "../dom.js";
import { STANDS } from "../texts.js";
import { CAUTIONS } from "../wording.js";

/** @typedef {import("../app.js").App} App */

/** @param {App} app */
export function cautions(app) {
  const { phone } = app;
  const seen = phone.kept.cautions === phone.today();
  const told = phone.setup.cautions?.length ? phone.setup.cautions : CAUTIONS;
  const understood = async () => {
    await phone.remember({ cautions: phone.today() });
    // What was asked for first, as by the code on a cab card, still comes after it.
    if (["", "cautions"].includes(app.route[0])) app.go("/");
    else app.show();
  };
  return {
    title: "Before you go near",
    node: h(
      "div.stack",
      {},
      h("p.lead", {}, STANDS),
      h("ol.cautions", {}, told.map((/** @type {string} */ one) => h("li", {}, one))),
      h(
        "div.actions",
        {},
        seen
          ? h("button.main", { onclick: () => history.back() }, "Back")
          : h("button.main", { onclick: understood }, "Understood, for today"),
      ),
    ),
    back: seen,
  };
}
