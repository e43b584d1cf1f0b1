"""The crops known and where each of their figures comes from."""

from __future__ import annotations

from chaffinch.reference import Crop, Figure, crop, crop_keys, source

__all__ = ["Crop", "Figure", "all_crops", "by_name", "one_crop", "source_line"]


def all_crops() -> tuple[Crop, ...]:
    """Every crop of the reference, canola first."""
    return tuple(crop(key) for key in crop_keys())


def by_name() -> tuple[tuple[str, str], ...]:
    """Key and name of every crop, by the name: for a list to choose from."""
    return tuple(sorted(((one.key, one.name) for one in all_crops()), key=lambda pair: pair[1]))


def one_crop(name: str) -> Crop:
    """The crop of that name or alias; UnknownCropError otherwise."""
    return crop(name)


def source_line(figure: Figure) -> str:
    """Title, publisher and year of the sources of a figure, in one line."""
    lines = []
    for source_id in figure.source_ids:
        if source_id == "memory":
            lines.append("from memory")
            continue
        found = source(source_id)
        year = f", {found.year}" if found.year else ""
        lines.append(f"{found.title}, {found.org}{year}")
    return "; ".join(lines)
