// The figures of a point in a drawing, beside it: on hover, on focus, and at the first tap. Without this every point is
// a plain link to its check, with its figures as its name.
// @ts-check

(() => {
  /** @type {any} */
  const floating = /** @type {any} */ (globalThis).FloatingUIDOM;
  const spots = [...document.querySelectorAll("a.spot")];
  if (!floating || spots.length === 0) return;

  const told = document.createElement("p");
  told.className = "told";
  told.hidden = true;
  // Its words are the link's own name: who is read to hears them there, and must not hear them twice.
  told.setAttribute("aria-hidden", "true");
  document.body.append(told);
  /** @type {Element | null} */
  let shown = null;
  let leaving = 0;

  // Where points lie close together a later one's reach lies over an earlier one: the nearest is meant.
  /** @param {Event} event @param {Element} spot @returns {Element} */
  function meant(event, spot) {
    const { clientX, clientY } = /** @type {PointerEvent} */ (event);
    if (clientX === 0 && clientY === 0) return spot; // by key
    if (spot.querySelector(".whole")) return spot; // tiles lie beside each other
    let found = spot;
    let least = Infinity;
    for (const one of spot.closest("svg")?.querySelectorAll("a.spot .reach") ?? []) {
      const box = one.getBoundingClientRect();
      const apart = Math.hypot(box.x + box.width / 2 - clientX, box.y + box.height / 2 - clientY);
      if (apart < least && apart <= box.width / 2) {
        least = apart;
        found = /** @type {Element} */ (one.parentNode);
      }
    }
    return found;
  }

  /** @param {Element} spot */
  function show(spot) {
    clearTimeout(leaving);
    if (shown === spot) return;
    shown = spot;
    told.textContent = spot.getAttribute("aria-label");
    told.hidden = false;
    place(spot);
  }

  /** @param {Element} spot */
  function place(spot) {
    const { offset, flip, shift } = floating;
    const middleware = [offset(8), flip(), shift({ padding: 8 })];
    floating.computePosition(spot, told, { placement: "top", middleware }).then((/** @type {any} */ at) => {
      told.style.left = `${at.x}px`;
      told.style.top = `${at.y}px`;
    });
  }

  function hide() {
    clearTimeout(leaving);
    shown = null;
    told.hidden = true;
  }

  // The words may be pointed at too, so they do not go at once.
  function soon() {
    clearTimeout(leaving);
    leaving = setTimeout(hide, 300);
  }

  for (const spot of spots) {
    let byTouch = false;
    let wasShown = false;
    spot.addEventListener("pointerdown", (event) => {
      byTouch = /** @type {PointerEvent} */ (event).pointerType === "touch";
      wasShown = shown === meant(event, spot);
    });
    spot.addEventListener("pointermove", (event) => {
      if (/** @type {PointerEvent} */ (event).pointerType !== "touch") show(meant(event, spot));
    });
    spot.addEventListener("pointerleave", (event) => {
      if (/** @type {PointerEvent} */ (event).pointerType !== "touch" && document.activeElement !== spot) soon();
    });
    spot.addEventListener("focus", () => { if (!byTouch) show(spot); });
    spot.addEventListener("blur", hide);
    spot.addEventListener("click", (/** @type {any} */ event) => {
      // A finger cannot hover: its first tap shows the figures, the second one goes there.
      const other = meant(event, spot);
      if (byTouch && !wasShown) {
        event.preventDefault();
        show(other);
      } else if (other !== spot && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
        event.preventDefault();
        location.assign(other.getAttribute("href") ?? "");
      }
      byTouch = false;
    });
  }
  told.addEventListener("pointerenter", () => clearTimeout(leaving));
  told.addEventListener("pointerleave", soon);
  document.addEventListener("keydown", (event) => { if (event.key === "Escape") hide(); });
  document.addEventListener("pointerdown", (event) => {
    if (event.target instanceof Element && !event.target.closest("a.spot, .told")) hide();
  });
  // It moves along with its point, and may need the other side of it.
  window.addEventListener("scroll", () => { if (shown) place(shown); }, { passive: true });
})();
