"""Do the parts of a check agree with each other?

Each part may be sound alone and the whole still make no sense: a discharge wider than the cut, a leak without a
speed, one pan of a profile. What disagrees is refused with the way out; nothing is mended unseen.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise
from types import MappingProxyType
from typing import Final

from chaffinch.errors import InputError
from chaffinch.records.check import Catch, Check, Combine, Place

NEED_A_COMBINE: Final[tuple[Place, ...]] = ("discharge", "behind", "whole cut", "windrow", "leak")
"""Places that see what the machine lost, and so need its cut width."""

NEED_A_DISCHARGE: Final[tuple[Place, ...]] = ("discharge", "behind")
"""Places that need the width of the discharge too."""

STRIP_TOLERANCE: Final = 0.05
"""How far a strip across the whole cut may be from the cut width, as a part of it [1]. Our own figure: the
stubble's edge is hard to see to better, and beyond it the strip is not of the whole cut."""

SAME_PLACE_M: Final = 0.001
"""Offsets nearer than this are the same place [m]: a foot and its metres rarely agree to the last digit."""

Written = Mapping[str, object]
_NOTHING_WRITTEN: Final[Written] = MappingProxyType({})


def settle_spreading(stated: bool | None, combine: Combine | None, catches: Iterable[Catch]) -> bool | None:
    """Return whether spreading was on, as far as any catch depends on it.

    Parameters
    ----------
    stated : bool or None
        What the file says.
    combine : Combine or None
        Its widths.
    catches : iterable of Catch
        The catches.

    Returns
    -------
    bool or None
        ``stated``, or what the one width given implies; None when nothing says it and nothing needs it.

    Raises
    ------
    InputError
        When a catch depends on it and the widths given do not settle it.
    """
    needing = next((catch for catch in catches if catch.place in NEED_A_DISCHARGE), None)
    if needing is None or combine is None:
        return stated
    who = f"catch {needing.number} ({needing.place})"
    drop, spread = combine.drop_width_m, combine.spread_width_m
    if stated is None:
        if drop is None and spread is None:
            problem = f"is missing, and {who} needs the width of the discharge"
            mend = 'write drop_width = "66 in" (spreading off) or spread_width = "30 ft" (on)'
            raise InputError("combine, drop_width", None, problem, mend)
        if drop is not None and spread is not None:
            problem = f"is missing, and {who} depends on it: both drop_width and spread_width are given"
            raise InputError("spreading", None, problem, "write spreading = false or spreading = true at the top")
        return spread is not None
    if stated and spread is None:
        problem = f"is missing: spreading was on, and {who} needs the width the residue landed on"
        raise InputError("combine, spread_width", None, problem, 'write spread_width = "30 ft"')
    if not stated and drop is None:
        problem = f"is missing: spreading was off, and {who} needs the width of the discharge"
        raise InputError("combine, drop_width", None, problem, 'write drop_width = "66 in"')
    return stated


def must_agree(check: Check, written: Written = _NOTHING_WRITTEN) -> None:
    """Raise for the first thing in which two parts of a check contradict each other.

    Parameters
    ----------
    check : Check
        The whole check, ``spreading`` settled.
    written : Mapping of str to object
        Values as the person wrote them, by field (``"combine, drop_width"``), so that messages show these
        and not our metres.

    Raises
    ------
    InputError
        Naming the field that has to change.
    """
    _widths_agree(check, written)
    for catch in check.catches:
        if catch.place in NEED_A_COMBINE and check.combine is None:
            problem = f"is missing, and catch {catch.number} ({catch.place}) needs the cut width"
            raise InputError("combine", None, problem, 'write [combine] and under it cut_width = "40 ft"')
        _pan_fits(check, catch, written)
        if catch.place == "leak" and check.speed_kmh is None:
            problem = f"is missing, and catch {catch.number} is a leak caught over time"
            raise InputError("speed", None, problem, 'write speed = "7.5 km/h" at the top of the file')
    _profiles_hold(check, written)
    if check.limit_kg_ha is not None and check.yield_kg_ha is not None and check.limit_kg_ha >= check.yield_kg_ha:
        shown = written.get("yield", f"{check.yield_kg_ha:g} kg/ha")
        value = written.get("limit", f"{check.limit_kg_ha:g} kg/ha")
        raise InputError("limit", value, f"is not below the yield of {shown}", "check both and their units")


def full_cut_m(check: Check) -> tuple[float, str] | None:
    """Return the width that a discharge strip is collected from [m] and the field it stands in; None if unknown.

    The windrower's width for windrowed crop, else the header's; ``working_width`` is not considered.
    """
    if check.windrowed:
        return None if check.windrower_width_m is None else (check.windrower_width_m, "windrower_width")
    return None if check.combine is None else (check.combine.cut_width_m, "combine, cut_width")


def discharge_width_m(check: Check) -> float | None:
    """Return drop or spread width [m], whichever applied; None when unknown."""
    if check.combine is None:
        return None
    return check.combine.spread_width_m if check.spreading else check.combine.drop_width_m


