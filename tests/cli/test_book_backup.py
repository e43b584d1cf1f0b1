"""``chaffinch book backup`` and ``restore``: copies that are whole books."""

from __future__ import annotations

import pytest
from farm_book import logged

pytestmark = pytest.mark.usefixtures("farm")


def test_backup_and_restore(chaffinch):
    """A backup is a whole book; restored under a new name it holds the same records."""
    record = logged(chaffinch)
    ran = chaffinch("book", "backup", "safe.copy")
    assert ran.status == 0
    assert "verified: 6 records" in ran.out

    assert chaffinch("book", "restore", "safe.copy", "again.db").status == 0
    found = chaffinch("book", "--book", "again.db", "show", "checks", "--json").data["checks"]
    assert [c["id"] for c in found] == [record]
    assert chaffinch("book", "backup", "safe.copy").status == 2  # nothing is ever overwritten
