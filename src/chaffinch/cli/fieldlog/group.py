"""``chaffinch fieldlog``: look into a combine's log, bring it in, clean it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar, Final

import click

from chaffinch.cli.fieldlog.options import answer_options, answers, numbers, unit_options, units_of
from chaffinch.cli.main import Commands
from chaffinch.cli.options.which_book import print_json, progress
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError

FIELDLOG_COMMANDS: Final = {
    "inspect": "What is in a log, what is open, what is wrong with it.",
    "import": "Bring a log in as one table of records.",
    "clean": "Which records count, and why the others do not.",
    "map": "What the whole field lost, and where.",
    "what-if": "What another pace would have brought.",
    "bars": "Note what its loss sensors showed beside checks.",
}


class FieldlogCommands(Commands):
    """The commands about field logs."""

    known: ClassVar[Mapping[str, str]] = FIELDLOG_COMMANDS
    what: ClassVar[str] = "fieldlog command"

    def load(self, name: str) -> click.Command:
        """Give one known command."""
        if name in ("map", "what-if"):
            from chaffinch.cli.fieldlog.loss import map_, what_if

            return {"map": map_, "what-if": what_if}[name]
        if name == "bars":
            from chaffinch.cli.fieldlog.bars import bars

            return bars
        return {"inspect": inspect, "import": import_, "clean": clean}[name]


@click.group("fieldlog", cls=FieldlogCommands)
def command() -> None:
    """Read the log a combine keeps of every second.

    Task data of ISO 11783-10, comma text, shapefile, GeoPackage, GeoJSON and Parquet are read, in a folder or a zip.
    What a file leaves open is asked, never guessed.
    """


@click.command("inspect")
@click.argument("path", type=click.Path())
@unit_options
@answer_options
def inspect(path: str, *, address: str | None, crop: str | None, as_data: bool, **given: Any) -> None:
    """Look into PATH, a folder, zip or file, and change nothing."""
    from chaffinch.book.fieldlogs.large import look_into
    from chaffinch.cli.fieldlog.page import found_as_json, show_found

    told, units = answers(given), units_of(address, crop)
    with progress("Reading the log") as step:
        found = look_into(path, told, progress=step)
    if as_data:
        print_json(found_as_json(found))
    else:
        show_found(found, Page.here(), units)


@click.command("import")
@click.argument("path", type=click.Path())
@click.option("--to", metavar="FILE", required=True, help="File to write: .parquet, .gpkg, .geojson or .csv.")
@click.option("--replace", is_flag=True, help="Write over a file that is there.")
@answer_options
def import_(path: str, *, to: str, replace: bool, as_data: bool, **given: Any) -> None:
    """Bring the log at PATH in as one table, with the units in the names of its columns."""
    from chaffinch.book.fieldlogs.one_log import import_log
    from chaffinch.cli.fieldlog.page import found_as_json, show_found

    told = answers(given)
    with progress("Reading the log") as step:
        found = import_log(path, to, told, replace=replace, progress=step)
    if as_data:
        print_json({**found_as_json(found), "written": to})
        return
    page = Page.here()
    show_found(found, page)
    page.say(f"  Written: {found.records:,} records to {to}")  # unbroken, so that the path can be copied
    page.say()


@click.command("clean")
@click.argument("path", type=click.Path())
@click.option("--to", metavar="FILE", help="Write every record with its flags: .parquet, .gpkg, .geojson or .csv.")
@click.option("--replace", is_flag=True, help="Write over a file that is there.")
@click.option("--set", "changed", metavar="NAME=NUMBER", multiple=True, help="Another limit, like speed_least_kmh=2.5.")
@click.option("--each", is_flag=True, help="PATH is a folder of many logs; --to is then a folder too.")
@click.option("--jobs", type=click.IntRange(1, 64), default=1, show_default=True, help="Cores to use with --each.")
@click.option(
    "--on", metavar="ADDRESS", help="With --each: a Dask scheduler, like tcp://office:8786; or dask, for here."
)
@unit_options
@answer_options
def clean(
    path: str, *, address: str | None, crop: str | None, to: str | None, replace: bool, changed: tuple[str, ...],
    each: bool, jobs: int, on: str | None, as_data: bool, **given: Any,
) -> int:  # fmt: skip
    """Flag the records of the log at PATH that mislead; none is taken away.

    With --each, exit status 1 where a log was left out.
    """
    from chaffinch.book.fieldlogs.large import cleaned_log
    from chaffinch.cli.fieldlog.page import cleaned_as_json, each_as_json, show_cleaned, show_each

    if each:
        from chaffinch.book.fieldlogs.folder import clean_folder

        with progress("Cleaning the logs") as step:
            all_done = clean_folder(
                path,
                to,
                answers(given),
                settings=numbers(changed),
                jobs=jobs,
                on=on or "",
                replace=replace,
                progress=step,
            )
        if as_data:
            print_json(each_as_json(all_done))
        else:
            show_each(all_done, Page.here())
        return int(any(one.refused for one in all_done))

    if on is not None:
        raise InputError("--on", on, "is for many logs", "name a folder of them and add --each")
    told, settings, units = answers(given), numbers(changed), units_of(address, crop)
    with progress("Cleaning the log") as step:
        done = cleaned_log(path, to, told, settings=settings, replace=replace, progress=step)
    if as_data:
        print_json(cleaned_as_json(done, to))
        return 0
    page = Page.here()
    show_cleaned(done, page, units)
    if to is not None:
        page.say(f"  Written: {done.found.records:,} records with their flags to {to}")
        page.say()
    return 0
