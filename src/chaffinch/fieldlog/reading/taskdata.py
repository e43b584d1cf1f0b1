"""What does TASKDATA.XML say of tasks, fields, machines and their quantities? (ISO 11783-10, versions 3 and 4.)

XML comes from cards that went through many hands: entities and external references are refused by the parser.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element, ParseError

from chaffinch.errors import InputError
from chaffinch.fieldlog.rows import Problem

MOST_XML_BYTES: Final = 64 << 20
"""Largest XML that is parsed [bytes]; own figure. Task data of a season with boundaries take a few MB."""
EFFECTIVE: Final = "4"
"""TIM D: the time the machine was at work."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A quantity a machine logs: its name in the operator's language, and how it is shown."""

    ddi: int
    designator: str
    unit: str = ""
    scale: float = 1.0
    offset: float = 0.0


@dataclass(frozen=True, slots=True)
class DeviceElement:
    """A part of a machine: kind 1 the device, 2 a function, 3 a bin, 4 a section, 5 a unit (DET C).

    ``name`` is what its maker calls it (DET D), in the operator's language; may be empty.
    """

    id: str
    kind: int
    number: int
    device: str
    name: str = ""


@dataclass(frozen=True, slots=True)
class Device:
    """A machine."""

    id: str
    name: str
    quantities: dict[int, Quantity]


@dataclass(frozen=True, slots=True)
class Task:
    """A task with the time logs it names, and the totals it states for each: DDI to raw value."""

    id: str
    field: str
    logs: tuple[str, ...]
    totals: tuple[dict[int, int], ...]
    devices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TaskData:
    """All of it.

    ``elements`` by id of the device element, ``devices`` by id of the device.
    """

    version: int
    tasks: tuple[Task, ...]
    devices: dict[str, Device]
    elements: dict[str, DeviceElement]
    problems: tuple[Problem, ...]


def parsed(data: bytes, name: str) -> Element:
    """The root of an XML file, read without entities.

    Raises
    ------
    InputError
        When it is too large, no XML, or cut off.
    """
    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    if len(data) > MOST_XML_BYTES:
        raise InputError(name, None, f"holds more than {MOST_XML_BYTES >> 20} MB", "export one season at a time")
    try:
        root: Element = fromstring(data)
    except ParseError as error:
        raise InputError(name, None, f"is not whole XML ({error})", "copy it anew from the card") from None
    except DefusedXmlException:
        raise InputError(name, None, "holds entities, which task data never need", "do not trust it") from None
    except (ValueError, LookupError, RecursionError) as error:
        raise InputError(name, None, f"is not XML ({type(error).__name__})", "copy it anew from the card") from None
    return root


def task_data(data: bytes, name: str, beside: Callable[[str], bytes | None]) -> TaskData:
    """Read task data.

    Parameters
    ----------
    data : bytes
        TASKDATA.XML.
    name : str
        How errors and problems call it.
    beside : callable
        Gives the bytes of a file that it refers to (``"PFD00001"``), or None where there is none.

    Raises
    ------
    InputError
        When the main file is no task data. A file it refers to that cannot be read is a problem, not an error.
    """
    root = parsed(data, name)
    if root.tag != "ISO11783_TaskData":
        raise InputError(name, root.tag, "is no ISO 11783 task data", "name the folder with TASKDATA.XML")
    problems: list[Problem] = []
    roots = [root, *_referred(root, beside, problems)]
    fields = {e.get("A", ""): e.get("C", "") for r in roots for e in r.iter("PFD")}
    devices, elements = {}, {}
    for one in (e for r in roots for e in r.iter("DVC")):
        device = _device(one)
        devices[device.id] = device
        for det in one.iter("DET"):
            known = DeviceElement(det.get("A", ""), _int(det.get("C")), _int(det.get("E")), device.id, det.get("D", ""))
            elements[known.id] = known
    tasks = tuple(_task(e, fields) for r in roots for e in r.iter("TSK"))
    return TaskData(_int(root.get("VersionMajor")), tasks, devices, elements, tuple(problems))


def _referred(root: Element, beside: Callable[[str], bytes | None], problems: list[Problem]) -> Iterator[Element]:
    for reference in root.iter("XFR"):
        wanted = reference.get("A", "")
        data = beside(wanted)
        if data is None:
            problems.append(Problem("file missing", wanted))
            continue
        try:
            yield parsed(data, wanted)
        except InputError as error:
            problems.append(Problem("not readable", wanted, 0, error.problem))


def _device(one: Element) -> Device:
    shown = {e.get("A", ""): e for e in one.iter("DVP")}
    quantities = {}
    for e in one.iter("DPD"):
        ddi = _int(e.get("B"), 16)
        how = shown.get(e.get("F", ""))
        if how is None:
            quantities[ddi] = Quantity(ddi, e.get("E", ""))
        else:
            scale, offset = _number(how.get("C"), 1.0), _number(how.get("B"), 0.0)
            quantities[ddi] = Quantity(ddi, e.get("E", ""), how.get("E", ""), scale, offset)
    return Device(one.get("A", ""), one.get("B", ""), quantities)


def _task(one: Element, fields: dict[str, str]) -> Task:
    logs = tuple(e.get("A", "") for e in one.iter("TLG"))
    totals = [
        {_int(v.get("A"), 16): _int(v.get("B")) for v in tim.findall("DLV") if v.get("B")}
        for tim in one.findall("TIM")
        if tim.get("D") == EFFECTIVE
    ]
    # Totals stand with times at work, not with logs; which is whose is plain only where there are as many.
    stated = tuple(totals) if len(totals) == len(logs) else ({},) * len(logs)
    devices = tuple(e.get("C", "") for e in one.iter("DAN"))
    where = one.get("E", "")
    return Task(one.get("A", ""), fields.get(where) or where, logs, stated, devices)


def _int(text: str | None, base: int = 10) -> int:
    try:
        return int(text or "", base)
    except ValueError:
        return -1


def _number(text: str | None, otherwise: float) -> float:
    try:
        value = float((text or "").replace(",", "."))
    except ValueError:
        return otherwise
    return value if abs(value) < 1e12 else otherwise
