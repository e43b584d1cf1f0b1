"""What does one ``[[catch]]`` of a check file say?

Reads one catch into a :class:`~chaffinch.records.check.Catch`: its place, its pan, its reading. What concerns a catch
alone is judged here; what concerns the catch and the machine is judged in :mod:`chaffinch.records.agreement`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from chaffinch.records.check import PLACES, Amount, Catch, Pan, Place, ReadingKind
from chaffinch.records.entries import Entries
from chaffinch.records.keys import AMOUNTS, PAN_AREA, STEPS
from chaffinch.reference import Crop
from chaffinch.units import Quantity

READ_AS: Final[dict[str, ReadingKind]] = {
    "mass": "weighed",
    "volume": "measured",
    "seeds": "counted",
    "flat_area": "flat",
}
"""How a reading was taken, by kind of quantity."""

_KIND_OF = {reading: kind for kind, reading in READ_AS.items()}
_EXAMPLES = {"weighed": "0.1 g", "measured": "1 mL", "flat": "1 cm2 flat"}
_SHORT_OF_SEED = 6  # decimals kept of gross − tare [g]: a microgram, far below any scale, sheds the binary dust


@dataclass(frozen=True, slots=True)
class Defaults:
    """What holds for a catch that does not say it itself.

    Attributes
    ----------
    crop : Crop
        The crop of the check.
    pan : Pan or None
        From ``[pan]``.
    step_g : float or None
        From ``[scale]`` [g].
    moisture_pct : float or None
        From the top of the file [%].
    """

    crop: Crop
    pan: Pan | None = None
    step_g: float | None = None
    moisture_pct: float | None = None


def read_catch(table: object, number: int, defaults: Defaults) -> Catch:
    """Read one ``[[catch]]``.

    Parameters
    ----------
    table : object
        The table as parsed.
    number : int
        1-based position in the check, for messages.
    defaults : Defaults
        What the rest of the file says for every catch.

    Raises
    ------
    InputError
        For anything that cannot be used; the field begins with ``"catch 2, "``.
    """
    entries = Entries(table, "catch", f"catch {number}")
    place = _place(entries)
    amount = _reading(entries, defaults)
    unthreshed = _unthreshed(entries, amount, defaults)
    clean = entries.part("clean")
    if clean < 1 and amount.kind == "counted":
        raise entries.wrong("clean", "does not go with a count", "count seeds only and leave clean out")
    heads, seeds_per_head = _heads(entries)
    moisture = entries.value("moisture")
    return Catch(
        number=number,
        place=place,
        amount=amount,
        pan=_catch_pan(entries, place, defaults),
        subsample=entries.part("subsample"),
        clean=clean,
        moisture_pct=defaults.moisture_pct if moisture is None else moisture,
        unthreshed=unthreshed,
        heads=heads,
        seeds_per_head=seeds_per_head,
        offset_m=_offset(entries, place),
        run=int(entries.number("run", whole=True) or 1),
        length_m=_shaken_out(entries, place),
        seconds=_seconds(entries, place),
        variation=entries.number("variation"),
        note=entries.text("note"),
        bag=entries.text("bag"),
    )


def read_pan(entries: Entries, area_key: str) -> Pan | None:
    """Return the pan a table gives, by area or by width and length; None when it gives none.

    Parameters
    ----------
    entries : Entries
        The ``[pan]`` or the catch.
    area_key : str
        The key its area stands under.

    Raises
    ------
    InputError
        When it is given both ways, or by one side only, or cannot be meant.
    """
    sides = [side for side in ("width", "length") if side in entries]
    if area_key in entries:
        if sides:
            mend = f"keep {area_key}, or width and length"
            raise entries.wrong(sides[0], f"is given beside {area_key}", mend)
        area = entries.value(area_key)
        return None if area is None else Pan(area)
    width, length = entries.value("width"), entries.value("length")
    if width is None and length is None:
        return None
    if width is None:
        raise entries.missing("width", 'write width = "2 ft", across travel', "is missing beside length")
    if length is None:
        raise entries.missing("length", 'write length = "2 ft", along travel', "is missing beside width")
    area = width * length
    if end := PAN_AREA.end(area):
        side = "below" if area < PAN_AREA.low else "above"
        raise entries.wrong("width", f"times length makes {area:g} m2, {side} {end}", "check both numbers and units")
    return Pan(area, width, length)


def _place(entries: Entries) -> Place:
    if "place" not in entries:
        raise entries.missing("place", f"write one of {', '.join(PLACES)}")
    written = entries.text("place")
    plain = " ".join(written.casefold().replace("_", " ").replace("-", " ").split())
    for place in PLACES:
        if plain == place:
            return place

    from difflib import get_close_matches

    near = get_close_matches(plain, PLACES, n=1, cutoff=0.6)
    mend = f"did you mean {near[0]}?" if near else f"write one of {', '.join(PLACES)}"
    raise entries.wrong("place", "is not a place we know", mend)


def _reading(entries: Entries, defaults: Defaults) -> Amount:
    """Return the main reading: ``amount``, or ``gross`` less ``tare``."""
    parts = [key for key in ("gross", "tare") if key in entries]
    found = entries.amount("amount", AMOUNTS)
    if found is not None:
        if parts:
            raise entries.wrong(parts[0], "is given beside amount", "keep amount, or gross and tare")
        _must_suit(entries, "amount", found, defaults.crop)
        return _with_step(entries, "amount", found.value, READ_AS[found.kind], found.step, "step", defaults)
    gross, tare = entries.quantity("gross"), entries.quantity("tare")
    if gross is None and tare is None:
        raise entries.missing("amount", 'write amount = "12.5 g" (g, oz, mL, seeds or cm2 flat), or gross and tare')
    if gross is None:
        raise entries.missing("gross", 'write gross = "512.5 g"', "is missing beside tare")
    if tare is None:
        raise entries.missing("tare", 'write tare = "500 g"', "is missing beside gross")
    if gross.value < tare.value:
        raise entries.wrong("gross", f"is less than the tare of {tare.text.strip()}", "check both; they may be swapped")
    seed_g = round(gross.value - tare.value, _SHORT_OF_SEED)
    if end := AMOUNTS["mass"].end(seed_g):
        raise entries.wrong(
            "gross", f"less tare is above {end}, beyond what can be meant", "check both and their units"
        )
    # The coarser of the two digits: the difference is known no better than its worse part.
    return _with_step(entries, "gross", seed_g, "weighed", max(gross.step, tare.step), "step", defaults)


def _unthreshed(entries: Entries, amount: Amount, defaults: Defaults) -> Amount | None:
    """Return the seed rubbed out of heads; read the same way as the amount it shares the amount's step."""
    found = entries.amount("unthreshed", AMOUNTS)
    if found is None:
        for key in ("unthreshed_step", "unthreshed_step_inferred"):
            if key in entries:
                raise entries.wrong(key, "stands without unthreshed", f"give unthreshed or leave {key} out")
        return None
    _must_suit(entries, "unthreshed", found, defaults.crop)
    kind = READ_AS[found.kind]
    if "unthreshed_step" not in entries and "step" in entries and kind == amount.kind != "counted":
        return Amount(kind, found.value, amount.step, amount.step_inferred)
    return _with_step(entries, "unthreshed", found.value, kind, found.step, "unthreshed_step", defaults)


