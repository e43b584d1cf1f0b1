"""The phone's engine: the same numbers as Python, in Node and in a browser, and typed."""

from __future__ import annotations

import json
import os
import re
import runpy
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from phone_world import a_browser, browser_or_skip

import chaffinch as cf

ROOT = Path(__file__).resolve().parents[2]
ENGINE = ROOT / "src" / "chaffinch" / "web" / "static" / "engine"
VECTORS = ROOT / "tests" / "vectors"
TOP = "http://engine.test/"
"""Where the page believes the files are: plain HTTP, so the browser keeps its own hash back."""

OUTSIDE = r"\b(Date|fetch|XMLHttpRequest|localStorage|indexedDB|Math\.random|getRandomValues|document)\b"


def load(name: str) -> Any:
    return json.loads((VECTORS / name).read_text(encoding="utf-8"))


def program_or_skip(name: str, mend: str) -> str:
    found = shutil.which(name)
    if found is None:
        if os.environ.get("CI") == "true":
            pytest.fail(f"no {name} here: {mend}")
        pytest.skip(f"no {name} here: {mend}")
    return found


def test_in_node() -> None:
    node = program_or_skip("node", "Node 20 or newer runs the tests of tests/js")
    names = ("envelopes", "estimates", "evidence", "refusals", "special")
    files = [ROOT / "tests" / "js" / f"{name}.test.js" for name in names]
    done = subprocess.run([node, "--test", *map(str, files)], capture_output=True, text=True, check=False, cwd=ROOT)
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]
    assert re.search(r"^(#|ℹ) fail 0$", done.stdout, re.MULTILINE)


@pytest.fixture(scope="module")
def page() -> Iterator[Any]:
    """A page in Chromium whose requests are answered from the project's folders."""

    def answered(route: Any) -> None:
        path = (ROOT / route.request.url.removeprefix(TOP)).resolve()
        if route.request.url == TOP:
            route.fulfill(content_type="text/html", body="<!doctype html><title>engine</title>")
        elif path.is_file() and path.is_relative_to(ROOT):
            kind = "text/javascript" if path.suffix == ".js" else "application/json"
            route.fulfill(content_type=kind, body=path.read_text(encoding="utf-8"))
        else:
            route.fulfill(status=404, body="")

    with a_browser() as browser:
        page = browser.new_page()
        page.route("**/*", answered)
        page.goto(TOP)
        yield page


def test_every_answer_in_a_browser(page: Any) -> None:
    found = page.evaluate(
        """async () => {
          const { compared, readAlike } = await import("/tests/js/agreement.js");
          const vectors = await (await fetch("/tests/vectors/estimates.json")).json();
          const typed = await (await fetch("/tests/vectors/estimates_units.json")).json();
          const faults = [];
          for (const one of vectors.cases) {
            const found = compared(vectors, one);
            if (found.faults.length) faults.push(`${one.name}: ${found.faults.join("; ")}`);
          }
          const unread = typed.quantities.map((one) => readAlike(one, typed.bushel_kg)).filter(Boolean);
          return { asked: vectors.cases.length, faults, unread };
        }"""
    )
    assert found["asked"] >= 300
    assert found["faults"] == []
    assert found["unread"] == []


def test_envelopes_in_a_browser_that_keeps_its_hash_back(page: Any) -> None:
    found = page.evaluate(
        """async () => {
          const { opened, seal } = await import("/src/chaffinch/web/static/engine/canonical.js");
          const vectors = await (await fetch("/tests/vectors/envelopes.json")).json();
          const sealed = [];
          for (const { envelope: e } of vectors.envelopes) {
            sealed.push(await seal(e.id, e.kind, e.schema, e.device, e.device_time, e.body));
            await opened(e);
          }
          let refused = 0;
          for (const { envelope } of vectors.refused) await opened(envelope).catch(() => { refused += 1; });
          return { subtle: Boolean(globalThis.crypto.subtle), sealed, refused };
        }"""
    )
    vectors = load("envelopes.json")
    assert found["subtle"] is False, "plain HTTP: our own SHA-256 is what is tried here"
    assert found["sealed"] == [one["envelope"] for one in vectors["envelopes"]]
    assert found["refused"] == len(vectors["refused"])


def test_the_largest_seed_gives_the_same_figures() -> None:
    """Rounds take the seeds after it, which a JavaScript number no longer tells apart."""
    node = program_or_skip("node", "Node 20 or newer runs the engine")
    whole = load("estimates.json")
    one = next(case for case in whole["cases"] if case["scatter"] > 0 and len(case["table"]["catch"]) > 3)
    asked = {"table": one["table"], "setup": whole["setups"][one["table"]["country"]], "seed": 2**53 - 1}
    script = """
      import { answer } from "./check.js";
      const { table, setup, seed } = JSON.parse(process.argv[1]);
      console.log(JSON.stringify(answer(table, setup, { seed, further: false }).judged.kg_ha));
    """
    done = subprocess.run(
        [node, "--input-type=module", "--eval", script, json.dumps(asked)],
        capture_output=True, text=True, check=True, cwd=ENGINE,
    )  # fmt: skip
    found = json.loads(done.stdout)
    wanted = cf.answer(cf.check_from_table(one["table"]), seed=asked["seed"]).judged_kg_ha
    width = wanted.high - wanted.low
    for name in ("low", "median", "high"):
        assert found[name] == pytest.approx(getattr(wanted, name), abs=1e-3 * width)


