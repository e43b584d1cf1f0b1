// @ts-check
/**
 * Which screen is shown, and what goes in and out of this phone as a file? The address after # names the screen, so
 * that the phone's own way back works.
 */

import { h, sign } from "./dom.js";
import { readLines, toText } from "./handing.js";
import { Stops } from "./stops.js";
import { advice } from "./screens/advice.js";
import { broken } from "./screens/broken.js";
import { beside } from "./screens/beside.js";
import { cautions } from "./screens/cautions.js";
import { dayScreen } from "./screens/day.js";
import { hand, take } from "./screens/hand.js";
import { home } from "./screens/home.js";
import { options } from "./screens/options.js";
import { pad } from "./screens/pad.js";
import { pair } from "./screens/pair.js";
import { pan, place } from "./screens/place.js";
import { saved } from "./screens/saved.js";
import { tray } from "./screens/tray.js";
import { trial } from "./screens/trial.js";
import { verdict } from "./screens/verdict.js";
import { where } from "./screens/where.js";

/** @typedef {import("./outbox.js").Envelope} Envelope */
/**
 * @typedef {object} Screen
 * @property {string} title
 * @property {string} [below]
 * @property {Node} [heading]
 * @property {Node} node
 * @property {boolean} [back]
 * @property {boolean} [home]
 * @property {(Node | null)[]} [foot]
 * @property {(event: KeyboardEvent) => void} [keys]  what keys do wherever the focus is
 */

/** Screens that follow what is sent while they are open; the others are left as they are while somebody types. */
const LIVE = new Set(["", "tray", "saved"]);
/** How long after a finger was lifted its click has surely come [ms]; own figure. */
const LIFTED_MS = 50;
/** Screens that show what the engine says. */
const ANSWERED = new Set(["", "stop", "saved"]);

