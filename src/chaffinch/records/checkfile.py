"""What does a check file say?

Bytes → text → table → :class:`~chaffinch.records.check.Check`. The caller reads the file; nothing here opens one. The
layout is schema version 1, drawn up in :mod:`chaffinch.records.keys` and on the page ``docs/check-file.md``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

from chaffinch import units
from chaffinch.errors import InputError
from chaffinch.records.agreement import must_agree, settle_spreading
from chaffinch.records.catchtable import Defaults, read_catch, read_pan
from chaffinch.records.check import Catch, Check, Combine
from chaffinch.records.checktable import check_to_table
from chaffinch.records.entries import Entries
from chaffinch.records.filetext import MOST_BYTES, table_in
from chaffinch.records.keys import MOST_CATCHES, SCHEMA, key_of
from chaffinch.reference import Crop, crop

__all__ = ["MOST_BYTES", "check_from_table", "check_to_table", "read_check_file"]

_COUNTRY_NAMES = {
    "CANADA": "CA",
    "UNITED STATES": "US",
    "USA": "US",
    "AUSTRALIA": "AU",
    "UNITED KINGDOM": "GB",
    "GREAT BRITAIN": "GB",
    "UK": "GB",
}
_LONGEST_CURRENCY = 5  # [characters]: "CA$", "USD", "Fr."


def read_check_file(
    text: str | bytes,
    *,
    name: str = "check file",
    format: Literal["toml", "json"] | None = None,  # noqa: A002 - the word a caller looks for
) -> Check:
    """Read a check file.

    Parameters
    ----------
    text : str or bytes
        The whole file; bytes must be UTF-8, with or without a byte order mark.
    name : str
        How errors about the file as a whole name it.
    format : {"toml", "json"} or None
        None: JSON when the first sign is ``{``, else TOML.

    Returns
    -------
    Check

    Raises
    ------
    CheckFileError
        When the file is empty, larger than ``MOST_BYTES``, no UTF-8 or no TOML or JSON; with the byte, or line
        and column.
    InputError
        When it says something that cannot be used; the field is named as in ``"catch 2, amount"``.
    """
    return check_from_table(table_in(text, name, format))


def check_from_table(table: Mapping[str, object]) -> Check:
    """Make a check from a table as TOML or JSON gives it.

    Parameters
    ----------
    table : Mapping of str to object
        The top of the file.

    Returns
    -------
    Check

    Raises
    ------
    InputError
        For the first thing that cannot be used; no value is guessed or bent to fit.
    """
    _must_be_our_schema(table)
    top = Entries(table, "")
    if "crop" not in top:
        raise top.missing("crop", 'write crop = "canola"')
    known = crop(top.text("crop"), field="crop")
    country = _country(top)
    bushel = _Bushel(top, known, country)
    expected, limit = bushel.quantity("yield"), bushel.quantity("limit")
    price = bushel.quantity("price")
    catches = _catches(top, known)
    combine = _combine(top)
    field = top.table("field")
    check = Check(
        crop=known.key,
        catches=catches,
        trade_unit=_trade_unit(top, bushel, limit, expected),
        bushel_kg=bushel.weight_kg,
        country=country,
        yield_kg_ha=None if expected is None else expected.value,
        price_per_t=None if price is None else price.value,
        limit_kg_ha=None if limit is None else limit.value,
        currency=_currency(top, "" if price is None else price.currency),
        tkw_g=top.value("tkw"),
        test_weight_kg_hl=top.value("test_weight"),
        market_moisture_pct=_market_moisture(top, known, country, catches),
        combine=combine,
        spreading=settle_spreading(top.flag("spreading"), combine, catches),
        windrowed=bool(top.flag("windrowed")),
        windrower_width_m=top.value("windrower_width"),
        working_width_m=top.value("working_width"),
        speed_kmh=top.value("speed"),
        field_name="" if field is None else field.text("name"),
        field_area_ha=None if field is None else field.value("area"),
        when=_when(top),
        operator=top.text("operator"),
        note=top.text("note"),
        schema=SCHEMA,
    )
    must_agree(check, _written(table))
    return check


def _must_be_our_schema(table: object) -> None:
    """Judge the version before anything else, so that a newer file is told from a faulty one."""
    version = table.get("schema", SCHEMA) if isinstance(table, Mapping) else SCHEMA
    if isinstance(version, bool) or version != SCHEMA:
        shown = version if isinstance(version, str | float) or version in range(1000) else None
        mend = f"write schema = {SCHEMA}, or read it with the program that wrote it"
        raise InputError("schema", shown, f"is unknown: this program knows schema {SCHEMA}", mend)


class _Bushel:
    """The weight of a bushel, asked for only when something is in bushels.

    Parameters
    ----------
    top : Entries
        The top of the file.
    known : Crop
        The crop.
    country : str or None
        Two-letter code.
    """

    def __init__(self, top: Entries, known: Crop, country: str | None) -> None:
        self._top = top
        self._unknown: InputError | None = None
        self.weight_kg: float | None = None
        stated = top.quantity("bushel")
        if stated is not None:
            # As written when it is in kg, so that a weight survives being written and read again to the last digit.
            in_kg = stated.unit == "kg"
            self.weight_kg = stated.written if in_kg else units.write(stated.value, "kg", "mass")
            return
        try:
            self.weight_kg = known.bushel_kg(country, field="country")
        except InputError as error:
            self._unknown = error

    def quantity(self, key: str) -> units.Quantity | None:
        """Return the quantity under a key of the top, in bushels or not."""
        if self.weight_kg is None and key in self._top:
            # Read with any weight, it tells whether a bushel is in it at all.
            found = units.read(self._top.text(key), key_of("", key).holds, field=key, bushel_kg=1.0)
            self.must_be_known(found.unit, key)
        return self._top.quantity(key, bushel_kg=self.weight_kg)

    def must_be_known(self, unit: str, key: str) -> None:
        """Raise when the unit of the value under ``key`` has a bushel in it whose weight is not known."""
        if self._unknown is not None and "bu" in unit.split("/"):
            problem = f"is in bushels, and {self._unknown.problem}"
            mend = f'{self._unknown.mend}; the keys are country and bushel, like bushel = "50 lb"'
            raise self._top.wrong(key, problem, mend)


def _country(top: Entries) -> str | None:
    if "country" not in top:
        return None
    written = top.text("country")
    plain = " ".join(written.replace(".", "").upper().split())
    code = _COUNTRY_NAMES.get(plain, plain)
    if len(code) != 2 or not code.isascii() or not code.isalpha():
        raise top.wrong("country", "is not a country code", 'write two letters, like "CA", "US", "AU" or "GB"')
    return code


def _trade_unit(top: Entries, bushel: _Bushel, limit: units.Quantity | None, expected: units.Quantity | None) -> str:
    if "report_in" not in top:
        spoken = limit or expected
        return "kg/ha" if spoken is None else spoken.unit
    written = top.text("report_in")
    mend = f"write one of {', '.join(units.accepted('area_mass'))}"
    try:
        one = units.read(f"1 {written}", "area_mass", field="report_in", bushel_kg=1.0)
    except InputError:
        raise top.wrong("report_in", "is not a unit of mass per land", mend) from None
    if one.written != 1:  # "/2 kg/ha"
        raise top.wrong("report_in", "is not a unit of mass per land", mend)
    bushel.must_be_known(one.unit, "report_in")
    return one.unit


def _currency(top: Entries, of_price: str) -> str:
    """Return the currency stated, or the one in the price; refuse two that do not go together."""
    stated = top.text("currency")
    if not stated:
        return of_price
    if len(stated) > _LONGEST_CURRENCY or any(sign.isdigit() for sign in stated):
        raise top.wrong("currency", "is not a currency sign or code", 'write it like "$", "€" or "CAD"')
    if of_price and stated.casefold() != of_price.casefold():
        pairs = ((of_price, stated), (stated, of_price))
        if not any(_go_together(sign, code) for sign, code in pairs):
            raise top.wrong("currency", f"does not go with {of_price} in the price", "keep one of them")
    return stated


def _go_together(sign: str, code: str) -> bool:
    """Return whether the reader of prices takes a sign and a code beside each other: ``$`` with ``CAD``."""
    try:
        units.read(f"{sign}1 {code}/t", "price", field="currency")
    except InputError:
        return False
    return True


def _market_moisture(top: Entries, known: Crop, country: str | None, catches: Sequence[Catch]) -> float | None:
    """Return the moisture loss is reported at: stated, or the trade's when a catch needs it [%]."""
    stated = top.value("market_moisture")
    if stated is not None:
        return stated
    for catch in catches:
        kinds = {catch.amount.kind} | ({catch.unthreshed.kind} if catch.unthreshed else set())
        # A count has no moisture: its thousand-kernel weight is at market moisture.
        if catch.moisture_pct is not None and kinds != {"counted"}:
            try:
                return known.market_moisture(country, field="country").value
            except InputError as error:
                problem = f"is needed, since catch {catch.number} has a moisture, and {error.problem}"
                mend = f'{error.mend}; the keys are country and market_moisture, like market_moisture = "10 %"'
                raise InputError("market_moisture", None, problem, mend) from None
    return None


def _when(top: Entries) -> str:
    """Return when it was, as text; a date or time of TOML's own becomes text like 2026-08-30 14:20:00."""
    value = top.raw("when")
    if value is not None and not isinstance(value, str) and hasattr(value, "isoformat"):
        return str(value)
    return top.text("when")


def _combine(top: Entries) -> Combine | None:
    table = top.table("combine")
    if table is None:
        return None
    cut = table.value("cut_width")
    if cut is None:
        raise table.missing("cut_width", 'write cut_width = "40 ft"')
    return Combine(
        cut_width_m=cut,
        drop_width_m=table.value("drop_width"),
        spread_width_m=table.value("spread_width"),
        widths_taped=bool(table.flag("widths_taped")),
        name=table.text("name"),
    )


def _catches(top: Entries, known: Crop) -> tuple[Catch, ...]:
    pan, scale = top.table("pan"), top.table("scale")
    step = None if scale is None else scale.value("step")
    if scale is not None and step is None:
        raise scale.missing("step", 'write step = "0.1 g"')
    default_pan = None if pan is None else read_pan(pan, "area")
    if pan is not None and default_pan is None:
        raise pan.missing("area", 'write area = "4 ft2", or width and length')
    defaults = Defaults(known, default_pan, step, top.value("moisture"))
    listed = top.raw("catch")
    if isinstance(listed, Mapping):
        raise InputError("catch", None, "is one table, not a list", "write [[catch]] in double brackets")
    if listed is not None and not isinstance(listed, list | tuple):
        raise top.wrong("catch", "is not a list of tables", 'write [[catch]] and under it place = "discharge"')
    if not listed:
        raise InputError("catch", None, "is missing", 'write [[catch]] and under it place = "discharge" and amount')
    if len(listed) > MOST_CATCHES:
        problem = f"has {len(listed)} catches, and a check has {MOST_CATCHES} at most"
        raise InputError("catch", None, problem, "split it into one file for each stop")
    return tuple(read_catch(table, number, defaults) for number, table in enumerate(listed, start=1))


def _written(table: Mapping[str, object]) -> dict[str, object]:
    """Return the texts of the file by field, for messages that compare two of them."""
    found: dict[str, object] = {key: value for key, value in table.items() if isinstance(value, str)}
    combine, listed = table.get("combine"), table.get("catch")
    if isinstance(combine, Mapping):
        found |= {f"combine, {key}": value for key, value in combine.items() if isinstance(value, str)}
    for number, one in enumerate(listed if isinstance(listed, list | tuple) else (), start=1):
        if isinstance(one, Mapping):
            found |= {f"catch {number}, {key}": value for key, value in one.items() if isinstance(value, str)}
    return found
