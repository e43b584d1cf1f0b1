"""``chaffinch fieldlog map`` and ``what-if``: what the whole field lost, where, and at another pace."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from chaffinch.cli.fieldlog.options import answer_options, answers, flag_of, numbers, refuse_empty
from chaffinch.cli.options.which_book import book_option, open_the_book, print_json, progress
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.book.fieldlogs.losses import LogLoss
    from chaffinch.book.fieldlogs.zones import ZonesTold
    from chaffinch.book.shown_unit import PaceUnit


def loss_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options that say whose curves count, and for how much."""
    for option in reversed(
        (
            book_option,
            click.option("--combine", metavar="NAME",
                         help="Whose curves count; left out, each machine of the log is summed by its own combine's."),
            click.option("--crop", metavar="NAME", required=True, help="The crop, like canola."),
            click.option("--machine", metavar="NAME", help="Only this machine's records, where several made the log."),
            click.option("--machine-is", "machine_is", metavar="NAME=COMBINE", multiple=True,
                         help='Which combine a machine of the log is, like "L-77=Old Bess".'),
            click.option("--season", metavar="NAME", help="Only checks of this season; else of all."),
            click.option("--price", metavar="TEXT", help='Price of the grain, like "14.50 /bu".'),
            click.option("--set", "changed", metavar="NAME=NUMBER", multiple=True,
                         help="Another limit of the cleaning, like speed_least_kmh=2.5."),
        )
    ):  # fmt: skip
        command = option(command)
    return command


