"""What a check file says: every place, every way of reading, every default."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest

from chaffinch.records.check import PLACES, Amount, Check, Combine, Pan
from chaffinch.records.checkfile import check_from_table, check_to_table, read_check_file

EXAMPLES = Path(__file__).parents[2] / "examples"
MINE = ("one-pan.toml", "where-it-was-lost.toml", "across-the-discharge.toml", "windrow-and-leak.toml", "counted.json")

# Every conversion below is exact arithmetic on exact factors, rounded once to the nearest float, so approx's own
# relative tolerance of 1e-6 only spares the reader the digits.
FOOT_M = 0.3048
POUND_KG = 0.45359237
ACRE_HA = 0.40468564224


def table(**changes: Any) -> dict[str, Any]:
    """A small sound check; a key given as None is left out."""
    sound: dict[str, Any] = {
        "crop": "canola",
        "combine": {"cut_width": "40 ft", "drop_width": "66 in"},
        "catch": [{"place": "discharge", "pan": "4 ft2", "amount": "12.5 g"}],
    }
    return {key: value for key, value in (sound | changes).items() if value is not None}


def one(**keys: Any) -> dict[str, Any]:
    """A catch in the discharge; a key given as None is left out."""
    sound = {"place": "discharge", "pan": "4 ft2", "amount": "12.5 g"}
    return {key: value for key, value in (sound | keys).items() if value is not None}


def amount_of(crop: str = "canola", **keys: Any) -> Amount:
    return check_from_table(table(crop=crop, catch=[one(**keys)])).catches[0].amount


def test_the_first_example_is_read_into_inside_units() -> None:
    check = read_check_file((EXAMPLES / "one-pan.toml").read_bytes())

    bushel_kg = 50 * POUND_KG
    assert check.crop == "canola"
    assert check.trade_unit == "bu/ac"
    assert check.bushel_kg == pytest.approx(bushel_kg)
    assert check.yield_kg_ha == pytest.approx(45 * bushel_kg / ACRE_HA)
    assert check.limit_kg_ha == pytest.approx(bushel_kg / ACRE_HA)
    assert check.price_per_t == pytest.approx(14.50 / bushel_kg * 1000)
    assert check.combine == Combine(cut_width_m=pytest.approx(40 * FOOT_M), drop_width_m=pytest.approx(5.5 * FOOT_M))
    (catch,) = check.catches
    assert (catch.number, catch.place) == (1, "discharge")
    assert catch.pan == Pan(pytest.approx(4 * FOOT_M**2))
    assert catch.amount == Amount("weighed", 12.5, 0.1)
    assert (check.currency, check.market_moisture_pct, check.tkw_g, check.country) == ("", None, None, None)
    assert check.spreading is False  # the drop width alone says so
    assert check.schema == 1


@pytest.mark.parametrize("name", MINE)
def test_every_example_reads_and_survives_being_written_down(name: str) -> None:
    check = read_check_file((EXAMPLES / name).read_bytes(), name=name)

    assert check_from_table(json.loads(json.dumps(check_to_table(check)))) == check


def test_json_and_toml_say_the_same() -> None:
    for name in MINE:
        if name.endswith(".toml") and "when" not in (text := (EXAMPLES / name).read_text(encoding="utf-8")):
            as_json = json.dumps(tomllib.loads(text))
            assert read_check_file(as_json) == read_check_file(text)
            assert read_check_file("\n " + as_json, format="json") == read_check_file(text, format="toml")


@pytest.mark.parametrize("place", PLACES)
def test_each_place_is_read_with_what_belongs_to_it(place: str) -> None:
    own: dict[str, dict[str, Any]] = {
        "whole cut": {"pan": None, "width": "12.2 m", "length": "0.2 m"},
        "windrow": {"pan": None, "length": "3 m"},
        "leak": {"pan": None, "time": "1 min"},
    }
    combine = None if place in ("standing", "header strip") else {"cut_width": "12 m", "drop_width": "1.7 m"}
    (catch,) = check_from_table(
        table(speed="8 km/h", combine=combine, catch=[one(place=place, **own.get(place, {}))])
    ).catches

    assert catch.place == place
    assert catch.length_m == (3.0 if place == "windrow" else None)
    assert catch.seconds == (60.0 if place == "leak" else None)
    if place in ("windrow", "leak"):
        assert catch.pan is None
    elif place == "whole cut":
        assert catch.pan == Pan(12.2 * 0.2, 12.2, 0.2)
    else:
        assert catch.pan == Pan(pytest.approx(4 * FOOT_M**2))


@pytest.mark.parametrize("written", ["Whole-Cut", "whole_cut", "  WHOLE  CUT "])
def test_a_place_is_known_however_it_is_joined(written: str) -> None:
    assert check_from_table(table(catch=[one(place=written)])).catches[0].place == "whole cut"


class TestReadings:
    @pytest.mark.parametrize(
        ("written", "expected"),
        [
            ("12.5 g", Amount("weighed", 12.5, 0.1, True)),
            ("12,5 g", Amount("weighed", 12.5, 0.1, True)),
            ("12 g", Amount("weighed", 12.0, 1.0, True)),
            ("0 g", Amount("weighed", 0.0, 1.0, True)),
            ("35 mL", Amount("measured", 35.0, 1.0, True)),
            ("44 seeds", Amount("counted", 44.0, 1.0)),
            ("0 seeds", Amount("counted", 0.0, 1.0)),
            ("120 cm2 flat", Amount("flat", 120.0, 1.0, True)),
        ],
    )
    def test_the_unit_says_how_it_was_read_and_the_digits_how_finely(self, written: str, expected: Amount) -> None:
        assert amount_of(amount=written) == expected

    def test_a_stated_step_goes_before_the_scale_and_the_scale_before_the_digits(self) -> None:
        catches = [one(step="0.5 g"), one(), one(amount="35 mL"), one(amount="9 seeds")]
        check = check_from_table(table(scale={"step": "0.2 g"}, catch=catches))

        expected = [
            Amount("weighed", 12.5, 0.5),
            Amount("weighed", 12.5, 0.2),
            Amount("measured", 35.0, 1.0, True),
            Amount("counted", 9.0, 1.0),
        ]
        assert [catch.amount for catch in check.catches] == expected

    def test_a_step_may_be_in_another_unit_of_its_kind(self) -> None:
        assert amount_of(amount="1.5 oz", step="1 g").step == 1.0
        assert amount_of(amount="9 seeds", step="1 seed") == Amount("counted", 9.0, 1.0)

    def test_gross_less_tare_is_known_to_the_coarser_of_the_two(self) -> None:
        """512.3 − 499.9 in binary floats is 12.400000000000034; the dust must not stay in the record."""
        assert amount_of(amount=None, gross="512.3 g", tare="499.9 g") == Amount("weighed", 12.4, 0.1, True)
        assert amount_of(amount=None, gross="512.3 g", tare="500 g") == Amount("weighed", 12.3, 1.0, True)
        assert amount_of(amount=None, gross="512.3 g", tare="500 g", step="0.1 g") == Amount("weighed", 12.3, 0.1)
        assert amount_of(amount=None, gross="0.5 kg", tare="500 g") == Amount("weighed", 0.0, 100.0, True)

    def test_unthreshed_seed_may_be_read_another_way(self) -> None:
        def read(**keys: Any) -> Amount | None:
            return check_from_table(table(catch=[one(**keys)])).catches[0].unthreshed

        assert read() is None
        assert read(unthreshed="9 seeds", step="0.5 g") == Amount("counted", 9.0, 1.0)
        assert read(unthreshed="2 mL", unthreshed_step="1 mL", step="0.5 g") == Amount("measured", 2.0, 1.0)
        assert read(unthreshed="2.25 g", step="0.5 g") == Amount("weighed", 2.25, 0.5)  # the same scale
        assert read(unthreshed="2.25 g") == Amount("weighed", 2.25, 0.01, True)

    def test_a_flat_layer_is_read_of_round_seed(self) -> None:
        assert amount_of(crop="mustard", amount="12 in2 flat").value == pytest.approx(12 * 2.54**2)

    def test_heads_are_counted_with_the_seeds_in_one(self) -> None:
        (catch,) = check_from_table(table(catch=[one(heads=3, seeds_per_head=24.5)])).catches

        assert (catch.heads, catch.seeds_per_head) == (3.0, 24.5)

    @pytest.mark.parametrize("written", [0.25, "0.25", "1/4", "25 %", "0,25"])
    def test_a_part_is_a_number_a_fraction_or_a_percentage(self, written: object) -> None:
        (catch,) = check_from_table(table(catch=[one(subsample=written, clean=written)])).catches

        assert (catch.subsample, catch.clean) == (0.25, 0.25)

    def test_what_is_not_said_is_whole_and_clean(self) -> None:
        (catch,) = check_from_table(table()).catches

        assert (catch.subsample, catch.clean, catch.run) == (1.0, 1.0, 1)
        assert (catch.moisture_pct, catch.variation, catch.heads, catch.offset_m) == (None, None, None, None)


class TestDefaults:
    def test_the_pan_of_the_file_serves_catches_without_one(self) -> None:
        catches = [one(pan=None), one(pan="0.5 m2"), one(pan=None, width="0.5 m", length="0.4 m")]
        check = check_from_table(table(pan={"width": "2 m", "length": "0.25 m"}, catch=catches))

        expected = [Pan(0.5, 2.0, 0.25), Pan(0.5), Pan(0.2, 0.5, 0.4)]
        assert [catch.pan for catch in check.catches] == expected

    def test_the_pan_of_the_file_is_not_for_windrow_and_leak(self) -> None:
        catches = [
            {"place": "windrow", "length": "3 m", "amount": "40 g"},
            {"place": "leak", "time": "60 s", "amount": "9 g"},
        ]
        check = check_from_table(table(pan={"area": "4 ft2"}, speed="8 km/h", catch=catches))

        assert [catch.pan for catch in check.catches] == [None, None]

    def test_the_moisture_of_the_file_serves_catches_without_one(self) -> None:
        check = check_from_table(table(country="CA", moisture="8 %", catch=[one(), one(moisture="12.5 %")]))

        assert [catch.moisture_pct for catch in check.catches] == [8.0, 12.5]
        assert check.market_moisture_pct == 10.0  # canola in Canada: dry up to 10.0 %

    def test_market_moisture_is_filled_only_when_a_catch_needs_it(self) -> None:
        assert check_from_table(table(country="CA")).market_moisture_pct is None
        counted = table(moisture="8 %", catch=[one(amount="9 seeds", unthreshed="2 seeds")])
        assert check_from_table(counted).market_moisture_pct is None  # a count has no moisture
        weighed = table(country="AU", catch=[one(amount="9 seeds", unthreshed="2 g", moisture="9 %")])
        assert check_from_table(weighed).market_moisture_pct == 8.0
        assert check_from_table(table(moisture="8 %", market_moisture="9.5 %")).market_moisture_pct == 9.5

    def test_loss_is_shown_in_the_unit_of_the_limit_else_of_the_yield_else_in_kg_ha(self) -> None:
        def unit(**keys: str) -> str:
            return check_from_table(table(**keys)).trade_unit

        terms = {"yield": "2.5 t/ha", "limit": "50 lb/ac"}
        assert unit() == "kg/ha"
        assert unit(**{"yield": "2.5 t/ha"}) == "t/ha"
        assert unit(**terms) == "lb/ac"
        assert unit(report_in="bushels per acre", **terms) == "bu/ac"

    def test_the_bushel_follows_the_country_and_one_s_own_goes_first(self) -> None:
        def bushel(**keys: str) -> float | None:
            return check_from_table(table(crop="oats", **keys)).bushel_kg

        assert bushel() is None  # 34 lb in Canada, 32 in the US, and nothing is in bushels
        assert bushel(country="Canada", **{"yield": "90 bu/ac"}) == pytest.approx(34 * POUND_KG)
        assert bushel(country="US") == pytest.approx(32 * POUND_KG)
        assert bushel(bushel="36 lb", **{"yield": "90 bu/ac"}) == pytest.approx(36 * POUND_KG)

    def test_bushels_are_of_the_weight_in_force(self) -> None:
        check = check_from_table(table(crop="oats", bushel="36 lb", **{"yield": "90 bu/ac", "price": "4 /bu"}))

        assert check.yield_kg_ha == pytest.approx(90 * 36 * POUND_KG / ACRE_HA)
        assert check.price_per_t == pytest.approx(4000 / (36 * POUND_KG))

    @pytest.mark.parametrize(
        ("written", "code"), [("ca", "CA"), ("Canada", "CA"), ("U.S.", "US"), ("uk", "GB"), ("NZ", "NZ")]
    )
    def test_a_country_may_be_named(self, written: str, code: str) -> None:
        assert check_from_table(table(country=written)).country == code

    @pytest.mark.parametrize(
        ("price", "currency", "kept"),
        [
            ("14.50 /bu", None, ""),
            ("$14.50 /bu", None, "$"),
            ("14.50 CAD/bu", None, "CAD"),
            ("14.50 /bu", "NZ$", "NZ$"),
            ("$14.50 /bu", "CAD", "CAD"),
            ("14.50 CAD/bu", "$", "$"),
            ("€400 /t", "€", "€"),
            (None, "CAD", "CAD"),
        ],
    )
    def test_the_currency_is_that_of_the_price_unless_stated(
        self, price: str | None, currency: str | None, kept: str
    ) -> None:
        assert check_from_table(table(price=price, currency=currency)).currency == kept


class TestSpreading:
    WIDTHS = MappingProxyType({"cut_width": "12 m", "drop_width": "1.7 m", "spread_width": "13 m"})

    def spreading(self, combine: Mapping[str, str], *, place: str = "discharge", **keys: Any) -> bool | None:
        return check_from_table(table(combine=combine, catch=[one(place=place)], **keys)).spreading

    def test_one_width_says_it(self) -> None:
        drop = {key: self.WIDTHS[key] for key in ("cut_width", "drop_width")}
        spread = {key: self.WIDTHS[key] for key in ("cut_width", "spread_width")}

        assert self.spreading(drop) is False
        assert self.spreading(spread) is True

    def test_a_spread_wider_than_the_cut_is_allowed(self) -> None:
        check = check_from_table(table(combine=self.WIDTHS, spreading=True))

        assert check.combine == Combine(12.0, 1.7, 13.0)

    def test_said_it_stands(self) -> None:
        assert self.spreading(self.WIDTHS, spreading=True) is True
        assert self.spreading(self.WIDTHS, spreading=False) is False

    def test_it_is_not_asked_where_nothing_depends_on_it(self) -> None:
        assert self.spreading(self.WIDTHS, place="standing") is None
        assert self.spreading({"cut_width": "12 m"}, place="whole cut", spreading=True) is True


class TestTogether:
    def test_a_windrower_may_be_wider_or_narrower_than_the_header(self) -> None:
        for width in ("9 m", "15 m"):
            check = check_from_table(table(windrowed=True, windrower_width=width))
            assert (check.windrowed, check.windrower_width_m) == (True, float(width.split()[0]))

    def test_the_strip_across_a_part_pass_is_as_wide_as_the_pass(self) -> None:
        strip = one(place="whole cut", pan=None, width="6.2 m", length="20 cm")
        check = check_from_table(table(working_width="6 m", catch=[strip]))

        assert check.working_width_m == 6.0

    def test_two_runs_make_two_profiles(self) -> None:
        offsets = [("-0.5 m", 1), ("0.5 m", 1), ("-0.5 m", 2), ("0.5 m", 2)]
        catches = [one(pan="0.1 m2", offset=offset, run=run) for offset, run in offsets]
        check = check_from_table(table(catch=[*catches, one(run=3), one(place="behind")]))

        assert [(catch.offset_m, catch.run) for catch in check.catches][:4] == [
            (-0.5, 1),
            (0.5, 1),
            (-0.5, 2),
            (0.5, 2),
        ]

    def test_a_pan_wider_than_the_discharge_is_welcome_with_its_sides(self) -> None:
        (catch,) = check_from_table(table(catch=[one(pan=None, width="2 m", length="0.5 m")])).catches

        assert catch.pan == Pan(1.0, 2.0, 0.5)

    def test_names_notes_and_dates_are_kept(self) -> None:
        text = (
            'crop = "canola"\nwhen = 2026-08-30T14:20:00\noperator = "  Ines Ω "\n'
            'note = """first line\r\nsecond"""\n[field]\nname = "Long Slough"\narea = "62 ha"\n'
            '[combine]\nname = "Big Wren"\ncut_width = "12 m"\ndrop_width = "1.7 m"\nwidths_taped = true\n'
            '[[catch]]\nplace = "discharge"\npan = "4 ft2"\namount = "1 g"\nbag = "7"\nnote = "wet"\nvariation = 0.3\n'
        )
        check = read_check_file(text)

        assert (check.when, check.operator, check.note) == ("2026-08-30 14:20:00", "Ines Ω", "first line\nsecond")
        assert (check.field_name, check.field_area_ha) == ("Long Slough", 62.0)
        assert check.combine == Combine(12.0, 1.7, None, True, "Big Wren")
        assert (check.catches[0].bag, check.catches[0].note, check.catches[0].variation) == ("7", "wet", 0.3)
        assert read_check_file(text.replace("2026-08-30T14:20:00", "2026-08-30")).when == "2026-08-30"

    def test_the_crop_answers_to_its_other_names(self) -> None:
        assert check_from_table(table(crop="Oilseed Rape")).crop == "canola"

    def test_most_catches(self) -> None:
        check: Check = check_from_table(table(catch=[one()] * 500))

        assert [catch.number for catch in check.catches] == list(range(1, 501))
