"""Which source says so, which constant, which count rule?

``sources.toml`` names every source once; ``constants.toml`` holds the figures the engine leans on that are
not of one crop; ``rules.toml`` holds the count rules printed for farmers ("172 seeds per square foot is a
bushel per acre"), kept to be checked and explained, not to be computed with: a counted catch uses the
thousand kernel weight.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from chaffinch.errors import ReferenceDataError
from chaffinch.reference import loader
from chaffinch.reference.loader import Figure, Table


@dataclass(frozen=True, slots=True)
class Source:
    """Where a figure was read.

    Parameters
    ----------
    id : str
        The short id figures cite: ``"alberta-2002"``.
    title, org : str
        Title and publishing body.
    year : int or None
        Year of publication; None where the source gives none.
    number : str
        Publication number, page or paragraph; may be empty.
    address : str
        Where it stood when it was read; may be empty.
    read : str
        How it was read: in the source, in a copy, second-hand.
    """

    id: str
    title: str
    org: str
    year: int | None
    number: str
    address: str
    read: str


@dataclass(frozen=True, slots=True)
class CountRule:
    """A published rule that turns a count of seeds into a loss.

    Parameters
    ----------
    key : str
        Its short name: ``"ndsu-canola"``.
    crop : str
        Key of the crop, or the plain name of one without a file of its own (navy bean).
    kind : str
        Which sort of seed, where the source parts them; may be empty.
    count : Figure
        What the source prints; its unit says per what: ``"seeds/ft2 per bu/ac"``.
    step : float
        The step to which the source rounds. [unit of ``count``]
    truncated : bool
        Whether the source cuts off rather than rounds.
    seeds_per_lb : Figure or None
        Seeds per pound printed beside it. [seeds/lb]
    bushel_lb : Figure or None
        Bushel weight behind the rule, where no crop file holds it. [lb/bu]
    quadrat_m2 : Figure or None
        Area of the frame the rule is printed for. [m²]
    misprint : str
        Why the printed count must not be used; empty when it may.
    """

    key: str
    crop: str
    kind: str
    count: Figure
    step: float
    truncated: bool
    seeds_per_lb: Figure | None
    bushel_lb: Figure | None
    quadrat_m2: Figure | None
    misprint: str


_RULE_KEYS = (
    "key",
    "crop",
    "kind",
    "count",
    "step",
    "truncated",
    "seeds_per_lb",
    "bushel_lb",
    "quadrat_m2",
    "misprint",
)


def source(source_id: str) -> Source:
    """Return one source; raise ReferenceDataError when no source has that id."""
    try:
        return sources()[source_id]
    except KeyError:
        raise ReferenceDataError(f"sources.toml: no source has the id {source_id!r}") from None


@lru_cache(maxsize=1)
def sources() -> Mapping[str, Source]:
    """Return every source by its id."""
    table = loader.read("sources.toml")
    return MappingProxyType({source_id: _source(source_id, table.table(source_id)) for source_id in table.rows})


def constant(name: str) -> Figure:
    """Return one constant.

    Parameters
    ----------
    name : str
        Dotted name: ``"flat_layer.packing"``, ``"test_weight.canola.b"``; see :func:`constants`.

    Raises
    ------
    ReferenceDataError
        No constant has that name, or the file is damaged.
    """
    try:
        return constants()[name]
    except KeyError:
        raise ReferenceDataError(f"constants.toml: no constant has the name {name!r}") from None


@lru_cache(maxsize=1)
def constants() -> Mapping[str, Figure]:
    """Return every constant by its dotted name."""
    return MappingProxyType(dict(_leaves(loader.read("constants.toml"), "")))


@lru_cache(maxsize=1)
def rules() -> tuple[CountRule, ...]:
    """Return every published count rule, misprints included and marked."""
    found = tuple(_rule(table) for table in loader.read("rules.toml").tables("rule"))
    keys = [rule.key for rule in found]
    for key in keys:
        if keys.count(key) > 1:
            raise ReferenceDataError(f"rules.toml: {key}: stands there twice")
    return found


def _source(source_id: str, table: Table) -> Source:
    table.allow("title", "org", "year", "number", "address", "read")
    return Source(
        id=source_id,
        title=table.text("title"),
        org=table.text("org"),
        year=int(table.number("year")) if "year" in table.rows else None,
        number=table.text("number", default=""),
        address=table.text("address", default=""),
        read=table.text("read"),
    )


def _leaves(table: Table, prefix: str) -> Iterator[tuple[str, Figure]]:
    for key in table.rows:
        if "value" in table.table(key).rows:
            # A fitted intercept may be below 0, so only finiteness is asked for.
            yield prefix + key, table.figure(key, None, positive=False)
        else:
            yield from _leaves(table.table(key), f"{prefix}{key}.")


def _rule(table: Table) -> CountRule:
    table.allow(*_RULE_KEYS)
    return CountRule(
        key=table.text("key"),
        crop=table.text("crop"),
        kind=table.text("kind", default=""),
        count=table.figure("count", None),
        step=table.number("step"),
        truncated=table.flag("truncated", default=False),
        seeds_per_lb=table.maybe_figure("seeds_per_lb", "seeds/lb"),
        bushel_lb=table.maybe_figure("bushel_lb", "lb/bu"),
        quadrat_m2=table.maybe_figure("quadrat_m2", "m2"),
        misprint=table.text("misprint", default=""),
    )
