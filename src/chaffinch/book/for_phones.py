"""What does a phone have to know to work a whole day without signal? The farm, its things, the crops, the cautions."""

from __future__ import annotations

from typing import Any, Final

from chaffinch.book.advice.plain_data import table_json
from chaffinch.book.crops import Crop, Figure, all_crops
from chaffinch.book.desk import Desk
from chaffinch.book.exchange.receiving import newest_schemas
from chaffinch.book.pace.hour_costs import stored_hour
from chaffinch.book.shown_unit import farm_of
from chaffinch.book.things import Thing, things
from chaffinch.book.wording import CAUTIONS
from chaffinch.errors import InputError
from chaffinch.store import records

KINDS: Final = {
    "seasons": "season",
    "fields": "field",
    "combines": "combine",
    "operators": "operator",
    "pans": "pan",
    "scales": "scale",
}
"""Name of the list → kind of thing in it."""


def setup(desk: Desk) -> dict[str, Any]:
    """Everything a phone needs, JSON-able.

    Keys: ``book`` (id, title), ``farm`` (country, currency, report_in, and hour_cost as it was written; null where the
    book says nothing, or several farms differ), ``seasons`` … ``scales`` (things in use, each ``{"id", "name",
    "parts"}``), ``crops``, ``cautions``, ``advice`` (its tables) and ``schema`` (newest by kind).
    """
    farm = farm_of(desk)
    parts = {} if farm is None else farm.parts
    country = parts.get("country")
    stored = stored_hour(desk, None)
    here = things(desk)
    return {
        "book": book_of(desk),
        "farm": {
            **{key: parts.get(key) for key in ("country", "currency", "report_in")},
            "hour_cost": None if stored is None else stored.money.text,
        },
        **{name: [_thing(one) for one in here if one.kind == kind and not one.retired] for name, kind in KINDS.items()},
        "crops": [crop_for(one, None if country is None else str(country)) for one in all_crops()],
        "cautions": list(CAUTIONS),
        "advice": table_json(),
        "schema": dict(newest_schemas()),
    }


def book_of(desk: Desk) -> dict[str, str]:
    """The book's own id and title."""
    facts = records.facts(desk.store)
    return {"id": facts["id"], "title": facts["title"]}


def crop_for(crop: Crop, country: str | None) -> dict[str, Any]:
    """A crop's figures, units in the names (``tkw_low``, ``tkw_high`` [g]); null where none is known for it."""
    return {
        "key": crop.key,
        "name": crop.name,
        "also": list(crop.also),
        "tkw_g": crop.tkw_g.value,
        "tkw_low": crop.tkw_low_g.value,
        "tkw_high": crop.tkw_high_g.value,
        "test_weight_kg_hl": crop.test_weight_kg_hl.value,
        "bushel_kg": _or_none(crop, country, "bushel"),
        "market_moisture_pct": _or_none(crop, country, "moisture"),
        "round_seed": crop.round_seed,
        "seed_diameter_mm": _value(crop.seed_diameter_mm),
        "kernel_density_g_cm3": _value(crop.kernel_density_g_cm3),
    }


def _or_none(crop: Crop, country: str | None, what: str) -> float | None:
    try:
        return crop.bushel_kg(country) if what == "bushel" else crop.market_moisture(country).value
    except InputError:  # not listed for that country, or the countries differ and none is named
        return None


def _value(figure: Figure | None) -> float | None:
    return None if figure is None else figure.value


def _thing(one: Thing) -> dict[str, Any]:
    return {"id": one.id, "name": one.name, "parts": dict(one.parts)}
