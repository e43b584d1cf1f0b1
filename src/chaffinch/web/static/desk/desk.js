// Small comforts for the desk's pages; every page works without them.
// @ts-check

/** Go to what went wrong, so that a reader aloud begins there. */
function goToProblems() {
  const problems = document.querySelector(".problems[role=alert]");
  if (problems instanceof HTMLElement) {
    problems.focus();
    return;
  }
  const told = document.querySelector("#estimate, #told");
  if (told instanceof HTMLElement) told.scrollIntoView({ block: "start" });
}

/** A form that was changed is not left by mistake. */
function keepWhatWasTyped() {
  let changed = false;
  for (const form of document.querySelectorAll("main form[method=post]")) {
    form.addEventListener("input", () => { changed = true; });
    form.addEventListener("submit", () => { changed = false; });
  }
  window.addEventListener("beforeunload", (event) => { if (changed) event.preventDefault(); });
}

/** A second press on Save does not send a second check. */
function sendOnce() {
  for (const form of document.querySelectorAll("form[method=post]")) {
    form.addEventListener("submit", (event) => {
      if (form.getAttribute("data-sent") === "yes") event.preventDefault();
      form.setAttribute("data-sent", "yes");
    });
  }
  // Coming back by the browser's own button, the form may be sent again.
  window.addEventListener("pageshow", () => {
    for (const form of document.querySelectorAll("form[data-sent]")) form.removeAttribute("data-sent");
  });
}

goToProblems();
keepWhatWasTyped();
sendOnce();
