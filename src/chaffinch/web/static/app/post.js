// @ts-check
/**
 * When is something sent, and what does the phone make of the answer? One round at a time: health, batches, photos,
 * then the book's things. A round that fails leaves everything queued and tries again later.
 */

import { NotKept } from "./keep.js";
import { goneOf, keyOf, linesOf, MOST_RECORDS, nextBatch, photosTaken } from "./outbox.js";
import { readable } from "./shape.js";
import { askMissing, fetchDay, fetchSetup, fetchSince, health, pause, sendBatch, sendPhoto } from "./sending.js";

/** @typedef {import("./phone.js").Phone} Phone */
/** @typedef {import("./sending.js").Reply} Reply */

/** Milliseconds between two looks at a book that has everything. */
const QUIET_MS = 120_000;
/** Milliseconds after which the book is asked again whether it still has what it took; own figure. */
const LOOK_BACK_MS = 3_600_000;
/** Records that a server may stumble over in one round before the round is given up; own figure. */
const MOST_STUMBLES = 3;
/** Records and photos asked after at once; the server's own limit. */
const MOST_ASKED = 250;

export class Post {
  /** @param {Phone} phone */
  constructor(phone) {
    this.phone = phone;
    this.failures = 0;
    this.running = false;
    this.again = false;
    this.lookedBack = -Infinity;
    /** @type {Set<string>} records over which the server stumbled: tried again when asked, or with the next opening */
    this.stumbles = new Set();
    /** @type {ReturnType<typeof setTimeout> | undefined} */
    this.timer = undefined;
  }

