"""Published frames: width times length, as printed, is 10 ft² (or 1/100 ac), taken through a check file.

A frame across the whole cut carries its width to ``whole cut``; one along the row stands in ``header strip``. The
count of the same sources, laid in the frame, must come out as one bushel per acre to the same relative precision.
"""

from __future__ import annotations

import pytest
from one_stop import FT2_M2, ask, tkw_of_rule, told
from published_records import Record, runs_all

from chaffinch import units
from chaffinch.book.checks.answer import CheckAnswer
from chaffinch.errors import InputError

CORN = {"country": "US", "report_in": "bu/ac", "tkw": f"{tkw_of_rule(2, 56)!r} g"}
SOYBEAN = {"country": "US", "report_in": "bu/ac", "tkw": f"{tkw_of_rule(4, 60)!r} g"}
RICE = {"country": "US", "report_in": "lb/ac", "tkw": f"{tkw_of_rule(1, 2.9)!r} g"}


def _area_ft2(found: CheckAnswer) -> float:
    pan = found.check.catches[0].pan
    assert pan is not None
    return pan.area_m2 / FT2_M2


def _across(crop: str, header_ft: float, length: str, seeds: int, **top: object) -> CheckAnswer:
    catch = {"place": "whole cut", "width": f"{header_ft} ft", "length": length, "amount": f"{seeds} seeds"}
    return ask(crop, catch, combine={"cut_width": f"{header_ft} ft"}, **top)


def _hold(record: Record, name: str, found: CheckAnswer, count_rule: float) -> None:
    """The length that makes 10 ft² of this width, and the count rule to the same relative precision."""
    area_ft2 = _area_ft2(found)
    length_in = record.expected[name]
    record.agree({name: length_in * record.inputs["frame_area_ft2"] / area_ft2})
    assert count_rule == pytest.approx(1.0, rel=record.allowed(name) / length_in + 1e-9)


@runs_all("uga-frame-")
def test_georgia_frames_along_the_row(record: Record) -> None:
    """Row spacing times printed length; lengths are printed to half or whole inches. 20 kernels are a bushel."""
    width, length = record.inputs["row_spacing_in"], record.expected["frame_length_in"]
    catch = {"place": "header strip", "width": f"{width} in", "length": f"{length} in", "amount": "20 kernels"}
    found = ask("corn", catch, **CORN)
    _hold(record, "frame_length_in", found, told(found, found.plain.header))


@runs_all("missouri-frame-")
def test_missouri_frames_across_the_cut(record: Record) -> None:
    """Header width times printed length, exact; 40 beans are a bushel, and no width ratio comes in."""
    found = _across(
        "soybean", record.inputs["header_width_ft"], f"{record.expected['frame_length_in']} in", 40, **SOYBEAN
    )
    _hold(record, "frame_length_in", found, told(found, found.plain.header_and_machine))
    assert found.plain.machine is None


@runs_all("ark-strip-")
def test_arkansas_strips_across_the_cut(record: Record) -> None:
    """Header width times printed length, to 0.1 in (35 ft: 3.43 as 3.4); rice at California's 2.9 lb/ac a seed."""
    length = f"{record.expected['strip_length_in']} in"
    found = _across("rice", record.inputs["header_width_ft"], length, 100, **RICE)
    # 100 seeds in 10 ft² are 10 per ft², at 2.9 lb/ac each.
    _hold(record, "strip_length_in", found, told(found, found.plain.header_and_machine) / 29.0)


def test_twenty_inch_rows_take_the_forty_inch_frame_over_two_rows() -> None:
    """Georgia, note to its table: 2 × 20 in by 36 in is 10 ft², exact."""
    width_m = 2 * units.read("20 in", "length", field="rows").value
    length_m = units.read("36 in", "length", field="frame").value
    assert units.write(width_m * length_m, "ft2", "area") == pytest.approx(10.0, rel=1e-15)


@runs_all("uga-corn-ear-")
def test_dropped_ears_over_a_hundredth_of_an_acre(record: Record) -> None:
    """One ear of 0.75 lb is 1.07 bu/ac of 70 lb of ears (70 lb from memory); the source rounds it to 1.

    Lengths are printed to 0.1 ft (29 for 29.04).
    """
    rows, spacing = record.inputs["rows"], record.inputs["row_spacing_in"]
    width_m = rows * units.read(f"{spacing} in", "length", field="row spacing").value
    hundredth_m2 = 1e4 * units.to_inside(record.inputs["sample_area_ac"], "ac", "land")

    def loss_bu_ac(length: str) -> float:
        width = f"{width_m!r} m"
        ears = f"{record.inputs['ear_weight_lb'] * record.inputs['ears']} lb"
        catch = {"place": "whole cut", "width": width, "length": length, "amount": ears}
        found = ask("corn", catch, bushel="70 lb", report_in="bu/ac", combine={"cut_width": width})
        return told(found, found.plain.header_and_machine)

    length_ft = units.write(hundredth_m2 / width_m, "ft", "length")
    record.agree(
        {
            "sample_length_ft": length_ft,
            "loss_bu_per_ac": loss_bu_ac(f"{record.expected['sample_length_ft']} ft"),
            "loss_bu_per_ac_at_70lb_ear_corn_per_bu": loss_bu_ac(f"{length_ft!r} ft"),
        }
    )


def test_a_frame_that_is_not_as_wide_as_the_header_is_no_strip_across_it() -> None:
    """Missouri's frame for a 15 ft header (8 in) under a 20 ft one would be 6.7 ft² short: refused, not scaled."""
    with pytest.raises(InputError, match="catch 1, width: is not about the cut width"):
        ask(
            "soybean",
            {"place": "whole cut", "width": "15 ft", "length": "8 in", "amount": "40 beans"},
            combine={"cut_width": "20 ft"},
            **SOYBEAN,
        )
