"""The mend of a choice: as many as there are, never "one of" a single one."""

from __future__ import annotations

import pytest

from chaffinch.errors import one_of


@pytest.mark.parametrize(
    ("names", "mend"),
    [
        (["a", "b"], "use one of a, b"),
        (["a"], "use a"),
        ((name for name in ("a",)), "use a"),
        ([], "leave it out: there is none to choose"),
    ],
)
def test_a_choice_of_one_is_told_as_that_one(names: list[str], mend: str) -> None:
    assert one_of(names) == mend
