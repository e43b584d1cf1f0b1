// @ts-check
/**
 * SHA-256 (FIPS 180-4), hexadecimal: by the browser where it offers it, by hand where it does not.
 *
 * Browsers hold `crypto.subtle` back from pages that came over plain HTTP, as a phone paired without TLS does.
 */

// The first 32 bits of the fractional parts of the square roots of the first 8 primes and the cube roots of the first 64,
// which is how the standard defines its constants.
const { START, ROUND } = constants();

/**
 * Hash of bytes.
 * @param {Uint8Array<ArrayBuffer>} bytes
 * @returns {Promise<string>}
 */
export async function sha256(bytes) {
  const subtle = globalThis.crypto?.subtle;
  return hexadecimal(subtle ? new Uint8Array(await subtle.digest("SHA-256", bytes)) : sha256ByHand(bytes));
}

/**
 * The same without the browser's help.
 * @param {Uint8Array} bytes
 * @returns {Uint8Array}
 */
export function sha256ByHand(bytes) {
  const length = (((bytes.length + 8) >> 6) + 1) << 6;
  const padded = new Uint8Array(length);
  padded.set(bytes);
  padded[bytes.length] = 0x80;
  const view = new DataView(padded.buffer);
  view.setUint32(length - 8, Math.floor(bytes.length / 2 ** 29));
  view.setUint32(length - 4, (bytes.length << 3) >>> 0);
  const state = Uint32Array.from(START);
  const w = new Uint32Array(64);
  for (let block = 0; block < length; block += 64) {
    for (let t = 0; t < 16; t += 1) w[t] = view.getUint32(block + 4 * t);
    for (let t = 16; t < 64; t += 1) {
      const s0 = turned(w[t - 15], 7) ^ turned(w[t - 15], 18) ^ (w[t - 15] >>> 3);
      const s1 = turned(w[t - 2], 17) ^ turned(w[t - 2], 19) ^ (w[t - 2] >>> 10);
      w[t] = w[t - 16] + s0 + w[t - 7] + s1;
    }
    let [a, b, c, d, e, f, g, h] = state;
    for (let t = 0; t < 64; t += 1) {
      const s1 = turned(e, 6) ^ turned(e, 11) ^ turned(e, 25);
      const first = (h + s1 + ((e & f) ^ (~e & g)) + ROUND[t] + w[t]) | 0;
      const s0 = turned(a, 2) ^ turned(a, 13) ^ turned(a, 22);
      const second = (s0 + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      [h, g, f, e, d, c, b, a] = [g, f, e, (d + first) | 0, c, b, a, (first + second) | 0];
    }
    [a, b, c, d, e, f, g, h].forEach((value, i) => (state[i] += value));
  }
  const digest = new DataView(new ArrayBuffer(32));
  state.forEach((value, i) => digest.setUint32(4 * i, value));
  return new Uint8Array(digest.buffer);
}

/** @param {Uint8Array} bytes */
export function hexadecimal(bytes) {
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** @param {number} word @param {number} places */
function turned(word, places) {
  return (word >>> places) | (word << (32 - places));
}

function constants() {
  /** @type {number[]} */
  const primes = [];
  for (let n = 2; primes.length < 64; n += 1) if (primes.every((p) => n % p)) primes.push(n);
  return {
    START: Uint32Array.from(primes.slice(0, 8), (p) => rootBits(p, 2n)),
    ROUND: Uint32Array.from(primes, (p) => rootBits(p, 3n)),
  };
}

/** 32 bits after the point of a prime's root: the whole root of p · 2^(32·power). */
/** @param {number} prime @param {bigint} power */
function rootBits(prime, power) {
  const target = BigInt(prime) << (32n * power);
  let low = 0n;
  let high = 1n << 40n;
  while (high - low > 1n) {
    const middle = (low + high) >> 1n;
    if (middle ** power <= target) low = middle;
    else high = middle;
  }
  return Number(low & 0xffffffffn);
}
