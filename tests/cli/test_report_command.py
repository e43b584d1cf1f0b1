"""``chaffinch report`` and ``card --pdf``: what is written, what is kept, and one clear line for everything else."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from farm_book import logged

DAY = ("--date", "2026-08-15")
Chaffinch = Callable[..., Any]


def is_pdf(path: Path) -> bool:
    return path.read_bytes().startswith(b"%PDF-1.7")


def test_a_check_is_reported_issued_and_printed_again(chaffinch: Chaffinch, farm: Path) -> None:
    check = logged(chaffinch, "--field", "Long Hollow", "--combine", "Old Bess")
    ran = chaffinch("report", "check", check[:8], *DAY)
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith(f"wrote check-{check[:8]}-2026-08-15.pdf  1 page")
    assert is_pdf(farm / f"check-{check[:8]}-2026-08-15.pdf")
    figures = chaffinch("report", "check", check[:8], *DAY, "--json").data
    whole = chaffinch("check", check[:8], "--book", "larkhollow.chaffinch", "--json").data
    assert figures["sources"] == whole["sources"]
    assert chaffinch("report", "list").out.strip().startswith("No report was issued")
    ran = chaffinch("report", "check", check[:8], *DAY, "--issue", "--pdf", "one.pdf")
    assert ran.status == 0
    assert "kept as report" in ran.out
    record = chaffinch("report", "list", "--json").data[0]["id"][:8]
    assert chaffinch("report", "again", record, "--pdf", "two.pdf").status == 0
    assert (farm / "one.pdf").read_bytes() == (farm / "two.pdf").read_bytes()
    assert chaffinch("report", "again", record, "--json").data == figures


def test_a_check_file_needs_no_book(chaffinch: Chaffinch, farm: Path) -> None:
    (farm / "larkhollow.chaffinch").unlink()
    ran = chaffinch("report", "check", "check.toml", "--short", "--paper", "letter", *DAY)
    assert ran.status == 0, ran.err
    assert ran.out == "wrote check-check-2026-08-15.pdf  1 page\n"


def test_every_field_of_a_season_in_a_folder(chaffinch: Chaffinch, farm: Path) -> None:
    for name in ("a/b\\c", "a b c", "שדה", "田"):
        assert chaffinch("book", "add", "field", name, "--set", "season=2026", "--set", "crop=pea").status == 0
    logged(chaffinch, "--field", "Long Hollow", "--combine", "Old Bess")
    ran = chaffinch("report", "field", "--all", "--short", "--pdf", "out", *DAY)
    assert ran.status == 2
    assert "1 of 5 fields have no report" in ran.err
    assert "not written: 田: " in ran.out
    names = {path.name for path in (farm / "out").iterdir()}
    assert {"field-Long-Hollow-2026-08-15.pdf", "field-a-b-c-2026-08-15.pdf", "field-שדה-2026-08-15.pdf"} < names
    assert len(names) == 4, "two names that make one file name are told apart by their ids"
    assert all(is_pdf(farm / "out" / name) for name in names)


def test_cards_and_the_sheet(chaffinch: Chaffinch, farm: Path) -> None:
    assert chaffinch("card", "--pdf", "cards.pdf", "--date", "2026-08-15").out == "wrote cards.pdf  1 card\n"
    ran = chaffinch("card", "--combine", "Old Bess", "--field", "Long Hollow", "--pan", "tray", "--pdf", "one.pdf",
                    "--address", "https://farm.local:8443", "--paper", "half-letter")  # fmt: skip
    assert (ran.status, ran.out) == (0, "wrote one.pdf  1 card\n")
    assert chaffinch("card", "--from", "check.toml", "--pdf", "file.pdf").out == "wrote file.pdf  1 card\n"
    assert chaffinch("report", "sheet", *DAY).out == "wrote check-sheet.pdf\n"
    assert all(is_pdf(farm / name) for name in ("cards.pdf", "one.pdf", "file.pdf", "check-sheet.pdf"))


def test_the_address_is_asked_for_where_somebody_types(
    chaffinch: Chaffinch, farm: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from chaffinch.cli.terminal import asking

    typed = iter(["farm", "https://farm.local", ""])
    monkeypatch.setattr(asking, "a_person_types", lambda: True)
    monkeypatch.setattr(asking, "read_line", lambda _prompt: next(typed))
    ran = chaffinch("card", "--pdf", "with.pdf", "--date", "2026-08-15")
    assert ran.status == 0
    assert "is no address of a page" in ran.out, "what cannot be used is asked again"
    assert chaffinch("card", "--pdf", "without.pdf", "--date", "2026-08-15").status == 0
    sizes = [(farm / name).stat().st_size for name in ("with.pdf", "without.pdf")]
    assert sizes[0] > sizes[1], "Enter leaves the code out"


def test_the_same_bytes_from_another_process(farm: Path) -> None:
    for seed in ("1", "2"):
        subprocess.run(
            [sys.executable, "-m", "chaffinch", "report", "check", "check.toml", *DAY, "--pdf", f"{seed}.pdf"],
            check=True, cwd=farm, env=os.environ | {"PYTHONHASHSEED": seed}, capture_output=True,
        )  # fmt: skip
    assert (farm / "1.pdf").read_bytes() == (farm / "2.pdf").read_bytes()


BAD = [
    (("report", "field", "Nowhere"), "FIELD: is not in the book (got 'Nowhere')"),
    (("report", "field"), "FIELD: is missing; name one, or say --all"),
    (("report", "field", "Long Hollow", "--all"), "FIELD: is given beside --all"),
    (("report", "check", "ffffffff"), "check: is not in the book (got 'ffffffff')"),
    (("report", "check", "nix.toml"), "file: does not exist (got 'nix.toml')"),
    (("report", "check", "check.toml", "--issue"), "--issue: needs a check of the book"),
    (("report", "check", "check.toml", "--date", "2026-02-30"), "--date: is no day that exists"),
    (("report", "check", "check.toml", "--pdf", "no/where.pdf"), "--pdf: lies in a folder that does not exist"),
    (("report", "check", "check.toml", "--pdf", "."), "--pdf: is a folder, not a file"),
    (("report", "check", "check.toml", "--pdf", "check.toml"), "--pdf: is there already"),
    (("report", "check", "check.toml", "--pdf", "/proc/x.pdf"), "--pdf: cannot be written"),
    (("report", "check", "check.toml", "--pdf", "a\0b.pdf"), "--pdf: cannot be a file"),
    (("report", "trial", "ffff"), "trial: is not in the book"),
    (("report", "again", "ffff"), "report: was not issued from this book"),
    (("report", "season", "--hour-cost", "lots"), "--hour-cost: does not start with a number"),
    (("report", "nothing"), "report: there is no such command"),
    (("card", "--combine", "Old Bess"), "--pdf: is missing; cards of a book are printed"),
    (("card", "--combine", "Nix", "--pdf", "x.pdf"), "--combine: is not in the book (got 'Nix')"),
    (("card", "--combine", "Old Bess", "--limit", "1 bu/ac", "--pdf", "x.pdf"), "--limit: is told by the book"),
    (("card", "--pdf", "x.pdf", "--address", "farm"), "--address: is no address of a page"),
]


@pytest.mark.parametrize(("arguments", "line"), BAD)
def test_one_line_for_what_is_wrong(chaffinch: Chaffinch, farm: Path, arguments: tuple[str, ...], line: str) -> None:
    before = sorted(path.name for path in farm.iterdir())
    ran = chaffinch(*arguments)
    assert ran.status == 2
    assert ran.err.count("\n") == 1
    assert line in ran.err
    assert sorted(path.name for path in farm.iterdir()) == before, "nothing half is left"


@pytest.mark.usefixtures("farm")
def test_a_missing_typesetter_is_said_in_a_line(chaffinch: Chaffinch, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "typst", None)
    ran = chaffinch("report", "check", "check.toml")
    assert ran.status == 1
    assert ran.err == "chaffinch: paper needs the typesetter, which is not installed: pip install 'chaffinch[paper]'\n"
    ran = chaffinch("demo")
    assert ran.status == 0
    assert "No paper this time: paper needs the typesetter" in " ".join(ran.out.split())


def test_the_demo_writes_two_pages_and_says_where(chaffinch: Chaffinch, tmp_path: Path) -> None:
    ran = chaffinch("demo", "--paper", str(tmp_path / "out"))
    assert ran.status == 0
    for name in ("larkhollow-card.pdf", "larkhollow-check.pdf"):
        assert f"wrote {tmp_path / 'out' / name}" in ran.out
        assert is_pdf(tmp_path / "out" / name)


def test_a_check_loads_no_typesetter() -> None:
    """What ``chaffinch check`` imports stays as small as it was."""
    code = "import sys, chaffinch.cli.check_page; print(*(n in sys.modules for n in ('typst', 'segno')))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]


def test_a_combine_without_a_width_holds_no_other_card_up(chaffinch: Callable[..., Any], farm: Path) -> None:
    assert chaffinch("book", "add", "combine", "Young Bess", "--set", "cut_width=30 ft").status == 0
    ran = chaffinch("card", "--pdf", "cards.pdf", "--date", "2026-08-15")
    assert ran.status == 0, ran.err
    said = " ".join(ran.out.split())
    assert "Left out: Young Bess" in said
    assert 'chaffinch book edit-label combine "Young Bess" drop_width' in said
    assert said.endswith("wrote cards.pdf 1 card")
    assert is_pdf(farm / "cards.pdf")
    one = chaffinch("card", "--combine", "Young Bess", "--pdf", "none.pdf")
    assert one.status == 2
    assert 'edit-label combine "Young Bess" drop_width "66 in"' in " ".join(one.err.split())
    assert not (farm / "none.pdf").exists()
