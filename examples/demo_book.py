"""Write the demo book: two harvests of an invented farm, with what was truly lost beside it.

    python examples/demo_book.py FILE [--seed 20260801] [--truth truth.json]

Everything goes through the same door as a person's own records: nothing is written around the book. The same seed gives
the same records, to the last byte of every id and hash. Equations and layout: docs/demo-book.md.
"""

from __future__ import annotations

import copy
import json
import sys
import tempfile
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

import click
import numpy as np
from simulated_world import farm
from simulated_world.diary import Hour, Stop, Trial, season_entries, utc
from simulated_world.truth import truth_table

from chaffinch.book.checks.entering import log_check, replace_check
from chaffinch.book.desk import Desk, start_book
from chaffinch.book.exchange.merging import merge
from chaffinch.book.things import add_thing, edit_label, find_thing
from chaffinch.errors import ChaffinchError, InputError
from chaffinch.records.checkfile import check_from_table

SEED: Final = 20260801
SLOW_CLOCK_MIN: Final = {"Tomas": -7}
"""Minutes by which a phone's clock is off; nothing in the book depends on it."""

SLIPS: Final = {
    # Field-year: what went wrong with its first stop of three pans, and how it was put right.
    2: ("weight", "The point was missing: read off the scale's slip again."),
    3: ("spreading", "The chopper was off; I had left the box ticked."),
    6: ("weight", "Typed ten times too much."),
    7: ("pan", "It was the large tray, not the small one."),
    15: ("pan", "Wrong tray chosen from the list."),
}
SETTLED, OPEN, CONFLICT = 8, 16, 13
"""Field-years of the disagreement that was settled, the one left open, and the id given out twice."""


@dataclass(slots=True)
class Watch:
    """The time it is in the story, UTC."""

    time: str

    def now(self) -> str:
        """For a desk."""
        return self.time

    def off_by(self, minutes: int) -> Callable[[], str]:
        """The same watch, as a phone shows it whose clock is off."""
        return lambda: _later(self.time, minutes)


class Ids:
    """UUIDs from a seed, one row for each device."""

    def __init__(self, seed: int, device: str) -> None:
        self._chance = np.random.default_rng([seed, *device.encode()])

    def __call__(self) -> str:
        """The next one."""
        return str(uuid.UUID(bytes=self._chance.bytes(16), version=4))


