"""``chaffinch book log`` with a person at a terminal: a real process, a real pseudo-terminal."""

from __future__ import annotations

import sqlite3
import tomllib

import pytest
from farm_book import CHECK, live_there, logged
from typing_person import Person


@pytest.fixture
def farm(chaffinch, tmp_path, monkeypatch):
    live_there(chaffinch, tmp_path, monkeypatch)
    # The real clock runs here: an hour that lies behind it on any computer.
    (tmp_path / "check.toml").write_text(CHECK.replace("2026-08-14", "2024-08-14"), encoding="utf-8")
    return tmp_path


def to_the_first_catch(person: Person) -> None:
    person.types(r"When[^\n]*: ", "")
    person.types(r"Field[^\n]*: ", "Long Hollow")
    person.types(r"Crop \[canola\]: ", "")
    person.types(r"Combine[^\n]*\[Old Bess\]: ", "")
    person.types(r"speed[^\n]*: ", "7 km/h")
    person.types(r"Place \[discharge\]: ", "")
    person.types(r"Pan \[tray\]: ", "")
    person.types(r"division[^\n]*: ", "0.1 g")


def check_rows(farm) -> int:
    with sqlite3.connect(farm / "larkhollow.chaffinch") as book:
        return book.execute("SELECT COUNT(*) FROM check_row").fetchone()[0]


def test_a_check_is_logged_by_answering(farm, chaffinch):
    """Field, crop, combine, place, pan, two catches with the ruler after each; on disk before "saved"."""
    person = Person("book", "log", folder=farm)
    to_the_first_catch(person)
    person.types(r"Catch 1[^\n]*: ", "12.5 g")
    shown = person.sees(r"Another catch\?[^\n]*: ")
    assert "┬" in shown  # the ruler of the running estimate
    assert "machine loss" in shown
    assert "Can't tell yet" in shown
    assert check_rows(farm) == 0
    person.says("9.8 g")
    person.types(r"Another catch\?[^\n]*: ", "")
    person.sees(r"saved [0-9a-f]{8}  canola, 2 catches · Long Hollow · Old Bess")
    assert check_rows(farm) == 1
    status, rest = person.leaves()
    assert status == 0
    assert "Next:" in rest

    found = chaffinch("book", "show", "checks", "--json").data["checks"]
    assert [c["catches"] for c in found] == [2]
    assert found[0]["field"] is not None
    assert found[0]["season"] is not None


def test_the_caution_comes_before_anything_about_the_machine(farm):
    """Nobody is told to take a catch before the caution was shown."""
    person = Person("book", "log", folder=farm)
    to_the_first_catch(person)
    person.sees(r"Catch 1[^\n]*: ")
    before = person.seen[: person.seen.index("Place [")]
    assert "operator's manual" in before
    person.process.kill()
    person.leaves()


def test_bad_answers_are_asked_again_with_the_line_of_a_file(farm):
    """An unknown field, an impossible pan, an amount without a unit: said at once, asked again, nothing else lost."""
    person = Person("book", "log", folder=farm)
    person.types(r"When[^\n]*: ", "")
    person.types(r"Field[^\n]*: ", "Long Holow")
    assert "did you mean Long Hollow?" in person.sees(r"Field[^\n]*: ")
    person.says("Long Hollow")
    person.types(r"Crop[^\n]*: ", "canolla")
    person.types(r"did you mean.*Crop[^\n]*: ", "")
    person.types(r"Combine[^\n]*: ", "")
    person.types(r"speed[^\n]*: ", "7")
    person.types(r"unit.*speed[^\n]*: ", "")
    person.types(r"Place[^\n]*: ", "behnd")
    person.types(r"did you mean behind.*Place[^\n]*: ", "")
    person.types(r"Pan \[[^\n]*: ", "4 ft")
    person.types(r"ft2.*Pan \[[^\n]*: ", "2 ft x 2 ft")
    person.types(r"division[^\n]*: ", "")
    person.types(r"Catch 1[^\n]*: ", "12.5")
    person.types(r"amount.*12\.5.*Catch 1[^\n]*: ", "12.5 g")
    person.types(r"Another[^\n]*: ", "-3 g")
    person.types(r"amount.*-3.*Another[^\n]*: ", "")
    person.sees(r"saved [0-9a-f]{8}  canola, 1 catch ")
    assert person.leaves()[0] == 0
    assert check_rows(farm) == 1


