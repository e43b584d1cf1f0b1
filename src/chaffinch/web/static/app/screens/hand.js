// @ts-check
/** How does a check go to another phone without signal? As a picture its camera reads, or as a file. */

import { h, row, s } from "../dom.js";
import { packed, PICTURE_MOST, unpacked } from "../handing.js";
import { describe } from "./tray.js";

/** @typedef {import("../app.js").App} App */

/**
 * @param {App} app
 * @param {string} id
 */
export function hand(app, id) {
  const { phone } = app;
  const records = phone.records.filter((one) => one.id === id || one.body.check === id);
  if (records.length === 0) return null;
  const place = h("div.picture", {}, h("p.soft", {}, "Drawing the picture …"));
  void draw(records).then((node) => place.replaceChildren(node));
  return {
    title: "Hand it over",
    node: h(
      "div.stack",
      {},
      h("p.lead", {}, "Let the other phone's camera read this. It opens the app there and asks whether to take the check."),
      place,
      h("div.rows", {},
        row("As a file", "over Bluetooth, a cable, or a message", () => app.exportSome(records)),
      ),
      h("p.soft", {}, "Both phones may send it: the book keeps it once."),
    ),
    back: true,
  };
}

/** @param {import("../outbox.js").Envelope[]} records */
async function draw(records) {
  const address = `${location.origin}${location.pathname}#/take/${await packed(records)}`;
  if (address.length > PICTURE_MOST) return h("p.note", {}, "This check is too long for a picture: take it as a file.");
  const { default: qrcode } = await import("../../vendor/qrcode-generator.mjs");
  const code = qrcode(0, "L");
  code.addData(address, "Byte");
  code.make();
  const count = code.getModuleCount();
  const path = [];
  for (let y = 0; y < count; y += 1) for (let x = 0; x < count; x += 1) if (code.isDark(y, x)) path.push(`M${x + 4} ${y + 4}h1v1h-1z`);
  const side = count + 8;
  return s("svg.code", { viewBox: `0 0 ${side} ${side}`, role: "img", "aria-label": "Picture that holds the check, for another phone's camera" },
    s("rect", { x: 0, y: 0, width: side, height: side, fill: "#fff" }), s("path", { d: path.join(""), fill: "#000" }));
}

/**
 * A check that came by the camera: shown, and taken only when the person says so.
 * @param {App} app
 * @param {string} text
 */
export function take(app, text) {
  const list = h("ul.plain");
  const error = h("p.error", { role: "alert" });
  const button = h("button.main", { disabled: true }, "Take it");
  void unpacked(text).then((records) => {
    list.replaceChildren(...records.map((one) => h("li", {}, describe(one))));
    button.removeAttribute("disabled");
    button.addEventListener("click", async () => {
      if (await app.write(() => app.phone.add({ records }), { records })) {
        app.post.soon();
        app.go("/tray", { replace: true });
      }
    });
  }).catch((problem) => (error.textContent = `${problem.message}`));
  return {
    title: "From another phone",
    node: h("div.stack", {}, h("p.lead", {}, "This came by the camera. Taken in, it waits in this phone's outbox too."), list, error),
    back: true,
    home: true,
    foot: [h("button.second", { onclick: () => app.go("/") }, "Leave it"), button],
  };
}
