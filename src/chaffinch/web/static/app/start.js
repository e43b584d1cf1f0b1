// @ts-check
/** What happens when the app opens? What is kept is read, the first screen is shown, and only then is the signal tried. */

import { App } from "./app.js";
import { CROPS } from "./crops.js";
import { Keep } from "./keep.js";
import { Phone } from "./phone.js";

const keep = await Keep.open();
const plainSetup = { farm: {}, fields: [], combines: [], operators: [], pans: [], scales: [], seasons: [], crops: CROPS };
const phone = new Phone(keep, await keep.everything(), plainSetup);

/** @param {string} tag */
const place = (tag) => /** @type {HTMLElement} */ (document.querySelector(tag));
document.documentElement.dataset.theme = phone.kept.theme ?? "";
phone.persisted = (await navigator.storage?.persisted?.()) ?? false;

const app = new App(phone, { main: place("main"), header: place("header"), foot: place("footer"), heard: place("#heard") });
app.start();
performance.mark("first screen");
app.post.start();

// Several windows of this phone show the same.
if (typeof BroadcastChannel !== "undefined") {
  const windows = new BroadcastChannel("chaffinch");
  phone.addEventListener("written", () => windows.postMessage("written"));
  windows.onmessage = () => void phone.refresh();
}

if ("serviceWorker" in navigator && isSecureContext) {
  const workers = navigator.serviceWorker;
  await workers.register("/app/sw.js", { scope: "/app/", updateViaCache: "none" });
  workers.addEventListener("message", (event) => {
    if (event.data?.what === "newer app") {
      phone.newerApp = true;
      phone.changed();
    }
  });
  // Only once the book itself has answered: a hot spot's pages must not become the app.
  phone.addEventListener("met", () => workers.controller?.postMessage({ what: "refresh" }));
}
