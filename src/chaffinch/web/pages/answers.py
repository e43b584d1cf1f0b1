"""Which answers are worth keeping between two requests, and what does a page show while a long one is being worked out?

A check's answer depends on the check alone, so it is kept as long as there is room. Curves and seasons depend on the
whole book: they are kept until the book holds another record, worked out by one thread so that looking at a season does
not take the server from a phone, and a page that waits says how far the work is.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from dataclasses import dataclass, field
from functools import lru_cache
from threading import Lock
from typing import Any, Final, Generic, TypeVar

from fastapi import FastAPI, Request

from chaffinch.book.checks.answer import CheckAnswer, answer
from chaffinch.book.checks.said import next_step
from chaffinch.engine.estimate import Range
from chaffinch.errors import InputError, SamplerError
from chaffinch.how_far import Progress
from chaffinch.records.check import Check
from chaffinch.web.mends import said

T = TypeVar("T")

PATIENCE_S: Final = 1.2
"""How long a page waits for a long answer before it shows how far the work is [s]; own figure."""
KEPT: Final = 48
"""Long answers kept; own figure."""
MOST_WAITING: Final = 16
"""Questions that wait for their turn; own figure. Beyond it the one that was looked after longest ago is let go: a page
that is still open asks again every two seconds, a page that was left does not."""


@dataclass(frozen=True, slots=True)
class InShort:
    """A check's answer as lists need it; ``why_not`` where there is none.

    Attributes
    ----------
    judged : tuple of str
        Sources the loss is of.
    kg_ha : Range or None
        Judged loss [kg/ha].
    verdict : str or None
    keys : tuple of str
        Notices.
    next_step : str
    why_not : str
        Why it has no estimate.
    """

    judged: tuple[str, ...]
    kg_ha: Range | None
    verdict: str | None
    keys: tuple[str, ...]
    next_step: str
    why_not: str = ""


@lru_cache(maxsize=64)
def whole(check: Check) -> CheckAnswer:
    """The whole answer of a check; few are kept, since each holds its draws."""
    return answer(check)


@lru_cache(maxsize=8192)
def in_short(check: Check) -> InShort:
    """What lists show of a check: one that cannot be answered must not hide the others."""
    try:
        found = answer(check)
    except (InputError, SamplerError) as error:
        return InShort((), None, None, (), "", said(error))
    keys = tuple(notice.key for notice in found.notices)
    return InShort(found.judged, found.judged_kg_ha, found.verdict, keys, next_step(found))


@dataclass(frozen=True, slots=True)
class Working:
    """A long answer that is not there yet: so many of so many checks, records or parts read."""

    done: int
    of: int


@dataclass
class _Job(Generic[T]):
    future: Future[T]
    told: list[int]
    """Done, and of how many."""


@dataclass
class Longer:
    """Long answers of one app, by what was asked and how far the book was.

    Attributes
    ----------
    patience_s : float
        How long :meth:`ask` waits before it gives back a :class:`Working`.
    """

    patience_s: float = PATIENCE_S
    _jobs: OrderedDict[Hashable, _Job[Any]] = field(default_factory=OrderedDict)
    _lock: Lock = field(default_factory=Lock)
    _hands: ThreadPoolExecutor = field(
        default_factory=lambda: ThreadPoolExecutor(max_workers=1, thread_name_prefix="longer")
    )

    def ask(self, key: Hashable, work: Callable[[Progress], T]) -> T | Working:
        """The answer, or how far the work on it is.

        Parameters
        ----------
        key : hashable
            What is asked, the state of the book included.
        work : callable
            Called once with a function for (done, of).

        Raises
        ------
        Exception
            Whatever ``work`` raised; an error is not kept.
        """
        with self._lock:
            job = self._jobs.get(key)
            if job is None:
                job = self._begin(key, work)
            self._jobs.move_to_end(key)
            self._let_go()
            self._forget()
        try:
            return job.future.result(timeout=self.patience_s)  # type: ignore[no-any-return]
        except NotYet:
            if job.future.done():  # the work itself timed out on something
                raise
            return Working(*job.told)
        except CancelledError:
            return Working(0, 0)  # whoever still looks asks again
        finally:
            if job.future.done() and not job.future.cancelled() and job.future.exception() is not None:
                with self._lock:
                    self._jobs.pop(key, None)

    def _begin(self, key: Hashable, work: Callable[[Progress], T]) -> _Job[T]:
        told = [0, 0]

        def step(done: int, of: int) -> None:
            told[:] = done, of

        job = _Job(self._hands.submit(work, step), told)
        self._jobs[key] = job
        return job

    def _let_go(self) -> None:
        """Take back what waits beyond the limit, so that nobody's whims keep others waiting for hours."""
        waiting = [key for key, job in self._jobs.items() if not (job.future.done() or job.future.running())]
        for key in waiting[: max(0, len(waiting) - MOST_WAITING)]:
            if self._jobs[key].future.cancel():
                del self._jobs[key]

    def _forget(self) -> None:
        while len(self._jobs) > KEPT:
            oldest = next((key for key, job in self._jobs.items() if job.future.done()), None)
            if oldest is None:
                return
            del self._jobs[oldest]


def longer_of(request: Request) -> Longer:
    """The app's long answers."""
    return longer_in(request.app)


def longer_in(app: FastAPI) -> Longer:
    """As :func:`longer_of`, where nothing was requested."""
    found: Longer | None = getattr(app.state, "longer", None)
    if found is None:
        found = Longer()
        app.state.longer = found
    return found
