// The phone's screen of the advice, built without a browser: cautions first, whatever is asked or told.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

/** As much of a page as the screen needs. */
class Element {
  constructor(tag) {
    Object.assign(this, { tag, children: [], attributes: {}, listeners: {} });
  }
  setAttribute(name, value) { this.attributes[name] = value; }
  addEventListener(name, act) { this.listeners[name] = act; }
  append(child) { this.children.push(child); }
  get text() { return this.children.map((one) => (one instanceof Element ? ` ${one.text} ` : String(one))).join("").replace(/\s+/g, " "); }
  all(tag) { return this.children.flatMap((one) => (one instanceof Element ? [...(one.tag === tag ? [one] : []), ...one.all(tag)] : [])); }
}
globalThis.document = { createElement: (tag) => new Element(tag), createElementNS: (_, tag) => new Element(tag), querySelector: () => null };

const { advise, byItself } = await import("../../src/chaffinch/web/static/advice/screen.js");
const { LEAST_CAUSE, rank, splitOfRanges, weigh } = await import("../../src/chaffinch/web/static/advice/advice.js");
const { CAUTIONS } = await import("../../src/chaffinch/web/static/app/wording.js");
const { table } = JSON.parse(readFileSync(new URL("../vectors/advice.json", import.meta.url), "utf8"));
const LAST = CAUTIONS.at(-1).replace(/\s+/g, " ");

const range = (median) => ({ low: median / 1.5, median, high: median * 1.5 });
const answer = (median) => ({ crop: "canola", sources: { machine: { kg_ha: range(median) } }, total: { kg_ha: range(median), share_percent: range(2) }, unthreshed_percent: 4, judged: { kg_ha: range(median), trade: { ...range(median / 50), unit: "bu/ac" } } });

/** @param {any} [use] the table  @param {any} [told] answers so far */
function appWith(use = table, told = { answers: {}, skipped: [] }, found = answer(150)) {
  const written = [];
  const app = {
    draft: { advice: { s1: told } },
    written,
    shown: 0,
    show() { this.shown += 1; },
    go() {},
    said: [],
    sheet(title) { this.said.push(title); },
    post: { soon() {} },
    write: async (act) => { await act(); return true; },
    answerOfStop: () => ({ answer: found }),
    phone: {
      setup: { advice: use, cautions: [] },
      stops: new Map([["s1", { id: "s1", closed: "", where: { combine: "c" }, terms: { crop: "canola" }, conditions: { straw_moisture_pct: 20 } }]]),
      thing: () => ({ parts: { separation: "rotor", header: "draper" } }),
      crop: () => ({ key: "canola" }),
      sealed: async (id, kind, body) => ({ id, kind, body }),
      records: [],
      keep: { database: null },
      async add(one) { await null; written.push(one); this.records.push(...one.records); },
    },
  };
  return app;
}

test("every question stands below the cautions, with a big button for each answer and one for not knowing", () => {
  const app = appWith();
  for (let asked = 0; asked < 8; asked += 1) {
    const { node } = advise(app, "s1");
    const section = node.all("section").find((one) => one.className === "asked");
    if (!section) { assert.ok(asked >= 2); return; }
    const sign = table.signs.find((one) => section.text.includes(one.asks) && one.asks);
    assert.ok(node.text.indexOf(LAST) >= 0 && node.text.indexOf(LAST) < node.text.indexOf(sign.asks));
    const buttons = section.all("button");
    assert.deepEqual(buttons.map((one) => one.text.trim()), [...Object.values(sign.answers), "I cannot say"]);
    assert.ok(buttons.every((one) => one.className === "row"), "rows are 68 px high");
    buttons[asked % buttons.length].listeners.click();
  }
  assert.fail("more than six questions");
});

test("every change of the table stands below the cautions", () => {
  for (const change of table.changes.filter((one) => !one.gate)) {
    // A cause that is surely it, against which this change surely helps, in a crop and with a header it is for.
    const cause = { key: "made", part: "cleaning", says: "made up", odds: { all: 1e9 }, lifts: {} };
    const sure = { ...change, helps: [["made", "machine", 0.1, 0.2]], unfit: [], header: "", machine: "", crop_is: "" };
    const use = { ...table, causes: [...table.causes.filter((one) => one.part === "none"), cause], changes: [sure] };
    const { text } = advise(appWith(use), "s1").node;
    const at = text.indexOf(change.says.replace(/\s+/g, " "));
    assert.ok(at >= 0, change.key);
    assert.ok(text.indexOf(LAST) >= 0 && text.indexOf(LAST) < at, change.key);
    assert.ok(text.includes(change.undo));
    // In the stop's own unit, a minute by its name, and only what can be put back and forth is tried in turn.
    assert.match(text, /\d bu\/ac less lost expected/);
    assert.doesNotMatch(text, /\b1 minutes|kg\/ha/);
    assert.equal(text.includes("A, B, B, A"), Boolean(change.part !== "timing" && change.setting && change.way), change.key);
  }
});

test("the leak walk stands below the cautions", () => {
  const { text } = advise(appWith(), "leaks").node;
  for (const one of table.leaks) assert.ok(text.indexOf(LAST) < text.indexOf(one.look) && text.indexOf(LAST) >= 0);
});

test("answers are kept as a note about the stop, as the book reads them", async () => {
  const app = appWith(table, { answers: { found: "chaff", chaff: "far" }, skipped: [] });
  const { node } = advise(app, "s1");
  await node.all("button").find((one) => one.text.includes("Keep these answers")).listeners.click();
  assert.deepEqual(app.written[0].records[0].body, { text: "Advice answers: found = chaff; chaff = far", of: "s1" });
  assert.equal(app.written[0].records[0].kind, "note");
});

