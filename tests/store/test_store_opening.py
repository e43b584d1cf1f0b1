"""What is said when a book cannot be opened: one clear line, no password, and nothing changed."""

from __future__ import annotations

import hashlib
import random
import shutil
import socket
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa
from farm_records import again, begin, check, farm, full, identities, problems, put

from chaffinch.book import things
from chaffinch.book.checks import held as checks
from chaffinch.book.desk import Desk
from chaffinch.book.exchange import merging
from chaffinch.book.keeping import back_up, restore
from chaffinch.errors import BookError, ChaffinchError, InputError
from chaffinch.store import records
from chaffinch.store.migrations import NEWEST
from postgres_server import PASSWORD, Server

NewAddress = Callable[[], str]


def line_of(address: str, kind: type[ChaffinchError]) -> str:
    """The one line that opening this address ends with."""
    with pytest.raises(kind) as caught:
        again(address)
    line = str(caught.value)
    assert "\n" not in line
    assert len(line) < 400
    return line


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_newer_book_is_refused_and_left_alone(new_address: NewAddress) -> None:
    address = new_address()
    store = begin(address, full())
    before = identities(store)
    with store.engine.begin() as connection:
        connection.execute(sa.text(f"INSERT INTO migration VALUES ({NEWEST + 1}, 'what comes next', 'x', 'y')"))
        connection.execute(sa.text("ALTER TABLE record RENAME COLUMN arrived TO came"))
    line = line_of(address, InputError)
    assert f"step {NEWEST + 1}" in line
    assert "update chaffinch" in line
    with store.reading() as connection:
        assert len(connection.execute(sa.text("SELECT came FROM record")).all()) == len(before) - 1


def test_no_file_there(tmp_path: Path) -> None:
    assert "does not exist" in line_of(str(tmp_path / "none.chaffinch"), InputError)
    assert list(tmp_path.iterdir()) == []


def test_a_folder(tmp_path: Path) -> None:
    assert "is a folder" in line_of(str(tmp_path), InputError)


