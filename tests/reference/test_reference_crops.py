"""What the crop files say, and how a crop is asked for."""

import math
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaffinch import reference
from chaffinch.errors import InputError, UnknownCropError
from chaffinch.reference import Crop, Figure
from chaffinch.reference.crops import _aliases, _fold
from chaffinch.units.factors import POUND_G

KEYS = reference.crop_keys()
ASKED_FOR = {
    *("canola", "wheat", "durum", "barley", "oats", "rye", "flax", "mustard", "soybean", "pea", "lentil"),
    *("chickpea", "faba-bean", "sunflower", "corn", "sorghum", "rice", "buckwheat", "lupin", "triticale"),
    "canary-seed",
}
LB_KG = float(POUND_G) / 1000  # exact, by another road than the room's own


def figures_of(crop: Crop) -> Iterator[tuple[str, Figure]]:
    for name in Crop.__slots__:
        value = getattr(crop, name)
        if isinstance(value, Figure):
            yield name, value
        elif hasattr(value, "items"):
            yield from ((f"{name}.{code}", figure) for code, figure in value.items())


def test_every_crop_asked_for_is_there_and_canola_comes_first() -> None:
    assert set(KEYS) >= ASKED_FOR
    assert len(KEYS) >= 14
    assert KEYS[0] == "canola"
    assert list(KEYS[1:]) == sorted(KEYS[1:])


@pytest.mark.parametrize("key", KEYS)
def test_every_number_has_an_origin_and_a_source_we_can_name(key: str) -> None:
    crop = reference.crop(key)
    found = dict(figures_of(crop))
    assert {"test_weight_kg_hl", "tkw_g", "tkw_low_g", "tkw_high_g"} <= set(found)
    assert crop.market_moisture_pct
    for name, figure in found.items():
        assert figure.origin in reference.ORIGINS, name
        assert set(figure.source_ids) <= set(reference.sources()), name


@pytest.mark.parametrize("key", KEYS)
def test_figures_are_of_a_size_the_trade_would_believe(key: str) -> None:
    crop = reference.crop(key)
    assert 25 < crop.test_weight_kg_hl.value < 90
    assert 2 <= crop.tkw_low_g.value < crop.tkw_g.value < crop.tkw_high_g.value <= 700
    assert all(30 <= figure.value <= 60 for figure in crop.bushel_lb.values())
    assert all(7 < figure.value < 17 for figure in crop.market_moisture_pct.values())


@pytest.mark.parametrize("key", KEYS)
def test_canadian_limits_follow_each_other(key: str) -> None:
    crop = reference.crop(key)
    assert set(crop.tough_from_pct) == set(crop.damp_above_pct) <= {"CA"}
    assert ("CA" in crop.market_moisture_pct) == ("CA" in crop.tough_from_pct)
    for code, tough in crop.tough_from_pct.items():
        # The order prints tough from 0.1 above what is still straight.
        assert tough.value - crop.market_moisture_pct[code].value == pytest.approx(0.1, abs=1e-9)
        assert tough.value < crop.damp_above_pct[code].value
        assert tough.origin == "printed"


def test_a_sphere_of_the_typical_seed_weighs_the_typical_kernel() -> None:
    round_crops = [crop for crop in map(reference.crop, KEYS) if crop.round_seed]
    assert {"canola", "mustard", "pea", "soybean"} <= {crop.key for crop in round_crops}
    for crop in round_crops:
        assert crop.seed_diameter_mm is not None
        assert crop.kernel_density_g_cm3 is not None
        mass_g = math.pi / 6 * (crop.seed_diameter_mm.value / 10) ** 3 * crop.kernel_density_g_cm3.value
        # 15 %: the diameter is known to 0.1 mm, and a tenth of 1.8 mm is 17 % of the volume.
        assert 1000 * mass_g == pytest.approx(crop.tkw_g.value, rel=0.15), crop.key


def test_bushels_are_those_the_trade_uses() -> None:
    canada = {key: reference.crop(key).bushel_lb["CA"].value for key in KEYS if "CA" in reference.crop(key).bushel_lb}
    assert canada["canola"] == 50
    assert (canada["oats"], reference.crop("oats").bushel_lb["US"].value) == (34, 32)
    assert canada["sunflower"] == 30
    for figure in (figure for key in KEYS for figure in reference.crop(key).bushel_lb.values()):
        # Nobody printed lb/bu in Alberta's table: it prints bushels per tonne.
        assert (figure.origin == "derived") == (figure.source == "alberta-2002")


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("canola", "canola"),
        ("CANOLA", "canola"),
        ("  Canola ", "canola"),
        ("rapeseed", "canola"),
        ("oilseed rape", "canola"),
        ("Oilseed-Rape", "canola"),
        ("oilseed_rape", "canola"),
        ("maize", "corn"),
        ("Field Pea", "pea"),
        ("faba bean", "faba-bean"),
        ("fababean", "faba-bean"),
        ("Faba‑Bean", "faba-bean"),  # a non-breaking hyphen, as word processors write it
        ("canaryseed", "canary-seed"),
        ("linseed", "flax"),
    ],
)
def test_a_crop_answers_to_its_names(name: str, key: str) -> None:
    assert reference.crop(name).key == key
    assert reference.crop(name) is reference.crop(key)


