// Envelopes to the byte, with the browser's hash and with our own.
import assert from "node:assert/strict";
import { createHash, webcrypto } from "node:crypto";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { canonical, contentHash, opened, seal } from "../../src/chaffinch/web/static/engine/canonical.js";
import { InputError } from "../../src/chaffinch/web/static/engine/errors.js";
import { hexadecimal, sha256, sha256ByHand } from "../../src/chaffinch/web/static/engine/sha256.js";

const vectors = JSON.parse(readFileSync(new URL("../vectors/envelopes.json", import.meta.url), "utf8"));

test("canonical texts", () => {
  for (const { name, json, canonical: wanted } of vectors.canonical) assert.equal(canonical(JSON.parse(json)), wanted, name);
});

test("canonical numbers", () => {
  for (const { ieee754, canonical: wanted } of vectors.numbers) {
    const view = new DataView(new ArrayBuffer(8));
    view.setBigUint64(0, BigInt(`0x${ieee754}`));
    assert.equal(canonical(view.getFloat64(0)), wanted);
  }
});

for (const how of ["the browser's hash", "our own hash"]) {
  test(`envelopes are sealed and opened, with ${how}`, async () => {
    await withoutSubtle(how === "our own hash", async () => {
      for (const { name, envelope, canonical: wanted } of vectors.envelopes) {
        const { id, kind, schema, device, device_time, body, hash } = envelope;
        assert.equal(canonical({ id, kind, schema, device, device_time, body }), wanted, name);
        assert.equal(await contentHash(envelope), hash, name);
        assert.deepEqual(await seal(id, kind, schema, device, device_time, body), envelope, name);
        assert.equal(await opened(envelope), envelope, name);
      }
    });
  });
}

test("what Python refuses is refused", async () => {
  for (const { name, envelope } of vectors.refused) {
    await assert.rejects(opened(envelope), (error) => error instanceof InputError && /^envelope/.test(error.field), name);
  }
});

test("what JSON cannot hold is refused", () => {
  const endless = {};
  endless.self = endless;
  for (const value of [NaN, Infinity, "\ud800", { "\udc00": 1 }, [undefined], { a: () => 1 }, 1n, new Date(0), endless]) {
    assert.throws(() => canonical(value), InputError);
  }
  assert.equal(canonical("\ud83d\ude00"), '"😀"');
});

test("SHA-256 of every length around a block's end, beside Node's own", async () => {
  for (const length of [0, 1, 55, 56, 57, 63, 64, 65, 119, 120, 1000, 100_003]) {
    const bytes = Uint8Array.from({ length }, (_, i) => (i * 131) & 255);
    const wanted = createHash("sha256").update(bytes).digest("hex");
    assert.equal(hexadecimal(sha256ByHand(bytes)), wanted, `${length} bytes`);
    assert.equal(await sha256(bytes), wanted);
  }
});

async function withoutSubtle(hide, what) {
  if (!hide) {
    assert.ok(webcrypto.subtle && globalThis.crypto.subtle);
    await what();
    return;
  }
  const kept = Object.getOwnPropertyDescriptor(globalThis, "crypto");
  Object.defineProperty(globalThis, "crypto", { value: {}, configurable: true });
  try {
    await what();
  } finally {
    Object.defineProperty(globalThis, "crypto", kept);
  }
}