def _with_step(
    entries: Entries,
    key: str,
    value: float,
    kind: ReadingKind,
    digits_step: float,
    step_key: str,
    defaults: Defaults,
) -> Amount:
    """Return the reading with its step: stated, else the scale's, else the one its digits imply."""
    flag_key = f"{step_key}_inferred"
    flagged = entries.flag(flag_key)
    if kind == "counted":
        stated = entries.amount(step_key, {"seeds": AMOUNTS["seeds"]}, above_zero=True)
        if stated is not None and stated.value != 1:
            raise entries.wrong(step_key, "does not go with a count, which is exact", f"leave {step_key} out")
        if flagged:
            raise entries.wrong(flag_key, "does not go with a count, which is exact", f"leave {flag_key} out")
        return Amount(kind, value, 1.0)
    quantity_kind = _KIND_OF[kind]
    span = STEPS[quantity_kind]
    if step_key in entries:
        stated = entries.amount(step_key, STEPS, above_zero=True)
        assert stated is not None  # the key is there
        if stated.kind != quantity_kind:
            mend = f'write it like "{_EXAMPLES[kind]}"'
            raise entries.wrong(step_key, f"is of another kind than {key}, which is {kind}", mend)
        return Amount(kind, value, stated.value, bool(flagged))
    if flagged is not None:
        raise entries.wrong(flag_key, f"stands without {step_key}", f"give {step_key} or leave {flag_key} out")
    if kind == "weighed" and defaults.step_g is not None:
        return Amount(kind, value, defaults.step_g)
    if end := span.end(digits_step):
        side = "finer than" if digits_step < span.low else "coarser than"
        mend = f'write only the digits read, or write {step_key} = "{_EXAMPLES[kind]}"'
        raise entries.wrong(key, f"is written to a step {side} {end}", mend)
    return Amount(kind, value, digits_step, step_inferred=True)


