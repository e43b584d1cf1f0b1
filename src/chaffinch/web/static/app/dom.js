// @ts-check
/**
 * How is a page put together? Elements from words; text is always text, never markup.
 */

/** @typedef {Node | string | null | undefined | false | (Node | string | null | undefined | false)[]} Child */

const SVG = "http://www.w3.org/2000/svg";

/**
 * An element: `h("button.main", { onclick }, "Add catch")`.
 * @param {string} tag  name, then classes after points
 * @param {{[key: string]: any}} [attributes]  handlers as onclick; false, null and undefined are left out
 * @param {...Child} children
 * @returns {HTMLElement}
 */
export function h(tag, attributes = {}, ...children) {
  const [name, ...classes] = tag.split(".");
  const element = document.createElement(name);
  if (classes.length > 0) element.className = classes.join(" ");
  if (name === "button" && !("type" in attributes)) element.setAttribute("type", "button");
  dress(element, attributes);
  put(element, children);
  return element;
}

/**
 * A part of a drawing.
 * @param {string} tag
 * @param {{[key: string]: any}} [attributes]
 * @param {...Child} children
 * @returns {SVGElement}
 */
export function s(tag, attributes = {}, ...children) {
  const [name, ...classes] = tag.split(".");
  const element = document.createElementNS(SVG, name);
  if (classes.length > 0) element.setAttribute("class", classes.join(" "));
  dress(element, attributes);
  put(element, children);
  return element;
}

/**
 * @param {Element} element
 * @param {{[key: string]: any}} attributes
 */
function dress(element, attributes) {
  for (const [key, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (key === "onclick") element.addEventListener("click", once(value));
    else if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (key === "value") /** @type {HTMLInputElement} */ (element).value = value;
    else element.setAttribute(key, value === true ? "" : String(value));
  }
}

/**
 * A tap while the last one is still being written down is the same tap: a finger that bounced.
 * @param {(event: Event) => unknown} handler
 * @returns {(event: Event) => Promise<void>}
 */
function once(handler) {
  let busy = false;
  return async (event) => {
    if (busy) return;
    busy = true;
    try {
      await handler(event);
    } finally {
      busy = false;
    }
  };
}

/**
 * @param {Element} element
 * @param {Child[]} children
 */
function put(element, children) {
  for (const child of children.flat()) {
    if (child !== null && child !== undefined && child !== false) element.append(child);
  }
}

/**
 * Something a person may tap, with a title and a line below it.
 * @param {string} title
 * @param {Child} below
 * @param {() => void} onclick
 * @param {{[key: string]: any}} [more]
 * @returns {HTMLElement}
 */
export function row(title, below, onclick, more = {}) {
  const { mark, end, ...attributes } = more;
  return h(
    "button.row",
    { onclick, ...attributes },
    mark,
    h("span.row-text", {}, h("span.row-title", {}, title), below ? h("span.row-below", {}, below) : null),
    end ?? null,
  );
}

/** Lines of the few signs on buttons. @type {{[key: string]: string}} */
const SIGNS = {
  back: "M15 5L8 12L15 19",
  home: "M4 12L12 5L20 12M6.5 10V19H17.5V10",
  more: "M4 7H20M4 12H20M4 17H20",
  close: "M6 6L18 18M18 6L6 18",
  erase: "M21 12H4M11 5L4 12L11 19",
};

/**
 * A sign on a button; the button's label says what it does.
 * @param {string} name
 * @returns {SVGElement}
 */
export function sign(name) {
  return s("svg.sign", { viewBox: "0 0 24 24", "aria-hidden": "true" }, s("path", { d: SIGNS[name] }));
}

/**
 * A few exclusive choices side by side.
 * @param {string} label  for screen readers
 * @param {[string, string][]} options  value and words
 * @param {string | null | undefined} chosen
 * @param {(value: string) => void} onchoose
 * @returns {HTMLElement}
 */
export function choice(label, options, chosen, onchoose) {
  const buttons = options.map(([value, words]) =>
    h("button.choice", { "aria-pressed": String(value === chosen), onclick: () => choose(value) }, words),
  );
  /** @param {string} value */
  function choose(value) {
    options.forEach(([one], i) => buttons[i].setAttribute("aria-pressed", String(one === value)));
    onchoose(value);
  }
  return h("div.choices", { role: "group", "aria-label": label }, buttons);
}

/**
 * A line to type into, with its label.
 * @param {string} label
 * @param {{value?: string, example?: string, mode?: string, oninput?: (text: string) => void, name?: string, type?: string, autocomplete?: string}} how
 * @returns {HTMLElement}
 */
export function entry(label, how) {
  const id = `entry-${(how.name ?? label).toLowerCase().replace(/[^a-z0-9]+/g, "-")}`;
  const input = h("input", {
    id,
    type: how.type ?? "text",
    inputmode: how.mode,
    value: how.value ?? "",
    autocomplete: how.autocomplete ?? "off",
    name: how.name,
    "aria-describedby": how.example ? `${id}-example` : undefined,
    oninput: (/** @type {Event} */ event) => how.oninput?.(/** @type {HTMLInputElement} */ (event.target).value),
  });
  const example = how.example ? h("span.example", { id: `${id}-example` }, how.example) : null;
  return h("div.entry", {}, h("label", { for: id }, label), input, example);
}

/**
 * Offer a file to keep.
 * @param {string} name
 * @param {string} text
 * @param {string} [type]
 */
export function download(name, text, type = "application/x-ndjson") {
  const address = URL.createObjectURL(new Blob([text], { type }));
  const link = h("a", { href: address, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}
