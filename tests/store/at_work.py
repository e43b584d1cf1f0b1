"""Processes that work on books and may be killed at any moment.

Run as a program, this is a warm parent: it has imported everything, takes one order per line (JSON) on its standard
input, forks a child for each activity named there, kills it with SIGKILL after the time given, and answers with how
each child ended. A child writes what it may confirm to a person to its log, unbuffered, and only then goes on.
"""

from __future__ import annotations

import json
import os
import resource
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from farm_records import FIELD, again, begin, check, clock, identities, problems, uid

from chaffinch.book import keeping
from chaffinch.book.checks.held import checks_where
from chaffinch.book.desk import Desk
from chaffinch.book.exchange import merging
from chaffinch.errors import ChaffinchError
from chaffinch.records.bodies import validate
from chaffinch.store import records
from chaffinch.store.opening import Store
from chaffinch.store.records import append
from chaffinch.sync.envelope import Envelope

Log = Callable[[str], None]


def log_checks(log: Log, address: str, numbers: Sequence[int], batch: int = 1) -> None:
    """Log checks with these numbers, some at a time; each is confirmed by its receipt."""
    store = again(address)
    for start in range(0, len(numbers), batch):
        part = [check(n, mass_g=n % 97 / 10) for n in numbers[start : start + batch]]
        for receipt in append(store, part):
            log(f"{receipt.outcome} {receipt.id} {receipt.hash}")


def confirm_too_early(log: Log, address: str, numbers: Sequence[int]) -> None:
    """A planted fault: tells the person before the record is on disk."""
    store = again(address)
    for one in checks_of(numbers):
        log(f"accepted {one.id} {one.hash}")
        append(store, [one])


def back_up_in_place(log: Log, address: str, target: str) -> None:
    """A planted fault: writes the copy under its final name from the start."""
    store = again(address)
    begin(target)
    for one in records.every(store):
        append(again(target), [one.envelope])
    log("done")


def start_and_log(log: Log, address: str, numbers: Sequence[int]) -> None:
    """Start a book, then log into it."""
    begin(address)
    log("started")
    log_checks(log, address, numbers)


def merge(log: Log, here: str, there: str, batch: int = 10) -> None:
    """Merge two books; what arrived in one of them is confirmed batch by batch."""
    merging.BATCH = batch

    def told(store: Store, part: Sequence[Any]) -> list[Any]:
        receipts = append(store, part)
        side = "here" if store.address == here else "there"
        log("".join(f"{side} {r.id} {r.hash}\n" for r in receipts).rstrip())
        return receipts

    records.append = told  # type: ignore[assignment]
    merging.merge(Desk(again(here), "here", clock), Desk(again(there), "there", clock))
    log("done")


def migrate(log: Log, address: str) -> None:
    """Open an older book."""
    again(address)
    log("done")


def back_up(log: Log, address: str, target: str) -> None:
    """Back a book up."""
    found = keeping.back_up(Desk(again(address), "desk", clock), target)
    log(f"done {found.records}")


def restore(log: Log, source: str, target: str) -> None:
    """Make a book of a backup."""
    keeping.restore(source, target)
    log("done")


def show(log: Log, address: str) -> None:
    """Look at a book: every record, what verify finds, the checks of the field."""
    store = again(address)
    for record_id, content_hash in identities(store):
        log(f"has {record_id} {content_hash}")
    log(f"problems {len(problems(store))}")
    log(f"checks {len(checks_where(Desk(store, 'desk', clock), field=uid(FIELD)))}")


def with_little_room(log: Log, room_bytes: int, activity: str, *arguments: Any) -> None:
    """Do something while no file may grow beyond a size: a full disk, as the database meets it."""
    resource.setrlimit(resource.RLIMIT_FSIZE, (room_bytes, room_bytes))
    ACTIVITIES[activity](log, *arguments)


def as_nobody(log: Log, activity: str, *arguments: Any) -> None:
    """Do something as a user who may not write there."""
    if os.geteuid() == 0:
        os.setgroups([])
        os.setgid(65534)
        os.setuid(65534)
    ACTIVITIES[activity](log, *arguments)


ACTIVITIES: dict[str, Callable[..., None]] = {
    one.__name__: one
    for one in (
        log_checks,
        start_and_log,
        merge,
        migrate,
        back_up,
        restore,
        show,
        with_little_room,
        as_nobody,
        confirm_too_early,
        back_up_in_place,
    )
}