test("answers are kept once however often it is pressed; a change is one more note that is said, also a taking back", async () => {
  const app = appWith(table, { answers: { found: "chaff", chaff: "far" }, skipped: [] });
  const button = (what) => advise(app, "s1").node.all("button").find((one) => one.text.includes(what)).listeners.click();
  const texts = () => app.written.map((one) => one.records[0].body.text);
  await Promise.all([button("Keep these answers"), button("Keep these answers")]);
  await button("Keep these answers");
  assert.deepEqual([texts().length, app.said], [1, ["Kept", "Kept already"]]);
  app.draft.advice.s1.answers.chaff = "near";
  await button("Keep these answers");
  assert.deepEqual([texts()[1], app.said.at(-1)], ["Advice answers: chaff = near; round = 2", "Changed"]);
  // A window that was loaded anew goes on from what was kept.
  delete app.draft.advice;
  await button("Keep these answers");
  assert.deepEqual([texts().length, app.said.at(-1)], [2, "Kept already"]);
  await button("Take back");
  await button("Take back");
  await button("Keep that they were taken back");
  assert.equal(texts()[2], "Advice answers: found = taken back; chaff = taken back; round = 3");
  // What another window kept a moment ago is seen before anything is written.
  const other = appWith(table, { answers: { found: "chaff" }, skipped: [] });
  other.phone.keep = { database: {}, everything: async () => ({ records: [{ kind: "note", body: { of: "s1", text: "Advice answers: found = chaff" } }] }) };
  await advise(other, "s1").node.all("button").find((one) => one.text.includes("Keep these answers")).listeners.click();
  assert.deepEqual([other.written.length, other.said], [0, ["Kept already"]]);
});

test("of two notes the one of the higher round counts, of equal rounds the one with the greater id, as in the book", async () => {
  const note = (id, text) => ({ id, kind: "note", body: { of: "s1", text: `Advice answers: ${text}` } });
  const says = async (...records) => {
    const app = appWith();
    delete app.draft.advice;
    app.phone.records = records;
    await advise(app, "s1").node.all("button").find((one) => one.text.includes("Keep")).listeners.click();
    return [advise(app, "s1").node.all("li").some((one) => one.text.includes(table.signs.find((sign) => sign.key === "found").answers.straw)), app.said];
  };
  for (const [straw, chaff, expected] of [["round = 2", "round = 1", true], ["round = 2", "round = 10", false], ["x = 1", "", false], ["round = 0000009", "", false]]) {
    const [a, b] = [note("a", `found = straw; ${straw}`), note("b", `found = chaff; ${chaff}`)];
    assert.deepEqual(await says(a, b), [expected, ["Kept already"]]);
    assert.deepEqual(await says(b, a), [expected, ["Kept already"]]);
  }
});

test("contradicting answers are told to measure first, and a step that needs the book is not told", () => {
  const answers = { found: "line", chaff: "far", tank: "green", straw: "short", strip: "ragged", seat: "lumps" };
  const { text } = advise(appWith(table, { answers, skipped: [] }), "s1").node;
  assert.match(text, /Measure first : the signs do not fit together/);
  assert.doesNotMatch(text, /Drive one step slower/);
});

test("a loss at its usual is called usual", () => {
  const answers = { strip: "clean", seat: "none", chaff: "none", when: "always", tank: "clean", changed: "nothing" };
  const sources = { standing: { kg_ha: range(5) }, header: { kg_ha: range(12) }, machine: { kg_ha: range(12) } };
  const found = { ...answer(29), sources, total: { kg_ha: range(29), share_percent: range(1.4) } };
  const { text } = advise(appWith(table, { answers, skipped: [] }, found), "s1").node;
  assert.match(text, /Nothing worth changing : the losses are what is usual in this crop \(\d+ % by what is known\)/);
});

test("without the table, without an answer, and for a closed stop", () => {
  assert.match(advise(appWith(null), "s1").node.text, /comes with the book/);
  assert.ok(advise(appWith(table, { answers: {}, skipped: [] }, null), "s1").node.text.includes("What it may be"));
  const app = appWith();
  app.phone.stops.get("s1").closed = "sealed";
  assert.equal(advise(app, "s1"), null);
});

test("air and pods are known without asking", () => {
  assert.deepEqual(byItself(table, { conditions: { humidity_pct: 20 } }, { unthreshed_percent: 50 }), { air: "dry", pods: "many" });
  assert.deepEqual(byItself(table, { conditions: {} }, null), {});
});

test("no step is proposed whose causes are unlikely", () => {
  let proposed = 0;
  for (const found of ["heads", "straw", "chaff", "all", "ahead", "line"]) {
    for (const chaff of ["under", "far", "side"]) {
      const { node } = advise(appWith(table, { answers: { found, chaff }, skipped: [] }), "s1");
      const said = node.text;
      const situation = { crop: "canola", machine: "rotor", header: "draper", windrowed: false, answers: { air: "damp", pods: "few", found, chaff } };
      const split = splitOfRanges({ machine: range(150) }, 7500);
      const belief = weigh(table, situation, split);
      for (const { change, p_cause } of rank(table, situation, belief, split)) {
        if (!said.includes(change.says)) continue;
        proposed += 1;
        assert.ok(p_cause >= LEAST_CAUSE, `${found} ${chaff} ${change.key} ${p_cause}`);
      }
    }
  }
  assert.ok(proposed > 0);
});
