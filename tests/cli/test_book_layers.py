"""The command line reaches the store through the book alone: the contract stands, and no module goes past it."""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def imported(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def test_no_command_imports_store_or_sync():
    """By walking the source, types included; import-linter says the same by its own road."""
    modules = sorted((ROOT / "src/chaffinch/cli").rglob("*.py"))
    assert len(modules) > 20
    past = {m.name: {n for n in imported(m) if n.startswith(("chaffinch.store", "chaffinch.sync"))} for m in modules}
    assert {name: names for name, names in past.items() if names} == {}


def test_the_contract_is_written_down():
    """So that make lint holds the next change to it."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]
    (one,) = [c for c in settings["contracts"] if c["name"] == "cli and web talk to book only"]
    assert one["source_modules"] == ["chaffinch.cli", "chaffinch.web"]
    assert set(one["forbidden_modules"]) == {"chaffinch.store", "chaffinch.sync"}
