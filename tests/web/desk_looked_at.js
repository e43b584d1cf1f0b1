// What an auditor of WCAG 2.2 AA can see without a person, on one page as it stands in the browser.
// Returns a list of faults, each one line; an empty list is what the test wants. Own words and own rules of thumb for
// the success criteria named: 1.1.1, 1.3.1, 1.4.3, 1.4.10, 1.4.11, 2.4.6, 2.5.8, 3.1.1, 3.3.2, 4.1.2.
() => {
  const faults = [];
  const shown = (el) => {
    const box = el.getBoundingClientRect();
    return box.width > 0 && box.height > 0 && getComputedStyle(el).visibility !== "hidden" && !el.closest(".hidden, .skip:not(:focus)");
  };
  const name = (el) => `<${el.tagName.toLowerCase()} ${el.id || el.className?.baseVal || el.className || ""}> ${(el.textContent || "").trim().slice(0, 40)}`;
  const light = ([r, g, b]) => {
    const part = (c) => { c /= 255; return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4; };
    return 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
  };
  const colour = (text) => {
    const found = text.match(/rgba?\(([^)]+)\)/);
    if (!found) return null;
    const parts = found[1].split(",").map(Number);
    return parts.length === 4 && parts[3] === 0 ? null : parts.slice(0, 3);
  };
  const behind = (el) => {
    for (let at = el; at; at = at.parentElement) {
      const found = colour(getComputedStyle(at).backgroundColor);
      if (found) return found;
    }
    return [255, 255, 255];
  };
  const ratio = (a, b) => { const [x, y] = [light(a), light(b)].sort((p, q) => q - p); return (x + 0.05) / (y + 0.05); };

  // Text against what lies behind it.
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const seen = new Set();
  while (walker.nextNode()) {
    const el = walker.currentNode.parentElement;
    if (!walker.currentNode.textContent.trim() || seen.has(el) || !shown(el)) continue;
    if (el.closest("title, desc, option, script, noscript")) continue;
    seen.add(el);
    const style = getComputedStyle(el);
    const ink = colour(el.closest("svg") ? style.fill : style.color);
    if (!ink) continue;
    const size = parseFloat(style.fontSize), bold = parseInt(style.fontWeight, 10) >= 700;
    const need = size >= 24 || (size >= 18.66 && bold) ? 3 : 4.5;
    const found = ratio(ink, behind(el));
    if (found < need) faults.push(`contrast ${found.toFixed(2)} below ${need}: ${name(el)}`);
  }
  // Edges of what can be typed into, against their surroundings.
  for (const el of document.querySelectorAll("input:not([type=hidden]), select, textarea")) {
    if (!shown(el) || ["radio", "checkbox"].includes(el.type)) continue;
    const found = ratio(colour(getComputedStyle(el).borderTopColor), behind(el.parentElement));
    if (found < 3) faults.push(`edge contrast ${found.toFixed(2)}: ${name(el)}`);
  }
  // Targets of 24 by 24, or words in a line of text.
  for (const el of document.querySelectorAll("a, button, input:not([type=hidden]), select, textarea, summary")) {
    if (!shown(el) || el.closest("svg") || el.tabIndex < 0) continue;
    const box = el.getBoundingClientRect();
    const inLine = el.tagName === "A" && getComputedStyle(el).display === "inline";
    const wrapped = el.closest("label");
    const area = wrapped && ["radio", "checkbox"].includes(el.type) ? wrapped.getBoundingClientRect() : box;
    if (!inLine && (area.width < 24 || area.height < 24)) faults.push(`target ${area.width.toFixed(0)} by ${area.height.toFixed(0)}: ${name(el)}`);
  }
  // Names of what can be used.
  for (const el of document.querySelectorAll("input:not([type=hidden]), select, textarea")) {
    if (![...(el.labels || [])].some((one) => one.textContent.trim())) faults.push(`no label: ${name(el)} ${el.name}`);
  }
  for (const el of document.querySelectorAll("a, button, summary")) {
    if (!(el.textContent.trim() || el.getAttribute("aria-label"))) faults.push(`no name: ${name(el)}`);
  }
  for (const el of document.querySelectorAll("img")) if (!el.hasAttribute("alt")) faults.push(`no alt: ${el.src}`);
  for (const el of document.querySelectorAll("svg")) {
    // What holds links is a group: in a picture nobody could reach them.
    const role = el.querySelector("a") ? "group" : "img";
    if (el.getAttribute("role") !== role || !el.querySelector("title")?.textContent) faults.push("a drawing without a name");
  }
  // What refers to something refers to something that is there.
  for (const key of ["aria-labelledby", "aria-describedby", "for"]) {
    for (const el of document.querySelectorAll(`[${key}]`)) {
      for (const id of el.getAttribute(key).split(/\s+/).filter(Boolean)) {
        if (!document.getElementById(id)) faults.push(`${key} names ${id}, which is not there`);
      }
    }
  }
  const ids = [...document.querySelectorAll("[id]")].map((el) => el.id);
  for (const id of new Set(ids.filter((one, at) => ids.indexOf(one) !== at))) faults.push(`id ${id} twice`);
  // Structure.
  const ranks = [...document.querySelectorAll("h1, h2, h3, h4")].map((el) => Number(el.tagName[1]));
  if (ranks.filter((one) => one === 1).length !== 1) faults.push("not one h1");
  ranks.forEach((rank, at) => { if (at && rank > ranks[at - 1] + 1) faults.push(`heading ${rank} after ${ranks[at - 1]}`); });
  if (document.querySelectorAll("main").length !== 1) faults.push("not one main");
  if (!document.documentElement.lang) faults.push("no language");
  if (!document.title.trim()) faults.push("no title");
  for (const el of document.querySelectorAll("table")) {
    if (!el.querySelector("caption")?.textContent.trim()) faults.push("a table without a caption");
    for (const cell of el.querySelectorAll("th")) if (!cell.scope) faults.push("a heading of a table without a scope");
  }
  for (const el of document.querySelectorAll(".scroll")) {
    if (el.scrollWidth > el.clientWidth + 1 && el.tabIndex < 0) faults.push("what scrolls sideways cannot be reached by key");
  }
  // Nothing but tables is wider than the page.
  const root = document.scrollingElement;
  if (root.scrollWidth > root.clientWidth + 1) {
    const wide = [...document.body.querySelectorAll("*")].filter((el) => shown(el) && !el.closest(".scroll") && el.getBoundingClientRect().right > root.clientWidth + 1);
    faults.push(`wider than the page: ${wide.slice(0, 3).map(name).join("; ")}`);
  }
  return faults;
}