def test_names_file_and_crop_files_list_the_same_names() -> None:
    listed = {_fold(name): key for key in KEYS for name in reference.crop(key).also}
    assert dict(_aliases()) == listed
    assert sum(len(reference.crop(key).also) for key in KEYS) == len(listed), "a name stands twice"
    assert not set(listed) & {_fold(key) for key in KEYS}


@pytest.mark.parametrize(
    ("name", "mend"),
    [
        ("canolla", "did you mean canola?"),
        ("autumn barley", "did you mean barley?"),
        ("rapesed", "did you mean canola?"),
        ("xyzzy", "`chaffinch crops` lists"),
        ("", "`chaffinch crops` lists"),
        ("../constants", "`chaffinch crops` lists"),
        ("c" * 100_000, "`chaffinch crops` lists"),
    ],
)
def test_an_unknown_crop_is_met_with_the_nearest_names(name: str, mend: str) -> None:
    with pytest.raises(UnknownCropError, match="chaffinch crops") as caught:
        reference.crop(name, field="field 3, crop")
    assert caught.value.field == "field 3, crop"
    assert caught.value.value == name
    assert caught.value.mend.startswith(mend)


@given(st.text(max_size=80))
def test_any_text_is_a_crop_or_an_unknown_crop(name: str) -> None:
    try:
        found = reference.crop(name)
    except UnknownCropError:
        assert _fold(name) not in {_fold(key) for key in KEYS}
    else:
        assert found.key in KEYS


@pytest.mark.parametrize("country", ["CA", "ca", "Canada", " canada "])
def test_a_bushel_of_one_country(country: str) -> None:
    assert reference.crop("oats").bushel_kg(country) == pytest.approx(34 * LB_KG, rel=1e-15)


def test_a_country_may_be_written_as_people_write_it() -> None:
    oats = reference.crop("oats")
    for written in ("US", "u.s.", "USA", "United States"):
        assert oats.bushel_kg(written) == pytest.approx(32 * LB_KG, rel=1e-15)
    assert reference.crop("canola").market_moisture("UK").value == 9
    assert reference.crop("canola").market_moisture("Australia").value == 8


def test_no_country_is_needed_where_all_agree() -> None:
    assert reference.crop("canola").bushel_kg(None) == pytest.approx(50 * LB_KG, rel=1e-15)
    assert reference.crop("corn").market_moisture(None).value == 15.5
    assert reference.crop("rice").bushel_kg(None) == pytest.approx(45 * LB_KG, rel=1e-15)  # one country only


@pytest.mark.parametrize(
    ("key", "country", "problem", "mend"),
    [
        ("oats", None, "differs by country (CA 34 lb/bu, US 32 lb/bu)", "name one of CA, US"),
        ("sunflower", None, "is not settled", "name CA, or write kg/ha"),
        (
            "sunflower",
            "US",
            "no bushel weight of sunflower is listed for that country",
            "name CA, or write kg/ha",
        ),
        ("canola", "AU", "no bushel weight", "name one of CA, US, or write kg/ha"),
        ("canola", "Atlantis", "no bushel weight", "name one of CA, US"),
        ("canola", "", "no bushel weight", "name one of CA, US"),
        ("lupin", "AU", "is listed for any country", "write kg/ha"),
        ("lupin", None, "is listed for any country", "write kg/ha"),
    ],
)
def test_a_bushel_that_is_not_known_is_asked_for(key: str, country: str | None, problem: str, mend: str) -> None:
    with pytest.raises(InputError) as caught:
        reference.crop(key).bushel_kg(country, field="yield")
    assert caught.value.field == "yield"
    assert caught.value.value == country
    assert problem in caught.value.problem
    assert caught.value.mend.startswith(mend)


@pytest.mark.parametrize(("key", "country"), [("canola", None), ("canola", "US"), ("sorghum", "CA"), ("wheat", "x")])
def test_a_market_moisture_that_is_not_known_is_asked_for(key: str, country: str | None) -> None:
    with pytest.raises(InputError, match="market moisture") as caught:
        reference.crop(key).market_moisture(country)
    assert caught.value.field == "country"
    assert "name " in caught.value.mend


def test_only_the_asked_crops_file_is_opened(shelf: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []
    read_text = Path.read_text

    def noting(self: Path, *args: str, **kwargs: str) -> str:
        opened.append(self.relative_to(shelf).as_posix())
        return read_text(self, *args, **kwargs)

    monkeypatch.setattr(Path, "read_text", noting)
    assert reference.crop("canola").key == "canola"
    assert opened == ["crops/canola.toml"]
    reference.crop("Canola")
    assert opened == ["crops/canola.toml"], "asked twice, read once"
    reference.crop("maize")
    assert opened == ["crops/canola.toml", "names.toml", "crops/corn.toml"]


def test_damage_elsewhere_does_not_reach_the_asked_crop(shelf: Path) -> None:
    for file in shelf.rglob("*.toml"):
        if file.name != "canola.toml":
            file.write_bytes(b"\xff not TOML")
    assert reference.crop("canola").bushel_lb["CA"].value == 50


def test_a_crop_cannot_be_changed() -> None:
    canola = reference.crop("canola")
    with pytest.raises(AttributeError):
        canola.tkw_g = canola.tkw_low_g  # type: ignore[misc]
    with pytest.raises(TypeError):
        canola.bushel_lb["CA"] = canola.tkw_g  # type: ignore[index]
    assert hash(canola) == hash(reference.crop("rapeseed"))
