"""What holds for every check file, sound or not: it reads back as written, or it is refused by an InputError."""

from __future__ import annotations

import json
import string
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaffinch.errors import InputError
from chaffinch.records.check import PLACES, Catch, Check, Pan
from chaffinch.records.checkfile import check_from_table, check_to_table, read_check_file
from chaffinch.records.keys import TABLES, Key, Span

CROPS = ("canola", "wheat", "oats", "soybean")  # their bushels are known in both countries
UNITS = {
    "length": ("m", "cm", "ft", "in"),
    "area": ("m2", "ft2"),
    "land": ("ha", "ac"),
    "mass": ("g", "kg", "oz", "lb"),
    "speed": ("km/h", "mph"),
    "time": ("s", "min"),
    "area_mass": ("kg/ha", "t/ha", "lb/ac", "bu/ac"),
    "price": ("/t", "/lb", "/bu"),
    "density": ("kg/hL", "g/L"),
    "percent": ("%",),
}


def between(low: float, high: float) -> st.SearchStrategy[float]:
    """Floats of the span, without those smaller than a person can mean: they are refused, not read."""
    return st.floats(low, high, allow_nan=False).filter(lambda number: number == 0 or abs(number) > 1e-9)


def written(low: float, high: float, *names: str) -> st.SearchStrategy[str]:
    """A quantity with all the digits a float can have."""
    return st.builds(lambda number, unit: f"{number!r} {unit}", between(low, high), st.sampled_from(names))


# Text without control characters or half characters, and not blank once trimmed.
words = st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"]), min_size=1, max_size=20).filter(str.strip)

readings = st.one_of(
    written(0, 1700, "g", "oz"),
    written(0, 400, "mL", "US cup"),
    st.integers(0, 100_000).map(lambda count: f"{count} seeds"),
)


@st.composite
def sound_catches(draw: st.DrawFn) -> dict[str, Any]:
    place = draw(st.sampled_from(PLACES))
    catch: dict[str, Any] = {"place": place, "amount": draw(readings)}
    kind = "seeds" if catch["amount"].endswith("seeds") else catch["amount"].split(" ", 1)[1]
    if kind != "seeds":
        catch["step"] = draw(written(0.01, 10, kind))
        catch["step_inferred"] = draw(st.booleans())
        catch["clean"] = draw(between(0.01, 1))
    if place == "windrow":
        catch["length"] = draw(written(0.5, 50, "m", "ft"))
    elif place == "leak":
        catch["time"] = draw(written(1, 60, "s", "min"))
    elif place == "whole cut":
        catch["pan"] = draw(written(0.5, 5, "m2", "ft2"))
    elif draw(st.booleans()):
        catch |= {"width": draw(written(0.1, 3, "m", "ft")), "length": draw(written(0.1, 3, "m", "ft"))}
    else:
        catch["pan"] = draw(written(0.05, 1, "m2", "ft2"))
    if draw(st.booleans()):
        catch["unthreshed"] = draw(written(0, 50, "g"))
        catch["unthreshed_step"] = draw(written(0.01, 10, "g"))
    elif draw(st.booleans()):
        catch |= {"heads": draw(st.integers(0, 500)), "seeds_per_head": draw(between(0.01, 200))}
    optional = {
        "subsample": between(0.01, 1),
        "moisture": written(1, 60, "%"),
        "run": st.integers(1, 9),
        "variation": between(0.02, 3),
        "bag": words,
        "note": words,
    }
    return catch | draw(st.fixed_dictionaries({}, optional=optional))


@st.composite
def sound_tables(draw: st.DrawFn) -> dict[str, Any]:
    table: dict[str, Any] = {
        "crop": draw(st.sampled_from(CROPS)),
        "country": draw(st.sampled_from(("CA", "US"))),
        "market_moisture": draw(written(5, 20, "%")),
        "speed": draw(written(1, 12, "km/h", "mph")),
        "spreading": draw(st.booleans()),
        "combine": {
            "cut_width": draw(written(8, 20, "m")),
            "drop_width": draw(written(1.2, 2, "m")),
            "spread_width": draw(written(4, 20, "m", "ft")),
            "widths_taped": draw(st.booleans()),
        },
        "catch": draw(st.lists(sound_catches(), min_size=1, max_size=4)),
    }
    if draw(st.booleans()):
        table |= {"windrowed": True, "windrower_width": draw(written(8, 20, "m"))}
    elif draw(st.booleans()):
        table["working_width"] = draw(written(3, 7.9, "m"))
    optional = {
        "yield": written(1000, 9000, "kg/ha", "lb/ac"),
        "limit": written(1, 90, "kg/ha", "lb/ac"),
        "price": written(50, 900, "/t"),
        "currency": st.sampled_from(("$", "CAD", "€")),
        "tkw": written(1, 400, "g"),
        "test_weight": written(30, 90, "kg/hL") | written(110, 900, "g/L"),
        "moisture": written(1, 60, "%"),
        "bushel": written(10, 60, "lb").filter(lambda text: float(text.split()[0]) > 4.5),
        "report_in": st.sampled_from(("bu/ac", "lb/ac", "t/ha")),
        "when": words,
        "operator": words,
        "note": words,
        "field": st.fixed_dictionaries({}, optional={"name": words, "area": written(1, 900, "ha", "ac")}),
    }
    return table | draw(st.fixed_dictionaries({}, optional=optional))


@given(table=sound_tables())
@settings(max_examples=100, deadline=None)
def test_what_is_written_down_reads_back_as_the_very_same_check(table: dict[str, Any]) -> None:
    check = check_from_table(table)
    kept = check_to_table(check)

    assert check_from_table(kept) == check
    assert read_check_file(json.dumps(kept)) == check
    assert check_to_table(check_from_table(kept)) == kept


