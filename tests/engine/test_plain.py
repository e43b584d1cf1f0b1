"""The textbook arithmetic, by hand-worked cases and by its properties."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaffinch.engine import exposure, plain
from chaffinch.engine.catch import read
from chaffinch.engine.evidence import Catch


def weighed(mass_g: float) -> object:
    return read("weighed", mass_g, 0.1, tkw_g=3.5)


def standing(mass_g: float, area_m2: float = 0.5) -> Catch:
    return Catch(weighed(mass_g), exposure.in_standing_crop(area_m2))


def strip(mass_g: float, area_m2: float = 0.5) -> Catch:
    return Catch(weighed(mass_g), exposure.in_header_strip(area_m2))


def pan(mass_g: float) -> Catch:
    return Catch(weighed(mass_g), exposure.in_discharge(0.5, 12.0, 1.8))


def behind(mass_g: float) -> Catch:
    return Catch(weighed(mass_g), exposure.behind(0.5, 12.0, 1.8))


def across(mass_g: float) -> Catch:
    return Catch(weighed(mass_g), exposure.across_whole_cut(0.5))


def test_full_procedure_by_hand():
    """Standing 1 g, strip 3 g, behind 23 g on 0.5 m²: 20, 40 and (460 − 60)·1.8/12 = 60 kg/ha."""
    found = plain.plain([standing(1), strip(3), behind(23)])

    assert (found.standing, found.header, found.machine) == pytest.approx((20.0, 40.0, 60.0))
    assert found.total == pytest.approx(120.0)
    assert found.left_in == ()


def test_pan_in_the_discharge_has_nothing_taken_off():
    """A pan that never received header or standing loss gets none subtracted (trap 8): 12 g is 36 kg/ha."""
    found = plain.plain([standing(1), strip(3), pan(12)])

    assert found.machine == pytest.approx(36.0)


def test_negative_difference_is_shown():
    """More lay in standing crop than in the strip: the header figure is negative, not cut off at zero."""
    assert plain.plain([standing(3), strip(1)]).header == pytest.approx(-40.0)


def test_what_was_not_measured_is_said():
    """Without the lower frames the figures keep what lies there, and say so."""
    assert plain.plain([strip(3)]).left_in == (plain.STANDING_LEFT_IN,)
    assert plain.plain([behind(23)]).left_in == (plain.HEADER_LEFT_IN,)
    assert plain.plain([behind(23)]).machine == pytest.approx(460 * 1.8 / 12)


def test_strip_across_the_cut_gives_header_and_machine_together():
    """A strip over the whole cut parts nothing: 10·5/0.5 less 20 standing leaves 80 for both."""
    found = plain.plain([standing(1), across(5)])

    assert (found.header, found.machine) == (None, None)
    assert found.header_and_machine == pytest.approx(80.0)
    assert found.total == pytest.approx(100.0)
    assert plain.NOT_PARTED in found.left_in


def test_strip_across_the_cut_with_a_header_strip_gives_the_machine():
    """With the header strip known, the rest over the cut is the machine's, at factor 1 (trap 7)."""
    assert plain.plain([strip(3), across(5)]).machine == pytest.approx(40.0)


masses = st.floats(0.0, 1e4)


@given(st.lists(masses, min_size=1, max_size=5), st.lists(masses, min_size=1, max_size=5), st.floats(0, 1e4))
@settings(max_examples=200)
def test_doubling_every_catch_doubles_every_plain_loss(frames, pans, lower):
    """Plain loss is linear in the catches."""
    one = plain.plain([standing(lower), *map(strip, frames), *map(pan, pans)])
    two = plain.plain([standing(2 * lower), *(strip(2 * m) for m in frames), *(pan(2 * m) for m in pans)])

    for name in ("standing", "header", "machine", "total"):
        a, b = getattr(one, name), getattr(two, name)
        assert b == pytest.approx(2 * a, rel=1e-9, abs=1e-6)


@given(st.lists(masses, min_size=1, max_size=6), st.integers(0, 5), st.floats(0.1, 1e3))
@settings(max_examples=200)
def test_plain_loss_rises_with_each_catch(pans, which, more):
    """Raising one pan raises the plain machine loss."""
    raised = list(pans)
    raised[which % len(pans)] += more

    assert plain.plain(list(map(pan, raised))).machine > plain.plain(list(map(pan, pans))).machine


@given(st.permutations([standing(1), strip(3), strip(2), pan(12), behind(9), across(4)]))
@settings(max_examples=50)
def test_order_does_not_matter(catches):
    """The order in which catches are written changes nothing."""
    usual = plain.plain([standing(1), strip(3), strip(2), pan(12), behind(9), across(4)])
    found = plain.plain(list(catches))

    assert (found.standing, found.header, found.machine, found.total) == pytest.approx(
        (usual.standing, usual.header, usual.machine, usual.total), rel=1e-12
    )
