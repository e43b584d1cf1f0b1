"""The options that describe a machine, a crop and a pan, shared by ``plan`` and ``card``.

They are put into the same table a check file holds and go through the same validation, so an option and a key of
the file can never differ in meaning; an error is named after the option.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import click

from chaffinch.cli.terminal.files import read_bytes
from chaffinch.errors import InputError
from chaffinch.records.check import Check

# option → (table, key, help, example)
_TEXT: Final = (
    ("crop", "", "crop", "Crop, like canola."),
    ("country", "", "country", "Country whose bushel and market moisture apply, like CA."),
    ("yield", "", "yield", 'Expected yield, like "45 bu/ac".'),
    ("price", "", "price", 'Price, like "14.50 /bu".'),
    ("limit", "", "limit", 'Loss above which acting pays, like "1 bu/ac".'),
    ("report-in", "", "report_in", "Unit of loss to show, like kg/ha."),
    ("tkw", "", "tkw", 'Thousand-kernel weight you measured, like "3.2 g".'),
    ("test-weight", "", "test_weight", 'Test weight you measured, like "65 kg/hL".'),
    ("cut-width", "combine", "cut_width", 'Cut width, like "40 ft".'),
    ("drop-width", "combine", "drop_width", 'Width of the discharge with spreading off, like "66 in".'),
    ("spread-width", "combine", "spread_width", 'Width of the throw with spreading on, like "35 ft".'),
    ("pan", "catch", "pan", 'Pan or frame area, like "4 ft2".'),
    ("pan-width", "catch", "width", "Pan width across travel, instead of --pan."),
    ("pan-length", "catch", "length", "Pan length along travel, instead of --pan."),
)

USUAL_STEP: Final = "0.1 g"
"""Step of a kitchen scale, used when neither an option nor a file names one; the help says so."""

_EXAMPLES: Final = {
    "crop": "canola",
    "limit": '"1 bu/ac"',
    "cut_width": '"40 ft"',
    "drop_width": '"66 in"',
    "spread_width": '"35 ft"',
    "pan": '"4 ft2"',
}


def machine_and_crop(function: Callable[..., None]) -> Callable[..., None]:
    """Add the shared options to a command."""
    for name, _, _, text in reversed(_TEXT):
        function = click.option(f"--{name}", name.replace("-", "_"), metavar="TEXT", help=text)(function)
    function = click.option("--taped", is_flag=True, help="Drop and spread width were taped (± 2 %, not ± 8 %).")(
        function
    )
    return click.option("--from", "from_file", metavar="FILE", help="Take what is missing from this check file.")(
        function
    )


def as_check(options: dict[str, Any], *, place: str, amount: str, step: str | None) -> Check:
    """Make a check with one catch of the given kind from the options and, if named, a check file.

    Raises
    ------
    InputError
        Named after the option at fault.
    """
    from chaffinch.records.checkfile import check_from_table, check_to_table, read_check_file

    table: dict[str, Any] = {}
    one: dict[str, Any] = {}
    if options.get("from_file"):
        name = options["from_file"]
        table = dict(check_to_table(read_check_file(read_bytes(name), name=name)))
        one = next((dict(c) for c in table["catch"] if c["place"] == place), {})
        weighed = str(one.get("amount", "")).endswith(" g")
        kept = ("pan", "width", "length", "variation", *(("step",) if weighed else ()))
        one = {key: one[key] for key in kept if key in one}
    machine = dict(table.get("combine", {}))
    if options.get("pan") or options.get("pan_width"):
        for key in ("pan", "width", "length"):
            one.pop(key, None)
    for name, where, key, _ in _TEXT:
        value = options.get(name.replace("-", "_"))
        if value is not None:
            {"": table, "combine": machine, "catch": one}[where][key] = value
    if options.get("taped"):
        machine["widths_taped"] = True
    if options.get("spreading") is not None:
        table["spreading"] = options["spreading"]
    if machine:
        table["combine"] = machine
    one |= {"place": place, "amount": amount}
    one["step"] = step or one.get("step", USUAL_STEP)
    table["catch"] = [one]
    try:
        return check_from_table(table)
    except InputError as error:
        raise _named_after_option(error) from None


def _named_after_option(error: InputError) -> InputError:
    """The same error named after the option, with a mend a person at the prompt can use."""
    key = error.field.replace("catch 1, ", "").replace("combine, ", "").strip()
    key = "cut_width" if key == "combine" else key
    option = {k: f"--{name}" for name, _, k, _ in _TEXT} | {"step": "--step", "amount": "--step"}
    if key not in option:
        return error
    if error.value is None and key in _EXAMPLES:
        return type(error)(option[key], None, "is missing", f"give {option[key]} {_EXAMPLES[key]}")
    return type(error)(option[key], error.value, error.problem, error.mend)
