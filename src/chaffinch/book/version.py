"""How far is the book? One text that changes with every record, for answers that may be kept until then."""

from __future__ import annotations

import sqlalchemy as sa

from chaffinch.book.desk import Desk
from chaffinch.store.opening import guarded


def book_version(desk: Desk) -> str:
    """The place of the newest record and the number of records set aside: ``"812.1"``.

    Raises
    ------
    BookError
        When the book cannot be read.
    """
    query = sa.text("SELECT (SELECT COALESCE(MAX(seq), 0) FROM record), (SELECT COUNT(*) FROM conflict)")
    with guarded(desk.store.address), desk.store.reading() as connection:
        newest, aside = connection.execute(query).one()
    return f"{newest}.{aside}"