def _widths_agree(check: Check, written: Written) -> None:
    if check.windrowed and check.windrower_width_m is None:
        problem = "is missing, and the crop was windrowed: it takes the place of the cut width"
        raise InputError("windrower_width", None, problem, 'write windrower_width = "30 ft" at the top of the file')
    if not check.windrowed and check.windrower_width_m is not None:
        value = written.get("windrower_width", _metres(check.windrower_width_m))
        mend = "write windrowed = true at the top of the file, or leave it out"
        raise InputError("windrower_width", value, "is given, but the crop was not windrowed", mend)
    if check.windrowed and check.working_width_m is not None:
        value = written.get("working_width", _metres(check.working_width_m))
        mend = "leave it out, or correct windrower_width"
        raise InputError("working_width", value, "is given for a windrowed crop, whose windrows are taken whole", mend)
    cut = full_cut_m(check)
    if cut is None:
        if check.working_width_m is not None:
            value = written.get("working_width", _metres(check.working_width_m))
            mend = 'write [combine] and under it cut_width = "40 ft"'
            raise InputError("working_width", value, "is given without a combine to compare it with", mend)
        return
    cut_m, cut_field = cut
    cut_name = cut_field.rpartition(" ")[2]
    drop = None if check.combine is None else check.combine.drop_width_m
    for field, width in (("working_width", check.working_width_m), ("combine, drop_width", drop)):
        if width is not None and width > cut_m:
            shown = written.get(cut_field, _metres(cut_m))
            mend = f"check both; {field.rpartition(' ')[2]} can be {cut_name} at most"
            problem = f"is wider than the {cut_name} of {shown}"
            raise InputError(field, written.get(field, _metres(width)), problem, mend)


def _pan_fits(check: Check, catch: Catch, written: Written) -> None:
    pan = catch.pan
    if pan is None:
        return
    where = f"catch {catch.number}"
    if catch.place in NEED_A_DISCHARGE and pan.width_m is None:
        discharge = discharge_width_m(check)
        if discharge is not None and pan.area_m2**0.5 > discharge:
            value = written.get(f"{where}, pan", f"{pan.area_m2:g} m2")
            problem = f"is too large to lie within the discharge of {_metres(discharge)} as a square"
            mend = "give the pan's width (across travel) and length (along travel) instead"
            raise InputError(f"{where}, pan", value, problem, mend)
    cut = full_cut_m(check)
    if catch.place == "whole cut" and pan.width_m is not None and cut is not None:
        cut_m = check.working_width_m or cut[0]
        if abs(pan.width_m - cut_m) > STRIP_TOLERANCE * cut_m:
            value = written.get(f"{where}, width", _metres(pan.width_m))
            problem = f"is not about the cut width of {_metres(cut_m)}, so the strip is not across the whole cut"
            mend = "check the width, or use the place behind for a frame in the discharge band"
            raise InputError(f"{where}, width", value, problem, mend)


def _profiles_hold(check: Check, written: Written) -> None:
    """Pans at offsets in one run make a profile: at least two, apart from each other, within the discharge."""
    discharge = discharge_width_m(check)
    runs: dict[int, list[Catch]] = {}
    for catch in check.catches:
        if catch.place == "discharge":
            runs.setdefault(catch.run, []).append(catch)
    for run, pans in runs.items():
        placed = [(catch, catch.offset_m) for catch in pans if catch.offset_m is not None]
        if not placed:
            continue
        for catch in pans:
            if catch.offset_m is None:
                problem = f"is missing, and other pans of run {run} have one"
                mend = 'write offset = "0 ft" for the middle, or give this catch another run'
                raise InputError(f"catch {catch.number}, offset", None, problem, mend)
        if len(placed) == 1:
            catch, offset = placed[0]
            problem = f"is the only one in run {run}, and one pan makes no profile"
            mend = "give the other pans of that pass their offsets and the same run, or leave it out"
            raise _offset_error(catch, offset, problem, mend, written)
        for catch, offset in placed:
            if discharge is not None and abs(offset) >= discharge / 2:
                problem = f"lies outside the discharge, {_metres(discharge)} wide"
                mend = f"measure from its middle: less than {_metres(discharge / 2)} to either side"
                raise _offset_error(catch, offset, problem, mend, written)
        ordered = sorted(placed, key=lambda pair: pair[1])
        for (one, left), (other, right) in pairwise(ordered):
            if right - left < SAME_PLACE_M:
                problem = f"is that of catch {one.number} too, in run {run}"
                mend = "correct one of them, or give the second pan its own run"
                raise _offset_error(other, right, problem, mend, written)


def _offset_error(catch: Catch, offset_m: float, problem: str, mend: str, written: Written) -> InputError:
    field = f"catch {catch.number}, offset"
    return InputError(field, written.get(field, _metres(offset_m)), problem, mend)


def _metres(width_m: float) -> str:
    return f"{width_m:.4g} m"
