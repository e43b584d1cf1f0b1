"""A conflict is settled through the command line: two records claim one id, a correction ends it."""

from __future__ import annotations

import json

from one_pan import ONE_PAN

from chaffinch.book.desk import open_desk
from chaffinch.store import records
from chaffinch.sync.envelope import seal


def test_a_conflict_is_refused_with_a_mend_that_works(chaffinch, check_file, tmp_path):
    """`book show check` names the conflict, `book replace` settles it, and the correction counts."""
    book = str(tmp_path / "farm.chaffinch")
    file = check_file(ONE_PAN)
    assert chaffinch("book", "new", book, "--title", "Larkhollow").status == 0
    assert chaffinch("book", "--book", book, "log", file).status == 0
    listed = json.loads(chaffinch("book", "--book", book, "show", "checks", "--json").out)
    record_id = listed["checks"][0]["id"]
    desk = open_desk(book)
    one = records.read(desk.store, record_id).envelope
    other = seal(
        record_id, one.kind, one.schema, "other phone", one.device_time, {**one.body, "reason": "not the same"}
    )
    assert records.append(desk.store, [other])[0].outcome == "conflict"

    refused = chaffinch("book", "--book", book, "show", "check", record_id)
    settled = chaffinch("book", "--book", book, "replace", record_id, file, "--reason", "this is the right one")
    after = json.loads(chaffinch("book", "--book", book, "show", "checks", "--json").out)

    assert refused.status == 2
    assert "Traceback" not in refused.err
    assert settled.status == 0, settled.err
    assert len(after["checks"]) == 1
    assert chaffinch("book", "--book", book, "verify").status == 0
