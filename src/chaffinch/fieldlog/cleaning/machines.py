"""Which records did one machine of several make? Cleaned together, since each cuts what the other left; then apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from chaffinch.errors import InputError, one_of
from chaffinch.fieldlog.cleaning.clean import Cleaned, taken
from chaffinch.fieldlog.rows import Rows


def machines_of(rows: Rows) -> tuple[str, ...]:
    """Names of the machines whose records are there, sorted; empty text for one without a name."""
    return tuple(sorted({rows.parts[int(number)].machine for number in np.flatnonzero(np.bincount(rows.part))}))


def of_machine(cleaned: Cleaned, name: str) -> Cleaned:
    """The records of one machine, with the flags they got among all.

    Raises
    ------
    InputError
        When there is none of that name.
    """
    rows = cleaned.rows
    machines = machines_of(rows)
    if name not in machines:
        named = one_of(machine or "the one without a name" for machine in machines)
        raise InputError("machine", name, "is not in the log", named)
    if len(machines) == 1:
        return cleaned
    mine = np.array([part.machine == name for part in rows.parts])
    keep = np.flatnonzero(mine[rows.part])
    number = np.cumsum(mine) - 1
    some = rows.where(keep)
    some = replace(some, part=number[some.part], parts=tuple(p for p in rows.parts if p.machine == name))
    flags = cleaned.flags[keep]
    return replace(
        cleaned,
        rows=some,
        flags=flags,
        flow_kg_s=cleaned.flow_kg_s[keep],
        yield_t_ha=cleaned.yield_t_ha[keep],
        overlap_share=cleaned.overlap_share[keep],
        pass_no=cleaned.pass_no[keep],
        lags={machine: lag for machine, lag in cleaned.lags.items() if machine == name},
        taken=taken(flags),
    )