export class App extends Stops {
  start() {
    addEventListener("hashchange", () => this.show());
    this.phone.addEventListener("change", () => this.#untouched(() => (LIVE.has(this.route[0]) || this.#hasThings()) && this.show({ quiet: true })));
    this.answers.addEventListener("answered", () => this.#untouched(() => this.#answered()));
    addEventListener("pointerdown", () => (this.#pressed = true), true);
    // The click of a finger comes a moment after it was lifted.
    for (const over of ["pointerup", "pointercancel"]) addEventListener(over, () => setTimeout(() => this.#released(), LIFTED_MS), true);
    // Of the window alone: buttons lose the focus under a finger, too.
    addEventListener("blur", (event) => event.target === window && this.#released());
    addEventListener("keydown", (event) => {
      const elsewhere = event.ctrlKey || event.metaKey || event.altKey || document.querySelector("dialog[open], .not-kept") !== null;
      if (!elsewhere && !(event.target instanceof HTMLInputElement)) this.#keys?.(event);
    });
    let last = innerWidth;
    addEventListener("resize", () => {
      if (innerWidth !== last) this.redraws.forEach((draw) => draw());
      last = innerWidth;
    });
    this.show();
  }

  /** Whether the book's things came while somebody looks at the lists of them, which were empty. */
  #hasThings() {
    return this.route[0] === "where" && this.bare && this.phone.kept.setup !== undefined;
  }

  /** @type {((event: KeyboardEvent) => void) | undefined} */
  #keys;
  #pressed = false;
  /** @type {(() => void)[]} */
  #waiting = [];

  /** Draw now, or once no finger is on the glass: a button that is drawn anew under a finger never hears its click. @param {() => void} draw */
  #untouched(draw) {
    if (this.#pressed) this.#waiting.push(draw);
    else draw();
  }

  #released() {
    this.#pressed = false;
    this.#waiting.splice(0).forEach((draw) => draw());
  }

  /** What was asked of the engine is here: shown, and said to who does not see it. */
  #answered() {
    if (!ANSWERED.has(this.route[0])) return;
    const waited = document.querySelector(".working") !== null;
    this.show({ quiet: true });
    if (waited) this.places.heard.textContent = [...document.querySelectorAll(".answer > p")].map((one) => one.textContent).join(" ");
  }

  // --- screens ------------------------------------------------------------------------------------------------------

  /** @returns {string[]} */
  get route() {
    // The code shown by the server comes as #pair=123456.
    return location.hash.replace(/^#\/?/, "").replace(/^pair=/, "pair/").split("/");
  }

  /** @returns {Screen | null} */
  screen() {
    const [name, id = ""] = this.route;
    const { phone } = this;
    const open = ["pair", "take", "tray", "options", "cautions"];
    if (phone.kept.cautions !== phone.today() && !open.includes(name)) return cautions(this);
    switch (name) {
      case "": return home(this);
      case "cautions": return cautions(this);
      case "pair": return pair(this, /^\d{6}$/.test(id) ? id : "");
      case "where": return where(this, id);
      case "place": return place(this);
      case "pan": return this.draft.place ? pan(this) : null;
      case "pad": return this.draft.weigh ? this.bagInHand && pad(this) : this.draft.place && this.draft.pan ? pad(this) : null;
      case "stop": return verdict(this, id);
      case "beside": return beside(this, id);
      case "advice": return advice(this, id);
      case "trial": return trial(this, id);
      case "saved": return saved(this, id, this.fresh === id);
      case "tray": return tray(this);
      case "hand": return hand(this, id);
      case "take": return take(this, id);
      case "options": return options(this);
      case "day": return dayScreen(this);
      default: return null;
    }
  }

  /** The screen, or what can be done where it cannot be shown: what is kept must be within reach whatever happens. @returns {Screen | null} */
  #safely() {
    try {
      return this.screen();
    } catch (error) {
      reportError(error);
      return broken(this, error);
    }
  }

  /** @param {{quiet?: boolean}} [how]  quiet: only what is shown has changed, not where one is */
  show(how = {}) {
    this.redraws = [];
    this.bare = this.phone.kept.setup === undefined;
    const screen = this.#safely();
    if (!screen) return this.go("/", { replace: true });
    if (!how.quiet) this.closeSheet();
    this.#keys = screen.keys;
    const { main, header, foot } = this.places;
    const back = screen.back ? h("button.corner", { "aria-label": "Back", onclick: () => history.back() }, sign("back")) : null;
    const right = screen.home
      ? h("button.corner", { "aria-label": "To the start", onclick: () => this.go("/") }, sign("home"))
      : h("button.corner", { "aria-label": "This phone: options, cautions", onclick: () => this.go("/options") }, sign("more"));
    const title = h("h1", { tabindex: "-1" }, screen.heading ?? screen.title);
    header.replaceChildren(...[back, h("div.titles", {}, title, screen.below ? h("p.soft", {}, screen.below) : null), right].filter((one) => one !== null));
    const at = scrollY;
    const held = how.quiet ? nameOf(document.activeElement) : "";
    main.replaceChildren(screen.node);
    const buttons = (screen.foot ?? []).filter((one) => one !== null);
    foot.replaceChildren(...buttons);
    foot.hidden = buttons.length === 0;
    document.title = screen.title === "Chaffinch" ? "Chaffinch" : `${screen.title} – Chaffinch`;
    this.redraws.forEach((draw) => draw());
    if (how.quiet) {
      scrollTo(0, at);
      const same = [...document.querySelectorAll("button, summary")].find((one) => held !== "" && nameOf(one) === held);
      /** @type {HTMLElement | undefined} */ (same)?.focus({ preventScroll: true });
    } else {
      scrollTo(0, 0);
      title.focus({ preventScroll: true });
    }
    return undefined;
  }

  // --- files, storage, looks ----------------------------------------------------------------------------------------

  /** @param {Envelope[]} records */
  exportSome(records) {
    this.saveFile(this.phone.asFile(records), "check");
  }

  async exportAll() {
    const { phone } = this;
    const photos = [];
    for (const sha256 of phone.photos.keys()) {
      const bytes = await phone.keep.photo(sha256);
      if (bytes) photos.push({ sha256, base64: toText(new Uint8Array(bytes)) });
    }
    this.saveFile(phone.asFile(phone.records, { journal: phone.journal, lines: phone.lines, photos }), "phone");
  }

  /** @param {File} file @param {boolean} [anyway]  also where it is of another book */
  async takeFile(file, anyway = false) {
    const found = await readLines(await file.text());
    const own = this.phone.kept.pairing?.book;
    if (!anyway && found.book && own && found.book.id !== own.id) {
      this.sheet("Of another book", h("div.stack", {},
        h("p", {}, `This file comes from a phone of the book ${found.book.title}. Taken in here, its records go into ${own.title}.`),
        h("button.main", { onclick: () => this.closeSheet() }, "Leave it"),
        h("button.second", { onclick: () => this.takeFile(file, true) }, "Take it in all the same")));
      return;
    }
    const here = new Set(this.phone.journal.map((line) => JSON.stringify(line)));
    const journal = found.journal.filter((line) => !here.has(JSON.stringify(line)));
    /** @type {Envelope[]} */
    let fresh = [];
    const kept = await this.write(async () => {
      fresh = await this.phone.add({ records: found.records, journal, photos: found.photos });
    }, { records: found.records });
    if (!kept) return;
    this.post.soon();
    const known = found.records.length - fresh.length;
    this.sheet("Taken in", h("div.stack", {},
      h("p", {}, `${fresh.length} new records, ${known} that were here already, ${journal.length} new notes of stops, ${found.photos.length} photos.`),
      found.wrong.length > 0 ? [h("p.error", {}, "Not taken:"), h("ul", {}, found.wrong.slice(0, 10).map((one) => h("li", {}, one))), found.wrong.length > 10 ? h("p", {}, `and ${found.wrong.length - 10} more`) : null] : null,
      h("button.main", { onclick: () => this.closeSheet() }, "Good")));
    this.show({ quiet: true });
  }

  sendNow() {
    this.post.thoroughly();
  }

  /** @param {Envelope} record */
  async tryAgain(record) {
    const line = { id: record.id, hash: record.hash, what: "again", at: this.phone.now() };
    if (await this.write(() => this.phone.add({ lines: [line] }))) this.post.soon();
  }

  /** @param {string} wanted */
  async theme(wanted) {
    document.documentElement.dataset.theme = wanted;
    await this.phone.remember({ theme: wanted });
  }
}

/** What something that may be tapped is called. @param {Element | null} element */
function nameOf(element) {
  return element?.getAttribute("aria-label") ?? element?.textContent ?? "";
}