def zone_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Options that say which parts of the field are told apart."""
    for option in reversed(
        (
            click.option("--zones", metavar="FILE",
                         help="Areas to tell apart: .shp, .gpkg, .geojson or .parquet; .zip too."),
            click.option("--zone-name", metavar="COLUMN", help="Which column of that file names them."),
            click.option("--zone-crs", metavar="CODE",
                         help="Its coordinate system, where it tells none, like EPSG:32612."),
        )
    ):  # fmt: skip
        command = option(command)
    return command


def zones_told(zones: str | None, zone_name: str | None, zone_crs: str | None) -> ZonesTold | None:
    """The zones as the options say; None without a file of them."""
    from chaffinch.book.fieldlogs.zones import ZonesTold

    if zones is not None:
        return ZonesTold(Path(zones), zone_name or "", zone_crs or "")
    if zone_name or zone_crs:
        raise InputError("--zones", None, "is not told", "name the file the zones are in")
    return None


@click.command("map")
@click.argument("path", type=click.Path())
@click.option("--to", metavar="FILE", help="Write the map: .gpkg, .geojson, .parquet, or .png to look at.")
@click.option("--replace", is_flag=True, help="Write over a file that is there.")
@click.option("--each", is_flag=True, help="PATH is a folder of many logs; --to is then a folder for their maps.")
@click.option("--jobs", type=click.IntRange(1, 64), default=1, show_default=True, help="Cores to use with --each.")
@click.option(
    "--on", metavar="ADDRESS", help="With --each: a Dask scheduler, like tcp://office:8786; or dask, for here."
)
@zone_options
@loss_options
@answer_options
def map_(
    path: str, *, to: str | None, replace: bool, each: bool, jobs: int, on: str | None, zones: str | None,
    zone_name: str | None, zone_crs: str | None, as_data: bool, **given: Any,
) -> int:  # fmt: skip
    """Sum what the field of the log at PATH lost, and draw where.

    The curves are those of the combine in the book; checks taken while the log ran get their load from it. Where
    several machines made the log, each is summed by the curves of the combine of its name, and their sum is told.

    With --each every log of a folder is summed by itself, and one that cannot be stops none; exit status 1 says so.
    """
    if each:
        if zones or zone_name or zone_crs:
            raise InputError("--zones", zones, "are of one field", "give them with one log, without --each")
        from chaffinch.cli.fieldlog.maps import map_each

        return map_each(path, given, to=to, replace=replace, jobs=jobs, on=on or "", as_data=as_data)
    if on is not None:
        raise InputError("--on", on, "is for many logs", "name a folder of them and add --each")
    from chaffinch.book.fieldlogs.losses import PICTURE, refuse_map, write_map
    from chaffinch.cli.fieldlog.loss_page import as_json, show

    refuse_map(path, to, replace=replace)
    told = zones_told(zones, zone_name, zone_crs)
    found, unit, sign = found_loss(open_the_book(given.pop("address")), path, given, {}, told)
    picture = to is not None and Path(to).suffix.lower() == PICTURE
    if picture and to is not None:
        from chaffinch.paper.log_picture import write_map_picture

        write_map_picture(found, unit, sign, to, replace=replace, zones=told)
    elif to is not None:
        write_map(found, to, replace=replace)
    if as_data:
        print_json({**as_json(found), "written": to})
        return 0
    page = Page.here()
    show(found, unit, sign, page)
    if to is not None:
        page.say(f"  Written: {'a picture of ' if picture else ''}{len(found.squares):,} squares to {to}")
        page.say()
    return 0


@click.command("what-if")
@click.argument("path", type=click.Path())
@click.option("--speed", metavar="TEXT", help='Another pace, like "5 km/h" or "3.5 mph".')
@click.option("--best", is_flag=True, help="The pace that would have cost least; needs --price and an hour cost.")
@click.option(
    "--hour-cost", metavar="TEXT", help='What one more hour of combining costs, like "450 /h"; else the stored one.'
)
@click.option("--fastest", metavar="TEXT", help="Speed that ground or engine do not allow to pass.")
@loss_options
@answer_options
def what_if(
    path: str, *, speed: str | None, best: bool, fastest: str | None, as_data: bool, **given: Any
) -> None:  # fmt: skip
    """Say what another pace would have brought on the field of the log at PATH: --speed, or --best."""
    from chaffinch.cli.fieldlog.loss_page import as_json, show_other

    if (speed is None) != best:
        problem = "is not told" if speed is None else "is given together with --best"
        raise InputError("--speed", speed, problem, "give a speed, or ask for --best")
    asked = {"speed": speed, "best": "yes" if best else None, "fastest": fastest, "hour_cost": given.pop("hour_cost")}
    found, unit, sign = found_loss(open_the_book(given.pop("address")), path, given, asked)
    if as_data:
        print_json(as_json(found))
        return
    show_other(found, unit, sign, Page.here())


def found_loss(
    desk: Desk,
    path: str,
    given: dict[str, Any],
    asked: dict[str, str | None],
    zones: ZonesTold | None = None,
    report_in: str | None = None,
) -> tuple[LogLoss, PaceUnit, str]:
    """What the field of a log lost by :func:`loss_options`, the unit it is told in and the sign of its money.

    ``asked`` are further options by name; those of ``loss_options`` that are told with them are added to it.
    """
    from chaffinch.book.fieldlogs.asked import asked_loss
    from chaffinch.book.shown_unit import unit_of
    from chaffinch.cli.options.filing import one_thing

    name, crop = given.pop("combine"), given.pop("crop")
    combine = None if name is None else one_thing(desk, "combine", name, flag="--combine")
    season_name = given.pop("season")
    season = None if season_name is None else one_thing(desk, "season", season_name, flag="--season").id
    settings = numbers(given.pop("changed"))
    asked |= {name: given.pop(name) for name in ("price", "machine")}
    refuse_empty(asked)
    asked["machine_is"] = "\n".join(given.pop("machine_is"))
    unit = unit_of(desk, crop, report_in=report_in)
    with progress("Reading the log") as step:
        found, sign = asked_loss(
            desk, path, answers(given), asked, combine=combine, crop=crop, unit=unit, called=flag_of,
            settings=settings, season=season, zones=zones, progress=step,
        )  # fmt: skip
    return found, unit, sign
