"""One check that does not fit: bounded, told, and never taken for wild where nobody can tell."""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_catches import counted
from made_fields import about, check, ln_ratio

from chaffinch.engine import exposure as ex
from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import LN_LOSS, evidence
from chaffinch.engine.ledger.chains import cloud_of_evidence
from chaffinch.engine.ledger.field import FieldCheck, FieldEntry, field_loss, held_at_yield
from chaffinch.engine.ledger.levels import LEVEL, Spread, log_posterior
from chaffinch.engine.ledger.season import season_loss

USUAL = (30.0, 26.0, 34.0, 31.0, 28.0, 36.0, 27.0, 32.0, 29.0, 33.0, 25.0, 35.0)


def field(losses, **more):
    return field_loss(FieldEntry("a", 62.0, [check(v) for v in losses], **more), seed=1)


def as_clouds(losses):
    return [FieldCheck({}, together=cloud_of_evidence("machine", about(v))) for v in losses]


def test_one_wild_check_of_thirteen_hardly_moves_the_field():
    without, found = field(USUAL), field((*USUAL, 3000.0))

    assert found.total.kg_ha.median == pytest.approx(without.total.kg_ha.median, rel=0.03)
    assert ln_ratio(found.total.kg_ha) < 1.1 * ln_ratio(without.total.kg_ha)
    assert found.wild[-1] > 0.99
    assert max(found.wild[:-1]) < 0.05


def test_the_chains_find_it_as_the_grid_does():
    losses = (*USUAL[:5], 3000.0)
    grid = field(losses)
    chains = field_loss(FieldEntry("a", 62.0, as_clouds(losses)), seed=1)

    sd = ln_ratio(grid.total.kg_ha) / 3.29
    for part in ("low", "median", "high"):
        ours, theirs = (getattr(f.total.kg_ha, part) for f in (chains, grid))
        # As without a wild check: about 1,000 draws of the chains know an end to 0.1 sd.
        assert abs(math.log(ours / theirs)) < 0.2 * sd
    assert chains.wild == pytest.approx(grid.wild, abs=0.03)


@pytest.mark.parametrize("last", [60.0, 150.0, 400.0, 1000.0])
def test_the_grid_and_the_chains_agree_where_it_is_not_settled(last):
    losses = (*USUAL[:3], last)
    grid = field(losses)
    chains = field_loss(FieldEntry("a", 62.0, as_clouds(losses)), seed=1)

    assert chains.wild == pytest.approx(grid.wild, abs=0.06)
    assert math.log(chains.total.kg_ha.median / grid.total.kg_ha.median) == pytest.approx(0.0, abs=0.08)


def test_the_odds_of_being_wild_are_those_of_a_sum_over_both():
    """Second road: every check wild or not, written out for three of them with τ known."""
    seen = [about(v) for v in (30.0, 40.0, 900.0)]
    tau, share = 0.4, 0.02
    sd2 = 0.2**2 + tau**2
    # exp(−z²/2) integrates to 0.2·√(2π), so each evidence averaged over N(m, τ²) is that times a normal density.
    area = 0.2 * math.sqrt(2 * math.pi)

    def fits(v):
        return area * np.exp(-0.5 * (LEVEL - math.log(v)) ** 2 / sd2) / math.sqrt(2 * math.pi * sd2)

    prior = np.exp(-0.5 * ((LEVEL - math.log(40.0)) / 1.3) ** 2)
    whole = np.prod(
        [(1 - share) * fits(v) + share * area / (LN_LOSS[-1] - LN_LOSS[0]) for v in (30.0, 40.0, 900.0)], axis=0
    )
    table, ln_spread = log_posterior(seen, Prior(40.0), Spread(tau, 1e-3), wild_share=share)
    mine = np.exp(table[len(ln_spread) // 2])

    ours, theirs = mine / mine.sum(), prior * whole / (prior * whole).sum()
    assert ours == pytest.approx(theirs, abs=1e-4 * theirs.max())


def test_of_two_checks_nobody_can_tell_which_is_wild():
    assert field((30.0, 3000.0)).wild == (0.0, 0.0)
    assert field((3000.0,)).wild == (0.0,)
    # The answer is wide instead: a field whose places differ as much as that.
    assert ln_ratio(field((30.0, 3000.0)).total.kg_ha) > math.log(8.0)


def test_empty_frames_are_not_wild():
    """Far below what was expected, but of one mind."""
    empty = evidence([counted(0, ex.in_standing_crop(1.0))] * 4, "standing")
    for count in (1, 2, 3, 6):
        found = field_loss(FieldEntry("a", 62.0, [FieldCheck({"standing": empty})] * count), seed=1)
        assert max(found.wild) < 0.05
        assert found.total.kg_ha.median < 0.3


def test_a_check_with_several_sources_is_wild_as_a_whole():
    """The pan full of a spill, its frames as everywhere: the check is doubted, the others are not."""
    checks = [
        FieldCheck({"machine": about(m), "header": about(20.0)}, {"machine": {"width": 0.02}, "header": {}})
        for m in (*USUAL[:4], 3000.0)
    ]
    found = field_loss(FieldEntry("a", 62.0, checks), seed=1)

    assert found.wild[-1] > 0.95
    assert found.sources["header"].kg_ha.median == pytest.approx(20.0, rel=0.2)
    assert found.sources["machine"].kg_ha.high < 60.0


def test_no_field_loses_more_than_it_gave_at_header_and_machine():
    free, held = (field((2000.0, 2600.0, 3000.0), yield_kg_ha=y) for y in (None, 2500.0))

    assert free.total.kg_ha.high > 3000.0
    assert held.total.kg_ha.high <= 2500.0
    # What was shed before harvest was never in the yield.
    rows = {"standing": np.full(3, 4000.0), "header": np.full(3, 1000.0), "machine": np.full(3, 3000.0)}
    kept = held_at_yield(rows, 2000.0)
    assert kept["standing"].tolist() == [4000.0] * 3
    assert kept["header"].tolist() == [500.0] * 3
    assert kept["machine"].tolist() == [1500.0] * 3
    assert held_at_yield(rows, None) == rows


def test_a_season_is_held_too():
    fields = [
        FieldEntry(f"m{k}", 30.0, [check(v) for v in (2000.0, 2600.0, 3000.0)], yield_kg_ha=2500.0) for k in (1, 2)
    ]
    found = season_loss(fields, seed=1)

    assert found.whole.judged.kg_ha.high <= 2500.0
    assert found.whole.assumed.kg_ha.high <= 2500.0
