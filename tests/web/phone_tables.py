"""What the phone app carries along: the sentences of the house, and crops for a phone without a book.

    python tests/web/phone_tables.py            writes them anew
    python tests/web/phone_tables.py --check    says whether they are what Python would write

They are made from the rooms that the terminal and the desk read, so that a sentence or a figure has one place.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from chaffinch.book import wording
from chaffinch.errors import InputError
from chaffinch.reference import crop, crop_keys

STATIC = Path(__file__).parents[2] / "src" / "chaffinch" / "web" / "static"
APP = STATIC / "app"
TABLES = ("VERDICT", "VERDICT_LINE", "SOURCE", "TAPED", "NOTICE", "NEXT_STEP", "CAUTION", "CAUTIONS")


def wording_js() -> str:
    """``wording.js``: the sentences of ``chaffinch.book.wording``."""
    lines = [
        "// @ts-check",
        "// Made by tests/web/phone_tables.py from src/chaffinch/book/wording.py; change that, not this.",
    ]
    for name in TABLES:
        value = getattr(wording, name)
        shape = (
            "{[key: string]: string}"
            if isinstance(value, dict)
            else "string[]"
            if isinstance(value, tuple)
            else "string"
        )
        lines += ["", f"/** @type {{{shape}}} */", f"export const {name} = {_shown(value)};"]
    return "\n".join(lines) + "\n"


def crops_js() -> str:
    """``crops.js``: what a phone knows before it has met a book, as ``/api/v1/setup`` would say it."""
    figures = [_figures(key) for key in crop_keys()]
    rows = ",\n".join(f"  {json.dumps(one, ensure_ascii=False)}" for one in figures)
    return (
        "// @ts-check\n"
        "// Made by tests/web/phone_tables.py from the reference; change that, not this. No country: what differs by\n"
        "// country is null here, and comes with the book.\n\n"
        f"export const CROPS = [\n{rows},\n];\n"
    )


def _figures(key: str) -> dict[str, Any]:
    known = crop(key)
    return {
        "key": key,
        "name": known.name,
        "also": list(known.also),
        "tkw_g": known.tkw_g.value,
        "tkw_low": known.tkw_low_g.value,
        "tkw_high": known.tkw_high_g.value,
        "test_weight_kg_hl": known.test_weight_kg_hl.value,
        "bushel_kg": _settled(known.bushel_kg),
        "market_moisture_pct": _settled(known.market_moisture),
        "round_seed": known.round_seed,
        "seed_diameter_mm": None if known.seed_diameter_mm is None else known.seed_diameter_mm.value,
        "kernel_density_g_cm3": None if known.kernel_density_g_cm3 is None else known.kernel_density_g_cm3.value,
    }


def _settled(ask: Any) -> float | None:
    try:
        found = ask(None)
    except InputError:
        return None
    return float(getattr(found, "value", found))


def _shown(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, indent=2)


def written() -> dict[Path, str]:
    """Every table with the text it should hold."""
    return {APP / "wording.js": wording_js(), APP / "crops.js": crops_js()}


if __name__ == "__main__":
    stale = [path for path, text in written().items() if not path.exists() or path.read_text("utf-8") != text]
    if "--check" in sys.argv:
        sys.exit(f"stale: {', '.join(path.name for path in stale)}" if stale else 0)
    for path in stale:
        path.write_text(written()[path], "utf-8")
        print(f"wrote {path.name}")