class Story:
    """The farm's people writing into their book."""

    def __init__(self, address: str, seed: int) -> None:
        self.seed, self.watch = seed, Watch("2025-08-01T15:00:00Z")
        office = start_book(address, title="Larkhollow", device="office", now=self.watch.now)
        self.office = replace(office, new_id=Ids(seed, "office"))
        self.desks = {
            who: Desk(office.store, device, self.watch.off_by(SLOW_CLOCK_MIN.get(who, 0)), Ids(seed, device))
            for who, device in farm.CREW.items()
        }
        self.ids: dict[str, dict[str, str]] = {"combine": {}, "field": {}, "operator": {}, "season": {}}
        self.stops: list[tuple[Stop, dict[str, Any]]] = []
        self.trials: list[tuple[Trial, dict[str, Any]]] = []

    def tell(self, progress: Callable[[], object] = lambda: None) -> dict[str, Any]:
        """Write both seasons and return the truth; ``progress`` is called after each field."""
        # A connection held open spares SQLite from folding its log into the file after each of some 600 writes.
        with self.office.store.engine.connect():
            self.set_up()
            for season in farm.SEASONS:
                self.season(season, progress)
        return truth_table(self.seed, self.stops, self.trials, self.ids)

    def season(self, season: str, progress: Callable[[], object]) -> None:
        """One harvest, field by field."""
        self.start_season(season)
        entries: dict[str, list[Stop | Trial | Hour]] = {}
        for entry in season_entries(self.seed, season):
            entries.setdefault(entry.year.name, []).append(entry)
        for place, year in enumerate(farm.FIELD_YEARS):
            if year.season == season:
                self.field(place, year, entries[year.name])
                progress()

    # --- set-up ---------------------------------------------------------------------------------------------------

    def set_up(self) -> None:
        """The farm, its crew, machines, pans and scales."""
        self.add("farm", {"name": "Larkhollow", "country": "CA", "currency": "$", "report_in": "bu/ac"})
        for who in farm.CREW:
            self.ids["operator"][who] = self.add("operator", {"name": who})
        for machine in farm.MACHINES:
            parts = {
                "name": machine.name,
                "cut_width": str(machine.cut),
                "drop_width": str(machine.drop),
                "spread_width": str(machine.spread),
                "header": machine.header,
                "separation": machine.separation,
                "note": machine.note,
            }
            self.ids["combine"][machine.name] = self.add("combine", parts)
        for parts in (
            {"name": "large tray", "area": "4 ft2", "tare": "512 g"},
            {"name": "small tray", "area": "2 ft2"},
            {"name": "metric tray", "area": "0.36 m2"},
            {"name": "wide trough", "width": "7 ft", "length": "1 ft"},
            {"name": "frame", "area": "0.4 m2"},
        ):
            self.add("pan", parts)
        for name, step in (("pocket scale", "0.1 g"), ("kitchen scale", "0.1 oz"), ("Jonna's scale", "0.5 g")):
            self.add("scale", {"name": name, "step": step})

    def start_season(self, season: str) -> None:
        """The season and its fields; before the second one a tape is found."""
        starts, ends = farm.SEASONS[season]
        self.watch.time = f"{starts}T14:00:00Z"
        self.ids["season"][season] = self.add("season", {"name": season, "starts": starts, "ends": ends})
        for year in farm.FIELD_YEARS:
            if year.season != season:
                continue
            parts: dict[str, Any] = {
                "name": year.name,
                "season": self.ids["season"][season],
                "crop": year.crop,
                "area": str(year.area),
                "yield_expected": farm.true_field(self.seed, year).expected,
                "price": farm.price_text(year),
                "price_date": starts,
                "limit": farm.limit_text(year),
            }
            if year.windrowed:
                parts["windrowed"] = True
            self.ids["field"][f"{year.name}, {season}"] = self.add("field", parts)
        if season == "2026":
            for machine in farm.MACHINES:
                if machine.taped is not None:
                    drop, spread = machine.taped
                    for name, value in (
                        ("drop_width", str(drop)),
                        ("spread_width", str(spread)),
                        ("widths_taped", True),
                    ):
                        self.edit(self.office, "combine", machine.name, name, value)

    def add(self, kind: str, parts: Mapping[str, Any]) -> str:
        """Add a thing at the office and return its id."""
        return add_thing(self.office, kind, parts).id

    def edit(self, desk: Desk, kind: str, wanted: str, field: str, value: object) -> None:
        """Change one field of a thing."""
        edit_label(desk, find_thing(desk, kind, wanted), field, value)

    # --- one field ------------------------------------------------------------------------------------------------

    def field(self, place: int, year: farm.FieldYear, entries: list[Stop | Trial | Hour]) -> None:
        """All that was written down in one field, by time."""
        driver = farm.MACHINES[year.machines[0]].driver
        hours = [one for one in entries if isinstance(one, Hour)]
        first_pans = next((one for one in entries if isinstance(one, Stop) and one.kit == "pans"), None)
        for one in sorted((e for e in entries if not isinstance(e, Hour)), key=lambda e: e.taken_at):
            if isinstance(one, Stop):
                self.check(one, slip=SLIPS.get(place) if one is first_pans else None)
                continue
            self.watch.time = one.taken_at
            self.trial(one)
        for day in (0, 1):
            # A weather station's readings come over in the evening, a day at a time.
            self.watch.time = utc(year.season, year.cut_day + day, 21.5)
            today = hours[13 * day : 13 * (day + 1)]
            body = {"field": self.ids["field"][f"{year.name}, {year.season}"]}
            self.office.write_all(
                [("weather", body | {"taken_at": h.taken_at, "conditions": h.conditions}) for h in today]
            )
        self.watch.time = utc(year.season, year.cut_day + 1, 22.0)
        text = f"{year.name}: done. {'Windrows lay well.' if year.windrowed else 'Stubble looks even.'}"
        self.desks[driver].write("note", {"text": text, "of": self.ids["field"][f"{year.name}, {year.season}"]})
        self.evening(place, year)
        field_id = self.ids["field"][f"{year.name}, {year.season}"]
        self.edit(self.office, "field", field_id, "yield_actual", farm.true_field(self.seed, year).delivered)

    def check(self, stop: Stop, *, slip: tuple[str, str] | None = None, trial: str = "") -> None:
        """Log the check, and the monitor's reading at the same stop; a slip is put right a little later."""
        self.watch.time = _later(stop.taken_at, 12)
        desk = self.desks[stop.machine.driver]
        where = {
            "season": self.ids["season"][stop.year.season],
            "field": self.ids["field"][f"{stop.year.name}, {stop.year.season}"],
            "combine": self.ids["combine"][stop.machine.name],
            "operator": self.ids["operator"][stop.machine.driver],
            **({"trial": trial, "side": stop.side} if trial else {}),
        }
        table = stop.table if slip is None else slipped(stop.table, slip[0])
        logged = log_check(
            desk,
            check_from_table(table),
            taken_at=stop.taken_at,
            where=where,
            settings=as_settings(stop.settings),
            conditions=stop.conditions,
        )
        known: dict[str, Any] = {"id": logged.id, "record": "right", "monitor": None, "trial": trial or None}
        if stop.monitor is not None:
            reading = {
                "taken_at": stop.taken_at,
                "combine": where["combine"],
                "reading": stop.monitor,
                "per": stop.machine.monitor,
                "check": logged.id,
                "speed": stop.table["speed"],
            }
            known["monitor"] = desk.write("monitor", reading).id
        if slip is not None:
            self.watch.time = _later(stop.taken_at, 45)
            replace_check(desk, [logged.id], check_from_table(stop.table), reason=slip[1])
            known["record"] = "corrected"
        self.stops.append((stop, known))

    def trial(self, trial: Trial) -> None:
        """The trial, its checks, and what the crew made of it."""
        desk, field = self.desks[trial.machine.driver], self.ids["field"][f"{trial.year.name}, {trial.year.season}"]
        body = {
            "taken_at": trial.taken_at,
            "combine": self.ids["combine"][trial.machine.name],
            "field": field,
            "a": as_settings(trial.a),
            "b": as_settings(trial.b),
            "note": f"{trial.setting}: {trial.a[trial.setting]} against {trial.b[trial.setting]}",
        }
        trial_id = desk.write("trial", body).id
        for stop in trial.stops:
            self.check(stop, trial=trial_id)
        text = f"{trial.setting} {trial.b[trial.setting]}: {'stays' if trial.kept else 'back to the old setting'}."
        desk.write("note", {"text": text, "of": trial_id})
        self.trials.append((trial, {"id": trial_id}))

    # --- evenings: two devices, slips, an id given out twice ----------------------------------------------------------

    def evening(self, place: int, year: farm.FieldYear) -> None:
        """What went apart that day."""
        if place in (SETTLED, OPEN):
            self.disagree(year, settle=place == SETTLED)
        if place == CONFLICT:
            # A tablet restored from a backup gives out an id again.
            stop, known = self.stops_of(year)[0]
            again = replace(self.desks["Jonna"], new_id=lambda: str(known["id"]))
            log_check(again, check_from_table(self.stops_of(year)[1][0].table), taken_at=stop.taken_at)
            known["record"] = "in conflict"
        if place in (1, 9, 16):
            changes = {
                1: (
                    "combine",
                    "Old Bess",
                    "note",
                    "Walkers fill up in tough straw: slow at dusk.",
                    "Mind the walkers.",
                ),
                9: ("pan", "large tray", "name", "big tray", "blue tray"),
                16: ("season", "2026", "note", "Dry, early, short straw.", "Dust and dew."),
            }
            kind, name, field, ours, theirs = changes[place]
            with _away(self, "Tomas") as away:
                self.edit(away, kind, name, field, theirs)
                self.edit(self.desks["Ines"], kind, name, field, ours)

    def disagree(self, year: farm.FieldYear, *, settle: bool) -> None:
        """Two people correct the same check, one of them without signal."""
        stop, known = next(one for one in self.stops_of(year) if one[0].kit == "pans")
        old = str(known["id"])
        with _away(self, "Tomas") as away:
            theirs = replace_check(away, [old], check_from_table(slipped(stop.table, "weight")), reason="As I read it.")
            right = check_from_table(stop.table)
            ours = replace_check(self.desks["Ines"], [old], right, reason="Weighed the bag again.")
        known["record"] = "disputed"
        if settle:
            self.watch.time = _later(self.watch.time, 20)
            replace_check(self.office, [ours.id, theirs.id], right, reason="Settled over the bag itself.")
            known["record"] = "corrected"

    def stops_of(self, year: farm.FieldYear) -> list[tuple[Stop, dict[str, Any]]]:
        """Stops of one field-year so far."""
        return [one for one in self.stops if one[0].year is year]


