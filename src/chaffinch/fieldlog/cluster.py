"""How do the logs of thousands of fields run on the machines of a cluster?

By Dask, an engine that exists: its scheduler hands each log to the next free worker, here or elsewhere. The step is the
one of :func:`chaffinch.fieldlog.each.for_each`, and the answers stand in the order of the logs, so they are the same.
Workers open the logs themselves: the folder must be there for them under the same name.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final, TypeVar

from chaffinch.errors import InputError

HERE: Final = "dask"
"""Instead of an address: start workers on this machine."""
WAIT_S: Final = 20.0
"""How long a scheduler may take to answer [s]; own figure."""
T = TypeVar("T")


def for_each_on(
    address: str,
    work: Callable[[Path], T],
    logs: Sequence[Path],
    jobs: int,
    told: Callable[[int, int], None] | None = None,
) -> list[T]:
    """What ``work`` makes of each log, in their order, by the workers of a Dask cluster.

    Parameters
    ----------
    address : str
        Of a scheduler, like ``tcp://office:8786``; or ``dask``: workers of this machine, gone when it is done.
    work : callable
        Must be importable by the workers.
    logs : sequence of Path
    jobs : int
        Workers to start on this machine; a scheduler elsewhere has its own.
    told : callable or None
        Called with (done, of).

    Raises
    ------
    InputError
        When the libraries are missing, the scheduler does not answer, or a worker ends in mid work.
    """
    if find_spec("distributed") is None:
        mend = 'install it beside Chaffinch: pip install "chaffinch[distributed]"; after make demo with .venv/bin/pip'
        raise InputError("on", address, "needs Dask, not installed here", mend)
    distributed: Any = import_module("distributed")
    with ExitStack() as opened:
        try:
            where = address
            if address == HERE:
                cluster = distributed.LocalCluster(n_workers=jobs, threads_per_worker=1, dashboard_address=None)
                where = opened.enter_context(cluster).scheduler_address
            client = opened.enter_context(distributed.Client(where, timeout=WAIT_S))
        except (OSError, ValueError) as error:
            problem = f"does not answer ({type(error).__name__})"
            mend = "write the address the scheduler shows, like tcp://office:8786"
            raise InputError("on", address, problem, mend) from None
        # Absolute, since workers stand in folders of their own.
        futures = client.map(work, [log.absolute() for log in logs], pure=False)
        try:
            for done, _ in enumerate(distributed.as_completed(futures), start=1):
                if told is not None:
                    told(done, len(logs))
            return list(client.gather(futures))
        except distributed.scheduler.KilledWorker:
            problem = "lost worker after worker on one log"
            raise InputError(
                "on", address, problem, "give the workers more memory, or look at the logs alone"
            ) from None
