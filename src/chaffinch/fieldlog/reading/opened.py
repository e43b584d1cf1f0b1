"""Which files does a folder, a zip or a single file hold, and may they be read?

Nothing is unpacked to disk. A zip is weighed by its own list before a byte of it is unpacked, and each member is read
with a bound, since that list can lie. Entries that other systems add beside the files are left out.
"""

from __future__ import annotations

import contextlib
import hashlib
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO, Final

from chaffinch.errors import InputError

MOST_BYTES: Final = 1 << 30
"""Largest file, and largest sum of files in a zip, that is read [bytes]. Own figure: 20 million records of 50 bytes."""
MOST_FILES: Final = 20_000
"""Most files in one folder or zip [1]. Own figure: tens of seasons of tasks."""
FREE_BYTES: Final = 64 << 20
MOST_RATIO: Final = 200
"""A member beyond ``FREE_BYTES`` [bytes] may be at most this many times its packed size [1]. Own figures: binary logs
pack 3 to 10 times, tables 5 to 30; a file of zeros a thousand times."""
DEPTH: Final = 4
"""Folders below the one named that are looked into [1]."""


@dataclass(frozen=True, slots=True)
class Opened:
    """A folder, a zip, or one file, as names and bytes.

    Parameters
    ----------
    path : Path
        What was named.
    names : tuple of str
        Files inside, parted by ``/``, sorted.
    zipped : bool
        Whether it is a zip.
    """

    path: Path
    names: tuple[str, ...]
    zipped: bool

    def read(self, name: str) -> bytes:
        """One file's bytes.

        Raises
        ------
        InputError
            When it cannot be read, is damaged, or is larger than ``MOST_BYTES``.
        """
        with self._file(name) as file:
            return _bounded(file.read(MOST_BYTES + 1), name)

    def digest(self, name: str) -> bytes:
        """What tells one file's bytes from all others, without holding them; raises as :meth:`read`."""
        found = hashlib.blake2b()
        with self._file(name) as file:
            while block := file.read(1 << 20):
                found.update(block)
        return found.digest()

    @contextlib.contextmanager
    def _file(self, name: str) -> Iterator[IO[bytes]]:
        try:
            if not self.zipped:
                where = self.path / name if self.path.is_dir() else self.path
                with where.open("rb") as plain:
                    yield plain
            else:
                with zipfile.ZipFile(self.path) as box, box.open(member_of(box, name)) as member:
                    yield member
        except (OSError, zipfile.BadZipFile, zlib.error, EOFError) as error:
            raise InputError(name, None, f"cannot be read ({_reason(error)})", "copy it anew from the card") from None

    def under(self, folder: str) -> dict[str, str]:
        """Files directly in one folder: name in capitals to full name. The first of two alike stands."""
        found: dict[str, str] = {}
        for name in self.names:
            path = PurePosixPath(name)
            if str(path.parent) == (folder or "."):
                found.setdefault(path.name.upper(), name)
        return found


