"""An hour on the wall clock and the moment it means, held against a table of moments walked through one by one."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone, tzinfo

import pytest

from chaffinch.book.wallclock import first_of, utc_of
from chaffinch.errors import InputError

FORWARD = datetime(2026, 3, 8, 8, tzinfo=UTC)  # 2:00 standard time becomes 3:00
BACK = datetime(2026, 11, 1, 7, tzinfo=UTC)  # 2:00 summer time becomes 1:00


class Prairie(tzinfo):
    """Six hours behind UTC, five in summer; written down anew here, without any table of zones."""

    def utcoffset(self, moment: datetime | None) -> timedelta:
        assert moment is not None
        standard, summer = timedelta(hours=-6), timedelta(hours=-5)
        wall = moment.replace(tzinfo=None, fold=0)
        if wall < datetime(2026, 3, 8, 2) or wall >= datetime(2026, 11, 1, 2):
            return standard
        if wall < datetime(2026, 3, 8, 3):  # skipped: read on by the offset before (fold 0) or after (fold 1)
            return summer if moment.fold else standard
        if wall >= datetime(2026, 11, 1, 1):
            return standard if moment.fold else summer
        return summer

    def dst(self, moment: datetime | None) -> timedelta:
        return self.utcoffset(moment) + timedelta(hours=6)

    def fromutc(self, moment: datetime) -> datetime:
        utc = moment.replace(tzinfo=UTC)
        offset = timedelta(hours=-5 if FORWARD <= utc < BACK else -6)
        second = BACK <= utc < BACK + timedelta(hours=1)
        return (moment + offset).replace(fold=int(second))


def test_every_half_hour_around_both_changes() -> None:
    """Each moment is shown as some hour; an hour shown once means it, shown twice or never it is refused."""
    for change in (FORWARD, BACK):
        moments = [change + timedelta(minutes=30 * n) for n in range(-8, 9)]
        shown: dict[datetime, list[datetime]] = {}
        for moment in moments:
            shown.setdefault(moment.astimezone(Prairie()).replace(tzinfo=None, fold=0), []).append(moment)
        wall = min(shown) + timedelta(hours=1)
        while wall <= max(shown) - timedelta(hours=1):
            means = shown.get(wall, [])
            if len(means) == 1:
                assert utc_of(wall, Prairie(), field="time", shown="x") == means[0]
            else:
                with pytest.raises(InputError) as refused:
                    utc_of(wall, Prairie(), field="time", shown="x")
                assert ("twice" if means else "skip") in refused.value.problem
                assert all(f"{moment:%Y-%m-%dT%H:%MZ}" in refused.value.mend for moment in means)
            wall += timedelta(minutes=30)


def test_a_fixed_offset_has_every_hour_once() -> None:
    zone = timezone(timedelta(hours=-6))
    for hour in range(24):
        wall = datetime(2026, 3, 8, hour, 30)
        assert utc_of(wall, zone, field="time", shown="x") == (wall + timedelta(hours=6)).replace(tzinfo=UTC)


def test_the_first_moment_of_an_hour_is_never_refused() -> None:
    assert first_of(datetime(2026, 11, 1, 1, 30), Prairie()) == datetime(2026, 11, 1, 6, 30, tzinfo=UTC)
    assert first_of(datetime(2026, 3, 8, 2), Prairie()) == FORWARD