def test_ctrl_c_asks_whether_to_keep_what_is_there(farm):
    """Ctrl-C after a catch: Enter keeps it."""
    person = Person("book", "log", folder=farm)
    to_the_first_catch(person)
    person.types(r"Catch 1[^\n]*: ", "12.5 g")
    person.interrupts(r"Another[^\n]*: ")
    person.types(r"Keep the catch taken so far\?[^\n]*: ", "")
    person.sees(r"saved [0-9a-f]{8}")
    assert person.leaves()[0] == 0
    assert check_rows(farm) == 1


def test_ctrl_c_and_no_leaves_the_book_as_it_was(farm):
    """Saying no after Ctrl-C writes nothing and says so."""
    person = Person("book", "log", folder=farm)
    to_the_first_catch(person)
    person.types(r"Catch 1[^\n]*: ", "12.5 g")
    person.interrupts(r"Another[^\n]*: ")
    person.types(r"Keep[^\n]*: ", "n")
    status, rest = person.leaves()
    assert status == 1
    assert "not kept" in rest
    assert check_rows(farm) == 0


@pytest.mark.parametrize("how", ["twice", "end of input"])
def test_what_was_typed_is_printed_when_the_person_is_gone(farm, how, chaffinch):
    """Ctrl-C twice, or no more input: the check is printed as a check file that can be logged later."""
    person = Person("book", "log", folder=farm)
    to_the_first_catch(person)
    person.types(r"Catch 1[^\n]*: ", "12.5 g")
    if how == "twice":
        person.interrupts(r"Another[^\n]*: ")
        person.interrupts(r"Keep[^\n]*: ")
    else:
        person.ends_input(r"Another[^\n]*: ")
    status, rest = person.leaves()
    assert status == 1
    assert "NOT SAVED" in rest
    assert check_rows(farm) == 0

    text = rest[rest.index("when =") : rest.index("chaffinch: stopped")]
    assert tomllib.loads(text)["catch"] == [{"place": "discharge", "pan": "4 ft2", "amount": "12.5 g"}]
    (farm / "later.toml").write_text(text, encoding="utf-8")
    ran = chaffinch("book", "log", "later.toml")
    assert ran.status == 0, ran.err
    assert "Long Hollow · Old Bess" in ran.out


def test_ctrl_c_before_the_first_catch_stops(farm):
    """Nothing caught, nothing to keep."""
    person = Person("book", "log", folder=farm)
    person.types(r"When[^\n]*: ", "")
    person.interrupts(r"Field[^\n]*: ")
    status, rest = person.leaves()
    assert status == 1
    assert "stopped" in rest
    assert "Traceback" not in rest


def test_not_saved_is_loud_and_prints_the_check(farm):
    """A book that refuses to be written: NOT SAVED, and the check as text that can be logged later."""
    with sqlite3.connect(farm / "larkhollow.chaffinch") as book:
        book.execute("CREATE TRIGGER full BEFORE INSERT ON record BEGIN SELECT RAISE(ABORT, 'disk is full'); END")
    person = Person("book", "log", folder=farm)
    to_the_first_catch(person)
    person.types(r"Catch 1[^\n]*: ", "12.5 g")
    person.types(r"Another[^\n]*: ", "")
    status, rest = person.leaves()
    assert status == 1
    assert "!!! NOT SAVED" in rest
    assert "saved " not in rest
    assert "disk is full" in rest
    text = rest[rest.index("when =") : rest.index("chaffinch: book")]
    assert tomllib.loads(text)["catch"][0]["amount"] == "12.5 g"
    assert check_rows(farm) == 0


