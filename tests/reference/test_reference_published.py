"""Sources, constants and count rules: what is cited exists, what is listed is cited, and the rules add up."""

import json
from pathlib import Path

import pytest

from chaffinch import reference
from chaffinch.errors import ReferenceDataError
from chaffinch.reference import CountRule, Crop, Figure, fieldlogs, grain_air

VECTORS = Path(__file__).parents[1] / "vectors"
RULES = {rule.key: rule for rule in reference.rules()}
NDSU = [rule for rule in RULES.values() if rule.count.source == "ndsu-2002"]
QUADRATS = [rule for rule in RULES.values() if rule.quadrat_m2]
SEEDS_FT2_PER_BU_AC = 453.59237 * 1000 / 43560  # lb/bu × this ÷ TKW [g]; 10.4130, exact pound and acre


def _cited() -> set[str]:
    values: list[object] = list(reference.constants().values())
    for crop in map(reference.crop, reference.crop_keys()):
        for name in Crop.__slots__:
            value = getattr(crop, name)
            values.extend(value.values() if hasattr(value, "values") else [value])
    values.extend(getattr(rule, name) for rule in reference.rules() for name in CountRule.__slots__)
    for isotherm in grain_air.isotherms().values():
        values.extend(isotherm.figures)
    values.extend([*grain_air.long_term_pct().values(), grain_air.cooling()])
    values.extend(fieldlogs.cleaning().values())
    values.extend(entry.factor for entry in fieldlogs.entries().values())
    return {source_id for value in values if isinstance(value, Figure) for source_id in value.source_ids}


def _vector_sources() -> dict[str, dict[str, object]]:
    found: dict[str, dict[str, object]] = {}
    for name in ("published_loss.json", "published_econ.json"):
        found.update(json.loads((VECTORS / name).read_text(encoding="utf-8"))["sources"])
    return found


def test_every_cited_source_is_listed_and_every_listed_source_is_cited() -> None:
    cited = _cited()
    assert cited <= set(reference.sources())
    assert set(reference.sources()) <= cited | set(_vector_sources())


def test_a_source_says_the_same_here_and_in_the_vectors() -> None:
    shared = set(reference.sources()) & set(_vector_sources())
    assert len(shared) >= 15
    for source_id in shared:
        here, there = reference.source(source_id), _vector_sources()[source_id]
        assert here.year == there["year"], source_id
        # The vectors add how a copy was reached in words after the address.
        assert str(there["url"]).split(" (")[0] == here.address, source_id


def test_every_source_can_be_followed() -> None:
    for source_id, source in reference.sources().items():
        assert source.id == source_id
        assert source.title
        assert source.org
        assert source.read
        assert source.year is None or 1900 < source.year < 2100
        assert source_id == "memory" or source.address.startswith("http") or source.number


def test_an_unknown_source_or_constant_is_our_own_fault() -> None:
    with pytest.raises(ReferenceDataError, match="no source has the id 'nobody-1999'"):
        reference.source("nobody-1999")
    with pytest.raises(ReferenceDataError, match="no constant has the name 'flat_layer'"):
        reference.constant("flat_layer")


@pytest.mark.parametrize(
    ("name", "value", "unit", "origin"),
    [
        ("flat_layer.packing", 0.80, "1", "memory"),
        ("flat_layer.packing_sd", 0.06, "1", "memory"),
        ("remaining_value.combine.c1", 1.132, "1", "memory"),
        ("remaining_value.combine.c2", 0.165, "1/year^0.5", "memory"),
        ("remaining_value.combine.c3", 0.0079, "1/(h/year)^0.5", "memory"),
        ("repair.combine.rf1", 0.04, "1", "memory"),
        ("repair.combine.rf2", 2.1, "1", "memory"),
        ("fuel.diesel_per_pto_hp", 0.044, "(gal/h)/hp", "printed"),
        ("k3.corn", 0.003, "1/day", "printed"),
        ("k3.wheat", 0.005, "1/day", "memory"),
        ("z.from_or_to_best_day", 2, "1", "printed"),
        ("z.around_best_day", 4, "1", "printed"),
        ("test_weight.barley.a", -0.3063, "kg/hL", "printed"),
    ],
)
def test_constants(name: str, value: float, unit: str, origin: str) -> None:
    figure = reference.constant(name)
    assert (figure.value, figure.unit, figure.origin) == (value, unit, origin)