def test_the_vectors_are_what_python_says_today(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every case that the grid answers, and every tenth that is sampled; both files are made by the script beside."""
    monkeypatch.syspath_prepend(str(VECTORS))
    made = runpy.run_path(str(VECTORS / "make_estimates.py"))
    whole = load("estimates.json")
    assert whole["setups"] == {country: made["setup_for"](country) for country in made["COUNTRIES"]}
    drawn = dict(made["checks"]())
    assert [one["name"] for one in whole["cases"]] == list(drawn)
    sampled = 0
    for one in whole["cases"]:
        assert one["table"] == drawn[one["name"]], one["name"]
        sampled += one["scatter"] > 0
        if one["scatter"] > 0 and sampled % 10:
            continue
        now = made["expected"](cf.answer(cf.check_from_table(one["table"])))
        # Another build of numpy differs in last digits.
        for kept, found, width in numbers(one["answer"], now):
            assert found == pytest.approx(kept, rel=1e-6, abs=1e-4 * width), one["name"]
    assert sampled >= 100
    assert load("estimates_units.json")["quantities"] == list(made["quantities"]())


def numbers(kept: Any, found: Any, width: float = 0.0) -> Iterator[tuple[float, float, float]]:
    """The numbers of two answers side by side, each with the width of the range it ends; all else must be equal."""
    if isinstance(kept, dict):
        assert kept.keys() == found.keys()
        for key in kept:
            if key != "more":  # a chance over few futures, held to Python's own tests
                yield from numbers(kept[key], found[key])
    elif isinstance(kept, list) and len(kept) == 3 and all(isinstance(x, float) for x in kept):
        for one, other in zip(kept, found, strict=True):
            yield one, other, kept[2] - kept[0]
    elif isinstance(kept, float):
        yield kept, found, max(width, 1.0)
    else:
        assert kept == found


@pytest.mark.parametrize("project", ["tsconfig.json", "tsconfig.workers.json"])
def test_types(project: str) -> None:
    """The JSDoc of engine, app and workers holds under TypeScript's strict checking; ``make types`` installs it."""
    checker = ROOT / "tests" / "js" / "node_modules" / ".bin" / "tsc"
    if not checker.exists():
        if os.environ.get("CI") == "true":
            pytest.fail("no type checker: make types installs it")
        pytest.skip("no type checker: make types installs it")
    pinned = load("../js/package.json")["devDependencies"]["typescript"]
    version = subprocess.run([str(checker), "--version"], capture_output=True, text=True, check=True).stdout
    assert version.split()[-1] == pinned
    done = subprocess.run(
        [str(checker), "-p", str(ROOT / "tests" / "js" / project)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout


def test_every_module_of_ours_is_looked_at_by_the_checker() -> None:
    for path in [*ENGINE.glob("*.js"), *(ENGINE.parent / "app").rglob("*.js")]:
        assert path.read_text(encoding="utf-8").startswith("// @ts-check\n"), path.name


def test_the_engine_reads_no_clock_network_storage_or_chance() -> None:
    for path in ENGINE.glob("*.js"):
        code = re.sub(r"/\*.*?\*/|//[^\n]*", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
        found = re.search(
            r"\b(Date|fetch|XMLHttpRequest|localStorage|indexedDB|Math\.random|getRandomValues|document)\b", code
        )
        assert found is None, f"{path.name}: {found}"
        assert re.match(r"// @ts-check\n/\*\*", path.read_text(encoding="utf-8")), path.name
        assert len(path.read_text(encoding="utf-8").splitlines()) <= 400, path.name


def test_the_bench_prints_a_row_for_each_group_and_both_bars() -> None:
    browser_or_skip()
    done = subprocess.run(
        [sys.executable, str(ROOT / "bench" / "phone_estimate.py"), "--repeats", "1", "--cases", "2"],
        capture_output=True, text=True, check=False, cwd=ROOT,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    rows = re.findall(
        r"^(one place|several).*? +2 +(\d+\.\d) +(\d+\.\d) +(\d+\.\d) +(\d+\.\d\d)$", done.stdout, re.MULTILINE
    )
    assert len(rows) == 8
    assert all(float(ms) > 0 and float(ratio) > 0 for _, ms, *_, ratio in rows)
    spent = re.findall(
        r"^  processor(, asked of a worker)? +2 +(\d+\.\d) +\d+\.\d +\d+\.\d$", done.stdout, re.MULTILINE
    )
    assert len(spent) == 8
    assert re.search(r"<= 50 ms: (met|NOT MET by .+)$", done.stdout, re.MULTILINE)
    assert re.search(r"^weight +\d+ modules, \d+\.\d kB", done.stdout, re.MULTILINE)
