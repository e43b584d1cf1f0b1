"""What the bytes of a check file may be, and how everything else is told apart."""

from __future__ import annotations

import codecs

import pytest

from chaffinch.errors import CheckFileError, InputError
from chaffinch.records import filetext
from chaffinch.records.checkfile import MOST_BYTES, read_check_file

SOUND = """crop = "canola"
[combine]
cut_width = "40 ft"
drop_width = "66 in"
[[catch]]
place = "discharge"
pan = "4 ft2"
amount = "12.5 g"
note = "früh, ½ Schale"
"""
SOUND_JSON = '{"crop": "canola", "catch": [{"place": "standing", "pan": "4 ft2", "amount": "1 g"}]}'


def refusal(text: str | bytes, **how: object) -> CheckFileError:
    with pytest.raises(CheckFileError) as caught:
        read_check_file(text, **how)  # type: ignore[arg-type]
    assert str(caught.value).isprintable()
    return caught.value


def test_text_and_utf_8_bytes_with_and_without_a_mark_say_the_same() -> None:
    plain = read_check_file(SOUND)

    assert read_check_file(SOUND.encode()) == plain
    assert read_check_file(codecs.BOM_UTF8 + SOUND.encode()) == plain
    assert read_check_file("\ufeff" + SOUND) == plain
    assert read_check_file(SOUND.replace("\n", "\r\n").encode()) == plain
    assert read_check_file(codecs.BOM_UTF8 + b"\n " + SOUND_JSON.encode()).catches[0].place == "standing"


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32"])
def test_wide_encodings_are_named(encoding: str) -> None:
    error = refusal(SOUND.encode(encoding), name="pan.toml")

    assert error.field == "pan.toml"
    assert encoding[:6].upper() in error.problem
    assert "as UTF-8" in error.mend


def test_the_first_byte_that_is_not_utf_8_is_named() -> None:
    data = SOUND.encode("latin-1")
    error = refusal(data)

    position = data.index(b"\xfc") + 1
    assert f"byte {position} is 0xfc" in error.problem
    assert "save it again as UTF-8" in error.mend


@pytest.mark.parametrize("nothing", [b"", "", b"  \r\n\t", codecs.BOM_UTF8, "\ufeff\n"])
def test_an_empty_file_is_called_empty(nothing: str | bytes) -> None:
    assert "is empty" in refusal(nothing).problem


def test_a_large_file_is_refused_with_its_size_before_anything_is_parsed(monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object) -> None:
        raise AssertionError("a file of 10 MB was parsed")

    monkeypatch.setattr(filetext, "_toml", never)
    monkeypatch.setattr(filetext, "_json", never)

    for text in (b"#" * 10_000_000, "{" * 10_000_000, "é" * 5_000_000):
        error = refusal(text)
        assert "10.0 MB" in error.problem or "5.0 MB" in error.problem
        assert "right file" in error.mend
    assert "1.0 MB" in refusal("é" * (MOST_BYTES // 2 + 1)).problem  # counted in bytes, not in letters


def test_a_file_of_just_1_mb_is_read() -> None:
    filled = SOUND.encode() + b"#" * (MOST_BYTES - len(SOUND.encode()))

    assert len(filled) == MOST_BYTES
    assert read_check_file(filled) == read_check_file(SOUND)


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ('crop = "canola"\nyield = 45 bu/ac\n', "line 2, column 12"),
        ('crop = "canola\n', "line 1, column 15"),
        ('crop = "canola"\ncrop = "wheat"\n', "line 2, column 15"),
        ('crop = "canola"\nnote = """a\nb', "line 3, column 2"),  # at the end of the file
        ("[combine\n", "line 1, column 9"),
        ("{ = 1}", "line 1, column 3"),
        ('{"crop": "canola",\n "catch": [}', "line 2, column 12"),
    ],
)
def test_slips_of_writing_carry_line_column_and_reason(text: str, where: str) -> None:
    error = refusal(text)

    kind = "JSON" if text.startswith("{") else "TOML"
    assert error.problem.startswith(f"is not {kind}: {where}: ")
    assert len(error.problem) > len(f"is not {kind}: {where}: ")
    assert "mend that line" in error.mend


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ('{"crop": "canola", "crop": "wheat"}', "'crop' stands twice"),
        ('{"crop": NaN}', "NaN is not a number"),
        ('{"crop": -Infinity}', "-Infinity is not a number"),
        ('{"crop": ' + "1" * 5000 + "}", "is not JSON"),
        ("crop = " + "1" * 5000, "is not TOML"),
        ('{"crop": "canola"} x', "line 1, column 20"),
        ("x = " + "[" * 100_000, "nested too deep"),
        ('{"a":' * 100_000, "nested too deep"),
    ],
)
def test_other_files_no_parser_should_see(text: str, problem: str) -> None:
    assert problem in refusal(text).problem


def test_the_format_can_be_forced() -> None:
    assert "is not JSON" in refusal(SOUND, format="json").problem
    assert "is not TOML" in refusal(SOUND_JSON, format="toml").problem
    assert "does not hold one table" in refusal("[1, 2]", format="json").problem
    assert "toml or json" in refusal(SOUND, format="yaml").mend


def test_half_characters_and_unprintable_file_names_cannot_reach_a_page() -> None:
    r"""JSON's \ud800 gives half a character, which no terminal or file takes."""
    with pytest.raises(InputError, match="cannot be printed") as caught:
        read_check_file(SOUND_JSON.replace('"crop"', '"note": "\\ud800", "crop"'))
    assert str(caught.value).isprintable()
    assert refusal("", name="a\nb\udc80").field == r"'a\nb\udc80'"
