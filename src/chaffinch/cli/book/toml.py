"""A check as the text of a check file, so that what a person typed can be kept when the book cannot be written."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any


def as_toml(table: Mapping[str, Any]) -> str:
    """Text of a check table: keys of the top first, then each table, then the catches."""
    lines = [_line(key, value) for key, value in table.items() if not isinstance(value, Mapping | list)]
    for key, value in table.items():
        if isinstance(value, Mapping):
            lines += [f"[{key}]", *(_line(k, v) for k, v in value.items())]
    for one in table.get("catch", []):
        lines += ["[[catch]]", *(_line(k, v) for k, v in one.items())]
    return "\n".join(lines) + "\n"


def _line(key: str, value: object) -> str:
    # JSON's texts, numbers and flags are TOML's too; what TOML forbids (control characters) JSON escapes.
    text = json.dumps(value, ensure_ascii=False, allow_nan=False).replace("\x7f", "\\u007f")
    return f"{key} = {text}"
