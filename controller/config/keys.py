"""Names and paths of the settings file, as people read and mistype them. Pure."""

from __future__ import annotations

import difflib

from controller.config.lines import KeyPath
from controller.config.schema import FRAME_STANDS_AS, Pattern, known_keys


def key_text(path: KeyPath) -> str:
    """A path as the file would write it; items of a list are counted from 1 for people."""
    words = ""
    for step in path:
        words += f" no. {step + 1}" if isinstance(step, int) else f".{step}" if words else step
    return words


def pattern_of(path: KeyPath) -> Pattern:
    """The pattern under which the schema knows ``path``."""
    steps = [step for step in path if isinstance(step, str)]
    if len(steps) > 1 and steps[0] == "frame":
        steps[1] = FRAME_STANDS_AS
    return tuple(steps)


def leaf_keys() -> tuple[Pattern, ...]:
    """Every key that holds a number, a text or a switch, in the schema's order."""
    return tuple(pattern for pattern, key in known_keys().items() if not key.is_table)


def names_in(table: Pattern) -> tuple[str, ...]:
    """The names that may stand in one table."""
    return tuple(known[-1] for known in known_keys() if known[:-1] == table)


def homes_of(name: str) -> tuple[str, ...]:
    """The tables in which a key of exactly this name may stand."""
    return tuple(".".join(known[:-1]) for known in known_keys() if known[-1] == name and len(known) > 1)


def nearest(name: str, known: tuple[str, ...]) -> str | None:
    """The known name most like ``name``, if any is."""
    found = difflib.get_close_matches(name.lower(), known, n=1, cutoff=0.6)
    return found[0] if found else None