@given(first=between(0.01, 50), second=between(0.01, 50), bushel_kg=between(2, 50))
@settings(max_examples=200, deadline=None)
def test_every_float_survives_to_its_last_digit(first: float, second: float, bushel_kg: float) -> None:
    """Also a bushel weight, which is a mass, kept in g elsewhere: a factor of 1000 would cost the last digit."""
    check = check_from_table(
        {
            "crop": "canola",
            "bushel": f"{bushel_kg!r} kg",
            "tkw": f"{first + 1!r} g",
            "catch": [
                {"place": "standing", "pan": f"{second!r} m2", "amount": f"{first!r} g", "step": f"{second!r} g"}
            ],
        }
    )

    assert (check.bushel_kg, check.tkw_g) == (bushel_kg, first + 1)
    assert check.catches[0].pan == Pan(second)
    assert (check.catches[0].amount.value, check.catches[0].amount.step) == (first, second)
    assert check_from_table(check_to_table(check)) == check


def test_a_pan_the_layout_cannot_hold_is_not_written_down() -> None:
    catch = check_from_table(
        {"crop": "canola", "catch": [{"place": "standing", "pan": "4 ft2", "amount": "1 g"}]}
    ).catches[0]
    lopsided = Catch(1, "standing", catch.amount, Pan(1.0, 2.0, 3.0))

    with pytest.raises(InputError) as caught:
        check_to_table(Check("canola", (lopsided,), "kg/ha"))
    assert caught.value.field == "catch 1, pan"


# --- anything at all ---

scalars = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.integers(min_value=10**400, max_value=10**401),
    st.floats(),
    st.text(max_size=30),
    st.binary(max_size=8),
    st.dates(),
    st.datetimes(),
    st.sampled_from(
        ["12.5 g", "4 ft2", "40 ft", "discharge", "leak", "canola", "12 seeds", "8 %", "60 s", "-1 m", "1 bu/ac"]
    ),
)
anything = st.recursive(
    scalars, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
)


def fits(key: Key) -> st.SearchStrategy[Any]:
    """Mostly something near to what the key holds, so that the deeper rules are reached."""
    span = key.span or Span(-3.0, 30.0)
    number = between(span.low - 0.1, span.low + 20)
    if key.holds in UNITS:
        return st.builds(lambda value, unit: f"{value:.4g} {unit}", number, st.sampled_from(UNITS[key.holds]))
    if key.holds == "amount":
        return readings
    if key.name == "place":
        return st.sampled_from(PLACES)
    if key.name == "crop":
        return st.sampled_from(CROPS)
    return {
        "flag": st.booleans(),
        "number": number,
        "whole": st.integers(0, 3),
        "fraction": between(-0.1, 1.1),
        "text": st.sampled_from(["CA", "$", "bu/ac", "Ines", ""]),
    }.get(key.holds, anything)


@st.composite
def bent_tables(draw: st.DrawFn) -> dict[str, Any]:
    """A sound check with one to three of its keys left out, put in or changed."""
    table = draw(sound_tables())
    for _ in range(draw(st.integers(1, 3))):
        name, part = draw(
            st.sampled_from(
                [("", table), ("combine", table.get("combine")), *(("catch", one) for one in catches(table))]
            )
        )
        if not isinstance(part, dict):
            continue  # bent already
        key = draw(st.sampled_from(TABLES[name]))
        what = draw(st.sampled_from(("drop", "near", "near", "any", "stranger")))
        if what == "drop":
            part.pop(key.name, None)
        else:
            part[draw(words) if what == "stranger" else key.name] = draw(fits(key) if what == "near" else anything)
    return table


def catches(table: dict[str, Any]) -> list[Any]:
    listed = table.get("catch")
    return listed if isinstance(listed, list) else []


def refused_in_one_line_or_read(table: Any) -> None:
    error = None
    try:
        check = check_from_table(table)
    except InputError as refused:
        error = refused
    if error is None:
        assert check_from_table(check_to_table(check)) == check
    else:
        assert str(error).isprintable()
        assert error.field
        assert error.mend


@given(table=bent_tables())
@settings(max_examples=150, deadline=None)
def test_near_misses_are_read_or_refused_in_one_line(table: dict[str, Any]) -> None:
    refused_in_one_line_or_read(table)


@given(table=anything)
@settings(max_examples=200, deadline=None)
def test_anything_else_is_refused_in_one_line(table: Any) -> None:
    with pytest.raises(InputError):
        check_from_table(table)
    refused_in_one_line_or_read(table)


@given(data=st.binary(max_size=200))
@settings(max_examples=300, deadline=None)
def test_random_bytes_are_refused_in_one_line(data: bytes) -> None:
    with pytest.raises(InputError) as caught:
        read_check_file(data)
    assert str(caught.value).isprintable()


SOUND = b"""crop = "canola"
[combine]
cut_width = "40 ft"
drop_width = "66 in"
[[catch]]
place = "discharge"
pan = "4 ft2"
amount = "12.5 g"
"""


@given(
    start=st.integers(0, len(SOUND)),
    length=st.integers(0, 12),
    patch=st.one_of(st.binary(max_size=6), st.text(string.printable, max_size=6).map(str.encode)),
)
@settings(max_examples=400, deadline=None)
def test_a_sound_file_with_one_patch_is_read_or_refused_in_one_line(start: int, length: int, patch: bytes) -> None:
    text = SOUND[:start] + patch + SOUND[start + length :]
    try:
        check = read_check_file(text)
    except InputError as refused:
        line = str(refused)
    else:
        line = "read"
        assert check_from_table(check_to_table(check)) == check
    assert line.isprintable()
