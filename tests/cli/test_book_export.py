"""``chaffinch book export``: the whole book in open formats, and back."""

from __future__ import annotations

import pytest
from farm_book import logged

pytestmark = pytest.mark.usefixtures("farm")


def test_export_and_import_bring_every_record_over(chaffinch):
    """An export imported into an empty book gives the same records; again, all are known; a dry run writes nothing."""
    logged(chaffinch)
    data = chaffinch("book", "export", "taken-away", "--json").data
    assert data["records"] == 6
    assert chaffinch("book", "new", "copy.db", "--title", "Copy").status == 0

    dry = chaffinch("book", "--book", "copy.db", "import", "taken-away", "--dry-run", "--json").data
    assert (dry["accepted"], dry["dry_run"]) == (6, True)
    assert chaffinch("book", "--book", "copy.db", "show", "--json").data["check_records"] == 0
    assert chaffinch("book", "--book", "copy.db", "import", "taken-away", "--json").data["accepted"] == 6
    assert chaffinch("book", "--book", "copy.db", "import", "taken-away", "--json").data["known"] == 6
    assert "6 records" in chaffinch("book", "export", "again").out
