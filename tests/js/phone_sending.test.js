// How long a phone waits for an answer: as long as what it sends may take where the signal is weak.
import assert from "node:assert/strict";
import { test } from "node:test";

import { sendPhoto, sendBatch, fetchSetup } from "../../src/chaffinch/web/static/app/sending.js";

/** The patience of one call [ms]. */
async function patience(call) {
  const { setTimeout: own } = globalThis;
  let told = 0;
  globalThis.fetch = async () => new Response("{}", { status: 200 });
  globalThis.setTimeout = (_, ms) => {
    told = ms;
    return 0;
  };
  try {
    assert.equal((await call()).end, "ok");
  } finally {
    globalThis.setTimeout = own;
  }
  return told;
}

test("a question is given up after a quarter of a minute, a picture after the time its bytes take", async () => {
  assert.equal(await patience(() => fetchSetup("token")), 15_000);
  assert.equal(await patience(() => sendPhoto("token", "0".repeat(64), new ArrayBuffer(300_000))), 45_000);
  const many = Array.from({ length: 50 }, (_, n) => ({ id: String(n), body: { note: "x".repeat(9_000) } }));
  assert.ok((await patience(() => sendBatch("token", many))) > 60_000);
});
