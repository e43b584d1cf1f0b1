// @ts-check
/** How does this phone come to belong to a book? The six digits on the owner's screen, once. */

import { entry, h } from "../dom.js";
import { told } from "../post.js";
import { ask, pair as askToPair } from "../sending.js";
import { SIGNAL } from "../texts.js";
import { holdsSomething } from "./home.js";

/** @typedef {import("../app.js").App} App */

/**
 * @param {App} app
 * @param {string} offered  a code that came with the address
 */
export function pair(app, offered) {
  const { phone } = app;
  const given = { code: offered, name: phone.kept.device ?? "" };
  const said = h("p.error", { role: "alert" });
  const button = h("button.main", { onclick: go }, "Pair");

  async function go() {
    const name = given.name.trim();
    const code = given.code.replace(/\D/g, "");
    if (code.length !== 6) return say("The code has six digits. The owner's screen shows it.");
    if (name === "") return say("Give this phone a name, so that the owner can tell it from the others.");
    button.setAttribute("disabled", "");
    const problem = await attempt(code, name);
    button.removeAttribute("disabled");
    if (problem) return say(problem);
    app.askToStay();
    app.post.thoroughly();
    app.go("/", { replace: true });
  }

  /** @param {string} code @param {string} name @returns {Promise<string>} what went wrong */
  async function attempt(code, name) {
    const there = await ask("/health");
    if (there.end !== "ok" || there.body?.app !== "chaffinch") return `${SIGNAL[there.end === "ok" ? "stranger" : there.end]}.`;
    const book = typeof there.body.book === "object" ? there.body.book?.id : there.body.book;
    if (phone.bookId && book !== phone.bookId) {
      const { queued, sending, attention } = phone.counts;
      const [records, open] = [queued + sending + attention, phone.openStops.filter(holdsSomething).length];
      const own = [records > 0 && `${records} ${records === 1 ? "record" : "records"}`, open > 0 && `${open} not finished ${open === 1 ? "stop" : "stops"}`].filter(Boolean).join(" and ");
      if (own) return `${own} here wait for the book ${phone.kept.pairing.book.title}, and this is another. Send them there first, or take them as a file.`;
    }
    const reply = await askToPair(code, name);
    if (reply.end === "not let in" || reply.end === "refused") return `${told(reply.body)}.`;
    if (reply.end === "wait") return `Too many tries: wait ${Math.ceil(reply.after ?? 30)} seconds.`;
    if (reply.end !== "ok" || typeof reply.body?.token !== "string") return `${SIGNAL[reply.end === "ok" ? "stranger" : reply.end]}.`;
    const { token, role, book: met } = reply.body;
    const other = phone.bookId !== "" && phone.bookId !== met.id;
    // Another book's things are not this one's.
    const fresh = other ? { setup: undefined, day: undefined, trials: [], trialsTo: 0, chosen: {}, unnamed: phone.kept.unnamed ?? phone.bookId } : {};
    const kept = await app.write(() => phone.add({ kept: { pairing: { token, role, book: met }, device: name, ...fresh } }));
    return kept ? "" : "The pairing could not be kept on this phone.";
  }

  /** @param {string} text */
  function say(text) {
    said.textContent = text;
  }

  return {
    title: "Pair with a book",
    node: h(
      "form.stack",
      { onsubmit: (/** @type {Event} */ event) => {
        event.preventDefault();
        void go();
      } },
      h("p.lead", {}, "On the farm's computer, chaffinch serve --share shows six digits. They let one phone in, once."),
      entry("Code", { name: "code", value: given.code, mode: "numeric", autocomplete: "one-time-code", oninput: (text) => (given.code = text) }),
      entry("Name of this phone", { name: "device", value: given.name, example: "like Ann's phone", oninput: (text) => (given.name = text) }),
      said,
      h("p.soft", {}, "Without a book the app works too: checks stay on this phone until it is paired."),
    ),
    back: true,
    foot: [button],
  };
}
