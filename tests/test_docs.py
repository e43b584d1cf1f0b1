"""Do the pages tell the truth, and does the site build?

Every ``>>>`` example and every shown command is run; ``python tests/test_docs.py`` writes the output of the commands
anew into the pages.
"""

from __future__ import annotations

import contextlib
import doctest
import io
import os
import re
import shlex
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest

from demo_book_once import written_by_script

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
ENGINE = ROOT / "src" / "chaffinch" / "engine"

PAGES = sorted(path for path in DOCS.rglob("*.md") if "_build" not in path.parts)
TOLD = [*PAGES, ROOT / "README.md", ROOT / "CONTRIBUTING.md"]
ENTRIES = sorted(path for path in (ROOT / "changelog.d").glob("*.md") if path.name != "README.md")

# A folder's rooms are told on one page of its name; these stand on another one.
ON_ANOTHER_PAGE = {
    "machine_cost": "work",
    "marginal": "response",
    "sampling/proposals": "sampler",
    "sampling/sampler": "sampler",
    "sampling/small_inverse": "ledger",
    "sampling/sobol": "sampler",
    "worth_choice": "worth",
}
NO_PAGE = {"__init__", "domain"}


def engine_rooms() -> list[str]:
    """Like ``catch`` and ``ledger/area``."""
    return sorted(
        path.relative_to(ENGINE).with_suffix("").as_posix() for path in ENGINE.rglob("*.py") if path.stem not in NO_PAGE
    )


def page_of(room: str) -> str:
    """Name of the method page that tells a room."""
    return ON_ANOTHER_PAGE.get(room, room.split("/", maxsplit=1)[0])


FENCE = re.compile(r"^```(?P<info>[a-z]*)[^\n]*\n(?P<body>.*?)^```[ \t]*$", re.MULTILINE | re.DOTALL)


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def blocks(path: Path, info: str) -> Iterator[tuple[int, str]]:
    """Fenced blocks of one kind: index of the line the body starts on, and the body."""
    text = path.read_text(encoding="utf-8")
    for match in FENCE.finditer(text):
        if match["info"] == info:
            yield text.count("\n", 0, match.start("body")), match["body"]


# --- examples in Python -------------------------------------------------------------------------------------------

WITH_EXAMPLES = [path for path in TOLD if any(">>>" in body for _, body in blocks(path, "python"))]


@pytest.mark.parametrize("path", WITH_EXAMPLES, ids=name_of)
def test_examples_in_python_give_what_is_shown(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    parser, names = doctest.DocTestParser(), dict[str, object]()
    report: list[str] = []
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS, verbose=False)
    for line, body in blocks(path, "python"):
        if ">>>" in body:
            example = parser.get_doctest(body, names, path.name, str(path), line)
            runner.run(example, out=report.append, clear_globs=False)
            names = example.globs
    assert runner.tries > 0
    assert not runner.failures, "".join(report)


def test_pages_with_numbers_have_examples() -> None:
    here = {name_of(path) for path in WITH_EXAMPLES}
    rooms = {f"docs/method/{page_of(room)}.md" for room in engine_rooms()}
    assert rooms - {"docs/method/work.md"} <= here  # work.md is held by tests/engine/test_work*.py
    assert "docs/library.md" in here


# --- commands -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Shown:
    """One command shown on a page, and the text below it."""

    path: Path
    line: int
    command: str
    output: str

    def __str__(self) -> str:
        return f"{name_of(self.path)}:{self.line}"


def shown_commands(path: Path) -> Iterator[Shown]:
    for first, body in blocks(path, "console"):
        lines = body.splitlines()
        starts = [i for i, line in enumerate(lines) if line.startswith("$ ")]
        assert starts, f"{name_of(path)}:{first + 1}: a console block begins with a command"
        assert starts[0] == 0, f"{name_of(path)}:{first + 1}: text stands above the first command"
        for start, end in zip(starts, [*starts[1:], len(lines)], strict=True):
            yield Shown(path, first + start + 1, lines[start][2:].strip(), "\n".join(lines[start + 1 : end]))


def tidy(text: str) -> str:
    """Text without trailing blanks and without blank lines at its ends."""
    lines = [line.rstrip() for line in text.splitlines()]
    while lines and not lines[0]:
        lines.pop(0)
    while lines and not lines[-1]:
        lines.pop()
    return "\n".join(lines)


ON_THE_DEMO_BOOK = (DOCS / "decide.md", DOCS / "day.md", DOCS / "advise.md")


