"""What a season lost: shared errors stay shared, and area not measured is told."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from made_fields import check, ln_ratio
from uncertainties import ufloat

from chaffinch.engine.ledger.field import FieldEntry, field_loss
from chaffinch.engine.ledger.levels import Spread
from chaffinch.engine.ledger.season import season_loss
from chaffinch.errors import InputError

# Fields known almost exactly but for their shared errors: every hectare alike, ten sharp checks.
SETTLED = Spread(0.001, 0.1)


def known(name: str, kg_ha: float, area_ha: float, shared: dict[object, float]) -> FieldEntry:
    return FieldEntry(name, area_ha, [check(kg_ha, 0.02, shared=shared)] * 10, spread=SETTLED)


AREAS, LOSSES = (62.0, 40.0, 15.0, 33.0), (40.0, 60.0, 25.0, 80.0)


def season_sd(shared_of) -> float:
    entries = [known(str(k), kg, ha, shared_of(k)) for k, (ha, kg) in enumerate(zip(AREAS, LOSSES, strict=True))]
    found = season_loss(entries, seed=1)
    kg = np.sum([e.area_ha * found.draws[e.name]["machine"] for e in entries], axis=0)
    assert found.whole.judged.kg.median == pytest.approx(float(np.median(kg)), rel=1e-3)
    return float(kg.std())


def test_shared_errors_add_up_as_uncertainties_says():
    """One width and one pan for all, a TKW for two fields, and the rest their own: linear propagation.

    Errors of 4 % are linear to a part in a thousand; 0.4 % per field comes on top; 4,096 draws know an sd to 1.1 %.
    """

    def shared(k: int) -> dict[object, float]:
        return {"width": 0.04, ("TKW", "canola" if k < 2 else "wheat"): 0.03, ("own", str(k)): 0.05}

    width, tkw = ufloat(1.0, 0.04), [ufloat(1.0, 0.03), ufloat(1.0, 0.03)]
    parts = [
        ha * kg * ufloat(1.0, 0.05) * ufloat(1.0, 0.02 / math.sqrt(10)) * width * tkw[k // 2]
        for k, (ha, kg) in enumerate(zip(AREAS, LOSSES, strict=True))
    ]

    assert season_sd(shared) == pytest.approx(sum(parts).s, rel=0.05)
    apart = [
        ha * kg * ufloat(1.0, math.sqrt(0.04**2 + 0.03**2 + 0.05**2)) for ha, kg in zip(AREAS, LOSSES, strict=True)
    ]
    # Taken as each field's own, the same errors would look much smaller.
    assert season_sd(lambda k: {("all", str(k)): math.sqrt(0.005)}) == pytest.approx(sum(apart).s, rel=0.06)
    assert sum(apart).s < 0.85 * sum(parts).s


def test_one_shared_error_is_a_lognormal_season():
    """Σ ha·kg times one lognormal factor: its 5, 50 and 95 % points in closed form."""
    entries = [known(str(k), kg, ha, {"width": 0.25}) for k, (ha, kg) in enumerate(zip(AREAS, LOSSES, strict=True))]
    total = season_loss(entries, seed=2).whole.judged.kg
    exact = sum(ha * kg for ha, kg in zip(AREAS, LOSSES, strict=True))

    # 0.034 sd for the draws at an end, and half a per cent for the checks and their prior.
    for found, z in ((total.low, -1.645), (total.median, 0.0), (total.high, 1.645)):
        assert math.log(found / exact) == pytest.approx(0.25 * z, abs=0.034 * 0.25 + 0.005)


def test_independent_fields_average_out():
    """The sum of lognormal fields against numpy's own draws of the same."""
    entries = [known(str(k), 50.0, 40.0, {("own", str(k)): 0.4}) for k in range(6)]
    total = season_loss(entries, seed=3).whole.judged.kg
    draws = 40.0 * 50.0 * np.exp(0.4 * np.random.default_rng(9).standard_normal((400_000, 6))).sum(axis=1)
    low, high = np.quantile(draws, [0.05, 0.95])

    assert math.log(total.low / low) == pytest.approx(0.0, abs=0.02)
    assert math.log(total.high / high) == pytest.approx(0.0, abs=0.02)


MEASURED = [FieldEntry(f"m{k}", 50.0, [check(kg)] * 3, 600.0, crop="canola") for k, kg in enumerate((30.0, 45.0, 70.0))]
BLANK = FieldEntry("blank", 100.0, [], 500.0, crop="canola")
PEAS = FieldEntry("peas", 20.0, [], None, crop="peas")


