// @ts-check
/** How does a picture get in? Chosen or taken, made small enough to send, named by its hash. */

import { sha256Hex } from "../engine/canonical.js";

/** Longest side of a kept picture [pixels], and how well it is kept; own figures: about 300 kB, stubble still shows seed. */
const LONGEST = 1600;
const QUALITY = 0.8;
const MOST_BYTES = 8_000_000;

/**
 * Ask the phone for a picture; null when none was taken.
 * @returns {Promise<File | null>}
 */
export function chosenPicture() {
  return new Promise((resolve) => {
    const input = document.createElement("input");
    input.type = "file";
    input.accept = "image/*";
    input.setAttribute("capture", "environment");
    input.className = "unseen";
    input.onchange = () => {
      resolve(input.files?.[0] ?? null);
      input.remove();
    };
    input.oncancel = () => {
      resolve(null);
      input.remove();
    };
    document.body.append(input);
    input.click();
  });
}

/**
 * A picture as it is kept.
 * @param {Blob} file
 * @returns {Promise<{sha256: string, bytes: ArrayBuffer}>}
 */
export async function prepared(file) {
  const image = await createImageBitmap(file);
  const scale = Math.min(1, LONGEST / Math.max(image.width, image.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(image.width * scale));
  canvas.height = Math.max(1, Math.round(image.height * scale));
  canvas.getContext("2d")?.drawImage(image, 0, 0, canvas.width, canvas.height);
  /** @type {Blob | null} */
  const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", QUALITY));
  if (!blob || blob.size > MOST_BYTES) throw new Error("the picture cannot be made small enough");
  const bytes = await blob.arrayBuffer();
  return { sha256: await sha256Hex(new Uint8Array(bytes)), bytes };
}