def test_undo_and_another_place(farm, chaffinch):
    """A slip is taken back; a frame in the header strip follows in the same check."""
    person = Person("book", "log", folder=farm)
    to_the_first_catch(person)
    person.types(r"Catch 1[^\n]*: ", "125 g")
    person.types(r"Another[^\n]*: ", "undo")
    person.types(r"taken back: 125 g.*Catch 1[^\n]*: ", "12.5 g")
    person.types(r"Another[^\n]*: ", "place")
    person.types(r"Place[^\n]*: ", "header strip")
    person.types(r"Pan[^\n]*\]: ", "1 m2")
    person.types(r"Catch 2[^\n]*: ", "3.0 g")
    person.types(r"Another[^\n]*: ", "")
    person.sees(r"saved")
    assert person.leaves()[0] == 0
    one = chaffinch("book", "show", "checks", "--json").data["checks"][0]
    assert one["catches"] == 2
    assert set(one["judged"]["sources"]) == {"header", "machine"}


def test_what_is_missing_for_a_place_is_asked(farm, chaffinch):
    """Without a combine of the book: cut width, spreading and the width of the discharge are asked for."""
    person = Person("book", "log", "--combine", "Bare", folder=farm)
    assert person.leaves()[0] == 2  # a flag is judged like any other
    assert chaffinch("book", "add", "combine", "Bare", "--set", "cut_width=40 ft").status == 0
    person = Person("book", "log", "--combine", "Bare", "--field", "Long Hollow", "--crop", "canola", folder=farm)
    person.types(r"speed[^\n]*: ", "")
    person.types(r"Place[^\n]*: ", "")
    person.types(r"Pan[^\n]*\]: ", "")
    person.types(r"division[^\n]*: ", "")
    person.types(r"spreading on\?[^\n]*: ", "n")
    person.types(r"spreading off[^\n]*: ", "66 in")
    person.types(r"Catch 1[^\n]*: ", "44 seeds")
    person.types(r"Another[^\n]*: ", "")
    person.sees(r"saved")
    assert person.leaves()[0] == 0


def test_another_season_and_another_crop(farm, chaffinch):
    """A field that came back is asked for with its season; with another crop its canola prices are left out."""
    assert chaffinch("book", "add", "season", "2027").status == 0
    assert chaffinch("book", "add", "field", "Long Hollow", "--set", "season=2027", "--set", "crop=peas").status == 0
    person = Person("book", "log", "--combine", "Old Bess", "--pan", "tray", "--place", "discharge", folder=farm)
    person.types(r"When[^\n]*: ", "")
    person.types(r"Season \[2027\]: ", "2026")
    person.types(r"Field[^\n]*: ", "Long Hollow")
    person.types(r"Crop \[canola\]: ", "wheat")
    person.types(r"yield, limit, price are for canola.*speed[^\n]*: ", "")
    person.types(r"division[^\n]*: ", "")
    person.types(r"Catch 1[^\n]*: ", "12.5 g")
    person.types(r"Another[^\n]*: ", "")
    person.sees(r"saved [0-9a-f]{8}  wheat")
    assert person.leaves()[0] == 0
    data = chaffinch("where", "--field", "Long Hollow", "--season", "2026", "--json").data
    assert data["checks_on_it"] == 1
    assert data["checks"][0]["verdict"] is None


@pytest.mark.parametrize(("says", "rows", "status"), [("", 1, 1), ("y", 2, 0)])
def test_the_same_check_twice_is_asked_about(farm, chaffinch, says, rows, status):
    """A person is asked whether to log the same stop again; Enter means no."""
    assert chaffinch("book", "log", "check.toml").status == 0
    person = Person("book", "log", "check.toml", folder=farm)
    person.types(r"has this check already.*Log it again\? \(y/N\): ", says)
    ended, rest = person.leaves()
    assert ended == status
    assert "Traceback" not in rest
    assert check_rows(farm) == rows


def test_title_is_asked_for(tmp_path):
    """``book new`` without a title asks; an empty answer is asked again."""
    person = Person("book", "new", "a.chaffinch", folder=tmp_path)
    person.types(r"Title[^\n]*: ", "  ")
    person.types(r"empty.*Title[^\n]*: ", "Larkhollow")
    status, rest = person.leaves()
    assert status == 0
    assert "started a.chaffinch: Larkhollow" in rest


