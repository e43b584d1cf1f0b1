// @ts-check
/**
 * What surrounds every screen? The places of the page, small pages over it, and the alarm when something could not be
 * kept: everything confirmed is written down before the next screen appears.
 */

import { download, h, sign } from "./dom.js";
import { NotKept } from "./keep.js";
import { notKept } from "./screens/notkept.js";

/** @typedef {import("./phone.js").Phone} Phone */
/** @typedef {import("./stop.js").Stop} Stop */
/** @typedef {import("./stop.js").JournalLine} JournalLine */
/** @typedef {import("./outbox.js").Envelope} Envelope */
/** @typedef {{main: HTMLElement, header: HTMLElement, foot: HTMLElement, heard: HTMLElement}} Places */

export class Frame {
  /**
   * @param {Phone} phone
   * @param {Places} places
   */
  constructor(phone, places) {
    this.phone = phone;
    this.places = places;
    /** @type {{[key: string]: any}} what was picked and not confirmed yet */
    this.draft = readDraft();
    /** @type {(() => void)[]} */
    this.redraws = [];
    /** Whether the screen was drawn before this phone knew the book's things. */
    this.bare = false;
  }

  /** Show the screen that the address names. @param {{quiet?: boolean}} [_how] */
  show(_how) {}

  /**
   * @param {string} to
   * @param {{replace?: boolean}} [how]
   */
  go(to, how = {}) {
    saveDraft(this.draft);
    if (how.replace) {
      history.replaceState(null, "", `#${to}`);
      this.show();
    } else if (location.hash === `#${to}`) this.show();
    else location.hash = to;
  }

  /**
   * Draw once the screen has its width, and again when that changes.
   * @param {() => void} draw
   */
  whenShown(draw) {
    this.redraws.push(draw);
  }

  /**
   * A small page over the one in hand.
   * @param {string} title
   * @param {Node} node
   */
  sheet(title, node) {
    this.closeSheet();
    const dialog = /** @type {HTMLDialogElement} */ (h("dialog.sheet", { "aria-label": title },
      h("div.sheet-head", {}, h("h2", {}, title), h("button.corner", { "aria-label": "Close", onclick: () => this.closeSheet() }, sign("close"))), node));
    document.body.append(dialog);
    dialog.addEventListener("close", () => dialog.remove());
    dialog.showModal();
  }

  closeSheet() {
    for (const one of document.querySelectorAll("dialog")) {
      one.close();
      one.remove();
    }
  }

  // --- writing ------------------------------------------------------------------------------------------------------

  /**
   * Do something that writes; when it cannot be kept, say so loudly and give back what would be lost.
   * @param {() => Promise<unknown>} act
   * @param {{records?: Envelope[], stop?: string, lines?: JournalLine[]}} [at]  what would be lost
   * @returns {Promise<boolean>}  whether to go on: it is on disk, or the person chose to go on without
   */
  async write(act, at = {}) {
    try {
      await act();
      return true;
    } catch (error) {
      const message = error instanceof Error ? error.message : String(error);
      // A slip of the app's own must not look like a tap that was not felt.
      if (!(error instanceof NotKept)) reportError(error);
      return new Promise((resolve) => {
        /** @param {boolean | Promise<boolean>} onward */
        const end = (onward) => {
          this.closeAlarm();
          resolve(onward);
        };
        this.alarm(message, this.#lost(at), {
          again: () => end(this.write(act, at)),
          back: () => end(false),
          // A catch may be looked at all the same; a check that is not on disk is never called saved.
          on: at.lines?.length && !at.records ? () => end(this.phone.carry(at.lines ?? [])) : null,
        });
      });
    }
  }

  /** @param {{records?: Envelope[], stop?: string, lines?: JournalLine[]}} at */
  #lost(at) {
    if (!at.records && !at.lines) return "";
    const journal = this.phone.journal.filter((line) => line.stop === at.stop).concat(at.lines ?? []);
    return this.phone.asFile(at.records ?? [], { journal });
  }

  /**
   * @param {string} reason
   * @param {string} text
   * @param {{again: () => void, back: () => void, on: (() => void) | null}} ways
   */
  alarm(reason, text, ways) {
    this.closeAlarm();
    const page = notKept(/** @type {any} */ (this), reason, text, ways);
    document.body.append(page);
    for (const one of Object.values(this.places)) one.setAttribute("inert", "");
    /** @type {HTMLElement | null} */ (page.querySelector("h1"))?.focus();
  }

  closeAlarm() {
    document.querySelector(".not-kept")?.remove();
    for (const one of Object.values(this.places)) one.removeAttribute("inert");
  }

  /**
   * @param {string} text
   * @param {string} what
   */
  saveFile(text, what) {
    download(`chaffinch-${what}-${this.phone.now().replace(/[:Z]/g, "")}.jsonl`, text);
  }
}

/** @returns {{[key: string]: any}} */
function readDraft() {
  try {
    return JSON.parse(sessionStorage.getItem("draft") ?? "{}");
  } catch {
    return {};
  }
}

/** @param {{[key: string]: any}} draft */
function saveDraft(draft) {
  try {
    sessionStorage.setItem("draft", JSON.stringify(draft));
  } catch {
    // Nothing confirmed is in it: without storage only a half-typed number is lost on reload.
  }
}
