"""A copy of the data files that a test may damage."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from chaffinch.reference import crops, loader, published

_KEPT = (
    crops.crop_keys,
    crops._load,
    crops._aliases,
    published.sources,
    published.constants,
    published.rules,
)


def _forget() -> None:
    for kept in _KEPT:
        kept.cache_clear()


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The room's data files in a folder of the test's own, with nothing remembered from before or after."""
    here = tmp_path / "reference"
    shutil.copytree(Path(loader.__file__).parent, here, ignore=shutil.ignore_patterns("*.py", "__pycache__"))
    monkeypatch.setattr(loader, "shelf", lambda: here)
    _forget()
    yield here
    _forget()
