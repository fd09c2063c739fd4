"""Every key that the settings file may hold, listed from the schema itself. Pure."""

from __future__ import annotations

import difflib
import functools
from collections.abc import Iterator, Mapping
from typing import Any, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from controller.config.lines import KeyPath
from controller.config.schema import SettingsFile

Pattern = tuple[str, ...]
"""A path without item numbers and with ``NAME`` for a frame's own name."""

FRAME_STANDS_AS = "NAME"


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


@functools.cache
def known_fields() -> Mapping[Pattern, FieldInfo]:
    """Every key and table of the schema."""
    return dict(_walk(SettingsFile, ()))


def leaf_keys() -> tuple[Pattern, ...]:
    """Every key that holds a number, a text or a switch, in the schema's order."""
    return tuple(pattern for pattern, field in known_fields().items() if _model_in(field.annotation) is None)


def names_in(table: Pattern) -> tuple[str, ...]:
    """The names that may stand in one table."""
    return tuple(known[-1] for known in known_fields() if known[:-1] == table)


def default_of(pattern: Pattern) -> object:
    """What holds where the file is silent; None where there is no default."""
    field = known_fields()[pattern]
    return None if field.is_required() else field.default


def nearest(name: str, known: tuple[str, ...]) -> str | None:
    """The known name most like ``name``, if any is."""
    found = difflib.get_close_matches(name.lower(), known, n=1, cutoff=0.6)
    return found[0] if found else None


def homes_of(name: str) -> tuple[str, ...]:
    """The tables in which a key of exactly this name may stand."""
    return tuple(".".join(known[:-1]) for known in known_fields() if known[-1] == name and len(known) > 1)


def _walk(model: type[BaseModel], above: Pattern) -> Iterator[tuple[Pattern, FieldInfo]]:
    for name, field in model.model_fields.items():
        here = (*above, field.alias or name)
        yield here, field
        inner = _model_in(field.annotation)
        if inner is not None:
            yield from _walk(inner, (*here, FRAME_STANDS_AS) if here == ("frame",) else here)


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """The table type inside an optional, a list or a mapping; None for a plain key."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in get_args(annotation):
        model = _model_in(inner)
        if model is not None:
            return model
    return None
