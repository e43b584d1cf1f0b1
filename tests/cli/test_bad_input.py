"""Bad input: one clear line that names field, value and mend, exit status 2, no traceback.

Each case takes the good file and breaks one thing. The mend is looked for as a fragment, so wording may improve.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from one_pan import ONE_PAN

GOOD = 'amount = "12.5 g"'

# what is broken, by what, and fragments of the line that must answer it
CASES = [
    ("negative weight", GOOD, 'amount = "-12.5 g"', ["amount", "-12.5"]),
    ("weight without unit", GOOD, 'amount = "12.5"', ["amount", "12.5", "g"]),
    ("weight as bare number", GOOD, "amount = 12.5", ["amount", "12.5 g"]),
    ("unknown unit", GOOD, 'amount = "12.5 stone"', ["amount", "stone", "oz"]),
    ("count of 3.5", GOOD, 'amount = "3.5 seeds"', ["amount", "3.5", "whole"]),
    ("negative count", GOOD, 'amount = "-4 seeds"', ["amount", "-4"]),
    ("not a number", GOOD, 'amount = "nan g"', ["amount", "nan"]),
    ("infinite", GOOD, 'amount = "inf g"', ["amount", "inf"]),
    ("huge", GOOD, 'amount = "1e300 g"', ["amount"]),
    ("over 50 kg", GOOD, 'amount = "60 kg"', ["amount", "60"]),
    ("ambiguous thousands", GOOD, 'amount = "1,234 g"', ["amount", "1234"]),
    ("ambiguous cup", GOOD, 'amount = "1 cup"', ["amount", "cup"]),
    ("empty amount", GOOD, 'amount = ""', ["amount"]),
    ("amount missing", GOOD, "", ["amount"]),
    ("amount is a list", GOOD, 'amount = ["12.5 g"]', ["amount"]),
    ("amount is true", GOOD, "amount = true", ["amount"]),
    ("step of zero", 'step = "0.1 g"', 'step = "0 g"', ["step", "0"]),
    ("negative step", 'step = "0.1 g"', 'step = "-1 g"', ["step", "-1"]),
    ("step of another kind", 'step = "0.1 g"', 'step = "1 mL"', ["step", "mL"]),
    ("purity 0", GOOD, GOOD + "\nclean = 0.0", ["clean"]),
    ("purity 120 %", GOOD, GOOD + '\nclean = "120 %"', ["clean", "120"]),
    ("subsample 0", GOOD, GOOD + '\nsubsample = "0"', ["subsample"]),
    ("subsample over 1", GOOD, GOOD + '\nsubsample = "3/2"', ["subsample"]),
    ("moisture 110 %", GOOD, GOOD + '\nmoisture = "110 %"', ["moisture", "110"]),
    ("moisture without percent", GOOD, GOOD + '\nmoisture = "9.5"', ["moisture", "%"]),
    ("moisture, country unknown", GOOD, GOOD + '\nmoisture = "11 %"', ["market", "country"]),
    ("zero cut width", 'cut_width = "40 ft"', 'cut_width = "0 ft"', ["cut_width", "0"]),
    ("cut width of 40 km", 'cut_width = "40 ft"', 'cut_width = "40 km"', ["cut_width", "km"]),
    ("cut width missing", 'cut_width = "40 ft"', "", ["cut_width"]),
    ("drop above cut", 'drop_width = "66 in"', 'drop_width = "50 ft"', ["drop_width", "50"]),
    ("no width of the discharge", 'drop_width = "66 in"', "", ["drop_width"]),
    ("no combine", '[combine]\ncut_width = "40 ft"\ndrop_width = "66 in"', "", ["combine"]),
    ("pan of zero area", 'pan = "4 ft2"', 'pan = "0 ft2"', ["pan", "0"]),
    ("pan in feet", 'pan = "4 ft2"', 'pan = "4 ft"', ["pan", "ft2"]),
    ("pan wider than the discharge", 'pan = "4 ft2"', 'pan = "4 m2"', ["pan", "width", "length"]),
    ("pan missing", 'pan = "4 ft2"', "", ["pan"]),
    ("unknown place", 'place = "discharge"', 'place = "behnd"', ["place", "behnd", "behind"]),
    ("place missing", 'place = "discharge"', "", ["place"]),
    ("missing crop", 'crop = "canola"', "", ["crop"]),
    ("unknown crop", 'crop = "canola"', 'crop = "canolla"', ["crop", "canolla", "canola"]),
    ("yield 0", 'yield = "45 bu/ac"', 'yield = "0 bu/ac"', ["yield", "0"]),
    ("negative yield", 'yield = "45 bu/ac"', 'yield = "-45 bu/ac"', ["yield", "-45"]),
    ("yield in feet", 'yield = "45 bu/ac"', 'yield = "45 ft"', ["yield", "bu/ac"]),
    ("price without per", 'price = "14.50 /bu"', 'price = "14.50"', ["price"]),
    ("negative price", 'price = "14.50 /bu"', 'price = "-3 /bu"', ["price", "-3"]),
    ("limit 0", 'limit = "1 bu/ac"', 'limit = "0 bu/ac"', ["limit", "0"]),
    ("unknown key", 'limit = "1 bu/ac"', 'limt = "1 bu/ac"', ["limt", "limit"]),
    ("unknown key in catch", GOOD, GOOD + '\namout = "3 g"', ["amout", "amount"]),
    ("key in the wrong table", 'limit = "1 bu/ac"', 'drop_width = "66 in"', ["drop_width", "combine"]),
    ("other schema", 'crop = "canola"', 'schema = 99\ncrop = "canola"', ["schema", "99"]),
    ("combine is text", '[combine]\ncut_width = "40 ft"\ndrop_width = "66 in"', 'combine = "40 ft"', ["combine"]),
    ("broken TOML", 'crop = "canola"', 'crop = "canola', ["line"]),
    ("a key twice", 'crop = "canola"', 'crop = "canola"\ncrop = "wheat"', ["line"]),
    ("heads without seeds", GOOD, GOOD + "\nheads = 4", ["seeds_per_head"]),
    ("one offset alone", GOOD, GOOD + '\noffset = "1 ft"', ["offset"]),
    ("gross below tare", GOOD, 'gross = "10 g"\ntare = "12 g"', ["tare"]),
    ("windrowed without width", 'limit = "1 bu/ac"', "windrowed = true", ["windrower_width"]),
    ("variation of 0", GOOD, GOOD + "\nvariation = 0.0", ["variation"]),
]


def one_line(status: int, out: str, err: str) -> str:
    """The single line of a refusal."""
    assert status == 2, (status, out, err)
    assert out == ""
    lines = err.splitlines()
    assert len(lines) == 1, err
    assert lines[0].startswith("chaffinch")
    assert "Traceback" not in err
    return lines[0]


@pytest.mark.parametrize(("old", "new", "fragments"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_broken_check_file(chaffinch, check_file, old, new, fragments):
    """Each broken file gets its own line with the field, the value and the mend."""
    assert old in ONE_PAN
    ran = chaffinch("check", check_file(ONE_PAN.replace(old, new, 1)))

    line = one_line(ran.status, ran.out, ran.err)
    for fragment in fragments:
        assert fragment in line, line


def test_there_are_over_forty_cases():
    """The issue asks for forty; losing some by accident would go unnoticed otherwise."""
    assert len({c[0] for c in CASES}) >= 45


def test_no_catch_at_all(chaffinch, check_file):
    """A check without a catch is refused with what to add."""
    text = ONE_PAN.split("[[catch]]")[0]

    assert "catch" in one_line(*_ran(chaffinch("check", check_file(text))))


@pytest.mark.parametrize(
    ("content", "fragment"),
    [
        (b"", "empty"),
        (b"   \n\n", "empty"),
        (ONE_PAN.encode("utf-16"), "UTF"),
        (b'crop = "can\xf6la"\n', "UTF-8"),
        (b"\x00\x01\x02\x03", ""),
        (b"{", "line"),
        (b"[1, 2, 3]", ""),
        (b'{"crop": "canola", "crop": "wheat"}', ""),
    ],
)
def test_files_that_are_no_check_files(chaffinch, tmp_path: Path, content, fragment):
    """Empty, wrongly encoded, binary and half-written files get one line each."""
    path = tmp_path / "odd.toml"
    path.write_bytes(content)

    assert fragment in one_line(*_ran(chaffinch("check", str(path))))


def test_ten_megabytes(chaffinch, tmp_path: Path):
    """A file of 10 MB is refused without being parsed."""
    path = tmp_path / "big.toml"
    path.write_bytes(b"# padding\n" * 1_000_000)

    assert "10.0 MB" in one_line(*_ran(chaffinch("check", str(path))))


def test_missing_file_and_folder(chaffinch, tmp_path: Path):
    """A name that is no file is answered, not traced."""
    assert "does not exist" in one_line(*_ran(chaffinch("check", str(tmp_path / "none.toml"))))
    assert "is a folder" in one_line(*_ran(chaffinch("check", str(tmp_path))))


@pytest.mark.parametrize(
    "arguments",
    [
        ("chek", "x"),
        ("check",),
        ("check", "a", "b"),
        ("check", "x", "--jsno"),
        ("check", "x", "--seed", "-4"),
        ("crops", "canla"),
        ("plan", "--crop", "canola", "--pan", "4"),
        ("plan", "--crop", "canola", "--cut-width", "40 ft", "--drop-width", "66 in", "--pan", "4 ft2"),
        ("plan", "--from", "nowhere.toml"),
        ("card", "--crop", "canola", "--cut-width", "40 ft", "--pan", "4 ft2", "--limit", "1 bu/ac"),
        ("card",),
        ("--nothing",),
    ],
    ids=" ".join,
)
def test_command_line_slips(chaffinch, arguments):
    """Wrong commands, options and arguments get one line too."""
    one_line(*_ran(chaffinch(*arguments)))


def test_a_whole_process_returns_2_and_stays_quiet(check_file):
    """The same holds for the real process: nothing on stdout, one line on stderr."""
    name = check_file(ONE_PAN.replace("12.5 g", "12.5 gg"))

    command = [sys.executable, "-m", "chaffinch", "check", name]
    ran = subprocess.run(command, capture_output=True, text=True, check=False)

    one_line(ran.returncode, ran.stdout, ran.stderr)


def _ran(result):
    return result.status, result.out, result.err


def test_the_id_of_a_check_without_its_book_says_how(chaffinch) -> None:
    assert "chaffinch check --book BOOK 9532d92f" in one_line(*_ran(chaffinch("check", "9532d92f")))
    assert "--book" not in one_line(*_ran(chaffinch("check", "decade.toml")))