@cache
def demo_book() -> str:
    """The demo book for the pages whose commands are about it, when this file is run by itself."""
    folder = Path(tempfile.mkdtemp())
    return str(written_by_script(folder, folder).book)


@pytest.fixture(scope="module")
def book_of_the_pages(tmp_path_factory: pytest.TempPathFactory) -> Callable[[], str]:
    """The demo book, when it is asked for."""
    return cache(lambda: str(written_by_script(tmp_path_factory.getbasetemp(), tmp_path_factory.mktemp("pages")).book))


def run_command(shown: Shown, book: Callable[[], str] = demo_book) -> str:
    """What ``chaffinch …`` prints from the root of the repository on a plain terminal of 80 columns."""
    from chaffinch.cli.main import run

    arguments = shlex.split(shown.command)[1:]
    told = {"COLUMNS": "80", "NO_COLOR": "1", "TZ": "UTC"}
    if shown.path in ON_THE_DEMO_BOOK:
        told["CHAFFINCH_BOOK"] = book()
    # A file of bytes below it, so that the command sees an encoding as it does on a terminal.
    stream = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True)
    before = {key: os.environ.get(key) for key in told}
    os.environ |= told
    time.tzset()
    try:
        with contextlib.chdir(ROOT), contextlib.redirect_stdout(stream), contextlib.redirect_stderr(stream):
            run(arguments)
    finally:
        for key, value in before.items():
            if value is None:
                del os.environ[key]
            else:
                os.environ[key] = value
        time.tzset()
    raw = stream.buffer
    assert isinstance(raw, io.BytesIO)
    return raw.getvalue().decode("utf-8")


COMMANDS_SHOWN = [shown for path in TOLD for shown in shown_commands(path)]
OURS = [shown for shown in COMMANDS_SHOWN if shown.command.split()[0] == "chaffinch"]


@pytest.mark.parametrize("shown", OURS, ids=str)
def test_command_prints_what_is_shown(shown: Shown, book_of_the_pages: Callable[[], str]) -> None:
    assert not set(shown.command) & set("|<>;&`"), "the test runs one command, not a shell"
    assert tidy(run_command(shown, book_of_the_pages)) == tidy(shown.output)


def test_other_commands_are_targets_of_the_makefile() -> None:
    text = (ROOT / "Makefile").read_text(encoding="utf-8")
    targets = set(re.findall(r"^([a-z][a-z-]*):", text, re.MULTILINE))
    others = [shown for shown in COMMANDS_SHOWN if shown not in OURS]
    assert others, "CONTRIBUTING.md names make targets"
    for shown in others:
        words = shown.command.split()
        assert words[0] == "make", f"{shown}: put commands no test can run into an sh block"
        assert set(words[1:]) <= targets, str(shown)