@pytest.mark.parametrize(
    "content", [b"crop = 'canola'\n", b"\x89PNG\r\n\x1a\n" * 200, b"SQLite format 2\x00" * 9, b" "]
)
def test_not_a_database(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "check.toml"
    path.write_bytes(content)
    assert "is not a book" in line_of(str(path), InputError)
    assert path.read_bytes() == content
    assert list(tmp_path.iterdir()) == [path]


def test_an_empty_file(tmp_path: Path) -> None:
    path = tmp_path / "empty.chaffinch"
    path.touch()
    assert "not a book" in line_of(str(path), InputError)
    assert path.read_bytes() == b""
    assert list(tmp_path.iterdir()) == [path]


def test_a_foreign_sqlite_file_is_refused_and_not_changed_by_a_byte(tmp_path: Path) -> None:
    path = tmp_path / "stock.db"
    raw = sqlite3.connect(path)
    raw.execute("CREATE TABLE stock (part TEXT, number INTEGER)")
    raw.execute("INSERT INTO stock VALUES ('knife section', 40)")
    raw.commit()
    raw.close()
    before = digest(path)
    assert "not a book" in line_of(str(path), InputError)
    with pytest.raises(InputError, match="already"):
        begin(str(path))
    assert digest(path) == before
    assert list(tmp_path.iterdir()) == [path]


def test_a_foreign_database_on_the_server(postgres: Server) -> None:
    address = postgres.new_book()
    schema = address.rpartition("%3D")[2]
    with postgres.connect() as connection:
        connection.execute(f"CREATE TABLE {schema}.stock (part text)")  # type: ignore[call-overload]
    assert "not a book" in line_of(address, InputError)
    with pytest.raises(InputError, match="holds other tables"):
        begin(address)
    with postgres.connect() as connection:
        tables = connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = %s", [schema]).fetchall()
    assert tables == [("stock",)]


def test_a_foreign_table_named_migration(new_address: NewAddress) -> None:
    """Other programs note their migrations too, in a table of that very name."""
    address = new_address()
    store = begin(address)
    with store.engine.begin() as connection:
        for table in ("catch_row", "check_row", "label", "correction", "conflict", "record", "book", "migration"):
            connection.execute(sa.text(f"DROP TABLE {table}"))
        connection.execute(sa.text("CREATE TABLE migration (version TEXT, done TEXT)"))
    assert "not a book" in line_of(address, InputError)


DAMAGE: dict[str, Callable[[bytearray], bytes]] = {
    "cut to its header": lambda b: bytes(b[:16]),
    "cut to 100 bytes": lambda b: bytes(b[:100]),
    "cut in half": lambda b: bytes(b[: len(b) // 2]),
    "cut by a page": lambda b: bytes(b[:-4096]),
    "zeros from the first page on": lambda b: bytes(b[:100]) + bytes(len(b) - 100),
    "zeros in the middle": lambda b: bytes(b[:8192]) + bytes(len(b) - 16384) + bytes(b[-8192:]),
    "page size of nonsense": lambda b: bytes(b[:16]) + b"\xff\xff" + bytes(b[18:]),
    "text after the header": lambda b: bytes(b[:16]) + b"not at all" * (len(b) // 10),
}


@pytest.mark.parametrize("damage", DAMAGE, ids=lambda d: d.replace(" ", "-"))
def test_a_damaged_file_is_told_in_one_line_or_by_verify(tmp_path: Path, damage: str) -> None:
    path = tmp_path / "farm.chaffinch"
    begin(str(path), full())
    path.write_bytes(DAMAGE[damage](bytearray(path.read_bytes())))
    line = told(str(path))
    assert line is not None, "the damage was not seen"
    assert "\n" not in line


def everything(address: str) -> None:
    """Ask a book all that a person asks."""
    store = again(address)
    desk = Desk(store, "desk")
    records.facts(store)
    list(records.every(store))
    records.conflicts(store)
    things.things(desk)
    checks.counting(desk, checks.checks_where(desk))


def told(address: str) -> str | None:
    """What is said about a damaged book, by opening and asking it or by verify; None for a sound one."""
    try:
        everything(address)
        return next(iter(problems(again(address))), None)
    except ChaffinchError as error:
        return str(error)


def test_flipped_bytes_never_end_in_a_crash_nor_pass_unseen(tmp_path: Path) -> None:
    """100 books, each with one flipped bit where something is written: an error we know, or verify names it."""
    sound = tmp_path / "sound.chaffinch"
    begin(str(sound), full())
    whole = sound.read_bytes()
    chance = random.Random(20261125)
    seen, silent = 0, []
    path = tmp_path / "damaged.chaffinch"
    for at in chance.sample([i for i, byte in enumerate(whole) if byte], 100):
        damaged = bytearray(whole)
        damaged[at] ^= 1 << chance.randrange(8)
        path.write_bytes(damaged)
        line = told(str(path))
        if line is not None:
            assert "\n" not in line
            seen += 1
        elif identities(again(str(path))) != identities(again(str(sound))):
            silent.append(at)
        for beside in tmp_path.glob("damaged.chaffinch-*"):
            beside.unlink()
    assert silent == []
    assert seen > 50, "most of what is written matters"


def test_a_journal_of_another_book_beside_it_does_no_harm(tmp_path: Path) -> None:
    one, other = tmp_path / "one.chaffinch", tmp_path / "other.chaffinch"
    before = identities(begin(str(one), farm()))
    store = begin(str(other), farm())
    with store.engine.connect():
        put(store, [check(10)])
        shutil.copy(f"{other}-wal", f"{one}-wal")
    assert before[0] in identities(again(str(one)))
    assert problems(again(str(one))) == ()


def refusals(server: Server) -> dict[str, tuple[str, str]]:
    with socket.socket() as closed:
        closed.bind(("127.0.0.1", 0))
        nobody_there = closed.getsockname()[1]
    return {
        "wrong password": (server.address(password="guess-me-not"), "password authentication failed"),
        "unknown user": (server.address(user="stranger"), "stranger"),
        "unknown database": (server.address(database="nothing"), "nothing"),
        "server down": (server.address().replace(f":{server.port}/", f":{nobody_there}/"), "refused"),
        "unknown host": (server.address().replace("127.0.0.1", "no-such-host.invalid"), "no-such-host.invalid"),
        "no book there": (server.address(), "not a book"),
        "wrong port": (server.address().replace(f":{server.port}/", ":port/"), "PostgreSQL address"),
        "no database named": (server.address(database=""), "names no database"),
        "password in the query": (
            server.address(database="nothing", query=f"?password={PASSWORD}"),
            "nothing",
        ),
        "an option it does not know": (server.address(query="?sslmood=on"), "sslmood"),
    }


@pytest.mark.parametrize(
    "case",
    ["wrong password", "unknown user", "unknown database", "server down", "unknown host", "no book there",
     "wrong port", "no database named", "password in the query", "an option it does not know"],
)  # fmt: skip
def test_a_server_that_does_not_let_us_in_is_told_without_the_password(postgres: Server, case: str) -> None:
    address, word = refusals(postgres)[case]
    lines = [line_of(address, ChaffinchError)]
    assert word in lines[0]
    if case != "no book there":
        with pytest.raises(ChaffinchError) as caught:
            begin(address)
        lines.append(str(caught.value))
    for line in lines:
        assert PASSWORD not in line
        assert "guess-me-not" not in line


def test_no_message_about_a_server_tells_the_password(postgres: Server, tmp_path: Path) -> None:
    address = postgres.new_book()
    desk = Desk(begin(address, farm()), "desk")
    tries: list[Callable[[], object]] = [
        lambda: merging.merge(desk, desk),
        lambda: back_up(desk, address),
        lambda: restore(address, str(tmp_path / "x")),
        lambda: restore(str(tmp_path / "x"), address),
        lambda: begin(address),
    ]
    for attempt in tries:
        with pytest.raises(InputError) as caught:
            attempt()
        assert PASSWORD not in str(caught.value)
    assert PASSWORD not in repr(desk)


def test_a_server_that_goes_down_at_work_is_told_and_loses_nothing(postgres: Server) -> None:
    address = postgres.new_book()
    store = begin(address, farm())
    assert put(store, [check(10)]) == ["accepted"]
    postgres.stop("immediate")
    try:
        with pytest.raises(BookError) as caught:
            put(store, [check(11)])
    finally:
        postgres.start()
    assert PASSWORD not in str(caught.value)
    assert put(store, [check(10), check(11)]) == ["known", "accepted"]
    assert problems(again(address)) == ()
