"""``chaffinch card --pdf``: cab cards on paper, from options or from the book."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.book.planning.card import Card
    from chaffinch.book.things import Thing

F = TypeVar("F", bound=Callable[..., Any])

_SIZES: Final = ("a5", "half-letter")
_NOT_BESIDE_A_BOOK: Final = (
    "from_file", "country", "yield", "price", "limit", "tkw", "test_weight", "cut_width", "drop_width", "spread_width",
    "pan_width", "pan_length", "taped",
)  # fmt: skip
"""Options of a card that the book tells."""


@dataclass(frozen=True, slots=True)
class Printing:
    """What was said about paper, and which book.

    Attributes
    ----------
    file : str or None
        Where the PDF goes; None for no PDF.
    size, date, address : str or None
        Paper, day, and where the app is.
    over : bool
        Whether a file may be replaced.
    book, combine, field : str or None
        Which book, and which of its machines and fields.
    """

    file: str | None
    size: str
    date: str | None
    address: str | None
    over: bool
    book: str | None
    combine: str | None
    field: str | None

    def of_book(self, options: Mapping[str, Any]) -> bool:
        """Whether the cards are those of a book: a thing of it is named, or nothing describes a machine."""
        if self.combine is not None or self.field is not None or self.book is not None:
            return True
        return self.file is not None and not any(options.get(key) for key in _NOT_BESIDE_A_BOOK)

    def refuse_beside_book(
        self, options: Mapping[str, Any], *, step: str | None, losses: Sequence[str], as_data: bool
    ) -> None:
        """Refuse what a card of the book takes from the book, and a card of the book without a file.

        Raises
        ------
        InputError
            Named after the option.
        """
        for key in _NOT_BESIDE_A_BOOK:
            if options.get(key):
                flag = "--from" if key == "from_file" else f"--{key.replace('_', '-')}"
                raise InputError(flag, None, "is told by the book", "leave it out, or leave out --combine and --field")
        for flag, told in (("--step", step), ("--loss", losses), ("--json", as_data)):
            if told:
                raise InputError(flag, None, "is for a card without a book", "leave it out")
        if self.file is None:
            raise InputError("--pdf", None, "is missing", "cards of a book are printed: add --pdf cards.pdf")

    def print_one(self, found: Card) -> None:
        """Write the card of the options."""
        from chaffinch.paper.cab_card import cab_card

        self._write([cab_card(found, size=self.size, date=self._day(), address=self.address or "")])

    def print_book(self, options: Mapping[str, Any]) -> None:
        """Write a page for each machine, crop and pan of the book."""
        from chaffinch.book.planning.card import card
        from chaffinch.book.planning.machine_cards import machine_cards, without_widths
        from chaffinch.cli.options.filing import one_thing
        from chaffinch.cli.options.which_book import open_the_book
        from chaffinch.cli.terminal.pdf_file import refuse_taken
        from chaffinch.paper.cab_card import cab_card

        refuse_taken(str(self.file), over=self.over)
        desk = open_the_book(self.book)
        combine = None if self.combine is None else one_thing(desk, "combine", self.combine, flag="--combine")
        field = None if self.field is None else one_thing(desk, "field", self.field, flag="--field")
        pan = None if not options.get("pan") else one_thing(desk, "pan", str(options["pan"]), flag="--pan")
        found = machine_cards(
            desk, combine=combine, field=field, crop=options.get("crop"), pan=pan, report_in=options.get("report_in")
        )
        for name in without_widths(desk) if combine is None else ():
            Page.here().paragraph(
                f"Left out: {name}, whose discharge has no width in the book. It is told by "
                f'chaffinch book edit-label combine "{name}" drop_width "66 in"',
                bullet="· ",
            )
        address = self._address(desk, combine)
        pages = [
            cab_card(
                card(one.check), size=self.size, date=self._day(), pan=one.pan.name, address=address,
                combine_id=one.combine.id,
            )
            for one in found
        ]  # fmt: skip
        self._write(pages)

    def _address(self, desk: Desk, combine: Thing | None) -> str:
        """Where the app is, told or asked; nothing where nobody types."""
        from chaffinch.cli.terminal.asking import Stopped, a_person_types, ask
        from chaffinch.paper.cab_card import link_of

        del desk, combine
        if self.address is not None:
            link_of(self.address)
            return self.address
        if not a_person_types():
            return ""

        def read(text: str) -> str:
            link_of(text)
            return text

        try:
            return ask("Address of the app, for a code that opens the machine (Enter for none)", read)
        except Stopped:
            raise click.Abort from None

    def _day(self) -> str:
        from chaffinch.cli.terminal.pdf_file import today
        from chaffinch.paper.typeset import read_date

        return read_date(self.date) if self.date else today()

    def _write(self, pages: list[dict[str, Any]]) -> None:
        from chaffinch.cli.terminal.pdf_file import write_pdf
        from chaffinch.paper.cab_card import print_cards
        from chaffinch.paper.typeset import refuse_without_typesetter

        refuse_without_typesetter()
        done = print_cards(pages)
        target = write_pdf(str(self.file), done.pdf, over=self.over)
        Page.here().say(f"wrote {target}  {'1 card' if len(pages) == 1 else f'{len(pages)} cards'}")


def card_print_options(function: F) -> F:
    """Add the options of paper and book, handed over as one ``printing``."""

    @functools.wraps(function)
    def with_printing(*args: Any, **given: Any) -> Any:
        told = {name: given.pop(f"print_{name}") for name in Printing.__slots__}
        return function(*args, printing=Printing(**told), **given)

    made: Any = with_printing
    for option in (
        click.option("--field", "print_field", metavar="NAME", help="A field of the book: its crop, limit and price."),
        click.option("--combine", "print_combine", metavar="NAME", help="A combine of the book; else every one."),
        click.option("--book", "print_book", metavar="ADDRESS", help="Print cards of this book."),
        click.option("--over", "print_over", is_flag=True, help="Replace a file that is there."),
        click.option(
            "--address", "print_address", metavar="URL", help="Where the app is: a code then opens the machine."
        ),
        click.option("--date", "print_date", metavar="DAY", help="Day on the card  [default: today]"),
        click.option(
            "--paper", "print_size", default="a5", show_default=True, type=click.Choice(["a5", "half-letter"])
        ),
        click.option("--pdf", "print_file", metavar="FILE", help="Write the card as a PDF."),
    ):
        made = option(made)
    return made  # type: ignore[no-any-return]