def _child(activity: str, arguments: list[Any], log_file: str, ready: int) -> int:
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    out = os.open(log_file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o666)

    def log(line: str) -> None:
        os.write(out, line.encode() + b"\n")

    os.close(ready)
    try:
        ACTIVITIES[activity](log, *arguments)
    except ChaffinchError as error:
        log(f"error {error}")
        return 3
    except BaseException as error:  # noqa: BLE001 - a child must not run on into its parent's code
        log(f"crash {type(error).__name__} {error}")
        return 4
    return 0


def _obey(order: dict[str, Any]) -> dict[str, Any]:
    children, begun = [], time.monotonic()
    for activity, arguments, log_file in order["do"]:
        wait_here, ready = os.pipe()
        pid = os.fork()
        if pid == 0:
            os.close(wait_here)
            status = 5
            try:
                status = _child(activity, arguments, log_file, ready)
            finally:
                os._exit(status)
        os.close(ready)
        children.append((pid, wait_here))
    for _, wait_here in children:
        os.read(wait_here, 1)  # returns when the child is about to begin
        os.close(wait_here)
    begun = time.monotonic()
    if order["kill_after_s"] is not None:
        watched = [os.pidfd_open(pid) for pid, _ in children]
        # Not a plain sleep: a child that is done sooner need not be waited for.
        select.select(watched[:1], [], [], order["kill_after_s"])
        for (pid, _), handle in zip(children, watched, strict=True):
            os.kill(pid, signal.SIGKILL)
            os.close(handle)
    ended = [os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) for pid, _ in children]
    return {"ended": ended, "seconds": time.monotonic() - begun}


@dataclass(frozen=True)
class Ended:
    """How a child ended: exit status or minus the signal, how long it worked, and what it had confirmed by then."""

    status: int
    seconds: float
    lines: tuple[str, ...]

    @property
    def killed(self) -> bool:
        return self.status == -signal.SIGKILL

    def confirmed(self, *outcomes: str) -> list[tuple[str, str]]:
        """(id, hash) of each line that begins with one of these words; a last line cut off does not count."""
        words = [line.split() for line in self.lines]
        return [(w[1], w[2]) for w in words if w[0] in outcomes]


@dataclass(frozen=True)
class Nursery:
    """The warm parent, seen from the tests."""

    process: subprocess.Popen[str]
    folder: Path

    def do(self, *activities: tuple[Any, ...], kill_after_s: float | None = None) -> list[Ended]:
        """Let children do activities (name, arguments …) side by side, and wait for all of them."""
        logs = [str(self.folder / f"child-{n}.log") for n in range(len(activities))]
        tasks = [[name, list(rest), log] for (name, *rest), log in zip(activities, logs, strict=True)]
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps({"do": tasks, "kill_after_s": kill_after_s}) + "\n")
        self.process.stdin.flush()
        answer = json.loads(self.process.stdout.readline())
        return [
            Ended(status, answer["seconds"], tuple(_whole_lines(log)))
            for status, log in zip(answer["ended"], logs, strict=True)
        ]


def _whole_lines(log: str) -> list[str]:
    text = Path(log).read_text() if Path(log).exists() else ""
    return [line for line in text.split("\n")[:-1] if line]


@contextmanager
def nursery(folder: Path) -> Iterator[Nursery]:
    """Start the warm parent; it ends with the block."""
    process = subprocess.Popen(
        [sys.executable, __file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=folder
    )
    try:
        yield Nursery(process, folder)
    finally:
        assert process.stdin is not None
        process.stdin.close()
        process.wait(30)
        assert process.stdout is not None
        process.stdout.close()


def checks_of(numbers: Sequence[int]) -> list[Envelope]:
    """The checks that ``log_checks`` logs."""
    return [check(n, mass_g=n % 97 / 10) for n in numbers]


def main() -> None:
    import psycopg  # noqa: F401 - so that no child loads it again

    (one,) = checks_of([1])  # nothing must be left to load for a child that may not read our folders
    validate(one.kind, one.schema, one.body)
    for line in sys.stdin:
        print(json.dumps(_obey(json.loads(line))), flush=True)


if __name__ == "__main__":
    main()
