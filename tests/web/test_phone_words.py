"""The phone's words and figures are the house's: the same tables, and the same sentences for the same check."""

from __future__ import annotations

import json
import math
import os
import random
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from phone_tables import STATIC, written

import chaffinch as cf
from chaffinch.book.checks.answer import answer
from chaffinch.book.checks.said import next_step, sentence
from chaffinch.book.figures import percent, plain_number, range_words
from chaffinch.cli.check_page import _chance
from chaffinch.engine.estimate import Range
from chaffinch.web.app import make_app
from chaffinch.web.program_files import app_files, later_files


def node(script: str, given: Any) -> Any:
    """What a module of the phone makes of some data."""
    if shutil.which("node") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("no node here: the phone's modules cannot be run")
        pytest.skip("no node here")
    done = subprocess.run(
        ["node", "--input-type=module", "-"],
        input=script.replace("STATIC", STATIC.as_uri()).replace("GIVEN", json.dumps(given)),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_the_rules_of_outbox_stop_and_pad_in_node() -> None:
    """``tests/js/phone_*.test.js``: pure modules, played through without a browser."""
    node("console.log(1)", None)  # skips, or fails, where there is no node
    files = sorted(str(path) for path in (Path(__file__).parents[1] / "js").glob("phone_*.test.js"))
    done = subprocess.run(["node", "--test", *files], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "# pass 23" in done.stdout


def test_the_tables_are_what_python_would_write() -> None:
    stale = [path.name for path, text in written().items() if path.read_text("utf-8") != text]
    assert stale == [], "run python tests/web/phone_tables.py"


def test_every_file_of_the_app_is_kept_for_use_without_a_network() -> None:
    """Every module that another one imports is in the service worker's list."""
    listed = app_files(STATIC) | later_files(STATIC)
    for path in sorted((STATIC / "app").rglob("*.js")):
        for line in path.read_text("utf-8").splitlines():
            if ' from "' in line or "await import(" in line:
                name = line.split('"')[1]
                target = name if name.startswith("/") else f"/static/{_beside(path, name)}"
                assert target in listed or target.endswith("/types.js"), f"{path.name} imports {name}"


def _beside(path: Path, name: str) -> str:
    return (path.parent / name).resolve().relative_to(STATIC).as_posix()


def test_numbers_are_written_as_on_the_terminal_page() -> None:
    chance = random.Random(20260814)
    ranges = []
    for _ in range(400):
        median = math.exp(chance.uniform(math.log(0.02), math.log(20_000)))
        low = median * math.exp(-chance.uniform(0.01, 3))
        ranges.append([low, median, median * math.exp(chance.uniform(0.01, 3))])
    script = """
      import { percent, plainNumber, rangeWords } from "STATIC/app/figures.js";
      const found = GIVEN.map(([low, median, high]) => {
        const words = rangeWords({ low, median, high });
        return [words.low, words.median, words.high, plainNumber(median), percent(median / (1 + median))];
      });
      console.log(JSON.stringify(found));
    """
    differ = 0
    for (low, median, high), found in zip(ranges, node(script, ranges), strict=True):
        wanted = [
            *range_words(Range(low, median, high)), plain_number(median), percent(median / (1 + median)),
        ]  # fmt: skip
        # The phone's thousands stand apart by a blank that no line breaks at; a half may round to either side.
        differ += wanted != [one.replace("\u202f", " ") for one in found]
    assert differ <= 2


CHECKS: dict[str, dict[str, Any]] = {
    "over, machine only": {
        "limit": "20 kg/ha", "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "21.5 g"}] * 3,
    },
    "under": {"limit": "400 kg/ha", "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "21.5 g"}]},
    "unsettled": {"limit": "60 kg/ha", "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "15.5 g"}]},
    "a toss-up": {"limit": "60 kg/ha", "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "17.1 g"}] * 4},
    "header too": {
        "limit": "30 kg/ha",
        "catch": [
            {"place": "discharge", "pan": "0.4 m2", "amount": "21.5 g"},
            {"place": "header strip", "pan": "0.25 m2", "amount": "160 seeds"},
            {"place": "standing", "pan": "0.25 m2", "amount": "30 seeds"},
        ],
    },
    "an empty pan": {"limit": "60 kg/ha", "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "0 g"}]},
    "standing only": {"limit": "60 kg/ha", "catch": [{"place": "standing", "pan": "0.25 m2", "amount": "8 seeds"}]},
    "coarse and spread": {
        "limit": "1 bu/ac", "report_in": "bu/ac", "spreading": True, "working_width": "20 ft",
        "catch": [{"place": "behind", "pan": "4 ft2", "amount": "6 g", "step": "5 g"}],
    },
}  # fmt: skip
COMMON = {
    "crop": "canola", "country": "CA", "price": "$640 /t", "yield": "2500 kg/ha",
    "field": {"name": "Long Hollow", "area": "62 ha"},
    "combine": {"cut_width": "12 m", "drop_width": "1.7 m", "spread_width": "9 m"}, "spreading": False,
}  # fmt: skip
SAY = """
  import { answer } from "STATIC/engine/check.js";
  import { nextStep, sentence, verdictLine } from "STATIC/app/said.js";
  import { CROPS } from "STATIC/app/crops.js";
  const found = GIVEN.map((table) => {
    const said = answer(table, { farm: { country: "CA" }, crops: CROPS });
    return {
      verdict: verdictLine(said),
      next: nextStep(said, table.catch.map((one) => one.place)),
      notices: [...said.warnings, ...said.assumed].map((one) => [one.key, sentence(one, said)]),
    };
  });
  console.log(JSON.stringify(found));
"""


def test_sentences_are_those_of_the_terminal_page() -> None:
    """Verdict, next step and every notice, word for word; chances may differ by one in a hundred."""
    tables = [COMMON | one for one in CHECKS.values()]
    for (name, table), told in zip(zip(CHECKS, tables, strict=True), node(SAY, tables), strict=True):
        found = answer(cf.check_from_table(table))
        assert _no_numbers(told["next"]) == _no_numbers(next_step(found)), name
        keys = [notice.key for notice in found.notices]
        assert [key for key, _ in told["notices"]] == keys, name
        assert [text for _, text in told["notices"]] == [sentence(one, found.check) for one in found.notices], name
        assert bool(told["verdict"]) == (found.verdict is not None), name
        if found.verdict is not None:
            chance = told["verdict"].split(" % chance")[0].split(" ")[-1]
            assert abs(int(chance.strip("<>")) - int(_chance(found).strip("<>"))) <= 1, name


def _no_numbers(text: str) -> str:
    return "".join("#" if one.isdigit() else one for one in text).replace("##", "#")


def test_crops_are_those_a_book_would_send(tmp_path: Path) -> None:
    """What a phone knows by itself is in the shape of /api/v1/setup, so that the engine reads either."""
    from phone_world import a_farm
    from starlette.testclient import TestClient

    with a_farm(tmp_path) as farm, TestClient(make_app(farm.settings)) as client:
        token = farm.devices.pair(farm.code(), "phone", "127.0.0.1").secret
        setup = client.get("/api/v1/setup", headers={"Authorization": f"Bearer {token}", "Host": "localhost"}).json()
    own = node('import { CROPS } from "STATIC/app/crops.js"; console.log(JSON.stringify(CROPS));', None)
    assert [one["key"] for one in own] == [one["key"] for one in setup["crops"]]
    for mine, theirs in zip(own, setup["crops"], strict=True):
        assert set(mine) <= set(theirs)
        for key in ("name", "tkw_g", "tkw_low", "tkw_high", "test_weight_kg_hl", "round_seed", "seed_diameter_mm"):
            assert mine[key] == theirs[key], (mine["key"], key)