def test_no_timeliness_figure_is_claimed_for_canola() -> None:
    assert {name for name in reference.constants() if name.startswith("k3.")} == {
        "k3.corn",
        "k3.ear-corn",
        "k3.soybean_low",
        "k3.soybean_high",
        "k3.wheat",
        "k3.rice",
    }


def test_constants_agree_with_the_published_examples() -> None:
    records = json.loads((VECTORS / "published_loss.json").read_text(encoding="utf-8"))["records"]
    equations = [record for record in records if record["kind"] == "test_weight_equation"]
    assert len(equations) == 11
    for record in equations:
        grain = record["crop"].replace("amber durum", "durum").replace(" ", "-")
        intercept = reference.constant(f"test_weight.{grain}.a").value
        slope = reference.constant(f"test_weight.{grain}.b").value
        assert (intercept, slope) == (record["inputs"]["intercept"], record["inputs"]["slope"])
        half_litre_g = record["inputs"]["sample_g_per_half_litre"]
        got = record["recomputed"]
        assert intercept + slope * half_litre_g == pytest.approx(got["kg_per_hL"], abs=record["tolerance"])
        winchester = reference.constant("test_weight.winchester_factor").value * half_litre_g
        assert winchester == pytest.approx(got["lb_per_bu_winchester"], abs=record["tolerance"])
        avery = got["kg_per_hL"] / reference.constant("test_weight.avery_divisor").value
        # kg/hL is shown to 0.01, which moves lb/bu by up to 0.004 on top of its own rounding.
        assert avery == pytest.approx(got["lb_per_bu_avery"], abs=0.005 + 0.004)


def test_rules_name_crops_or_bring_their_own_bushel() -> None:
    assert len(NDSU) == 19
    assert len(QUADRATS) == 9
    for rule in RULES.values():
        assert (rule.crop in reference.crop_keys()) == (rule.bushel_lb is None), rule.key


@pytest.mark.parametrize("rule", NDSU, ids=lambda rule: rule.key)
def test_north_dakota_counts_follow_from_seed_size_and_bushel_unless_misprinted(rule: CountRule) -> None:
    assert rule.seeds_per_lb is not None
    if rule.bushel_lb is not None:
        lb_per_bu = rule.bushel_lb.value
    else:
        bushels = reference.crop(rule.crop).bushel_lb
        lb_per_bu = bushels["US" if "US" in bushels else "CA"].value
    tkw_g = 453592.37 / rule.seeds_per_lb.value
    off = lb_per_bu * SEEDS_FT2_PER_BU_AC / tkw_g - rule.count.value
    # The source rounds to whole seeds, large seed to halves, and cuts buckwheat's 16.5 off to 16.
    agrees = 0 <= off < rule.step if rule.truncated else abs(off) <= rule.step / 2
    assert agrees == (not rule.misprint), f"{rule.key}: off by {off:.2f}"


def test_the_known_misprints_are_marked_and_no_others() -> None:
    assert {rule.key for rule in RULES.values() if rule.misprint} == {
        "ndsu-rye",
        "ndsu-sorghum",
        "ndsu-proso-millet",
        "ndsu-sunflower-oil",
        "ndsu-sunflower-confection",
        "ndsu-sunflower-cwt",
    }
    assert RULES["ndsu-rye"].count.value == 42
    assert RULES["ndsu-proso-millet"].count.value == 84
    assert RULES["ndsu-sorghum"].count.value == 18


@pytest.mark.parametrize(("key", "lb_per_bu"), [("ndsu-sunflower-oil", 24.2), ("ndsu-sunflower-confection", 21.8)])
def test_sunflower_columns_imply_a_bushel_nobody_uses(key: str, lb_per_bu: float) -> None:
    rule = RULES[key]
    assert rule.seeds_per_lb is not None
    implied = rule.count.value * 43560 / rule.seeds_per_lb.value
    assert implied == pytest.approx(lb_per_bu, abs=0.05)  # our answer, shown to 0.1 lb
    assert implied < reference.crop("sunflower").bushel_lb["CA"].value - 5


@pytest.mark.parametrize("rule", QUADRATS, ids=lambda rule: rule.key)
def test_western_australian_counts_fit_the_span_of_the_crop(rule: CountRule) -> None:
    assert rule.quadrat_m2 is not None
    grams_m2 = 10  # 100 kg/ha
    tkw_g = 1000 * grams_m2 * rule.quadrat_m2.value / rule.count.value
    crop = reference.crop(rule.crop)
    assert crop.tkw_low_g.value <= tkw_g <= crop.tkw_high_g.value


