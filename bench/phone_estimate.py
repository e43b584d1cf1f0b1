"""How long does one estimate take in a phone's browser, four times slowed, and how heavy is the engine on the wire?

    python bench/phone_estimate.py [--repeats 15] [--slowed 4] [--cases 40]

Chromium is slowed by its own throttling of the processor and runs the vectors of tests/vectors/estimates.json. The
fixed piece of work is a loop of exponentials: a slower machine slows both, so the ratio travels and the milliseconds do
not. Work and reference take turns. The bar is held for the slowest check against the processor time of the page's own
thread, which other work on the machine hardly lengthens: of each check the middle one of three runs. The app asks a
worker: the last row is what that leaves to the page's thread.
"""

from __future__ import annotations

import gzip
import json
import re
import shutil
import statistics
import sys
from pathlib import Path
from typing import Any, Final

import click
from playwright.sync_api import CDPSession, Page, Route, sync_playwright

BAR_MS: Final = 50.0
"""One estimate on a phone slowed four times (design §6)."""
WEIGHT_BAR_KB: Final = 35.0
"""The engine on the wire, compressed: our own share of the page's 120 KB."""
ROOT: Final = Path(__file__).resolve().parent.parent
ENGINE: Final = ROOT / "src" / "chaffinch" / "web" / "static" / "engine"
WORKER: Final = ENGINE.parent / "app" / "engine-worker.js"
VECTORS: Final = ROOT / "tests" / "vectors" / "estimates.json"
ARGUMENTS: Final = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
PLACE: Final = "http://engine.test"
"""Where the page believes the files are; every request is answered from the disk."""

TIMED: Final = """
async ([cases, setups, repeats, further]) => {
  const { answer } = await import("/engine/check.js");
  const reference = () => {
    let sum = 0;
    for (let i = 0; i < 200000; i += 1) sum += Math.exp(-i * 1e-5);
    return sum;
  };
  const timed = (what) => { const start = performance.now(); what(); return performance.now() - start; };
  const middle = (all) => all.sort((a, b) => a - b)[all.length >> 1];
  reference();
  for (const one of cases) answer(one.table, setups[one.table.country], { further });
  return cases.map((one) => {
    const work = [], beside = [];
    for (let n = 0; n < repeats; n += 1) {
      beside.push(timed(reference));
      work.push(timed(() => answer(one.table, setups[one.table.country], { further })));
    }
    return { name: one.name, ms: middle(work), ratio: middle(work.map((ms, n) => ms / beside[n])) };
  });
}
"""


OFTEN: Final = """
async ([one, setups, repeats]) => {
  const { answer } = await import("/engine/check.js");
  for (let n = 0; n < repeats; n += 1) answer(one.table, setups[one.table.country], { further: false });
}
"""
BESIDE: Final = """
async ([one, setups, repeats]) => {
  window.beside ??= new Worker("/app/engine-worker.js", { type: "module" });
  for (let n = 0; n < repeats; n += 1) {
    await new Promise((done) => {
      window.beside.onmessage = done;
      window.beside.postMessage({ n, table: one.table, setup: setups[one.table.country], further: false });
    });
  }
}
"""


def thread_ms(page: Page, cdp: CDPSession, script: str, case: dict[str, Any], setups: object, repeats: int) -> float:
    """Processor time of the page's own thread for one answer [ms]."""

    def spent() -> float:
        found = cdp.send("Performance.getMetrics")["metrics"]
        return float(next(one["value"] for one in found if one["name"] == "TaskDuration"))

    page.evaluate(script, [case, setups, 3])
    runs = []
    for _ in range(3):
        before = spent()
        page.evaluate(script, [case, setups, repeats])
        runs.append(1000 * (spent() - before) / repeats)
    return statistics.median(runs)