class _away:  # noqa: N801 (reads as a word in a with statement)
    """A desk on a phone without signal, with its own copy of the book; the copies meet when it is back."""

    def __init__(self, story: Story, who: str) -> None:
        self._story, self._desk = story, story.desks[who]
        self._folder = tempfile.TemporaryDirectory()

    def __enter__(self) -> Desk:
        address = str(Path(self._folder.name) / "phone.chaffinch")
        copy_of = start_book(address, title="Larkhollow", device=self._desk.device, now=self._story.watch.now)
        merge(copy_of, self._story.office)
        self._copy = replace(self._desk, store=copy_of.store)
        return self._copy

    def __exit__(self, *_: object) -> None:
        merge(self._story.office, self._copy)
        self._folder.cleanup()


def slipped(table: Mapping[str, Any], how: str) -> dict[str, Any]:
    """The same check with a slip of the pen."""
    wrong: dict[str, Any] = copy.deepcopy(dict(table))
    if how == "weight":
        row = next(row for row in wrong["catch"] if float(row["amount"].split()[0]) > 0)
        number, unit = row["amount"].split()
        row["amount"] = f"{float(number) * 10:g} {unit}"
    elif how == "pan":
        for row in wrong["catch"]:
            number, unit = row["pan"].split()
            row["pan"] = f"{float(number) / 2:g} {unit}"
    else:
        wrong["spreading"] = not wrong["spreading"]
    return wrong


