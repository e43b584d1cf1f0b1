"""How long does ``chaffinch check`` take from nothing, against Python importing numpy and scipy.special?

    python bench/cold_start.py [--pairs 15] [--file examples/one-pan.toml]

The two take turns (A B A B …), so that a busy machine slows both; the median of the ratios of the pairs counts.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path
from typing import Final

import click

from chaffinch import __version__

BAR: Final = 1.6
"""Cold start of ``chaffinch check FILE`` over that of the imports (design §6)."""
EXAMPLE: Final = Path(__file__).resolve().parent.parent / "examples" / "one-pan.toml"
IMPORTS: Final = [sys.executable, "-c", "import numpy, scipy.special"]


def command(file: Path) -> list[str]:
    """``chaffinch check`` as installed beside this interpreter; as a module where no script was installed."""
    beside = Path(sys.executable).parent
    for name in ("chaffinch", "chaffinch.exe"):
        if (beside / name).exists():
            return [str(beside / name), "check", str(file)]
    return [sys.executable, "-c", "from chaffinch.cli.main import main; main()", "check", str(file)]


def seconds(arguments: list[str]) -> float:
    """Wall time of one process that must succeed [s]."""
    began = time.perf_counter()
    subprocess.run(arguments, check=True, capture_output=True)
    return time.perf_counter() - began


@click.command()
@click.option("--pairs", default=15, show_default=True, type=click.IntRange(min=1))
@click.option("--file", default=EXAMPLE, type=click.Path(exists=True, dir_okay=False, path_type=Path))
def main(pairs: int, file: Path) -> None:
    """Print the ratio of the two cold starts."""
    check = command(file)
    # The first run of each writes byte code and fills the disk cache; it is not counted.
    seconds(IMPORTS)
    seconds(check)
    runs = [(seconds(IMPORTS), seconds(check)) for _ in range(pairs)]
    ratios = sorted(b / a for a, b in runs)
    imports, checks = (statistics.median(side) for side in zip(*runs, strict=True))
    ratio = statistics.median(ratios)
    click.echo(f"numpy, scipy.special   {1000 * imports:7.0f} ms")
    click.echo(f"chaffinch check        {1000 * checks:7.0f} ms")
    click.echo(f"ratio                  {ratio:7.2f}     ({ratios[0]:.2f} to {ratios[-1]:.2f} over {pairs} pairs)")
    click.echo(f"bar                 <= {BAR:7.2f}     {'met' if ratio <= BAR else 'NOT MET'}; chaffinch {__version__}")


if __name__ == "__main__":
    main()