def opened(path: Path) -> Opened:
    """Look into a folder, a zip or a file.

    Raises
    ------
    InputError
        When there is none, it is no zip although named so, is locked with a password, or would unpack to more than
        may be read.
    """
    if path.is_dir():
        names = sorted(_walk(path, DEPTH, path))
        if len(names) > MOST_FILES:
            raise InputError(path.name, len(names), "holds too many files", "name the folder of one machine or season")
        return Opened(path, tuple(names), False)
    if not path.is_file():
        raise InputError(path.name, None, "is not there", "check the name and the folder")
    try:
        if not zipfile.is_zipfile(path):
            if path.suffix.lower() == ".zip":
                raise InputError(path.name, None, "is no whole zip", "copy it anew")
            return Opened(path, (path.name,), False)
        with zipfile.ZipFile(path) as box:
            return Opened(path, tuple(sorted(_members(path.name, box))), True)
    except (OSError, zipfile.BadZipFile, ValueError, NotImplementedError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(path.name, None, f"cannot be opened ({_reason(error)})", "copy it anew") from None


def swells_beyond(path: Path, most_bytes: int) -> bool:
    """Whether a file or a zip holds more than ``most_bytes`` once all that is packed in it is unpacked.

    Nothing of it is kept. A damaged one does not swell: whoever reads it says what is wrong.
    """
    left = most_bytes
    try:
        found = opened(path)
        if not found.zipped:
            with path.open("rb") as plain:
                return max(path.stat().st_size, _behind_gzip(plain, left)) > left
        with zipfile.ZipFile(path) as box:
            for name in found.names:
                info = member_of(box, name)
                with box.open(info) as member:
                    left -= max(info.file_size, _behind_gzip(member, left))
                if left < 0:
                    break
    except (InputError, OSError, zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError):
        return False
    return left < 0


def _behind_gzip(file: IO[bytes], most_bytes: int) -> int:
    """Bytes packed in a file, counted until they are more than ``most_bytes``; 0 for one that is not packed."""
    packed = file.read(1 << 16)
    if not packed.startswith(b"\x1f\x8b"):
        return 0
    machine, size = zlib.decompressobj(wbits=31), 0
    while packed and size <= most_bytes and not machine.eof:
        size += len(machine.decompress(packed, 1 << 20))
        packed = machine.unconsumed_tail or file.read(1 << 16)
    return size


def member_of(box: zipfile.ZipFile, name: str) -> zipfile.ZipInfo:
    """A member by its name parted by ``/``: some programs part folders by a backslash.

    Raises
    ------
    KeyError
        Where there is none.
    """
    found = next((info for info in box.infolist() if _slashed(info) == name), None)
    return box.getinfo(name) if found is None else found


def _slashed(info: zipfile.ZipInfo) -> str:
    return info.filename.replace("\\", "/")


def _members(file: str, box: zipfile.ZipFile) -> Iterator[str]:
    total = 0
    infos = [info for info in box.infolist() if not _slashed(info).endswith("/") and not _beside(_slashed(info))]
    names = {_slashed(info) for info in infos}
    if len(names) < len(infos):
        twice = next(name for name in sorted(names) if sum(_slashed(info) == name for info in infos) > 1)
        raise InputError(file, twice, "is in it twice, with one name", "zip the folder anew")
    if len(infos) > MOST_FILES:
        raise InputError(file, len(infos), "holds too many files", "zip the folder of one machine or season")
    for info in infos:
        total += info.file_size
        swollen = info.file_size > FREE_BYTES and info.file_size > MOST_RATIO * max(info.compress_size, 1)
        if total > MOST_BYTES or swollen:
            problem = (
                f"would unpack to {max(total, info.file_size) / 2**20:.0f} MB or more, which no log of this size does"
            )
            raise InputError(file, None, problem, "unpack it yourself if you trust it, and name the folder")
        if info.flag_bits & 1:
            raise InputError(file, None, "is locked with a password", "unpack it, and name the folder")
        yield _slashed(info)


def _walk(folder: Path, depth: int, top: Path) -> Iterator[str]:
    for entry in sorted(folder.iterdir()):
        name = entry.relative_to(top).as_posix()
        if _beside(name) or entry.is_symlink():
            continue
        if entry.is_dir():
            if depth:
                yield from _walk(entry, depth - 1, top)
        elif entry.is_file():
            yield name


def _beside(name: str) -> bool:
    """Whether an operating system put it there: resource forks, thumbnails, index files."""
    parts = PurePosixPath(name).parts
    return "__MACOSX" in parts or parts[-1].startswith("._") or parts[-1] in (".DS_Store", "Thumbs.db", "desktop.ini")


def _bounded(data: bytes, name: str) -> bytes:
    if len(data) > MOST_BYTES:
        raise InputError(name, None, f"holds more than {MOST_BYTES >> 20} MB", "split it")
    return data


def _reason(error: Exception) -> str:
    return error.strerror if isinstance(error, OSError) and error.strerror else str(error) or type(error).__name__
