"""Plain tables, read without trust: what is absent or of another kind reads as absent. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from controller.config.lines import KeyPath

Table = Mapping[str, object]


@dataclass(frozen=True, slots=True, kw_only=True)
class Conflict:
    """One contradiction, at the key where it is easiest to mend."""

    path: KeyPath
    problem: str
    remedy: str


def table_in(table: Table, key: str) -> Table:
    """A table inside a table; an empty one where there is none."""
    found = table.get(key)
    return found if isinstance(found, dict) else {}


def items_in(table: Table, key: str) -> list[Table]:
    """The tables of a list of tables; an empty one for an item of another kind."""
    found = table.get(key)
    return [item if isinstance(item, dict) else {} for item in found] if isinstance(found, list) else []


def number_in(table: Table, key: str) -> float | None:
    """A number; a switch is none."""
    found = table.get(key)
    return float(found) if isinstance(found, int | float) and not isinstance(found, bool) else None


def plain_copy(node: Any) -> Any:
    """A copy of tables and lists that shares none of them; the depth is bounded by the reader."""
    if isinstance(node, dict):
        return {key: plain_copy(child) for key, child in node.items()}
    if isinstance(node, list):
        return [plain_copy(child) for child in node]
    return node