def _must_suit(entries: Entries, key: str, found: Quantity, crop: Crop) -> None:
    """Refuse a flat layer of a seed that is not round: its mass could not be told from its area."""
    if found.kind == "flat_area" and not crop.round_seed:
        problem = f"is a flat layer, and the seed of {crop.name} is not round"
        raise entries.wrong(key, problem, "weigh it, measure it in mL, or count the seeds")


def _heads(entries: Entries) -> tuple[float | None, float | None]:
    heads, each = entries.number("heads", whole=True), entries.number("seeds_per_head")
    if heads is None and each is None:
        return None, None
    if heads is None:
        raise entries.missing("heads", "write heads = 12, the number counted", "is missing beside seeds_per_head")
    if each is None:
        raise entries.missing("seeds_per_head", "write seeds_per_head = 25", "is missing beside heads")
    if "unthreshed" in entries:
        mend = "keep unthreshed for heads rubbed out, or heads for heads counted"
        raise entries.wrong("heads", "is given beside unthreshed, which would count that seed twice", mend)
    return heads, each


def _catch_pan(entries: Entries, place: Place, defaults: Defaults) -> Pan | None:
    if place in ("windrow", "leak"):
        for key in ("pan", "width", *(() if place == "windrow" else ("length",))):
            if key in entries:
                needs = "length, the metres shaken out" if place == "windrow" else "time, the seconds caught"
                raise entries.wrong(key, f"does not go with the place {place}", f"leave it out; give {needs}")
        return None
    pan = read_pan(entries, "pan") or defaults.pan
    if pan is None:
        mend = 'write pan = "4 ft2", or width and length, or give [pan] once for all catches'
        raise entries.missing("pan", mend)
    return pan


def _shaken_out(entries: Entries, place: Place) -> float | None:
    if place != "windrow":
        return None  # it was the pan's length
    length = entries.value("length")
    if length is None:
        raise entries.missing("length", 'write length = "10 m", the metres shaken out', "is missing for a windrow")
    return length


def _seconds(entries: Entries, place: Place) -> float | None:
    if place != "leak":
        if "time" in entries:
            raise entries.wrong("time", f"does not go with the place {place}", "leave it out; it belongs to a leak")
        return None
    seconds = entries.value("time")
    if seconds is None:
        raise entries.missing("time", 'write time = "60 s", the time caught', "is missing for a leak")
    return seconds


def _offset(entries: Entries, place: Place) -> float | None:
    if "offset" in entries and place != "discharge":
        mend = "leave it out; only pans in the discharge make a profile"
        raise entries.wrong("offset", f"does not go with the place {place}", mend)
    return entries.value("offset")
