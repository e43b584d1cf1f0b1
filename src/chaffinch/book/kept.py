"""Which answers of one open book are worth keeping until it holds another record?

Kept beside the open book and not by its name: two copies of one book never share an answer, and what is kept goes with
the book when it is closed.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Final, Generic, TypeVar
from weakref import WeakKeyDictionary

from chaffinch.book.desk import Desk
from chaffinch.book.version import book_version
from chaffinch.store.opening import Store

T = TypeVar("T")


class Kept(Generic[T]):
    """Answers of one kind, the newest of each open book.

    Parameters
    ----------
    most : int
        How many are kept of one book; the one not asked for longest goes first.
    """

    def __init__(self, most: int) -> None:
        self._most: Final = most
        self._of: WeakKeyDictionary[Store, OrderedDict[Hashable, T]] = WeakKeyDictionary()
        self._lock = Lock()

    def ask(self, desk: Desk, asked: Hashable, work: Callable[[], T]) -> T:
        """The answer to ``asked``, worked out unless it is kept; an error is not kept.

        Parameters
        ----------
        desk : Desk
            The open book.
        asked : hashable
            Everything the answer depends on besides the book.
        work : callable
            Gives the answer; two threads that ask at once may both call it.
        """
        key = (book_version(desk), asked)
        with self._lock:
            mine = self._of.setdefault(desk.store, OrderedDict())
            if key in mine:
                mine.move_to_end(key)
                return mine[key]
        found = work()
        with self._lock:
            mine[key] = found
            while len(mine) > self._most:
                mine.popitem(last=False)
        return found
