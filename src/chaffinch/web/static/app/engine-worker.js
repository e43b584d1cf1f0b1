// @ts-check
/// <reference lib="webworker" />
/**
 * What do the catches say, worked out beside the page: the screen never waits for an estimate.
 *
 * It stands at /app/, so that the service worker gives it its modules without a network.
 */

import { answer } from "/static/engine/check.js";

addEventListener("message", ({ data: { n, table, setup, further } }) => {
  try {
    postMessage({ n, answer: answer(table, setup, { further }) });
  } catch (error) {
    postMessage({ n, problem: error instanceof Error ? error.message : String(error) });
  }
});