def test_every_command_is_documented() -> None:
    from chaffinch.cli.main import COMMANDS

    page = DOCS / "commands.md"
    headings = re.findall(r"^## (\S+)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    assert [heading for heading in headings if heading in COMMANDS] == list(COMMANDS)
    helped = {shown.command for shown in shown_commands(page)}
    assert {f"chaffinch {name} --help" for name in COMMANDS} <= helped


# --- the site -----------------------------------------------------------------------------------------------------


class Fetched(HTMLParser):
    """Collects what a browser fetches by itself when it opens a page."""

    def __init__(self) -> None:
        super().__init__()
        self.addresses: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {key: value or "" for key, value in attrs}
        # An <a> is followed only when clicked; everything else with an address is fetched.
        if tag != "a":
            self.addresses += [given[key] for key in ("src", "href", "data", "poster", "action") if key in given]
            self.addresses += [part.split()[0] for part in given.get("srcset", "").split(",") if part.strip()]


ELSEWHERE = re.compile(r"^(?:[a-z][a-z0-9+.-]*:)?//", re.IGNORECASE)
IN_STYLE = re.compile(r"url\(\s*['\"]?([^'\")]+)|@import\s+['\"]([^'\"]+)", re.IGNORECASE)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site, built as ``make docs`` builds it."""
    out = tmp_path_factory.mktemp("site")
    # The build may open no connection: a style or an inventory fetched here would be missed on a farm without signal.
    offline = (
        "import socket, sys\n"
        "def refuse(*_, **__): raise SystemExit('the build tried to reach the network')\n"
        "socket.socket.connect = socket.getaddrinfo = refuse\n"
        "from sphinx.cmd.build import main\n"
        "sys.exit(main(sys.argv[1:]))"
    )
    arguments = ["-W", "--keep-going", "-q", "-b", "html", "-d", str(out / "doctrees"), str(DOCS), str(out / "html")]
    done = subprocess.run(
        [sys.executable, "-c", offline, *arguments], capture_output=True, text=True, check=False, cwd=ROOT
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return out / "html"


def test_site_has_every_page(site: Path) -> None:
    built = {path.relative_to(site).with_suffix("").as_posix() for path in site.rglob("*.html")}
    assert {path.relative_to(DOCS).with_suffix("").as_posix() for path in PAGES} <= built


def test_site_fetches_nothing_from_another_host(site: Path) -> None:
    seen = 0
    for path in site.rglob("*.html"):
        page = Fetched()
        text = path.read_text(encoding="utf-8")
        page.feed(text)
        seen += len(page.addresses)
        styles = [a or b for a, b in IN_STYLE.findall(text)]
        assert [x for x in (*page.addresses, *styles) if ELSEWHERE.match(x)] == [], path.name
    for path in site.rglob("*.css"):
        styles = [a or b for a, b in IN_STYLE.findall(path.read_text(encoding="utf-8"))]
        assert [x for x in styles if ELSEWHERE.match(x)] == [], path.name
    assert seen > 50  # the parser does find style sheets and scripts


def test_what_a_browser_fetches_is_found() -> None:
    page = Fetched()
    page.feed('<link href="//a.example/x.css"><script src="https://b.example/x.js"></script><img srcset="x.png 2x">')
    page.feed('<a href="https://c.example">a source</a><img src="_static/x.png">')
    assert page.addresses == ["//a.example/x.css", "https://b.example/x.js", "x.png", "_static/x.png"]
    assert [x for x in page.addresses if ELSEWHERE.match(x)] == page.addresses[:2]
    assert IN_STYLE.findall("@import 'https://d.example/y.css'; src: url(//e.example/f.woff2)") == [
        ("", "https://d.example/y.css"),
        ("//e.example/f.woff2", ""),
    ]


def test_every_page_is_reached_from_the_index(site: Path) -> None:
    # The HTML of the index holds the whole tree of pages in its side bar.
    text = (site / "index.html").read_text(encoding="utf-8")
    for path in PAGES:
        link = path.relative_to(DOCS).with_suffix(".html").as_posix()
        assert link == "index.html" or f'href="{link}"' in text, link


# --- words, rooms, entries ----------------------------------------------------------------------------------------


def rows_of(path: Path, heading: str) -> list[list[str]]:
    """Cells of the first table below a heading, without its head."""
    below = path.read_text(encoding="utf-8").split(f"{heading}\n", 1)[1]
    lines = re.search(r"(?:^\|.*\n)+", below, re.MULTILINE)
    assert lines is not None
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[0].splitlines()[2:]]


@pytest.mark.parametrize("room", engine_rooms())
def test_every_engine_room_has_its_method_page(room: str) -> None:
    page = DOCS / "method" / f"{page_of(room)}.md"
    text = page.read_text(encoding="utf-8")
    assert f"`chaffinch.engine.{room.replace('/', '.')}`" in text
    assert "\n## Limits\n" in text
    assert "\n## Worked example\n" in text
    listing = (DOCS / "method" / "index.md").read_text(encoding="utf-8")
    assert f"]({page.name})" in listing
    tree = listing.split("```{toctree}")[1].split("```")[0]
    assert page.stem in tree.split()
    assert f"`{room}`" in (DOCS / "design.md").read_text(encoding="utf-8")


def test_glossary_has_the_words_of_the_code() -> None:
    from typing import get_args

    from chaffinch.engine.estimate import Verdict
    from chaffinch.engine.evidence import SOURCES
    from chaffinch.records.check import PLACES, ReadingKind

    page = DOCS / "glossary.md"
    words = {row[0]: row for row in rows_of(page, "# Glossary")}
    assert re.findall("`([^`]+)`", words["place"][1]) == list(PLACES)
    assert re.findall("`([^`]+)`", words["source"][1]) == list(SOURCES)
    for heading, known in (
        ("## Places", PLACES),
        ("## Ways of reading", get_args(ReadingKind)),
        ("## Verdicts", get_args(Verdict)),
    ):
        assert [row[0].strip("`") for row in rows_of(page, heading)] == list(known), heading


def test_defaults_on_the_pages_are_those_of_the_code() -> None:
    from chaffinch.engine.catch import PAN_SD, SCALE_SD
    from chaffinch.engine.estimate import PRIOR_MEDIAN_KG_HA, PRIOR_SHARE
    from chaffinch.engine.exposure import VARIATION, WIDTH_SD

    method = DOCS / "method"
    variation = [re.search(r"`(\w+)`\)", row[0]) for row in rows_of(method / "exposure.md", "each other catches are")]
    c0 = [float(row[1]) for row in rows_of(method / "exposure.md", "each other catches are")]
    assert {m[1]: value for m, value in zip(variation, c0, strict=True) if m} == VARIATION
    widths = rows_of(method / "exposure.md", "A check file may give its own `variation` for a catch.")
    assert {row[0].split()[-1]: float(row[1]) for row in widths} == WIDTH_SD
    shared = [float(row[1]) for row in rows_of(method / "catch.md", "## Shared errors")]
    kinds = ("weighed", "measured", "counted", "counted, own TKW", "flat")
    assert shared == [*(SCALE_SD[kind] for kind in kinds), PAN_SD]
    priors = rows_of(method / "estimate.md", "has none.")
    assert {row[0]: float(row[1].split()[0]) for row in priors} == {s: 100 * p for s, p in PRIOR_SHARE.items()}
    assert {row[0]: float(row[2].split()[0]) for row in priors} == PRIOR_MEDIAN_KG_HA


def test_design_page_has_the_import_direction_of_the_contract() -> None:
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]
    layers = next(c["layers"] for c in contracts["contracts"] if c["type"] == "layers")
    assert " -> ".join(layers) in (DOCS / "design.md").read_text(encoding="utf-8")


def test_cautions_put_the_manual_first() -> None:
    text = (DOCS / "cautions.md").read_text(encoding="utf-8")
    assert text.splitlines()[2] == "**Your operator's manual and local rules come first.**"
    named = {letter for found in re.findall(r"\(([A-Z0-9, ]+)\)$", text, re.MULTILINE) for letter in found.split(", ")}
    explained = {letter for row in rows_of(DOCS / "cautions.md", "## Sources") for letter in row[0].split(", ")}
    assert named - {"D"} == explained - {"fire"}


MACHINE_PATH = re.compile(r"(?<![\w.:/<])/(?:[\w.-]+/)+|(?<!\w)~/|\b[A-Z]:\\")


@pytest.mark.parametrize("path", [*TOLD, *ENTRIES, ROOT / "changelog.d" / "README.md", DOCS / "conf.py"], ids=name_of)
def test_no_page_names_a_path_of_a_machine(path: Path) -> None:
    assert MACHINE_PATH.findall(path.read_text(encoding="utf-8")) == []


def test_the_pattern_for_machine_paths_finds_them() -> None:
    assert MACHINE_PATH.search("see /home/ines/check.toml")
    assert MACHINE_PATH.search("C:\\Users")
    assert not MACHINE_PATH.search("km/h, 14.50 /bu, 5 / 50 / 95 and https://example.org/home/")


@pytest.mark.parametrize("path", ENTRIES, ids=name_of)
def test_changelog_entry_says_before_and_now(path: Path) -> None:
    assert re.fullmatch(r"\d{4}(-[a-z0-9]+)+\.md", path.name)
    lines = path.read_text(encoding="utf-8").splitlines()
    assert lines[0].startswith("## ")
    for word in ("Before: ", "Now: "):
        assert sum(line.startswith(word) for line in lines) == 1, word


def test_changes_page_includes_every_entry_once() -> None:
    included = re.findall(r"\{include\} \.\./changelog\.d/(\S+)", (DOCS / "changes.md").read_text(encoding="utf-8"))
    assert included == [path.name for path in ENTRIES]
    numbers = [path.name[:4] for path in ENTRIES]
    assert numbers == sorted(set(numbers))
    assert numbers


# --- writing the blocks anew --------------------------------------------------------------------------------------


def rewrite(path: Path) -> bool:
    """Put what the commands print now below them; return whether the page changed."""

    def anew(match: re.Match[str]) -> str:
        if match["info"] != "console" or "$ chaffinch" not in match["body"]:
            return match[0]
        commands = [line for line in match["body"].splitlines() if line.startswith("$ ")]
        told = [f"{line}\n{tidy(run_command(Shown(path, 0, line[2:].strip(), '')))}\n" for line in commands]
        return "```console\n" + "\n".join(told) + "```"

    before = path.read_text(encoding="utf-8")
    after = FENCE.sub(anew, before)
    path.write_text(after, encoding="utf-8")
    return after != before


if __name__ == "__main__":
    for told in TOLD:
        if rewrite(told):
            print("written anew:", name_of(told))
