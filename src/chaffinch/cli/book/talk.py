"""Logging a check by answering questions: place, pan, then catch after catch with the running estimate.

Every answer is tried at once by the same reader a check file goes through; what stands above the catches is in
:mod:`chaffinch.cli.book.terms`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final

from chaffinch import units
from chaffinch.book.checks.answer import CheckAnswer, answer
from chaffinch.book.names import folded
from chaffinch.book.things import refuse_retired, things
from chaffinch.cli.book.figures import check_headline, show_verdict
from chaffinch.cli.book.terms import Terms
from chaffinch.cli.terminal.asking import ask, ask_yes, read_line
from chaffinch.errors import InputError, SamplerError
from chaffinch.records.check import PLACES
from chaffinch.records.checkfile import check_from_table

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.cli.terminal.page import Page

_BY = re.compile(r"\s+(?:x|×|by)\s+", re.IGNORECASE)
_MOST_MISSING: Final = 12
AMOUNT: Final = "12.5 g, 44 seeds or 20 mL"
ANOTHER: Final = 'Another catch? (what it held; "place": another place; "undo"; Enter for no): '
LEFT_OUT: Final = ("limit", "yield", "price", "currency", "report_in", "field, area")
"""Labels of the field or the farm that may be wrong there; a check goes on without them, and says so."""

# What the check file's reader may miss → the table and key it goes to, the flag, the question, an example.
_MISSING: Final = {
    "combine, drop_width": ("combine", "drop_width", "--drop-width", "Width of the discharge, spreading off", "66 in"),
    "combine, spread_width": ("combine", "spread_width", "--spread-width", "Width of the throw, spreading on", "35 ft"),
    "combine, cut_width": ("combine", "cut_width", "--cut-width", "Cut width", "40 ft"),
    "combine": ("combine", "cut_width", "--cut-width", "Cut width", "40 ft"),
    "windrower_width": ("", "windrower_width", "--windrower-width", "Width the windrower cut", "30 ft"),
    "speed": ("", "speed", "--speed", "Ground speed", "7.5 km/h"),
    "country": ("", "country", "--country", "Country, for bushel and market moisture", "CA"),
}


class Talk(Terms):
    """One check in the making: its terms, its catches, and the running estimate after each."""

    def __init__(self, desk: Desk, given: Mapping[str, Any], page: Page) -> None:
        super().__init__(desk, given, page)
        self.catches: list[dict[str, Any]] = []
        self._now: dict[str, Any] = {}  # place and pan of the catches being taken

    def whole(self) -> dict[str, Any]:
        """The check as typed, ready for the check file's reader."""
        return self.table | {"catch": self.catches}

    def begin(self) -> None:
        """Ask for everything that comes before the first catch."""
        self.ask_terms()
        if self.typed and not self.given.get("amounts"):
            from chaffinch.book.wording import CAUTION

            self.page.say()
            self.page.paragraph(CAUTION, bullet="! ")
            self.page.say()
        self._place_and_pan()

    def take_catches(self) -> CheckAnswer | None:
        """Ask for catch after catch, and show the running estimate after each; return the last estimate."""
        found: CheckAnswer | None = None
        if self.given.get("amounts") or not self.typed:
            for text in self.given.get("amounts") or [None]:
                if text is None:
                    raise InputError("--amount", None, "is missing", f"give it, like --amount {AMOUNT.split(',')[0]!r}")
                found = self._keep(text)
            return found
        found = self._one_more()
        while True:
            self._show(found)
            text = read_line(ANOTHER).strip()
            word = text.casefold()
            if word in ("", "n", "no"):
                return found
            if word == "undo":
                gone = self.catches.pop()
                self.page.say(f"  taken back: {gone['amount']} ({gone['place']})")
                found = self._try(self.catches) if self.catches else self._one_more()
            elif word == "place":
                self.given = {**self.given, "place": None, "pan": None, "length": None, "time": None}
                self._place_and_pan()
                found = self._one_more()
            elif word in ("y", "yes"):
                found = self._one_more()
            else:
                try:
                    found = self._keep(text)
                except InputError as error:
                    self.page.say(f"  {error}")

    def _one_more(self) -> CheckAnswer | None:
        return ask(f"Catch {len(self.catches) + 1}, like {AMOUNT}", self._keep)

    # --- place, pan and what they need ----------------------------------------------------------------------------

    def _place_and_pan(self) -> None:
        def place_of(text: str) -> str:
            if not text:
                raise InputError("place", None, "is missing", f"say one of {', '.join(PLACES)}")
            self._try([{"place": text, "amount": "0 g"}], of="place")
            return text

        while True:
            offered = str(self._now.get("place", "")) or "discharge"
            place = self.want("--place", "Place", place_of, offered=offered, known=PLACES)
            plain = " ".join(place.casefold().replace("_", " ").replace("-", " ").split())
            self._now = {"place": place}
            if plain == "leak":
                self._now["time"] = self.want("--time", "Time caught", self._quantity("time"), example="60 s")
            elif plain == "windrow":
                read = self._quantity("length")
                self._now["length"] = self.want("--length", "Length shaken out", read, example="10 m")
            else:
                self._pan()
            self._step()
            try:
                self._complete()
                return
            except InputError as error:
                if not self.typed:
                    raise
                self.page.say(f"  {error}")
                self.given = {**self.given, "place": None, "pan": None, "length": None, "time": None}

    def _pan(self) -> None:
        if self.typed and self.given.get("pan") is None:
            self.page.paragraph("Pan: a name from the book, an area like 4 ft2, or sides like 2 ft x 2 ft.")
        all_pans = {folded(t.name): t for t in sorted(things(self.desk, "pan"), key=lambda t: not t.retired)}
        names = tuple(t.name for t in all_pans.values() if not t.retired)

        def read(text: str) -> dict[str, Any]:
            if not text:
                raise InputError("pan", None, "is missing", "give its area, like 4 ft2, or its sides, like 2 ft x 2 ft")
            found = all_pans.get(folded(text))
            if found is not None:
                refuse_retired(found)
            sides = _BY.split(text.strip())
            if found is not None:
                pan = {"pan" if key == "area" else key: found.parts[key] for key in ("area", "width", "length")
                       if key in found.parts}  # fmt: skip
                if {"width", "length"} <= set(pan):
                    pan.pop("pan", None)  # The sides say more than the area.
                elif "pan" in pan:
                    pan = {"pan": pan["pan"]}
                else:
                    mend = f'give its area: chaffinch book edit-label pan "{found.name}" area "4 ft2"'
                    raise InputError("pan", text, "has no size in the book", mend)
            elif len(sides) == 2:
                pan = {"width": sides[0], "length": sides[1]}
            else:
                pan = {"pan": text}
            self._try([self._now | pan | {"amount": "0 g"}], of="pan")
            return pan

        offered = names[0] if len(names) == 1 else ""
        self._now |= self.want("--pan", "Pan", read, offered=offered, known=names)

    def _step(self) -> None:
        if "step" in self.table.get("scale", {}):
            return
        scales = [t for t in things(self.desk, "scale") if not t.retired]

        def read(text: str) -> str:
            if text:
                units.read_positive(text, "mass", field="step")
            return text

        offered = str(scales[0].parts["step"]) if len(scales) == 1 else ""
        hint = "" if offered else " (Enter: taken from the digits)"
        step = self.want("--step", f"Smallest division of the scale{hint}", read, offered=offered, optional=True)
        if step:
            self.table["scale"] = {"step": step}

    def _quantity(self, kind: str, name: str = "") -> Callable[[str], str]:
        def read(text: str) -> str:
            units.read_positive(text, kind, field=name or kind)
            return text

        return read

    def _complete(self) -> None:
        """Ask for what these catches need and nobody has said: spreading, a width, the speed, the country."""
        for _ in range(_MOST_MISSING):
            try:
                check_from_table(self._with([*self.catches, self._now | {"amount": "0 g"}]))
                return
            except InputError as error:
                self._mend(error)
        check_from_table(self._with([*self.catches, self._now | {"amount": "0 g"}]))

    def _mend(self, error: InputError) -> None:
        no_bushel = "bushel" in error.problem + error.mend and error.field in LEFT_OUT and "country" not in self.table
        if error.field == "spreading" and "spreading" not in self.table:
            self._ask_spreading()
            return
        if error.field in LEFT_OUT and not no_bushel:
            outer, _, key = error.field.rpartition(", ")
            gone = (self.table[outer] if outer else self.table).pop(key, None)
            if gone is None:
                raise error
            self.page.say(f"  {error}")
            self.page.say(f"  {error.field} is left out of this check; mend it in the book with edit-label")
            return
        wanted = _MISSING.get("country" if no_bushel else error.field)
        if wanted is None or (error.value is not None and not no_bushel and not self.typed):
            raise error
        table, key, flag, question, example = wanted
        if key in ("drop_width", "spread_width") and error.value is None and "spreading" not in self.table:
            self._ask_spreading()
            key = "spread_width" if self.table["spreading"] else "drop_width"
            _, _, flag, question, example = _MISSING[f"combine, {key}"]
        if error.value is not None and not no_bushel:
            self.page.say(f"  {error}")
        kind = {"speed": "speed", "country": ""}.get(key, "length")
        read = self._quantity(kind, key) if kind else _country
        value = self.want(flag, question, read, example=example)
        (self.table.setdefault(table, {}) if table else self.table)[key] = value

    def _ask_spreading(self) -> None:
        if not self.typed:
            raise InputError("--spreading", None, "is missing", "give --spreading or --no-spreading")
        self.table["spreading"] = ask_yes("Was spreading on?")

    # --- the catches ----------------------------------------------------------------------------------------------

    def _with(self, catches: list[dict[str, Any]]) -> dict[str, Any]:
        return self.table | {"catch": catches}

    def _try(self, catches: list[dict[str, Any]], of: str | None = None) -> CheckAnswer | None:
        """Answer a check of these catches; with ``of``, only judge what concerns that key.

        Raises
        ------
        InputError
            For what the check file's reader or the estimate would refuse.
        """
        try:
            check = check_from_table(self._with(catches))
        except InputError as error:
            about = ("pan", "width", "length") if of == "pan" else (of,)
            if of is not None and not (error.field.rpartition(", ")[2] in about and error.field.startswith("catch")):
                return None  # Something else is still missing; it is asked for later.
            if of is not None and error.value is None and error.problem.startswith("is missing"):
                return None
            raise
        try:
            return None if of is not None else answer(check)
        except SamplerError as error:
            # The readings are facts all the same: they are kept, only the estimate has to wait.
            self.page.say(f"  no estimate for now: {error}")
            return None

    def _keep(self, text: str) -> CheckAnswer | None:
        """Take one catch with what it held, if the check can hold it."""
        if not text.strip():
            raise InputError(f"catch {len(self.catches) + 1}, amount", None, "is missing", f"write it like {AMOUNT}")
        one = self._now | {"amount": text.strip()}
        self.catches.append(one)  # first, so that a Ctrl-C while the estimate is computed does not lose it
        try:
            return self._try(self.catches)
        except InputError:
            self.catches.pop()
            raise

    def _show(self, found: CheckAnswer | None) -> None:
        if found is None:
            return
        self.page.say()
        check_headline(self.page, found)
        self.page.say()
        show_verdict(found, self.page)


def _country(text: str) -> str:
    plain = text.strip().upper()
    if len(plain) != 2 or not plain.isalpha():
        raise InputError("country", text, "is not a country code", "write two letters, like CA, US, AU or GB")
    return plain
