"""How long does one estimate take in a running program, in milliseconds and against a fixed piece of work?

    python bench/warm_estimate.py [--repeats 30]

The fixed piece is one incomplete gamma function on a table as large as the engine's (577 losses by 23 variations):
a slower machine slows both, so the ratio travels and the milliseconds do not. Work and reference take turns.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

import click
import numpy as np
from scipy.special import gammainc

import chaffinch as cf
from chaffinch.engine.catch import PAN_SD, read
from chaffinch.engine.estimate import default_prior, estimate, range_of
from chaffinch.engine.evidence import SOURCES, Catch, evidence
from chaffinch.engine.exposure import WIDTH_SD, in_discharge, in_header_strip, in_standing_crop
from chaffinch.engine.sources import locate

BAR_MS: Final = 10.0
"""One estimate, warm (design §6)."""
EXAMPLE: Final = Path(__file__).resolve().parent.parent / "examples" / "one-pan.toml"
SCALE_SD: Final = float(np.hypot(WIDTH_SD["guessed"], PAN_SD))


def works() -> dict[str, tuple[Callable[[], object], bool]]:
    """What is timed, and whether the bar is about it."""
    check = cf.read_check_file(EXAMPLE.read_text(encoding="utf-8"))
    pan = in_discharge(0.3716, 12.192, 1.6764)
    pans = [Catch(read("weighed", g, 0.1, tkw_g=3.5), pan) for g in (12.5, 9.8, 15.1, 11.0, 8.4, 14.2, 10.3, 12.9)]
    coarse = [Catch(read("weighed", g, 5.0, tkw_g=3.5), pan) for g in (10.0, 5.0, 15.0)]
    standing = [Catch(read("counted", n, 1.0, tkw_g=3.5), in_standing_crop(0.25)) for n in (41, 28, 66, 35)]
    strip = [Catch(read("counted", n, 1.0, tkw_g=3.5), in_header_strip(0.25)) for n in (160, 240, 121, 190)]
    three = [*standing, *strip, *pans[:3]]
    priors = {s: default_prior(s, None) for s in SOURCES}

    def one_loss(catches: list[Catch]) -> Callable[[], object]:
        return lambda: range_of(estimate(evidence(catches, "machine"), priors["machine"], SCALE_SD))

    return {
        "evidence and estimate, 1 pan": (one_loss(pans[:1]), True),
        "evidence and estimate, 3 pans": (one_loss(pans[:3]), True),
        "evidence and estimate, 3 pans, 5 g": (one_loss(coarse), True),
        "evidence and estimate, 8 pans": (one_loss(pans), True),
        "answer, examples/one-pan.toml": (lambda: cf.answer(check), True),
        "locate, 4 + 4 frames and 3 pans": (lambda: locate(three, priors, width_sd=0.08), False),
    }


def reference() -> Callable[[], object]:
    """The fixed piece of work."""
    shape = np.geomspace(0.5, 50.0, 577)[:, None] * np.ones(23)
    x = shape * np.linspace(0.5, 1.5, 23)
    return lambda: gammainc(shape, x)


def milliseconds(work: Callable[[], object]) -> float:
    """Wall time of one call [ms]."""
    began = time.perf_counter()
    work()
    return 1000.0 * (time.perf_counter() - began)


@click.command()
@click.option("--repeats", default=30, show_default=True, type=click.IntRange(min=1))
def main(repeats: int) -> None:
    """Print each piece of work in milliseconds and as a ratio to the reference."""
    fixed = reference()
    click.echo(f"{'work':38}{'ms':>8}{'ratio':>8}  bar")
    for name, (work, held) in works().items():
        milliseconds(work)
        milliseconds(fixed)
        runs = [(milliseconds(fixed), milliseconds(work)) for _ in range(repeats)]
        ms = statistics.median(b for _, b in runs)
        ratio = statistics.median(b / a for a, b in runs)
        verdict = "" if not held else f"<= {BAR_MS:g} ms {'met' if ms <= BAR_MS else 'NOT MET'}"
        click.echo(f"{name:38}{ms:8.2f}{ratio:8.2f}  {verdict}".rstrip())
    click.echo(f"reference: gammainc on 577 x 23; medians of {repeats}; chaffinch {cf.__version__}")


if __name__ == "__main__":
    main()