@pytest.mark.parametrize(
    ("crop", "counts"),
    [
        ("canola", ("ndsu-canola", "wa-canola")),
        ("wheat", ("ndsu-wheat", "wa-wheat")),
        ("barley", ("ndsu-barley", "wa-barley")),
        ("oats", ("ndsu-oats", "wa-oats")),
        ("soybean", ("ndsu-soybean-small", "ndsu-soybean-large")),
        ("lentil", ("wa-lentil-red", "wa-lentil-green")),
        ("durum", ("ndsu-durum",)),
        ("rye", ("ndsu-rye",)),
        ("flax", ("ndsu-flax",)),
        ("corn", ("ndsu-corn",)),
        ("sorghum", ("ndsu-sorghum",)),
        ("buckwheat", ("ndsu-buckwheat",)),
        ("sunflower", ("ndsu-sunflower-oil",)),
        ("lupin", ("wa-lupin",)),
    ],
)
def test_derived_kernel_weights_are_the_mean_of_the_tables_they_name(crop: str, counts: tuple[str, ...]) -> None:
    weights_g = []
    for rule in (RULES[key] for key in counts):
        if rule.seeds_per_lb is not None:
            weights_g.append(453592.37 / rule.seeds_per_lb.value)
        else:
            assert rule.quadrat_m2 is not None
            weights_g.append(10_000 * rule.quadrat_m2.value / rule.count.value)
    figure = reference.crop(crop).tkw_g
    assert figure.origin == "derived"
    assert set(figure.source_ids) == {RULES[key].count.source for key in counts}
    # Derived figures are kept to two or three digits: 3.4 for 3.384 is the coarsest.
    assert figure.value == pytest.approx(sum(weights_g) / len(weights_g), rel=0.005)


def test_printed_bushels_per_tonne_are_the_bushels_we_carry() -> None:
    records = json.loads((VECTORS / "published_loss.json").read_text(encoding="utf-8"))["records"]
    printed = {r["crop"]: r["inputs"]["bushels_per_tonne"] for r in records if r["kind"] == "bushel_weight"}
    assert len(printed) == 16
    del printed["white bean"]  # no crop file
    for name, bushels_per_tonne in printed.items():
        bushel_kg = reference.crop(name.split("/")[0]).bushel_kg("CA")
        # Printed to three decimals, some of them cut off rather than rounded (42.396 for 42.3966).
        assert 1000 / bushel_kg == pytest.approx(bushels_per_tonne, abs=0.001), name


def test_printed_limits_are_the_limits_we_carry() -> None:
    records = json.loads((VECTORS / "published_econ.json").read_text(encoding="utf-8"))["records"]
    by_id = {record["id"]: record["expected"] for record in records}
    ours = {
        "canola": "canola",
        "mustard": "mustard",
        "brown-mustard": "mustard",
        "sunflower": "sunflower",
        "flax": "flax_CW",
        "soybean": "soybean",
        "wheat": "wheat_CWRS",
        "durum": "wheat_CWAD_durum",
        "oats": "oats_CW",
        "malting-barley": "barley_CW_malting",
        "barley": "barley_CW_general_purpose",
        "rye": "rye_CW",
        "corn": "corn_CW",
        "triticale": "triticale",
        "pea": "peas",
        "lentil": "lentils",
        "faba-bean": "faba_beans",
        "chickpea": "chickpeas_CW",
        "buckwheat": "buckwheat",
        "canary-seed": "canary_seed",
    }
    assert set(ours) == {key for key in reference.crop_keys() if reference.crop(key).tough_from_pct}
    for key, printed in ours.items():
        crop = reference.crop(key)
        assert crop.market_moisture("CA").value == by_id["mm01"]["max_straight_grade_moisture_pct_wb"][printed]
        assert crop.damp_above_pct["CA"].value == by_id["mm01"]["damp_starts_above_pct_wb"][printed]
    for key in ("corn", "soybean", "wheat"):
        assert reference.crop(key).market_moisture("US").value == by_id["mm02"]["standard_moisture_pct_wb"][key]
        assert reference.crop(key).bushel_lb["US"].value == by_id["mm02"]["base_weight_lb_per_bu"][key]
    for key, lb_per_bu in by_id["bw_us"]["lb_per_bu"].items():
        assert reference.crop(key).bushel_lb["US"].value == lb_per_bu
    printed_1950 = by_id["bw_statcan"]["lb_per_bu"]
    for key in set(printed_1950) - {"mixed_grain"}:
        assert reference.crop(key).bushel_lb["CA"].value == printed_1950[key]
