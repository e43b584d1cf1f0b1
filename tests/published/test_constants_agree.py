"""A figure that stands in two places is the same in both: the engine's constants, the reference and the records.

The engine carries the figures it leans on beside their formulas; ``reference/constants.toml`` carries the same ones
with source and origin, and the count rules repeat the printed tables. Equality is exact unless a line says why not.
"""

from __future__ import annotations

import pytest
from published_records import RECORDS

from chaffinch import reference
from chaffinch.engine import catch, work
from chaffinch.engine import machine_cost as cost

PER_CENT = 0.01
PAIRS = [
    ("flat_layer.packing", catch.PACKING, 1.0),
    ("flat_layer.packing_sd", catch.PACKING_SD, 1.0),
    ("capacity.divisor_ha_h", work.KM_M_PER_HA, 1.0),
    ("combine.field_efficiency_low", work.COMBINE_FIELD_EFFICIENCY.low, PER_CENT),
    ("combine.field_efficiency", work.COMBINE_FIELD_EFFICIENCY.typical, PER_CENT),
    ("combine.field_efficiency_high", work.COMBINE_FIELD_EFFICIENCY.high, PER_CENT),
    ("combine.speed_low", work.COMBINE_SPEED_KMH.low, 1.0),
    ("combine.speed", work.COMBINE_SPEED_KMH.typical, 1.0),
    ("combine.speed_high", work.COMBINE_SPEED_KMH.high, 1.0),
    ("remaining_value.combine.c1", cost.COMBINE_REMAINING_VALUE.c1, 1.0),
    ("remaining_value.combine.c2", cost.COMBINE_REMAINING_VALUE.c2, 1.0),
    ("remaining_value.combine.c3", cost.COMBINE_REMAINING_VALUE.c3, 1.0),
    ("repair.combine.rf1", cost.COMBINE_REPAIR.rf1, 1.0),
    ("repair.combine.rf2", cost.COMBINE_REPAIR.rf2, 1.0),
    ("repair.pull-type-combine.rf1", cost.PULL_TYPE_COMBINE_REPAIR.rf1, 1.0),
    ("repair.pull-type-combine.rf2", cost.PULL_TYPE_COMBINE_REPAIR.rf2, 1.0),
    ("fuel.diesel_per_pto_hp", cost.DIESEL_YEAR_ROUND_L_KWH, cost.L_PER_US_GALLON / cost.KW_PER_HP),
    ("fuel.lubricant_share", cost.LUBRICANT_SHARE_OF_FUEL, PER_CENT),
    ("labour.multiplier", cost.LABOUR_MULTIPLIER_OTHER_POWER_UNIT, 1.0),
    ("z.from_or_to_best_day", work.Z_STARTS_OR_ENDS_AT_OPTIMUM, 1.0),
    ("z.around_best_day", work.Z_CENTRED_ON_OPTIMUM, 1.0),
]
ELSEWHERE = {
    "capacity.divisor_ac_h": "fc11, below",
    "fuel.diesel_per_kw": "rounded from the rate per horsepower, below",
    "repair.combine.life": "rm04, below",
    "repair.pull-type-combine.life": "rm05, below",
    "corn_stover.moisture_db_low": "emc_stover, in the records of air and storage",
    "corn_stover.moisture_db_high": "emc_stover, in the records of air and storage",
    "k3.corn": "tl01, in the work examples",
    **dict.fromkeys(
        ("k3.ear-corn", "k3.rice", "k3.soybean_high", "k3.soybean_low", "k3.wheat"),
        "no engine constant: the person chooses K3",
    ),
}


@pytest.mark.parametrize(("name", "ours", "unit"), PAIRS, ids=[pair[0] for pair in PAIRS])
def test_engine_and_reference_agree(name: str, ours: float, unit: float) -> None:
    """The same figure, the reference's unit brought to the engine's; binary rounding only."""
    assert ours == pytest.approx(reference.constant(name).value * unit, rel=1e-15)


def test_every_constant_of_the_reference_is_compared_or_said_not_to_be() -> None:
    """Test-weight equations are compared with their records beside the bushels."""
    names = {name for name in reference.constants() if not name.startswith("test_weight.")}
    compared = {pair[0] for pair in PAIRS}
    assert compared | set(ELSEWHERE) == names
    assert not compared & set(ELSEWHERE)