def as_settings(values: Mapping[str, int]) -> list[dict[str, Any]]:
    """Settings as the book has them."""
    return [{"name": name, "value": value, "unit": farm.SETTINGS[name][0]} for name, value in values.items()]


def _later(time: str, minutes: int) -> str:
    moment = datetime.strptime(time, "%Y-%m-%dT%H:%M:%SZ") + timedelta(minutes=minutes)
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


@click.command()
@click.argument("file")
@click.option("--seed", type=click.IntRange(0), default=SEED, show_default=True, help="Seed of the whole world.")
@click.option("--truth", "truth_file", metavar="FILE", help="Write what was truly lost into FILE (JSON).")
def main(file: str, seed: int, truth_file: str | None) -> None:
    """Write the demo book into FILE, a new book."""
    try:
        if truth_file is not None and Path(truth_file).exists():
            raise InputError("--truth", truth_file, "is there already", "name another file")
        story = Story(file, seed)
        with click.progressbar(length=len(farm.FIELD_YEARS), label="Writing", file=sys.stderr) as bar:
            truth = story.tell(lambda: bar.update(1))
        if truth_file is not None:
            Path(truth_file).write_text(json.dumps(truth, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    except (ChaffinchError, OSError) as error:
        click.echo(f"Error: {error}", err=True)
        sys.exit(2 if isinstance(error, InputError) else 1)
    click.echo(f"{file}: {len(story.stops)} checks, {len(story.trials)} trials in 2 seasons")


if __name__ == "__main__":
    main()
