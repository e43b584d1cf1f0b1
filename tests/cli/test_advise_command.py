"""``chaffinch advise``: as a person sees it, cautions first."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from typing_person import Person

from chaffinch.book.advice.advise import AdviceTerms, advise_check, advise_file
from chaffinch.book.checks.held import find_check
from chaffinch.book.wording import CAUTION, CAUTIONS
from chaffinch.cli.advise_page import all_questions, leak_walk, show
from chaffinch.cli.terminal.page import Page
from chaffinch.engine.advice.changes import RankedChange
from chaffinch.engine.estimate import Range
from chaffinch.records.checkfile import read_check_file
from chaffinch.reference.advice_read import advice_table
from season_book import SeasonBook, start

CHECK = """
crop = "canola"
country = "CA"
yield = "2.5 t/ha"
price = "600 /t"
[combine]
cut_width = "12 m"
drop_width = "1.8 m"
[[catch]]
place = "discharge"
pan = "0.4 m2"
amount = "60 g"
step = "0.1 g"
"""


@pytest.fixture
def harvest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> SeasonBook:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TZ", "UTC")
    monkeypatch.setenv("CHAFFINCH_BOOK", "larkhollow.chaffinch")
    book = start(tmp_path / "larkhollow.chaffinch")
    book.ids["check"] = book.check("Old Bess", 10, 8, machine_kg_ha=90.0)
    return book


def one_line(text: str) -> str:
    return " ".join(text.split())


def test_a_check_file_is_advised(chaffinch, check_file):
    ran = chaffinch("advise", check_file(CHECK), "--answer", "found=chaff", "--answer", "chaff=far",
                    "--stop-cost", "250 /h", "--area-left", "40 ha")  # fmt: skip
    assert ran.status == 0, ran.err
    said = one_line(ran.out)
    assert "Worth trying: Turn the fan one small step slower." in said
    assert "may spoil: a dirtier sample: 0 to 0.2 % of the crop's value (from memory: G1, FWI)" in said
    assert "undo: turn it back to the speed you wrote down." in said
    assert "Most telling next" in said
    assert said.index("engine off, key out") < said.index("Turn the fan")


def test_nothing_worth_changing_and_measure_first_are_answers(chaffinch, check_file):
    small = CHECK.replace("60 g", "4 g")
    ran = chaffinch("advise", check_file(small), "--answer", "strip=clean", "--answer", "when=always",
                    "--answer", "tank=clean", "--answer", "seat=none", "--json")  # fmt: skip
    assert ran.data["standing"] == "nothing"
    assert ran.data["changes"] == []
    said = one_line(chaffinch("advise", check_file(CHECK)).out)
    assert "Measure first" in said
    assert "frames in the cut strip" in said
    against = [f"--answer={one}" for one in ("found=line", "chaff=far", "tank=green", "straw=short", "seat=lumps")]
    assert "Changing a setting now would be a guess." in one_line(chaffinch("advise", check_file(CHECK), *against).out)


def test_the_last_check_of_the_only_combine_of_a_book(chaffinch, harvest):
    ran = chaffinch("advise", "--combine", "Old Bess", "--crop", "canola", "--answer", "found=chaff",
                    "--answer", "chaff=far", "--keep", "--json")  # fmt: skip
    assert ran.status == 0, ran.err
    assert ran.data["check"] == harvest.ids["check"]
    again = chaffinch("advise", "--book", "larkhollow.chaffinch", harvest.ids["check"][:8], "--json")
    assert again.data["answers"] == {"found": "chaff", "chaff": "far"}
    assert again.data["changes"][0]["trial"] == {"a": "fan speed=NOW", "b": "fan speed=LESS"}


def test_an_answer_that_was_kept_is_taken_back(chaffinch, harvest):
    here = ("advise", "--combine", "Old Bess")
    answers = ("--answer", "found=chaff", "--answer", "chaff=far")
    assert chaffinch(*here, *answers, "--keep", "--no-questions").status == 0
    ran = chaffinch(*here, "--take-back", "chaff")
    assert ran.status == 0, ran.err
    assert f"taken back beside check {harvest.ids['check'][:8]}: chaff" in one_line(ran.out)
    assert chaffinch(*here, "--json").data["answers"] == {"found": "chaff"}
    again = chaffinch(*here, "--take-back", "chaff", "--take-back", "found")
    assert again.status == 2
    assert "is not kept beside check" in again.err
    assert "kept are found" in again.err
    told = chaffinch(*here, "--take-back", "found", "--json").data
    assert (told["check"], told["taken_back"]) == (harvest.ids["check"], ["found"])
    assert chaffinch(*here, "--json").data["answers"] == {}
    assert "nothing is kept there" in chaffinch(*here, "--take-back", "found").err


def test_what_was_tried_is_noted_and_counts(chaffinch, harvest):
    asked = ("advise", "--combine", "Old Bess", "--answer", "found=chaff", "--answer", "chaff=far")
    for _ in range(2):
        ran = chaffinch("advise", "--combine", "Old Bess", "--tried", "fan_down=none")
        assert ran.status == 0, ran.err
        assert "fan_down, without effect" in ran.out
    # Noted again after the same check it was tried once.
    told = one_line(chaffinch(*asked).out)
    assert "was tried twice" not in told
    assert "A note says that it did not help on this machine" in told
    assert harvest.ids["check"][:8] in told
    second = harvest.check("Old Bess", 11, 8, machine_kg_ha=90.0)
    assert chaffinch("advise", "--combine", "Old Bess", "--tried", "fan_down=none").status == 0
    told = one_line(chaffinch(*asked).out)
    assert "was tried twice on this machine without effect" in told
    assert second[:8] in told


@pytest.mark.usefixtures("harvest")
@pytest.mark.parametrize(
    ("more", "told"),
    [
        (("--answer", "found"), "write it like found=chaff"),
        (("--answer", "found=moon"), "answer, found"),
        (("--answer", "moon=full"), "question"),
        (("--answer", "found=chaff", "--answer", "found=straw"), "is answered twice"),
        (("--tried", "fan_down=perhaps"), "says no outcome"),
        (("--tried", "hammer=helped"), "hammer"),
        (("--take-back", "found", "--tried", "fan_down=none"), "is given together with --tried"),
        (("--take-back", "found", "--answer", "found=chaff"), "is given together with --answer"),
        (("--crop", "canola"), "goes with --combine"),
        (("--stop-cost", "250 pints"), "--stop-cost"),
        (("--area-left", "0 ha"), "--area-left"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_line(chaffinch, more, told):
    with_combine = () if "--crop" in more else ("--combine", "Old Bess")
    ran = chaffinch("advise", *with_combine, *more)
    assert ran.status == 2
    assert told in ran.err
    assert ran.err.count("\n") == 1


def test_notes_need_a_book(chaffinch, check_file):
    for flag in (("--keep",), ("--tried", "fan_down=none"), ("--take-back", "found")):
        ran = chaffinch("advise", check_file(CHECK), *flag)
        assert (ran.status, "needs a check of a book" in ran.err) == (2, True)


def test_a_person_is_asked_one_question_at_a_time(tmp_path):
    (tmp_path / "check.toml").write_text(CHECK, encoding="utf-8")
    person = Person("advise", "check.toml", folder=tmp_path)
    before = person.sees(r"Where is most of the lost seed\?")
    assert "engine off, key out" in before
    person.types(r"Number, Enter if you cannot say, or enough: ", "9")
    person.types(r"type 1 to 7.*enough: ", "3")
    person.types(r"enough: ", "")  # cannot say
    person.types(r"enough: ", "enough")
    status, said = person.leaves()
    assert status == 0
    assert "What it may be" in one_line(said)


def test_cautions_come_before_every_instruction(capsys, harvest):
    """Every change of the table as the first of a page, every question, the leak walk."""
    page = Page(80, colour=False, fine=True)
    found = advise_check(harvest.desk, find_check(harvest.desk, harvest.ids["check"]), AdviceTerms())
    file = advise_file(read_check_file(CHECK.encode()), AdviceTerms())
    some = Range(-1.0, 1.0, 3.0)
    for change in advice_table().changes:
        one = RankedChange(change, some, 1.0, some, 1.0, 0.7, 0.5, 0)
        for base in (found, file):
            show(dataclasses.replace(base, standing="change", shown=(one,)), page)
            said = one_line(capsys.readouterr().out)
            assert said.index(one_line(CAUTION)) < said.index(one_line(change.says)), change.key
            assert one_line(change.undo) in said
    leak_walk(page, as_data=False)
    said = one_line(capsys.readouterr().out)
    for place in advice_table().leaks:
        assert said.index(one_line(CAUTIONS[-1])) < said.index(one_line(place.says))
    all_questions(page, as_data=False)
    said = one_line(capsys.readouterr().out)
    for sign in advice_table().signs:
        if sign.asks:
            assert said.index(one_line(CAUTION)) < said.index(one_line(sign.how))


def test_leak_walk_and_questions_as_data(chaffinch):
    leaks = chaffinch("advise", "--leak-walk", "--json").data
    assert next(iter(leaks)) == "cautions"
    assert len(leaks["places"]) == len(advice_table().leaks)
    asked = chaffinch("advise", "--questions", "--json").data
    assert {one["question"] for one in asked["questions"]} == {s.key for s in advice_table().signs if s.asks}
