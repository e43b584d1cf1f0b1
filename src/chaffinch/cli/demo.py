"""``chaffinch demo``: an invented harvest day, told step by step."""

from __future__ import annotations

import tempfile
from importlib.resources import files
from pathlib import Path
from typing import Final

import click

from chaffinch.cli.terminal.page import Page
from chaffinch.errors import ChaffinchError, InputError

FILES: Final = ("first-stop.toml", "second-stop.toml", "second-stop-again.toml", "third-stop.toml")

OPENING: Final = (
    "Larkhollow is an invented farm: two combines, canola ready in Long Hollow, peas in Stone Corner. Nobody can "
    "see what the machines leave behind, so Ines and Tomas put pans down and write what they held in small check files."
)

STORY: Final = {
    "first-stop.toml": (
        "1. A clear answer",
        "10:40, the dew is off. Ines takes three pans behind Old Bess, spreader off, each dropped from a "
        "released tray. Three pans agree well enough to say it plainly.",
    ),
    "second-stop.toml": (
        "2. Can't tell yet",
        "11:30, Young Bess, one pan only: the truck is waiting. The textbook figure is well under the limit, but "
        "one pan cannot carry that, and the program says so instead of guessing.",
    ),
    "second-stop-again.toml": (
        "2 again. Four pans later",
        "11:45. Tomas takes four more at the same speed and settings. The range narrows, and the answer is clear.",
    ),
    "third-stop.toml": (
        "3. It is not the back of the machine",
        "15:10, peas. This time they also count frames in standing crop and in the cut strip. The pans in the "
        "discharge look fine; the loss is somewhere else.",
    ),
}

PAPER: Final = "And on paper, to print or to look at: the cab card of Old Bess, and the report of the last check."
NO_PAPER: Final = "No paper this time: {why}."

CLOSING: Final = (
    "That is the job: measure, locate, decide, change one thing, measure again. Your own check file looks like the "
    "ones above: chaffinch demo --write FOLDER puts them into a folder to play with."
)


@click.command("demo")
@click.option("--write", "folder", metavar="FOLDER", help="Only write the demo's check files into FOLDER.")
@click.option("--paper", metavar="FOLDER", help="Where card and report go; else a new temporary folder.")
def command(folder: str | None, paper: str | None) -> None:
    """Walk through an invented harvest day: one clear check, one unsettled, one with the header as culprit."""
    if folder is not None:
        _write(Path(folder))
        return
    from chaffinch.book.checks.answer import answer
    from chaffinch.cli.check_page import show
    from chaffinch.records.checkfile import read_check_file

    papers = None if paper is None else Path(paper)
    page = Page.here()
    page.say()
    page.two_ends("A harvest day at Larkhollow", "an invented farm")
    page.say()
    page.paragraph(OPENING)
    for name in FILES:
        title, text = STORY[name]
        page.say()
        page.say(("─" if page.fine else "-") * page.width)
        page.say(page.plum(page.strong(title)))
        page.say()
        page.paragraph(text)
        page.say()
        data = _text(name)
        for line in _catches(data):
            page.say(page.soft("    " + line))
        page.say(page.soft(f"  $ chaffinch check {name}"))
        show(answer(read_check_file(data, name=name)), page)
    page.say(("─" if page.fine else "-") * page.width)
    _on_paper(papers, page)
    page.say()
    page.paragraph(CLOSING)
    page.say()


def _on_paper(folder: Path | None, page: Page) -> None:
    """Write the card and the day's last report, and say where; why not, where they cannot be written."""
    from chaffinch.book.planning.card import card
    from chaffinch.cli.terminal.pdf_file import today
    from chaffinch.paper.cab_card import cab_card, print_cards
    from chaffinch.paper.check_report import check_file_report
    from chaffinch.paper.typeset import refuse_without_typesetter
    from chaffinch.paper.wanted import Wanted, made
    from chaffinch.records.checkfile import read_check_file

    day = today()
    try:
        refuse_without_typesetter()
        where = Path(tempfile.mkdtemp(prefix="larkhollow-")) if folder is None else folder
        where.mkdir(parents=True, exist_ok=True)
        names = where / "larkhollow-card.pdf", where / "larkhollow-check.pdf"
        first, last = (read_check_file(_text(name), name=name) for name in (FILES[0], FILES[-1]))
        names[0].write_bytes(print_cards([cab_card(card(first), size="half-letter", date=day)]).pdf)
        report = check_file_report(last, Wanted(date=day, size="letter"))
        names[1].write_bytes(made(report)[1].pdf)
    except (ChaffinchError, OSError) as error:
        why = (error.strerror if isinstance(error, OSError) else None) or str(error)
        page.paragraph(NO_PAPER.format(why=why.rstrip(".")))
        return
    page.paragraph(PAPER)
    for name in names:
        page.say(f"  wrote {name}")


def _text(name: str) -> str:
    return files("chaffinch.cli").joinpath("demo_day", name).read_text(encoding="utf-8")


def _catches(text: str) -> list[str]:
    """The part of a check file that a person writes at the stop: its catches, each on one line."""
    lines = []
    for block in text.split("[[catch]]")[1:]:
        parts = [line.strip() for line in block.strip().splitlines() if line.strip()]
        lines.append("[[catch]] " + "  ".join(parts))
    return lines


def _write(folder: Path) -> None:
    """Write the check files, never over an existing one."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in FILES:
            target = folder / name
            if target.exists():
                raise InputError("--write", str(target), "is there already", "name another folder")
        for name in FILES:
            (folder / name).write_text(_text(name), encoding="utf-8")
            click.echo(f"wrote {folder / name}")
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError("--write", str(folder), f"cannot be written ({reason})", "name a folder of your own") from None
