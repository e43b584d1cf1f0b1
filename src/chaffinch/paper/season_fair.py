"""Machines and drivers of a season held against each other, crop by crop; a name only where something is claimed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from chaffinch.book.checks.held import LoggedCheck
from chaffinch.book.desk import Desk
from chaffinch.book.things import Thing, by_ids
from chaffinch.errors import InputError, SamplerError
from chaffinch.paper import blocks
from chaffinch.paper.blocks import NAME, NUMBER, WIDE, Block
from chaffinch.paper.season_told import compared
from chaffinch.paper.wanted import Wanted
from chaffinch.paper.words import words
from chaffinch.reference import crop as find_crop

CLAIM: Final = "▸"
BY: Final = ("combine", "operator")


def fair(desk: Desk, season: Thing, logged: Sequence[LoggedCheck], wanted: Wanted) -> list[Block]:
    """Every crop with two machines or two drivers compared; the others are named, with why they are not.

    All tables of the report share the one in twenty that may claim something false, so that a farm with many crops
    is told no more of it than one with a single crop.

    Parameters
    ----------
    desk : Desk
        The open book.
    season : Thing
        The season.
    logged : sequence of LoggedCheck
        Its checks that count.
    wanted : Wanted
        What the report is to be like.
    """
    seen = {by: _seen(logged, by) for by in BY}
    tables = sum(len(groups) > 1 for of_crop in seen.values() for groups in of_crop.values())
    names = {
        one.id: one.name
        for one in by_ids(desk, [x for crops in seen.values() for g in crops.values() for x in g]).values()
    }
    made: list[Block] = []
    for by in BY:
        made.append(blocks.heading(words(f"report.fair.{by}")))
        body, quiet = [], []
        for crop, ids in seen[by].items():
            of_crop = _of_crop(desk, season, by, crop, ids, names, tables, wanted)
            body += of_crop
            quiet += [] if of_crop else [crop]
        if quiet:
            body.append(blocks.text(words("report.fair.no_claim", crops=", ".join(quiet))))
        if not body:
            body = [blocks.text(words("report.fair.nothing", why=words(f"report.fair.unnamed.{by}")), soft=True)]
        if not wanted.short and any(one["is"] == "table" for one in body):
            body.insert(0, blocks.text(words("report.fair.said"), soft=True))
            body.append(blocks.text(f"{words('season.load')} {words('season.machine_only')}", soft=True))
        made += body
    return made


def _seen(logged: Sequence[LoggedCheck], by: str) -> dict[str, list[str]]:
    """Who is named by the checks of each crop, the crop with most checks first."""
    found: dict[str, list[str]] = {}
    count: dict[str, int] = {}
    for one in logged:
        crop = find_crop(one.check.crop).key
        count[crop] = count.get(crop, 0) + 1
        groups = found.setdefault(crop, [])
        who = str(one.body.get(by) or "")
        if who and who not in groups:
            groups.append(who)
    return {crop: found[crop] for crop in sorted(found, key=lambda key: (-count[key], key)) if found[crop]}


def _of_crop(
    desk: Desk, season: Thing, by: str, crop: str, ids: Sequence[str], names: dict[str, str], tables: int,
    wanted: Wanted,
) -> list[Block]:  # fmt: skip
    if len(ids) < 2:
        return [blocks.text(words(f"report.fair.one.{by}", crop=crop, name=names.get(ids[0], ids[0][:8])), soft=True)]
    try:
        found = compared(desk, season, {"by": by, "source": "machine", "crop": crop}, None, tables=tables)
    except InputError as error:
        return [blocks.text(words("report.fair.none", crop=crop, why=error.problem), soft=True)]
    except SamplerError as error:
        return [blocks.text(words("report.fair.failed", crop=crop, why=str(error)), soft=True)]
    return _in_short(crop, found) if wanted.short else _in_full(crop, found)


def _in_full(crop: str, found: dict[str, Any]) -> list[Block]:
    made = [blocks.text(words("report.fair.crop", crop=crop, source="machine"))]
    made.append(blocks.table(found["rows"], [NAME, NUMBER, NUMBER, NUMBER, WIDE]))
    for sign, against, said in found["pairs"]:
        told = f"{said} {against}"
        made.append(blocks.verdict(CLAIM, said.partition(":")[0], told) if sign == CLAIM else blocks.text(told))
    # The last note is the same for every crop: it stands once, below them all.
    return made + blocks.notes("", found["notes"][:-1])


def _in_short(crop: str, found: dict[str, Any]) -> list[Block]:
    """What is claimed; nothing where nothing is."""
    claims = [said for sign, _, said in found["pairs"] if sign == CLAIM]
    return [
        blocks.verdict(CLAIM, f"{crop}: {said.partition(':')[0]}", f"{crop}: {said}") for said in dict.fromkeys(claims)
    ]
