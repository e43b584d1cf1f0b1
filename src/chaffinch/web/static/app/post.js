// @ts-check
/**
 * When is something sent, and what does the phone make of the answer? One round at a time: health, batches, photos,
 * then the book's things. A round that fails leaves everything queued and tries again later.
 */

import { linesOf, MOST_RECORDS, nextBatch } from "./outbox.js";
import { fetchDay, fetchSetup, fetchSince, health, pause, sendBatch, sendPhoto } from "./sending.js";

/** @typedef {import("./phone.js").Phone} Phone */
/** @typedef {import("./sending.js").Reply} Reply */

/** Milliseconds between two looks at a book that has everything. */
const QUIET_MS = 120_000;

export class Post {
  /** @param {Phone} phone */
  constructor(phone) {
    this.phone = phone;
    this.failures = 0;
    this.running = false;
    this.again = false;
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
    const reply = await this.#batches(version);
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
   * @param {string} version
   * @returns {Promise<Reply>}
   */
  async #batches(version) {
    const phone = this.phone;
    let most = MOST_RECORDS;
    for (;;) {
      const batch = nextBatch(phone.records, phone.standings, most);
      if (batch.length === 0) return { end: "ok" };
      phone.onItsWay(batch);
      const reply = await sendBatch(phone.token, batch);
      phone.onItsWay([]);
      if (reply.end === "ok") {
        const lines = linesOf(batch, reply.body, phone.now(), version);
        if (lines.length === 0) return { end: "stranger" };
        await phone.add({ lines });
        most = MOST_RECORDS;
      } else if (reply.end === "refused" && batch.length > 1) {
        // One of them spoils the batch: look for it, and let the others through.
        most = Math.max(1, Math.floor(batch.length / 2));
      } else if (reply.end === "refused") {
        const [one] = batch;
        const reason = `${told(reply.body)} (answer ${reply.status})`;
        await phone.add({ lines: [{ id: one.id, hash: one.hash, what: "refused", reason, at: phone.now(), version }] });
      } else {
        return reply;
      }
    }
  }

  /** @returns {Promise<Reply>} */
  async #photos() {
    const phone = this.phone;
    const sent = new Set(phone.lines.filter((line) => line.what === "photo sent").map((line) => line.hash));
    for (const record of phone.records) {
      if (record.kind !== "photo" || sent.has(record.body.sha256) || phone.standing(record).state !== "sent") continue;
      const bytes = await phone.keep.photo(record.body.sha256);
      if (!bytes) continue;
      const reply = await sendPhoto(phone.token, record.body.sha256, bytes);
      if (reply.end !== "ok") return reply.end === "refused" ? { end: "ok" } : reply;
      await phone.add({ lines: [{ id: record.id, hash: record.body.sha256, what: "photo sent", at: phone.now() }] });
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
