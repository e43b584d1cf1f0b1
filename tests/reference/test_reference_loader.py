"""Damaged data is refused, with the file and the key named."""

from collections.abc import Callable
from pathlib import Path

import pytest

from chaffinch import reference
from chaffinch.errors import ReferenceDataError

GOOD = '{ value = 3.4, unit = "g", source = "ndsu-2002", origin = "derived" }'


def _swap_line(file: Path, start: str, line: str) -> None:
    lines = file.read_text(encoding="utf-8").splitlines()
    places = [place for place, text in enumerate(lines) if text.startswith(start)]
    assert len(places) == 1, f"{start!r} stands {len(places)} times in {file.name}"
    lines[places[0]] = line
    file.write_text("\n".join(lines), encoding="utf-8")


def test_a_sound_copy_loads(shelf: Path) -> None:
    _swap_line(shelf / "crops/canola.toml", "tkw_g =", f"tkw_g = {GOOD}")
    assert reference.crop("canola").tkw_g == reference.Figure(3.4, "g", "ndsu-2002", "derived")


@pytest.mark.parametrize(
    ("figure", "key", "problem"),
    [
        (GOOD.replace("3.4", "-3.4"), "tkw_g.value", "above 0"),
        (GOOD.replace("3.4", "0"), "tkw_g.value", "above 0"),
        (GOOD.replace("3.4", "nan"), "tkw_g.value", "finite"),
        (GOOD.replace("3.4", "inf"), "tkw_g.value", "finite"),
        (GOOD.replace("3.4", "true"), "tkw_g.value", "finite number"),
        (GOOD.replace("3.4", '"3.4"'), "tkw_g.value", "finite number"),
        (GOOD.replace('"g"', '"mg"'), "tkw_g.unit", "must be 'g'"),
        (GOOD.replace('unit = "g", ', ""), "tkw_g.unit", "non-empty"),
        (GOOD.replace("derived", "hearsay"), "tkw_g.origin", "printed, memory, derived"),
        (GOOD.replace("derived", "memory"), "tkw_g.source", "exactly when"),
        (GOOD.replace("ndsu-2002", "memory"), "tkw_g.source", "exactly when"),
        (GOOD.replace("ndsu-2002", ""), "tkw_g.source", "non-empty"),
        (GOOD.replace("ndsu-2002", "ndsu-2002, "), "tkw_g.source", "empty id"),
        (GOOD.replace("value", "valu"), "tkw_g.valu", "is not one of"),
        (GOOD.replace("3.4", "9.9"), "tkw_g", "between tkw_low_g and tkw_high_g"),
        ("3.4", "tkw_g", "must be a table"),
    ],
)
def test_a_damaged_figure_names_file_and_key(shelf: Path, figure: str, key: str, problem: str) -> None:
    _swap_line(shelf / "crops/canola.toml", "tkw_g =", f"tkw_g = {figure}")
    with pytest.raises(ReferenceDataError) as caught:
        reference.crop("canola")
    assert str(caught.value).startswith(f"crops/canola.toml: {key}: ")
    assert problem in str(caught.value)


@pytest.mark.parametrize(
    ("start", "line", "key"),
    [
        ("name =", "", "name"),
        ("name =", 'name = ""', "name"),
        ("also =", 'also = "rapeseed"', "also"),
        ("also =", "also = [1]", "also"),
        ("round_seed =", "round_seed = 1", "round_seed"),
        ("round_seed =", "round_seed = false", "seed_diameter_mm"),
        ("seed_diameter_mm =", "", "seed_diameter_mm"),
        ("name =", 'name = "canola"\nnames = []', "names"),
        ("[tough_from_pct]", "[tough_from_pct]\nXX = 1", "tough_from_pct.XX"),
        (
            "AU =",
            'XX = { value = 8, unit = "%", source = "memory", origin = "memory" }',
            "market_moisture_pct.XX",
        ),
        (
            "AU =",
            'AU = { value = 800, unit = "%", source = "memory", origin = "memory" }',
            "market_moisture_pct.AU",
        ),
    ],
)
def test_a_damaged_crop_file_names_file_and_key(shelf: Path, start: str, line: str, key: str) -> None:
    _swap_line(shelf / "crops/canola.toml", start, line)
    with pytest.raises(ReferenceDataError) as caught:
        reference.crop("canola")
    assert str(caught.value).startswith(f"crops/canola.toml: {key}: ")


@pytest.mark.parametrize(
    ("content", "problem"),
    [(b"name = ", "is not TOML"), (b"name = \xff", "cannot be read"), (None, "cannot be read")],
)
def test_a_file_that_is_no_toml_is_named(shelf: Path, content: bytes | None, problem: str) -> None:
    file = shelf / "constants.toml"
    file.unlink() if content is None else file.write_bytes(content)
    with pytest.raises(ReferenceDataError, match=f"^constants.toml: {problem}"):
        reference.constant("flat_layer.packing")


@pytest.mark.parametrize(
    ("file", "content", "message"),
    [
        ("names.toml", "rapeseed = 3", "names.toml: rapeseed: "),
        ("sources.toml", '[memory]\ntitle = "t"\norg = "o"', "sources.toml: memory.read: "),
        ("sources.toml", 'memory = "m"', "sources.toml: memory: "),
        ("constants.toml", "[flat_layer]\npacking = 0.8", "constants.toml: flat_layer.packing: "),
        ("rules.toml", "rule = 1", "rules.toml: rule: must be an array"),
        ("rules.toml", '[[rule]]\nkey = "a"\ncrops = "canola"', "rules.toml: rule 1.crops: is not one of"),
        ("rules.toml", '[[rule]]\nkey = "a"\ncrop = "canola"', "rules.toml: rule 1.count: "),
    ],
)
def test_other_damaged_files_name_file_and_key(shelf: Path, file: str, content: str, message: str) -> None:
    (shelf / file).write_text(content, encoding="utf-8")
    asked: dict[str, Callable[[], object]] = {
        "names.toml": lambda: reference.crop("rapeseed"),
        "sources.toml": reference.sources,
        "constants.toml": lambda: reference.constant("flat_layer.packing"),
        "rules.toml": reference.rules,
    }
    with pytest.raises(ReferenceDataError) as caught:
        asked[file]()
    assert str(caught.value).startswith(message)


def test_a_rule_that_stands_twice_is_refused(shelf: Path) -> None:
    rules = (shelf / "rules.toml").read_text(encoding="utf-8")
    (shelf / "rules.toml").write_text(f"{rules}\n{rules}", encoding="utf-8")
    with pytest.raises(ReferenceDataError, match="stands there twice"):
        reference.rules()
