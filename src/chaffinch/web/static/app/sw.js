// @ts-check
/// <reference lib="webworker" />
/**
 * How does the app open without a network? All its files are kept together as one set. The server lists them with the
 * hash of each; a newer set is fetched whole and held to that list before a pointer moves to it. A server that is
 * brought up to date half-way, a hot spot's page or an answer that breaks off leaves the set at hand as it is, and a page
 * gets its files from the set it was opened with, as long as it is open.
 */

const worker = /** @type {ServiceWorkerGlobalScope} */ (/** @type {unknown} */ (self));
const PREFIX = "chaffinch-app-";
const POINTER = "chaffinch-pointer";
const CURRENT = "/app/current";
const FRONT = "/app/";
const LIST = "/app/files.json";
const OURS = /^\/(app|static\/(app|engine|vendor|advice))\//;

/** Set that each page was opened with; the pointer's cache has it too, for a worker that was put to sleep. @type {Map<string, string>} */
const sets = new Map();

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
  if (request.method !== "GET" || url.origin !== location.origin || !OURS.test(url.pathname) || url.pathname === LIST) return;
  if (request.mode !== "navigate") event.respondWith(kept(url.pathname, event));
  else if (/^\/app\/?(index\.html)?$/.test(url.pathname)) event.respondWith(front(event));
});

/** The first page, of the newest set. @param {FetchEvent} event */
async function front(event) {
  const { now } = await pointer();
  if (now) await hold(event.resultingClientId, now);
  return found(now, FRONT, event.request);
}

/** A file of the set that the page was opened with. @param {string} path @param {FetchEvent} event */
async function kept(path, event) {
  const { clientId, request } = event;
  const noted = sets.get(clientId) ?? (await (await (await caches.open(POINTER)).match(noteOf(clientId)))?.text());
  const set = noted ?? (await pointer()).now;
  if (set) sets.set(clientId, set);
  if (set && request.destination === "worker") await hold(event.resultingClientId, set);
  return found(set, path, request);
}

/** @param {string} set @param {string} path @param {Request} request */
async function found(set, path, request) {
  const known = set && (await caches.has(set)) ? await (await caches.open(set)).match(path) : undefined;
  return known ?? fetch(request);
}

/** @param {string} client @param {string} set */
async function hold(client, set) {
  if (!client) return;
  sets.set(client, set);
  try {
    await (await caches.open(POINTER)).put(noteOf(client), new Response(set));
  } catch {
    // A full phone opens the app all the same.
  }
}

/** @param {string} client */
const noteOf = (client) => `/app/page/${encodeURIComponent(client)}`;

/** Fetch every file of the server's list; when all are what it says, keep them as one set. @returns {Promise<boolean>} whether it is new */
async function fetchAll() {
  const asked = await fetch(LIST, { cache: "no-store", redirect: "error", credentials: "omit" });
  /** @type {{chaffinch?: string, files?: {[path: string]: string}, later?: {[path: string]: string}}} */
  const told = await asked.json();
  const files = { ...told.files, ...told.later };
  if (!asked.ok || told.chaffinch !== "app" || !files[FRONT]) throw new Error("this is no list of our files");
  const name = PREFIX + (await hashOf(new TextEncoder().encode(JSON.stringify(Object.entries(files).sort())))).slice(0, 16);
  const { now } = await pointer();
  if (now === name) return false;
  const whole = await Promise.all(Object.entries(files).map(async ([path, wanted]) => {
    const answer = await fetch(path, { cache: "no-cache", redirect: "error", credentials: "omit" });
    const bytes = await answer.arrayBuffer();
    if (!answer.ok || (await hashOf(new Uint8Array(bytes))) !== wanted) throw new Error(`${path} is not what the list says`);
    return { path, bytes, headers: answer.headers };
  }));
  const cache = await caches.open(name);
  await Promise.all(whole.map(({ path, bytes, headers }) => cache.put(path, new Response(bytes, { headers: plain(headers) }))));
  await (await caches.open(POINTER)).put(CURRENT, new Response(JSON.stringify({ now: name, before: now })));
  await forget(name, now);
  return now !== "";
}

/** Let go of sets that no page rests on. @param {string} now @param {string} before */
async function forget(now, before) {
  const notes = await caches.open(POINTER);
  const open = new Set((await worker.clients.matchAll({ includeUncontrolled: true, type: "all" })).map((one) => noteOf(one.id)));
  const used = new Set([now, before]);
  for (const request of await notes.keys()) {
    const { pathname } = new URL(request.url);
    if (open.has(pathname)) used.add((await (await notes.match(request))?.text()) ?? "");
    else if (pathname !== CURRENT) await notes.delete(request);
  }
  for (const one of await caches.keys()) if (one.startsWith(PREFIX) && !used.has(one)) await caches.delete(one);
}

/** @returns {Promise<{now: string, before: string}>} */
async function pointer() {
  const known = await (await caches.open(POINTER)).match(CURRENT);
  return known ? known.json() : { now: "", before: "" };
}

/** @param {Uint8Array<ArrayBuffer>} bytes */
async function hashOf(bytes) {
  return [...new Uint8Array(await crypto.subtle.digest("SHA-256", bytes))].map((b) => b.toString(16).padStart(2, "0")).join("");
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
