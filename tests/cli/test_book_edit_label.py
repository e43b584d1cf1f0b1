"""``chaffinch book edit-label``: what is said about a thing changes, and its history keeps the old."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.usefixtures("farm")


def test_a_label_is_edited_cleared_and_its_history_kept(chaffinch):
    """The new value holds, the old one stays in the history, a cleared one is gone."""
    ran = chaffinch("book", "edit-label", "field", "Long Hollow", "area", "64 ha")
    assert "area 64 ha (was 62 ha)" in ran.out
    assert chaffinch("book", "edit-label", "field", "Long Hollow", "limit", "--clear").status == 0

    field = chaffinch("book", "show", "fields", "--json").data["things"][0]
    assert field["area"] == "64 ha"
    assert "limit" not in field
    data = chaffinch("book", "history", "Long Hollow", "--json").data
    assert data["first"]["area"] == "62 ha"
    assert [(e["field"], e["value"], e["holds"]) for e in data["edits"]] == [
        ("area", "64 ha", True),
        ("limit", None, True),
    ]
    page = chaffinch("book", "history", "field", "Long Hollow").out
    assert "area: 62 ha" in page
    assert "area 64 ha (holds)" in page
