"""How far is a long job that has several parts?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

Progress = Callable[[int, int], None]
"""Called with (done, of) while a job goes on: what is done never falls, what it is of never changes."""
WHOLE: Final = 1000
"""What the whole of a job with parts is told as: so many steps."""


def shares(progress: Progress | None, *weights: float) -> tuple[Progress, ...]:
    """Callbacks for the parts of a job, in order: each tells (done, of) of its part as steps of the whole.

    Parameters
    ----------
    progress : callable or None
        Told how far the whole is, as steps of :data:`WHOLE`; None: nobody is told.
    weights : float
        How long each part takes beside the others, roughly; a part of weight 0 is not seen.
    """
    total = sum(weights)

    def part(number: int) -> Progress:
        before, weight = sum(weights[:number]), weights[number]

        def step(done: int, of: int) -> None:
            if progress is not None and weight > 0:
                progress(round(WHOLE * (before + weight * (done / of if of else 1.0)) / total), WHOLE)

        return step

    return tuple(part(number) for number in range(len(weights)))