def test_area_without_a_check_is_told_and_not_filled_in():
    found = season_loss([*MEASURED, BLANK], seed=1)

    assert found.whole.unchecked == ("blank",)
    assert found.whole.unchecked_ha == 100.0
    assert found.whole.unchecked_pct == pytest.approx(40.0)
    assert found.whole.judged.area_ha == 150.0
    assert found.whole.judged.kg == season_loss(MEASURED, seed=1).whole.judged.kg
    assert "blank" not in found.fields


def test_all_area_is_an_assumption_drawn_from_the_crops_other_fields():
    found = season_loss([*MEASURED, BLANK, PEAS], seed=1)
    canola = found.crops["canola"]

    assert canola.assumed.area_ha == 250.0
    # The blank field is one of a population that differs by a factor: much less sure than the measured ones.
    rest = canola.assumed.kg.high - canola.judged.kg.high
    assert rest > 100.0 * 60.0
    assert ln_ratio(canola.assumed.kg) > ln_ratio(canola.judged.kg)
    assert 0.7 < canola.assumed.kg_ha.median / canola.judged.kg_ha.median < 1.4
    # Peas were measured nowhere: nothing is said of them.
    assert found.crops["peas"].assumed is None
    assert found.crops["peas"].judged is None
    assert ("peas", "machine") in found.whole.not_assumed
    assert found.whole.assumed.kg == canola.assumed.kg
    assert set(canola.not_assumed) == {(e.name, "header") for e in (*MEASURED, BLANK)}


def test_a_source_missed_in_one_field_is_told_and_filled_in_by_assumption_only():
    both = [
        replace(
            e, checks=[replace(c, evidence={**c.evidence, **check(20.0, source="header").evidence}) for c in e.checks]
        )
        for e in MEASURED[:2]
    ]
    found = season_loss([*both, MEASURED[2]], seed=1)

    assert found.whole.sources["header"].area_ha == 100.0
    assert found.whole.sources["machine"].area_ha == 150.0
    assert found.fields["m2"].coverage.missing == ("header",)
    assert found.whole.assumed.kg.median > found.whole.judged.kg.median + 50.0 * 10.0


def test_money_is_at_each_fields_own_price_and_says_for_which_area():
    unpriced = replace(MEASURED[2], price_per_t=None)
    dear = replace(MEASURED[1], price_per_t=1200.0)
    found = season_loss([MEASURED[0], dear, unpriced], seed=1)
    rows = {name: of["machine"] for name, of in found.draws.items()}

    assert found.whole.judged.priced_ha == 100.0
    expected = np.median(50.0 / 1000.0 * (600.0 * rows["m0"] + 1200.0 * rows["m1"]))
    assert found.whole.judged.money.median == pytest.approx(float(expected), rel=1e-3)
    assert season_loss([unpriced], seed=1).whole.judged.money is None


def test_crops_and_fields_add_up():
    wheat = replace(MEASURED[0], name="w", crop="wheat")
    found = season_loss([*MEASURED, wheat, BLANK], seed=1)

    assert sum(c.area_ha for c in found.crops.values()) == found.whole.area_ha == 300.0
    by_crop = sum(c.judged.kg_ha.median * c.judged.area_ha for c in found.crops.values())
    assert found.whole.judged.kg.median == pytest.approx(by_crop, rel=0.05)
    means = sum(e.area_ha * found.draws[e.name]["machine"].mean() for e in (*MEASURED, wheat))
    rows = np.sum([e.area_ha * found.draws[e.name]["machine"] for e in (*MEASURED, wheat)], axis=0)
    assert rows.mean() == pytest.approx(means, rel=1e-12)


def test_the_order_of_fields_does_not_show_and_a_field_is_itself_in_a_season():
    there = [*MEASURED, BLANK]

    assert season_loss(there, seed=4).whole == season_loss(there[::-1], seed=4).whole
    assert season_loss(there, seed=4).fields["m1"].judged == field_loss(MEASURED[1], seed=4).judged


@pytest.mark.parametrize(
    ("entries", "field"),
    [
        ([], "fields"),
        ([MEASURED[0], MEASURED[0]], "field"),
        ([MEASURED[0], replace(BLANK, area_ha=0.0)], "area"),
        ([MEASURED[0], replace(BLANK, price_per_t=-5.0)], "price"),
        ([replace(MEASURED[0], checks=[check(40.0, shared={"width": -0.1})])], "shared error width"),
    ],
)
def test_what_cannot_be_is_refused(entries, field):
    with pytest.raises(InputError, match=field):
        season_loss(entries, seed=1)