  /** Send now, and go on sending whenever there is reason to. */
  start() {
    addEventListener("online", () => this.soon());
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.soon());
    this.soon();
  }

  /** Begin a round now. */
  soon() {
    clearTimeout(this.timer);
    void this.round();
  }

  /** Begin a round now, and ask too whether the book still has all that it took. */
  thoroughly() {
    this.lookedBack = -Infinity;
    this.stumbles.clear();
    this.soon();
  }

  /** One round; several windows take turns. */
  async round() {
    if (this.running) {
      this.again = true;
      return;
    }
    this.running = true;
    this.again = false;
    let reply = /** @type {Reply} */ ({ end: "no signal" });
    try {
      reply = navigator.locks
        ? await navigator.locks.request("chaffinch-post", () => this.#round())
        : await this.#round();
    } catch (error) {
      // What was answered could not be written down: it counts as not answered, and is asked again.
      reply = { end: error instanceof NotKept ? "no room" : "trouble" };
      if (!(error instanceof NotKept)) reportError(error);
    } finally {
      this.running = false;
      this.phone.onItsWay([]);
    }
    this.phone.signal = reply.end;
    this.failures = reply.end === "ok" ? 0 : this.failures + 1;
    // What was asked for while this round was under way may have come too late for it.
    const wait = reply.end !== "ok" ? 1000 * pause(this.failures, reply.after) : this.again ? 0 : QUIET_MS;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.soon(), wait);
    this.phone.changed();
  }

  /** @returns {Promise<Reply>} */
  async #round() {
    const phone = this.phone;
    if (!phone.token) return { end: phone.kept.pairing ? "not let in" : "ok" };
    const there = await health(phone.bookId);
    if (there.end !== "ok") return there;
    const version = there.version ?? "";
    const clock = clockOf(there.body);
    if (phone.kept.version !== version || Math.abs(clock.ahead - (phone.kept.clock?.ahead ?? 0)) > 60) {
      await phone.add({ kept: { version, clock } });
    }
    const looked = await this.#lookBack();
    const reply = looked.end === "ok" ? await this.#batches(version) : looked;
    if (reply.end === "not let in") {
      await phone.add({ kept: { pairing: { ...phone.kept.pairing, token: "" } } });
      return reply;
    }
    if (reply.end !== "ok") return reply;
    const photos = await this.#photos();
    const things = await this.#things();
    if (things.end === "not let in") await phone.add({ kept: { pairing: { ...phone.kept.pairing, token: "" } } });
    phone.dispatchEvent(new Event("met"));
    return photos.end === "ok" ? things : photos;
  }

  /**
   * A book may come back from an older copy: what it took and has no more goes again.
   * @returns {Promise<Reply>}
   */
  async #lookBack() {
    const phone = this.phone;
    if (performance.now() - this.lookedBack < LOOK_BACK_MS) return { end: "ok" };
    const taken = phone.records.filter((one) => phone.standing(one).state === "sent");
    const pictures = [...photosTaken(phone.lines, phone.facts)].filter((one) => phone.photos.has(one));
    for (let i = 0; i < Math.max(taken.length, pictures.length); i += MOST_ASKED) {
      const asked = {
        records: taken.slice(i, i + MOST_ASKED).map(({ id, hash }) => ({ id, hash })),
        photos: pictures.slice(i, i + MOST_ASKED),
      };
      const reply = await askMissing(phone.token, asked);
      // An older server does not know the question; a reader may not ask it, and has nothing to hand over.
      if (reply.end === "refused" || reply.end === "may not") break;
      if (reply.end !== "ok") return reply;
      const lines = goneOf(asked, reply.body, phone.now(), phone.bookId);
      // The places in its order mean something else now.
      if (lines.length > 0) await phone.add({ lines, kept: { trialsTo: 0 } });
    }
    this.lookedBack = performance.now();
    return { end: "ok" };
  }

  /**
   * @param {string} version
   * @returns {Promise<Reply>}
   */
  async #batches(version) {
    const phone = this.phone;
    let most = MOST_RECORDS;
    let stumbled = 0;
    for (;;) {
      const rest = phone.records.filter((one) => !this.stumbles.has(keyOf(one)));
      const batch = nextBatch(rest, phone.standings, most);
      if (batch.length === 0) return { end: stumbled > 0 ? "trouble" : "ok" };
      phone.onItsWay(batch);
      const reply = await sendBatch(phone.token, batch);
      phone.onItsWay([]);
      if (reply.end === "ok") {
        const lines = linesOf(batch, reply.body, phone.now(), version, phone.bookId);
        if (lines.length === 0) return { end: "stranger" };
        await phone.add({ lines });
        most = MOST_RECORDS;
      } else if ((reply.end === "refused" || reply.status === 500) && batch.length > 1) {
        // One of them spoils the batch: look for it, and let the others through.
        most = Math.max(1, Math.floor(batch.length / 2));
      } else if (reply.end === "refused") {
        const [one] = batch;
        const reason = `${told(reply.body)} (answer ${reply.status})`;
        await phone.add({ lines: [{ id: one.id, hash: one.hash, what: "refused", reason, at: phone.now(), version, book: phone.bookId }] });
      } else if (reply.status === 500) {
        // The server stumbles over this one: it waits, and the others go. Over several: the server itself is broken.
        this.stumbles.add(keyOf(batch[0]));
        stumbled += 1;
        if (stumbled >= MOST_STUMBLES) return reply;
      } else {
        return reply;
      }
    }
  }

  /** @returns {Promise<Reply>} */
  async #photos() {
    const phone = this.phone;
    const sent = photosTaken(phone.lines, phone.facts);
    for (const record of phone.records) {
      if (record.kind !== "photo" || !readable(record) || sent.has(record.body.sha256) || phone.standing(record).state !== "sent") continue;
      const bytes = await phone.keep.photo(record.body.sha256);
      if (!bytes) continue;
      const reply = await sendPhoto(phone.token, record.body.sha256, bytes);
      // One that is not taken must not keep the others here.
      if (reply.end === "refused") continue;
      if (reply.end !== "ok") return reply;
      await phone.add({ lines: [{ id: record.id, hash: record.body.sha256, what: "photo sent", at: phone.now(), book: phone.bookId }] });
    }
    return { end: "ok" };
  }

  /** @returns {Promise<Reply>} */
  async #things() {
    const phone = this.phone;
    const reply = await fetchSetup(phone.token);
    if (reply.end !== "ok" || !Array.isArray(reply.body?.crops)) return reply.end === "ok" ? { end: "trouble" } : reply;
    if (JSON.stringify(reply.body) !== JSON.stringify(phone.kept.setup)) await phone.add({ kept: { setup: reply.body } });
    // A server without a plan, or too old to make one, says so: the plan kept here stays, with its age.
    const day = await fetchDay(phone.token);
    if (day.end === "ok" && day.body?.issued_at !== phone.kept.day?.issued_at && Array.isArray(day.body?.table)) {
      await phone.add({ kept: { day: day.body } });
    }
    let seq = phone.kept.trialsTo ?? 0;
    for (;;) {
      const more = await fetchSince(phone.token, seq);
      if (more.end !== "ok" || !Array.isArray(more.body?.records) || more.body.records.length === 0) {
        // A reader may not see the log; the phone does without trials then.
        return more.end === "refused" || more.end === "may not" ? { end: "ok" } : more;
      }
      const trials = more.body.records.filter((/** @type {any} */ one) => one.kind === "trial");
      const known = new Map((phone.kept.trials ?? []).map((/** @type {any} */ one) => [one.id, one]));
      for (const one of trials) known.set(one.id, one);
      if (!(more.body.next_seq > seq)) return { end: "ok" };
      seq = more.body.next_seq;
      await phone.add({ kept: { trials: [...known.values()], trialsTo: seq } });
    }
  }
}

/**
 * Seconds by which this phone's clock is ahead of the server's.
 * @param {any} body
 */
function clockOf(body) {
  const theirs = Date.parse(body?.server_time ?? "");
  return { ahead: Number.isNaN(theirs) ? 0 : Math.round((Date.now() - theirs) / 1000) };
}

/**
 * What an error answer says, in one line.
 * @param {any} body
 * @returns {string}
 */
export function told(body) {
  if (typeof body !== "object" || body === null) return "the book's server gave no reason";
  const parts = [body.field, body.problem].filter((part) => typeof part === "string" && part !== "");
  const mend = typeof body.mend === "string" && body.mend ? `; ${body.mend}` : "";
  return (parts.join(": ") || String(body.detail ?? body.title ?? "the book's server gave no reason")) + mend;
}