def test_columns_of_a_spreadsheet_are_matched_at_the_terminal(farm):
    """The matching is shown, changed by an answer, then the rows are shown and only then brought in."""
    rows = (
        "Date,Time,Paddock,Machine,Spot,Tray (ft2),Weight (g)\n14/08/2025,16:40,Mill Field,Old Bess,discharge,4,12.5\n"
    )
    (farm / "past.csv").write_text(rows, encoding="utf-8")
    person = Person("book", "import", "past.csv", "--zone", "UTC", folder=farm)
    person.types(r"Spot +left out.*Columns right\?[^\n]*: ", "")
    person.types(r"place.*Columns right\?[^\n]*: ", "Spto=place")
    person.types(r"did you mean Spot.*Columns right\?[^\n]*: ", "Spot=place")
    person.types(r"Spot +place.*Columns right\?[^\n]*: ", "crop=canola")
    person.types(r"crop canola.*Columns right\?[^\n]*: ", "")
    person.types(r"would come in.*Bring them in\?[^\n]*: ", "y")
    person.sees(r"came in")
    assert person.leaves()[0] == 0
    assert check_rows(farm) == 1
    person = Person("book", "import", "past.csv", "--column", "Spot=place", "--fixed", "crop=canola", folder=farm)
    person.types(r"Columns right\?[^\n]*: ", "")
    person.types(r"Bring them in\?[^\n]*: ", "n")
    assert "nothing was written" in person.leaves()[1]


def test_a_thing_is_added_by_answering(farm, chaffinch):
    """Without a name ``book add`` asks for it and for each field; what --set said is not asked."""
    person = Person("book", "add", "field", "--set", "season=2026", folder=farm)
    person.types(r"Name: ", "")
    person.types(r"is missing.*Name: ", "Stone Corner")
    person.types(r"The crop \(Enter for none\), like canola: ", "canolla")
    person.types(r"did you mean canola.*The crop [^\n]*: ", "canola")
    person.types(r"Area [^\n]*like 62 ha: ", "62")
    person.types(r"Area [^\n]*: ", "24 ha")
    person.types(r"Yield expected [^\n]*: ", "45 bu/ac")
    for about in ("Yield delivered", "Price of the crop", "The day of that price"):
        person.types(rf"{about} \(Enter for none\), like [^\n]*: ", "")
    person.types(r"Cut by a windrower first: yes or no \(Enter for none\): ", "yes")
    person.types(r"Loss above which acting pays \(Enter for none\), like 1 bu/ac: ", "")
    person.types(r"Anything else \(Enter for none\): ", "")
    person.sees(r"saved field Stone Corner \([0-9a-f]{8}\)")
    assert person.leaves()[0] == 0
    found = chaffinch("book", "show", "fields", "--json").data["things"][-1]
    assert (found["name"], found["crop"], found["area"]) == ("Stone Corner", "canola", "24 ha")
    assert found["windrowed"] is True
    assert found["season"] == chaffinch("book", "show", "seasons", "--json").data["things"][0]["id"]


def test_adding_can_be_stopped_and_a_taken_name_is_told_at_once(farm, chaffinch):
    """The name is judged before anything else is asked; Ctrl-C leaves the book as it was."""
    person = Person("book", "add", "combine", folder=farm)
    person.types(r"Name: ", "old bess")
    person.types(r"is taken.*Name: ", "Young Bess")
    person.interrupts(r"Cut width: of the crop that ends up in one discharge strip, like [^\n]*: ")
    status, rest = person.leaves()
    assert status == 1
    assert "nothing was added" in rest
    assert len(chaffinch("book", "show", "combines", "--json").data["things"]) == 1


def test_why_a_check_is_corrected_is_asked_for(farm, chaffinch):
    """A person is asked for the reason; a script gives --reason."""
    old = logged(chaffinch)
    person = Person("book", "replace", old[:8], "--combine", "Old Bess", folder=farm)
    person.types(r"Why[^\n]*: ", " ")
    person.types(r"is missing.*Why[^\n]*: ", "filing")
    person.sees(r"saved [0-9a-f]{8}, which replaces")
    assert person.leaves()[0] == 0
    assert chaffinch("book", "history", old[:8], "--json").data["versions"][-1]["body"]["reason"] == "filing"
