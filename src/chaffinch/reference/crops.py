"""What is known of a crop's seed: its bushel, its density, its size, its market moisture?

One small file per crop stands in ``crops/``; asking for a crop opens that file and no other (``names.toml``
too when it is asked for by another name). What the reference does not know it does not guess: a bushel that
differs by country, or is missing, is asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from chaffinch.errors import InputError, UnknownCropError
from chaffinch.reference import loader
from chaffinch.reference.loader import Figure, Table

_KG_PER_LB = 0.45359237  # [kg], international avoirdupois pound, exact (NIST Handbook 44 App. C, from memory)

# ISO 3166 codes, and how people write them; capitals only, signs and blanks taken out.
_COUNTRIES = {
    "CA": ("CA", "CAN", "CANADA"),
    "US": ("US", "USA", "UNITEDSTATES", "UNITEDSTATESOFAMERICA", "AMERICA"),
    "AU": ("AU", "AUS", "AUSTRALIA"),
    "GB": ("GB", "UK", "UNITEDKINGDOM", "GREATBRITAIN", "BRITAIN"),
}

_LONGEST_NAME = 60  # [characters]; difflib's cost grows with the square, and no crop has a longer name

_CROP_KEYS = (
    "name",
    "also",
    "round_seed",
    "bushel_disputed",
    "bushel_lb",
    "test_weight_kg_hl",
    "tkw_g",
    "tkw_low_g",
    "tkw_high_g",
    "seed_diameter_mm",
    "kernel_density_g_cm3",
    "market_moisture_pct",
    "tough_from_pct",
    "damp_above_pct",
)


@dataclass(frozen=True, slots=True)
class Crop:
    """One crop as the published figures have it.

    Parameters
    ----------
    key : str
        File name and identity: ``"canola"``, ``"faba-bean"``.
    name : str
        Name to show.
    also : tuple of str
        Other names it answers to.
    round_seed : bool
        Whether a sphere is a fair model of the seed (flat-layer readings need it).
    bushel_lb : Mapping of str to Figure
        Net weight of a bushel by law or custom, by country code. [lb/bu]
    test_weight_kg_hl : Figure
        Typical test weight. [kg/hL]
    tkw_g, tkw_low_g, tkw_high_g : Figure
        Thousand kernel weight: typical, and the span usually met. [g]
    seed_diameter_mm, kernel_density_g_cm3 : Figure or None
        Sphere of the typical seed; None unless ``round_seed``. [mm], [g/cm³]
    market_moisture_pct : Mapping of str to Figure
        Moisture (wet basis) up to which grain sells as dry, by country code. [%]
    tough_from_pct, damp_above_pct : Mapping of str to Figure
        Where the grades "tough" begins and "damp" begins above, by country code. [%]
    bushel_disputed : str
        Why the country must be named even though the bushels listed agree; empty when it need not be.
    """

    key: str
    name: str
    also: tuple[str, ...]
    round_seed: bool
    bushel_lb: Mapping[str, Figure] = field(hash=False)
    test_weight_kg_hl: Figure
    tkw_g: Figure
    tkw_low_g: Figure
    tkw_high_g: Figure
    seed_diameter_mm: Figure | None
    kernel_density_g_cm3: Figure | None
    market_moisture_pct: Mapping[str, Figure] = field(hash=False)
    tough_from_pct: Mapping[str, Figure] = field(hash=False)
    damp_above_pct: Mapping[str, Figure] = field(hash=False)
    bushel_disputed: str = ""

    def bushel_kg(self, country: str | None, *, field: str = "country") -> float:
        """Mass of one bushel of this crop. [kg]

        Parameters
        ----------
        country : str or None
            ``"CA"``, ``"US"`` or the country's name; None where all listed countries agree.
        field : str
            Where the country stood, for the error message.

        Returns
        -------
        float
            Net weight of the bushel. [kg], 13 to 28

        Raises
        ------
        InputError
            No bushel weight is listed for that country, or the countries differ and none was named.
        """
        if country is None and self.bushel_disputed:
            raise InputError(
                field,
                None,
                f"the bushel of {self.name} is not settled: {self.bushel_disputed}",
                f"{_ask_for(self.bushel_lb)}, or write kg/ha or lb/ac",
            )
        chosen = self._by_country(
            self.bushel_lb, country, field, "bushel weight", "write kg/ha, t/ha or lb/ac instead of bushels"
        )
        return chosen.value * _KG_PER_LB

    def market_moisture(self, country: str | None, *, field: str = "country") -> Figure:
        """Moisture, wet basis, up to which this crop sells as dry. [%]

        Parameters
        ----------
        country : str or None
            ``"CA"``, ``"US"``, ``"AU"``, ``"GB"`` or the country's name; None where all listed agree.
        field : str
            Where the country stood, for the error message.

        Returns
        -------
        Figure
            The figure with its source. [%], 8 to 16

        Raises
        ------
        InputError
            No market moisture is listed for that country, or the countries differ and none was named.
        """
        return self._by_country(
            self.market_moisture_pct,
            country,
            field,
            "market moisture",
            "give the market moisture yourself, in %",
        )

    def _by_country(
        self, figures: Mapping[str, Figure], country: str | None, field: str, what: str, instead: str
    ) -> Figure:
        if not figures:
            raise InputError(field, country, f"no {what} of {self.name} is listed for any country", instead)
        if country is None:
            first, *others = figures.values()
            if any(other.value != first.value for other in others):
                raise InputError(
                    field,
                    None,
                    f"the {what} of {self.name} differs by country ({_listed(figures)})",
                    _ask_for(figures),
                )
            return first
        code = _country_code(country)
        if code is None or code not in figures:
            raise InputError(
                field,
                country,
                f"no {what} of {self.name} is listed for that country",
                f"{_ask_for(figures)}, or {instead}",
            )
        return figures[code]


def crop(name: str, *, field: str = "crop") -> Crop:
    """Return the crop of that name.

    Parameters
    ----------
    name : str
        A key or another name, in any case, with spaces, hyphens or neither: ``"canola"``, ``"Oilseed rape"``.
    field : str
        Where the name stood, for the error message.

    Raises
    ------
    UnknownCropError
        No crop answers to it; the message gives the nearest names.
    ReferenceDataError
        The crop's file is damaged.
    """
    folded = _fold(name)
    key = _folded_keys(crop_keys()).get(folded) or _aliases().get(folded)
    if key is None:
        raise UnknownCropError(field, name, "is not a crop in the reference", _suggestion(folded))
    return _load(key)


@lru_cache(maxsize=1)
def crop_keys() -> tuple[str, ...]:
    """Return the key of every crop in the reference: canola first, the others by alphabet."""
    names = (entry.name for entry in loader.shelf().joinpath("crops").iterdir())
    found = (name.removesuffix(".toml") for name in names if name.endswith(".toml"))
    return tuple(sorted(found, key=lambda key: (key != "canola", key)))


@lru_cache(maxsize=4)
def _folded_keys(keys: tuple[str, ...]) -> dict[str, str]:
    return {_fold(known): known for known in keys}


@lru_cache(maxsize=64)
def _load(key: str) -> Crop:
    table = loader.read(f"crops/{key}.toml")
    table.allow(*_CROP_KEYS)
    found = Crop(
        key=key,
        name=table.text("name"),
        also=table.texts("also"),
        round_seed=table.flag("round_seed"),
        bushel_lb=_countries(table, "bushel_lb", "lb/bu"),
        test_weight_kg_hl=table.figure("test_weight_kg_hl", "kg/hL"),
        tkw_g=table.figure("tkw_g", "g"),
        tkw_low_g=table.figure("tkw_low_g", "g"),
        tkw_high_g=table.figure("tkw_high_g", "g"),
        seed_diameter_mm=table.maybe_figure("seed_diameter_mm", "mm"),
        kernel_density_g_cm3=table.maybe_figure("kernel_density_g_cm3", "g/cm3"),
        market_moisture_pct=_countries(table, "market_moisture_pct", "%"),
        tough_from_pct=_countries(table, "tough_from_pct", "%"),
        damp_above_pct=_countries(table, "damp_above_pct", "%"),
        bushel_disputed=table.text("bushel_disputed", default=""),
    )
    if not found.tkw_low_g.value <= found.tkw_g.value <= found.tkw_high_g.value:
        raise table.damaged("tkw_g", "must lie between tkw_low_g and tkw_high_g")
    for name, figure in (
        ("seed_diameter_mm", found.seed_diameter_mm),
        ("kernel_density_g_cm3", found.kernel_density_g_cm3),
    ):
        if (figure is not None) != found.round_seed:
            raise table.damaged(name, "must be given exactly when round_seed is true")
    return found


def _countries(table: Table, key: str, unit: str) -> Mapping[str, Figure]:
    figures = table.figures(key, unit)
    for code, figure in figures.items():
        if code not in _COUNTRIES:
            raise table.damaged(f"{key}.{code}", f"is not a country code we know: {', '.join(_COUNTRIES)}")
        if unit == "%" and figure.value >= 100:
            raise table.damaged(f"{key}.{code}", "must be below 100 %")
    return figures


@lru_cache(maxsize=1)
def _aliases() -> Mapping[str, str]:
    table = loader.read("names.toml")
    return {_fold(alias): table.text(alias) for alias in table.rows}


def _fold(name: str) -> str:
    """Strip case, spaces, hyphens, underscores and other signs: ``"Oilseed-Rape"`` → ``"oilseedrape"``."""
    return "".join(letter for letter in name.casefold() if letter.isalnum())


def _country_code(country: str) -> str | None:
    written = _fold(country).upper()
    return next((code for code, spellings in _COUNTRIES.items() if written in spellings), None)


def _ask_for(figures: Mapping[str, Figure]) -> str:
    return f"name {'one of ' if len(figures) > 1 else ''}{', '.join(figures)}"


def _listed(figures: Mapping[str, Figure]) -> str:
    return ", ".join(f"{code} {figure.value:g} {figure.unit}" for code, figure in figures.items())


def _suggestion(folded: str) -> str:
    from difflib import get_close_matches

    shown = {**{_fold(alias): key for alias, key in _aliases().items()}, **{_fold(k): k for k in crop_keys()}}
    # "autumn barley" is more like "winter rye" by its letters, and is barley.
    inside = [name for name in sorted(shown, key=len, reverse=True) if name in folded[:_LONGEST_NAME]][:1]
    near = inside or get_close_matches(folded[:_LONGEST_NAME], shown, n=3, cutoff=0.7)
    nearest = list(dict.fromkeys(shown[name] for name in near))
    if not nearest:
        return "`chaffinch crops` lists those we know"
    return f"did you mean {' or '.join(nearest)}? `chaffinch crops` lists all"
