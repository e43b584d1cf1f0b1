"""What is each loss sensor of a machine called in its task data, so that several stay apart?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from chaffinch.fieldlog.reading.taskdata import DeviceElement
from chaffinch.fieldlog.rows import sensor_column

DEVICE_KIND: Final = 1
"""Kind of a device element that is the machine itself (DET C)."""


def sensor_names(
    column: str, offers: Sequence[tuple[int, str]], elements: Mapping[str, DeviceElement]
) -> Iterator[tuple[str, int]]:
    """Column and number of each loss sensor that sits on a part of the machine, by what that part is called.

    Parameters
    ----------
    column : str
        The reading they report.
    offers : sequence of (int, str)
        Number and device element of each channel that reports it.
    elements : mapping of str to DeviceElement
        Parts of the machines by their id; one that is not described goes by its id.
    """
    known = {number: elements.get(id_) for number, id_ in offers}
    whole = [number for number, element in known.items() if element is not None and element.kind == DEVICE_KIND]
    taken = {column}
    for number, id_ in offers:
        element = known[number]
        called = "" if element is None else element.name
        if whole == [number] or (len(offers) == 1 and not called):
            continue  # the machine's own, or the only one there is
        for text in (called, id_, f"{id_} {number}"):
            name = sensor_column(column, text)
            if name not in taken:
                taken.add(name)
                yield name, number
                break
