"""A list of checks costs what it holds, however old the book: every question has its index, on both databases."""

from __future__ import annotations

from collections.abc import Callable

import sqlalchemy as sa
from farm_records import COMBINE, FIELD, OPERATOR, SEASON, TRIAL, begin, farm, filed, problems, put, uid

from chaffinch.store.opening import Store

NewBook = Callable[[list[object]], Store]

ASKED = {
    "season": ("check_by_season", uid(SEASON)),
    "operator": ("check_by_operator", uid(OPERATOR)),
    "trial": ("check_by_trial", uid(TRIAL)),
    "field": ("check_by_field", uid(FIELD)),
    "combine": ("check_by_combine", uid(COMBINE)),
}


def with_many(new_book: NewBook, others: int) -> Store:
    """A book whose checks are few among those of other seasons, crews and trials; only the rows are made up."""
    store = new_book([*farm(), *filed()])
    with store.engine.begin() as connection:
        series = (
            "WITH RECURSIVE s(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM s WHERE n < :others) "
            if store.is_file
            else "WITH s(n) AS (SELECT * FROM generate_series(1, CAST(:others AS INTEGER))) "
        )
        part = "printf('%012d', n)" if store.is_file else "lpad(CAST(n AS TEXT), 12, '0')"
        record_id = f"'eeeeeeee-0000-4000-8000-' || {part}"
        columns = "kind, schema, device, device_time, body, hash, arrived"
        connection.execute(
            sa.text(
                f"INSERT INTO record (id, {columns}) {series}"
                f"SELECT {record_id}, 'check', 1, 'd', 't', '{{}}', 'h', 't' FROM s"
            ),
            {"others": others},
        )
        connection.execute(
            sa.text(
                "INSERT INTO check_row (id, taken_at, season, field, combine, operator, crop, catches, trial) "
                f"{series}SELECT {record_id}, '2025-08-14T10:00:00Z', 's' || n % 7, 'f' || n % 50, 'c' || n % 3, "
                "'o' || n % 5, 'canola', 1, 't' || n % 40 FROM s"
            ),
            {"others": others},
        )
    with store.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("ANALYZE")
    return store


def plan_of(store: Store, name: str, value: str) -> str:
    query = f"SELECT id FROM check_row WHERE {name} = :value ORDER BY taken_at DESC, id"
    with store.reading() as connection:
        explain = "EXPLAIN QUERY PLAN " if store.is_file else "EXPLAIN "
        rows = connection.execute(sa.text(explain + query), {"value": value}).all()
    return "\n".join(str(row[-1]) for row in rows)


def test_every_question_has_its_index(new_book: NewBook) -> None:
    store = with_many(new_book, 4000)
    for name, (index, value) in ASKED.items():
        plan = plan_of(store, name, value)
        assert index in plan, plan
        assert "SCAN check_row" not in plan
        assert "Seq Scan" not in plan


def instructions(store: Store, name: str, value: str) -> int:
    """How many of its own instructions SQLite runs for a question, in hundreds."""
    ticks = 0

    def tick() -> int:
        nonlocal ticks
        ticks += 1
        return 0

    with store.reading() as connection:
        raw = connection.connection.driver_connection
        raw.set_progress_handler(tick, 100)  # type: ignore[union-attr]
        query = f"SELECT id FROM check_row WHERE {name} = :value ORDER BY taken_at DESC, id"
        assert len(connection.execute(sa.text(query), {"value": value}).all()) in (2, 3, 4)
    return ticks


def test_a_tenfold_book_takes_no_more_of_sqlite(place: Callable[[str], str]) -> None:
    """The server has no such count; its plans are looked at above."""
    small, large = (with_many(lambda items: begin(place("sqlite"), items), others) for others in (500, 5000))
    for name, (_, value) in ASKED.items():
        assert instructions(large, name, value) <= instructions(small, name, value) + 1


def test_a_check_filed_under_a_trial_is_found_by_it(new_book: NewBook) -> None:
    store = new_book([*farm(), *filed()])
    with store.reading() as connection:
        query = "SELECT id, trial FROM check_row WHERE trial IS NOT NULL ORDER BY id"
        assert [tuple(r) for r in connection.execute(sa.text(query))] == [(uid(14), uid(TRIAL)), (uid(15), uid(TRIAL))]
    assert put(store, filed()) == ["known"] * 6
    assert problems(store) == ()


def test_a_row_under_the_wrong_trial_is_found(new_book: NewBook) -> None:
    store = new_book([*farm(), *filed()])
    with store.engine.begin() as connection:
        connection.execute(sa.text(f"UPDATE check_row SET trial = 'x' WHERE id = '{uid(14)}'"))
    assert any("check_row" in line for line in problems(store))
