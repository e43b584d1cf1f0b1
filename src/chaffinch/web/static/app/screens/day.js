// @ts-check
/**
 * Which hours are worth working? The plan that the desk made last, as it stood at this phone's last contact: its own
 * words and rows, with how old they are. Nothing is worked out here.
 */

import { h } from "../dom.js";
import { clock } from "./home.js";

/** @typedef {import("../app.js").App} App */

/** Hours after which a plan is called old. */
const OLD_H = 12;

/** @param {App} app */
export function dayScreen(app) {
  const kept = app.phone.kept.day;
  if (!kept?.day) return null;
  const { day } = kept;
  const hours = (Date.parse(app.phone.now()) - Date.parse(kept.issued_at)) / 3_600_000;
  return {
    title: "Day",
    below: `${day.combine.name} · ${day.crop} · planned ${clock(kept.issued_at)}`,
    node: h(
      "div.stack",
      {},
      hours > OLD_H || hours < -1
        ? h("p.note", { role: "note" }, `This plan is ${age(hours)}. A newer one comes from the desk at the next contact.`)
        : null,
      h("p.day-hours", {}, day.hours_to_work),
      day.caution ? h("p.note", {}, day.caution) : null,
      day.said.map((/** @type {string} */ one) => h("p", {}, one)),
      table(kept.table),
      h("p.soft", {}, kept.about),
    ),
    back: true,
    home: true,
  };
}

/** @param {string[][]} rows  head first, as the desk words them */
function table(rows) {
  const [head, ...hours] = rows;
  return h(
    "div.day-rows",
    { role: "region", "aria-label": "Hour by hour", tabindex: "0" },
    h("table", {},
      h("thead", {}, h("tr", {}, head.map((one) => (one === "" ? h("td") : h("th", { scope: "col" }, one))))),
      h("tbody", {}, hours.map((row) => h("tr", {}, row.map((one, k) => h(k === 0 ? "th" : "td", k === 0 ? { scope: "row" } : {}, one)))))),
  );
}

/** @param {number} hours */
function age(hours) {
  if (hours < -1) return "from a time this phone's clock has not reached";
  return hours >= 48 ? `${Math.round(hours / 24)} days old` : `${Math.round(hours)} hours old`;
}