def groups(cases: list[dict[str, Any]], most: int) -> dict[str, list[dict[str, Any]]]:
    """Cases by what they ask of the engine; ``most`` of each, evenly picked."""
    one_place = [c for c in cases if len({x["place"] for x in c["table"]["catch"]}) == 1 and c["scatter"] == 0]
    found = {
        "one place, 1 to 3 catches": [c for c in one_place if len(c["table"]["catch"]) <= 3],
        "one place, 4 to 8 catches": [c for c in one_place if 4 <= len(c["table"]["catch"]) <= 8],
        "one place, 9 to 12 catches": [c for c in one_place if len(c["table"]["catch"]) >= 9],
        "several sources or ways of reading": [c for c in cases if c["scatter"] > 0],
    }
    return {name: members[:: max(1, len(members) // most)][:most] for name, members in found.items()}


def page_of_files(page: Page) -> None:
    """Open a page whose every request is answered from the engine's folder."""

    def answered(route: Route) -> None:
        path = route.request.url.removeprefix(PLACE)
        if path == "/":
            route.fulfill(content_type="text/html", body="<!doctype html><title>engine</title>")
        elif path == "/app/engine-worker.js":
            route.fulfill(content_type="text/javascript", body=WORKER.read_text(encoding="utf-8"))
        elif "/engine/" in path and (file := ENGINE / path.rpartition("/engine/")[2]).is_file():
            route.fulfill(content_type="text/javascript", body=file.read_text(encoding="utf-8"))
        else:
            route.fulfill(status=404, body="")

    page.route("**/*", answered)
    page.goto(f"{PLACE}/")


def weights() -> tuple[int, float, float]:
    """Number of modules, and what they weigh together, each compressed alone as a server would, and bare [kB]."""
    files = [file.read_text(encoding="utf-8") for file in sorted(ENGINE.glob("*.js"))]
    bare = [re.sub(r"^ *(/\*\*.*?\*/|//[^\n]*)\n", "", text, flags=re.DOTALL | re.MULTILINE) for text in files]
    whole, stripped = (sum(len(gzip.compress(text.encode(), 9)) for text in all_) / 1000 for all_ in (files, bare))
    return len(files), whole, stripped


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--repeats", default=15, show_default=True, help="Times each case is answered.")
@click.option("--slowed", default=4.0, show_default=True, help="How many times the processor is slowed.")
@click.option("--cases", "most", default=40, show_default=True, help="Most cases of each group.")
@click.option("--browser", default=shutil.which("chromium") or "/usr/bin/chromium", help="The Chromium to drive.")
def main(repeats: int, slowed: float, most: int, browser: str) -> None:
    """Print what answers take in a slowed browser, and what the engine weighs."""
    if not Path(browser).exists():
        sys.exit(f"there is no Chromium at {browser}; give one with --browser")
    whole = json.loads(VECTORS.read_text(encoding="utf-8"))
    print(f"chromium, slowed {slowed:g} times; {repeats} repeats of each case, in turn with the reference")
    print(f"{'what':48}{'cases':>6}{'median ms':>11}{'p95 ms':>9}{'most ms':>9}{'ratio':>8}")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=browser, args=list(ARGUMENTS))
        page = chromium.new_page()
        page_of_files(page)
        cdp = page.context.new_cdp_session(page)
        cdp.send("Emulation.setCPUThrottlingRate", {"rate": slowed})
        cdp.send("Performance.enable", {"timeDomain": "threadTicks"})
        over = []
        for name, cases in groups(whole["cases"], most).items():
            for further in (False, True):
                rows = page.evaluate(TIMED, [cases, whole["setups"], repeats, further])
                ms = sorted(row["ms"] for row in rows)
                ratio = statistics.median(row["ratio"] for row in rows)
                p95 = ms[min(len(ms) - 1, round(0.95 * len(ms)))]
                label = name + (", with further catches" if further else "")
                print(f"{label:48.58}{len(ms):6}{statistics.median(ms):11.1f}{p95:9.1f}{ms[-1]:9.1f}{ratio:8.2f}")
            for script, label in ((OFTEN, "processor"), (BESIDE, "processor, asked of a worker")):
                ms = sorted(thread_ms(page, cdp, script, one, whole["setups"], repeats) for one in cases)
                p95 = ms[min(len(ms) - 1, round(0.95 * len(ms)))]
                print(f"  {label:46.46}{len(ms):6}{statistics.median(ms):11.1f}{p95:9.1f}{ms[-1]:9.1f}")
                if script is OFTEN and ms[-1] > BAR_MS:
                    over.append(name)
        chromium.close()
    held = f"NOT MET by {', '.join(over)}" if over else "met"
    print(f"bar      processor time of every estimate, the slowest of each group too, <= {BAR_MS:g} ms: {held}")
    number, weight_kb, bare_kb = weights()
    fits = "met" if weight_kb <= WEIGHT_BAR_KB else "NOT MET"
    print(
        f"weight   {number} modules, {weight_kb:.1f} kB compressed, {bare_kb:.1f} kB without their comments; ", end=""
    )
    print(f"wished <= {WEIGHT_BAR_KB:g} kB: {fits}")


if __name__ == "__main__":
    main()