def test_divisors_of_capacity_are_the_recorded_ones() -> None:
    expected = RECORDS["fc11"].expected
    assert reference.constant("capacity.divisor_ac_h").value == expected["divisor_us"]
    assert reference.constant("capacity.divisor_ha_h").value == expected["divisor_si"]


def test_the_two_ways_of_writing_the_diesel_rate_agree() -> None:
    """0.044 gal/h per hp is 0.2234 L/kWh; the SI figure, from memory, has three digits."""
    in_si = reference.constant("fuel.diesel_per_kw").value
    assert pytest.approx(in_si, abs=0.0005) == cost.DIESEL_YEAR_ROUND_L_KWH


@pytest.mark.parametrize(
    ("record", "name"), [("rm04", "repair.combine"), ("rm05", "repair.pull-type-combine")], ids=["rm04", "rm05"]
)
def test_repair_rows_are_the_recorded_ones(record: str, name: str) -> None:
    given = RECORDS[record].inputs
    carried = [reference.constant(f"{name}.{part}").value for part in ("rf1", "rf2", "life")]
    assert carried == [given["RF1"], given["RF2"], given["life_h"]]


def test_remaining_value_factors_are_the_recorded_ones() -> None:
    given = RECORDS["rv02"].inputs
    carried = [reference.constant(f"remaining_value.combine.{part}").value for part in ("c1", "c2", "c3")]
    assert carried == [given["C1"], given["C2"], given["C3"]]


NDSU = {
    "ndsu-wheat": "ndsu2002-spring-wheat",
    "ndsu-durum": "ndsu2002-durum-wheat",
    "ndsu-corn": "ndsu2002-corn-medium-grade",
}
QUADRATS = {"wa-pea": "wa-field-pea", "wa-chickpea": "wa-chickpea-kabuli"}
COUNTED = [rule for rule in reference.rules() if rule.seeds_per_lb is not None or rule.quadrat_m2 is not None]


@pytest.mark.parametrize("rule", COUNTED, ids=lambda rule: rule.key)
def test_count_rules_repeat_the_records(rule: reference.CountRule) -> None:
    """Printed count, seeds per pound or frame, source, rounding and misprint mark: the same in both places.

    The two sunflower rows are no misprints in the records, which name no bushel, but are in the rules, which are read
    with the bushel of the trade.
    """
    if rule.seeds_per_lb is not None:
        record = RECORDS[NDSU.get(rule.key, rule.key.replace("ndsu-", "ndsu2002-"))]
        assert rule.count.value == record.expected["seeds_per_ft2_per_bu_ac"]
        assert rule.seeds_per_lb.value == record.inputs["seeds_per_lb"]
        assert bool(rule.misprint) == bool(record.misprint) or rule.crop == "sunflower"
        step = 1.0 if rule.truncated else 0.5
        assert record.allowed("seeds_per_ft2_per_bu_ac") == step * rule.step
    else:
        assert rule.quadrat_m2 is not None
        record = RECORDS[QUADRATS.get(rule.key, rule.key)]
        assert rule.count.value == record.inputs["seeds_per_quadrat"]
        assert rule.quadrat_m2.value == record.inputs["quadrat_area_m2"]
        # Half a seed of the count, as kg/ha of 100 and shown to 0.01.
        half_a_seed = 100 * rule.step / 2 / rule.count.value
        assert record.allowed("loss_kg_per_ha") == pytest.approx(half_a_seed, abs=0.005)
    assert rule.count.source == record.source_id


def test_every_counted_row_of_the_records_has_its_rule() -> None:
    assert len(COUNTED) == 19 + 9


@pytest.mark.parametrize(
    ("key", "record", "figure"),
    [
        ("kentucky-wheat", "ky-wheat-20", "seeds_per_ft2_per_bu_ac"),
        ("missouri-soybean", "missouri-soy-4", "seeds_per_ft2_per_bu_ac"),
        ("california-rice", "cal-rice-2.9", "loss_lb_per_ac"),
        ("georgia-corn-ears", "uga-corn-ear-6row", "ears"),
        ("ndsu-sunflower-cwt", "sunflower-10-per-ft2", "seeds_per_ft2"),
    ],
)
def test_other_rules_repeat_the_records_too(key: str, record: str, figure: str) -> None:
    """Whether the record has the count as a printed answer or as an input."""
    (rule,) = (rule for rule in reference.rules() if rule.key == key)
    carried = {**RECORDS[record].inputs, **RECORDS[record].expected}
    assert rule.count.value == carried[figure]
    assert rule.count.source == RECORDS[record].source_id
