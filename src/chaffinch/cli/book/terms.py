"""What stands above the catches of a check: field, crop, combine, operator and speed, from flags, book and answers.

What the flags give is not asked; where nobody types, what is missing is an error that names the flag.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

from chaffinch import units
from chaffinch.book.things import Thing, things
from chaffinch.book.times import read_time
from chaffinch.cli.book.figures import farm_of
from chaffinch.cli.options.filing import one_thing
from chaffinch.cli.terminal.asking import a_person_types, ask
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError
from chaffinch.reference import crop, crop_keys

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk

T = TypeVar("T")


class Terms:
    """What is said about a check before its first catch.

    Parameters
    ----------
    desk : Desk
        The open book.
    given : mapping
        What the flags gave, by name of the option; None where they said nothing.
    page : Page
        Where questions and rulers go.

    Attributes
    ----------
    table : dict
        The check as far as it is known, as a check file would say it, without its catches.
    where : dict
        Ids of field, season, combine and operator.
    typed : bool
        Whether a person is there to be asked.
    taken_at : str
        When the check was taken, in UTC, where a person was asked and said it; "" otherwise.
    """

    def __init__(self, desk: Desk, given: Mapping[str, Any], page: Page) -> None:
        self.desk = desk
        self.given = given
        self.page = page
        self.typed = a_person_types()
        self.table: dict[str, Any] = {}
        self.where: dict[str, str] = {}
        self.taken_at = ""

    def ask_terms(self) -> None:
        """Ask for the hour, field, crop, combine, operator and speed."""
        self._when()
        self._farm()
        self._field()
        self._crop()
        self._combine()
        self._operator()
        self._speed()

    def want(
        self, flag: str, question: str, read: Callable[[str], T], *, example: str = "", offered: str = "",
        optional: bool = False, known: tuple[str, ...] = (),
    ) -> T:  # fmt: skip
        """The value of a flag, else of an answer; where nobody types, what is optional is read from an empty text.

        Raises
        ------
        InputError
            Named after the flag: when its value cannot be used, or it is missing and nobody is there to ask.
        """
        value = self.given.get(flag.removeprefix("--").replace("-", "_"))
        if value is not None:
            try:
                return read(value)
            except InputError as error:
                name = flag if error.field in (flag.removeprefix("--"), "value") else f"{flag}: {error.field}"
                raise type(error)(name, error.value, error.problem, error.mend) from None
        if self.typed:
            return ask(question, read, offered=offered, example=example, known=known)
        if optional:
            return read("")
        raise InputError(flag, None, "is missing", f"give it, like {flag} {example or offered or 'a value'}")

    def _when(self) -> None:
        """The hour, where a whole stop is typed: a sheet of paper is typed in long after it was written.

        Who says the field by a flag is at the stop, and --at says otherwise.
        """

        def read(text: str) -> str:
            return read_time(text, "at") if text else ""

        if self.typed and self.given.get("at") is None and self.given.get("field") is None:
            self.taken_at = ask("When (day and hour; Enter for now)", read, example="2026-08-14 16:40")

    def _farm(self) -> None:
        farm = farm_of(self.desk)
        parts = {} if farm is None else farm.parts
        self.table |= {key: parts[key] for key in ("country", "currency", "report_in") if key in parts}
        if self.given.get("country"):
            self.table["country"] = self.given["country"]

    def _field(self) -> None:
        here = [t for t in things(self.desk, "field") if not t.retired]
        names = tuple(dict.fromkeys(t.name for t in here))
        season = self._season(several=len(names) < len(here))

        def read(text: str) -> Thing | None:
            return one_thing(self.desk, "field", text, season=season, flag="field") if text else None

        hint = "; ? lists them, Enter for none" if names else "; Enter for none"
        field = self.want("--field", f"Field (its name{hint})", read, optional=True, known=names)
        if field is None:
            return
        self.where["field"] = field.id
        self.table["field"] = {"name": field.name}
        if "area" in field.parts:
            self.table["field"]["area"] = field.parts["area"]
        if "season" in field.parts:
            self.where["season"] = field.parts["season"]
        for key, part in (("crop", "crop"), ("yield", "yield_actual"), ("yield", "yield_expected"), ("limit", "limit"),
                          ("price", "price")):  # fmt: skip
            if part in field.parts and key not in self.table:
                self.table[key] = field.parts[part]
        if field.parts.get("windrowed"):
            self.table["windrowed"] = True
        if "price" in self.table and units.read(self.table["price"], "price", field="field, price").currency:
            self.table.pop("currency", None)  # The price has its own.

    def _season(self, *, several: bool) -> str | None:
        """Id of the season, asked only where fields of one name come back."""
        seasons = [t for t in things(self.desk, "season") if not t.retired]

        def read(text: str) -> Thing | None:
            return one_thing(self.desk, "season", text, flag="season") if text else None

        if self.given.get("season") is None and not (several and len(seasons) > 1):
            return None
        known = tuple(t.name for t in seasons)
        found = self.want("--season", "Season", read, offered=known[-1] if known else "", optional=True, known=known)
        if found is None:
            return None
        self.where["season"] = found.id
        return found.id

    def _crop(self) -> None:
        offered = str(self.table.get("crop", ""))
        if offered and not self.typed and not self.given.get("crop"):
            return

        def read(text: str) -> str:
            return crop(text, field="crop").key

        example = "" if offered else "canola"
        chosen = self.want("--crop", "Crop", read, example=example, offered=offered, known=crop_keys())
        if offered and chosen != crop(offered, field="field, crop").key:
            gone = [key for key in ("yield", "limit", "price") if self.table.pop(key, None) is not None]
            if gone:
                self.page.paragraph(f"The field's {', '.join(gone)} are for {offered}: left out of this check.")
        self.table["crop"] = chosen

    def _combine(self) -> None:
        here = [t for t in things(self.desk, "combine") if not t.retired]
        names = tuple(dict.fromkeys(t.name for t in here))

        def read(text: str) -> Thing | None:
            return one_thing(self.desk, "combine", text, flag="combine") if text else None

        offered = names[0] if len(names) == 1 else ""
        hint = "" if offered else ("; ? lists them, Enter for none" if names else "; Enter for none")
        found = self.want("--combine", f"Combine (its name{hint})", read, optional=True, offered=offered, known=names)
        machine: dict[str, Any] = {}
        if found is not None:
            self.where["combine"] = found.id
            machine["name"] = found.name
            for key in ("cut_width", "drop_width", "spread_width", "widths_taped"):
                if key in found.parts:
                    machine[key] = found.parts[key]
        for key in ("cut_width", "drop_width", "spread_width"):
            if self.given.get(key):
                machine[key] = self.given[key]
        if machine:
            self.table["combine"] = machine
        if self.given.get("windrower_width"):
            self.table["windrower_width"] = self.given["windrower_width"]
        if self.given.get("spreading") is not None:
            self.table["spreading"] = self.given["spreading"]

    def _operator(self) -> None:
        here = tuple(t.name for t in things(self.desk, "operator") if not t.retired)
        if not here and not self.given.get("operator"):
            return

        def read(text: str) -> Thing | None:
            return one_thing(self.desk, "operator", text, flag="operator") if text else None

        found = self.want("--operator", "Operator (? lists them, Enter for none)", read, optional=True, known=here)
        if found is not None:
            self.where["operator"] = found.id
            self.table["operator"] = found.name

    def _speed(self) -> None:
        def read(text: str) -> str:
            if text:
                units.read_positive(text, "speed", field="speed")
            return text

        speed = self.want("--speed", "Ground speed, like 7.5 km/h (Enter for none)", read, optional=True)
        if speed:
            self.table["speed"] = speed
