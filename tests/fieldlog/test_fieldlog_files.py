"""Folders and zips as they come: bombs, locks, lies and litter."""

from __future__ import annotations

import struct
import tracemalloc
import zipfile
from pathlib import Path

import pytest
from made_tables import driven, text

from chaffinch.errors import InputError
from chaffinch.fieldlog.reading import opened as room
from chaffinch.fieldlog.reading.door import read_log
from chaffinch.fieldlog.reading.opened import opened


def zipped(path: Path, **members: bytes) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as box:
        for name, data in members.items():
            box.writestr(name.replace("__", "."), data)
    return path


def test_a_bomb_of_two_gigabytes_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    path = tmp_path / "bomb.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as box:
        box.writestr("TASKDATA/TLG00001.BIN", bytes(2 << 20))
    # The list says 2 GB; packing as many zeros would only cost the test its time.
    raw = path.read_bytes()
    lied = raw.replace(struct.pack("<I", 2 << 20), struct.pack("<I", 2 << 30))
    assert lied != raw
    path.write_bytes(lied)
    tracemalloc.start()
    with pytest.raises(InputError, match="would unpack to 2048 MB or more"):
        opened(path)
    assert tracemalloc.get_traced_memory()[1] < 10 << 20
    tracemalloc.stop()


def test_many_small_members_are_weighed_together(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = zipped(tmp_path / "a.zip", a=b"0" * 600, b=b"1" * 600)
    assert opened(path).read("b") == b"1" * 600
    monkeypatch.setattr(room, "MOST_BYTES", 1000)
    with pytest.raises(InputError, match="would unpack"):
        opened(path)


def test_a_member_larger_than_the_list_says_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    files = opened(zipped(tmp_path / "a.zip", a=b"0" * 5000))
    monkeypatch.setattr(room, "MOST_BYTES", 1000)
    with pytest.raises(InputError, match="holds more than"):
        files.read("a")


def test_a_swollen_member_is_refused_by_its_ratio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(room, "FREE_BYTES", 1 << 16)
    with pytest.raises(InputError, match="would unpack"):
        opened(zipped(tmp_path / "a.zip", a=bytes(1 << 20)))


def test_damage_and_locks_are_told(tmp_path: Path) -> None:
    path = zipped(tmp_path / "a.zip", a=bytes(range(256)) * 40)
    raw = bytearray(path.read_bytes())
    raw[60] ^= 0xFF
    (tmp_path / "b.zip").write_bytes(raw)
    with pytest.raises(InputError, match="cannot be read"):
        opened(tmp_path / "b.zip").read("a")
    (tmp_path / "c.zip").write_bytes(path.read_bytes()[:40])
    with pytest.raises(InputError, match="is no whole zip"):
        opened(tmp_path / "c.zip")
    with pytest.raises(InputError, match="is not there"):
        opened(tmp_path / "d.zip")
    locked = bytearray(path.read_bytes())
    at = locked.rindex(b"PK\x01\x02")
    locked[at + 8] |= 1
    (tmp_path / "e.zip").write_bytes(locked)
    with pytest.raises(InputError, match="locked with a password"):
        opened(tmp_path / "e.zip")


def test_litter_links_and_depths_are_left_out(tmp_path: Path) -> None:
    deep = tmp_path / "card" / "a" / "b" / "c" / "d" / "e"
    deep.mkdir(parents=True)
    for where in (tmp_path / "card", tmp_path / "card" / "a", deep):
        (where / "x.csv").write_text("1", encoding="utf-8")
        (where / "._x.csv").write_text("1", encoding="utf-8")
    (tmp_path / "card" / "link.csv").symlink_to(tmp_path / "card" / "x.csv")
    (tmp_path / "card" / "loop").symlink_to(tmp_path / "card")
    assert opened(tmp_path / "card").names == ("a/x.csv", "x.csv")


def test_folders_parted_by_backslashes_are_folders(tmp_path: Path) -> None:
    path = tmp_path / "card.zip"
    with zipfile.ZipFile(path, "w") as box:
        for name, data in (("TASKDATA\\", ""), ("TASKDATA\\A.XML", "1"), ("__MACOSX\\A.XML", "2")):
            member = zipfile.ZipInfo("x")
            member.filename = name  # as some programs write it
            box.writestr(member, data)
    files = opened(path)
    assert files.names == ("TASKDATA/A.XML",)
    assert files.read("TASKDATA/A.XML") == b"1"


def test_two_members_of_one_name_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "twice.zip"
    with zipfile.ZipFile(path, "w") as box:
        box.writestr("a.csv", "1")
        with pytest.warns(UserWarning, match="Duplicate name"):
            box.writestr("a.csv", "2")
    with pytest.raises(InputError, match="is in it twice"):
        opened(path)


def test_a_table_that_lies_there_twice_counts_once(tmp_path: Path) -> None:
    (tmp_path / "copy").mkdir()
    for name in ("a.csv", "copy/a.csv", "b.csv"):
        (tmp_path / name).write_bytes(text({k: driven(60 if name == "b.csv" else 50)[k] for k in ("speed", "width")}))
    found = read_log(tmp_path)
    assert len(found.rows) == 110
    assert [(p.kind, p.where, p.detail) for p in found.problems if "twice" in p.kind] == [
        ("same file twice", "copy/a.csv", "a.csv")
    ]
