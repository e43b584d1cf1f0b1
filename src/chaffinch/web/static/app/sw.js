// @ts-check
/// <reference lib="webworker" />
/**
 * How does the app open without a network? All its files are kept together under one name, the hash of them all. A
 * newer set is fetched whole and checked before a pointer moves to it, so that no page is ever made of two versions,
 * and no hot spot's page becomes part of the app.
 */

importScripts("/app/files.js");

const worker = /** @type {ServiceWorkerGlobalScope & {FILES: string[]}} */ (/** @type {unknown} */ (self));
const PREFIX = "chaffinch-app-";
const POINTER = "chaffinch-pointer";
const CURRENT = "/app/current";
const FRONT = "/app/";

/** What a file must say it is, by its ending. @type {[RegExp, RegExp][]} */
const TYPES = [
  [/\.m?js$/, /javascript/],
  [/\.css$/, /text\/css/],
  [/\.svg$/, /image\/svg/],
  [/\.png$/, /image\/png/],
  [/\.webmanifest$/, /json/],
  [/\/$/, /text\/html/],
];

worker.addEventListener("install", (event) => {
  event.waitUntil(fetchAll().then(() => worker.skipWaiting()));
});

worker.addEventListener("activate", (event) => {
  event.waitUntil(worker.clients.claim());
});

worker.addEventListener("message", (event) => {
  if (event.data?.what !== "refresh") return;
  event.waitUntil(fetchAll().then(tellAll, () => undefined)); // Fails without signal: the set at hand stays.
});

worker.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  const path = request.mode === "navigate" && /^\/app\/?(index\.html)?$/.test(url.pathname) ? FRONT : url.pathname;
  if (worker.FILES.includes(path)) event.respondWith(kept(path, request));
});

/**
 * A file of the current set; from the network where there is none.
 * @param {string} path
 * @param {Request} request
 */
async function kept(path, request) {
  const { now } = await pointer();
  const found = now ? await (await caches.open(now)).match(path) : undefined;
  return found ?? fetch(request);
}

/** Fetch every file; when all are what they should be, keep them as one set. @returns {Promise<boolean>} whether it is new */
async function fetchAll() {
  const files = await Promise.all(worker.FILES.map(async (path) => {
    const answer = await fetch(path, { cache: "no-cache", redirect: "error", credentials: "omit" });
    const wanted = TYPES.find(([ending]) => ending.test(path));
    if (!answer.ok || !wanted?.[1].test(answer.headers.get("Content-Type") ?? "")) throw new Error(`${path} is not ours`);
    const bytes = new Uint8Array(await answer.arrayBuffer());
    if (path === FRONT && !new TextDecoder().decode(bytes).includes('data-app="chaffinch"')) throw new Error("not our page");
    return { path, bytes, headers: answer.headers };
  }));
  const name = PREFIX + (await hashOf(files));
  const { now } = await pointer();
  if (now === name) return false;
  const cache = await caches.open(name);
  await Promise.all(files.map(({ path, bytes, headers }) => cache.put(path, new Response(bytes, { headers: plain(headers) }))));
  await (await caches.open(POINTER)).put(CURRENT, new Response(JSON.stringify({ now: name, before: now })));
  // A page that is open may still ask for a file of the set before.
  for (const one of await caches.keys()) if (one.startsWith(PREFIX) && one !== name && one !== now) await caches.delete(one);
  return now !== "";
}

/** @returns {Promise<{now: string, before: string}>} */
async function pointer() {
  const found = await (await caches.open(POINTER)).match(CURRENT);
  return found ? found.json() : { now: "", before: "" };
}

/** @param {{path: string, bytes: Uint8Array}[]} files */
async function hashOf(files) {
  const parts = await Promise.all(files.map(async ({ path, bytes }) => `${path} ${hex(await crypto.subtle.digest("SHA-256", /** @type {Uint8Array<ArrayBuffer>} */ (bytes)))}`));
  return hex(await crypto.subtle.digest("SHA-256", new TextEncoder().encode(parts.join("\n")))).slice(0, 16);
}

/** @param {ArrayBuffer} bytes */
function hex(bytes) {
  return [...new Uint8Array(bytes)].map((b) => b.toString(16).padStart(2, "0")).join("");
}

/** Headers that still hold for the bytes as they are kept. @param {Headers} headers */
function plain(headers) {
  const kept = new Headers(headers);
  for (const name of ["Content-Encoding", "Content-Length", "Transfer-Encoding"]) kept.delete(name);
  return kept;
}

/** @param {boolean} changed */
async function tellAll(changed) {
  if (!changed) return;
  for (const one of await worker.clients.matchAll({ includeUncontrolled: true })) one.postMessage({ what: "newer app" });
}
