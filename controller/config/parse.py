"""From the bytes of a settings file to settings, or to every fault in it. Pure.

The file is read in three steps, each of which needs the one before: as text, as TOML, as
keys of the right shape. Contradictions are then sought between whatever keys are sound, so one run
tells all that can be known. Only a file without any fault becomes settings.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import ValidationError

from controller.config.build import build_settings
from controller.config.faults import shape_fault, syntax_fault
from controller.config.keys import key_text, leaf_keys
from controller.config.lines import KeyPath, line_of, locate_keys
from controller.config.plain import Conflict, plain_copy
from controller.config.records import Settings
from controller.config.rules import frame_conflicts, leaf_allowance_k
from controller.config.schema import FRAME_STANDS_AS, Pattern, SettingsFile, known_keys
from controller.config.site_rules import site_conflicts
from controller.errors import ConfigError, Fault

LARGEST_FILE_BYTES = 256 * 1024
LONGEST_LINE = 2000
DEEPEST_NESTING = 20
_TOO_DEEP = (f"has tables or lists more than {DEEPEST_NESTING} deep", "remove what is not a setting")
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"


def decode_settings(data: bytes, file_name: str) -> str:
    """Text of a settings file; a byte-order mark and CRLF are fine.

    Raises ConfigError for more than 256 kB and for anything but UTF-8.
    """
    if len(data) > LARGEST_FILE_BYTES:
        raise _single_fault(file_name, "is larger than 256 kB", "check that this is the settings file")
    try:
        return data.removeprefix(_BYTE_ORDER_MARK).decode("utf-8").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise _single_fault(
            file_name, "is not UTF-8 text", "save it as UTF-8 in a plain text editor", line
        ) from error


def parse_settings(text: str, file_name: str) -> Settings:
    """Settings of a file that passes every check; else ConfigError with every fault in it."""
    raw = parse_toml(text, file_name)
    lines = locate_keys(text, raw)
    try:
        model = SettingsFile.model_validate(raw)
        shape_errors = []
    except ValidationError as error:
        model = None
        shape_errors = error.errors(include_url=False)
    faults = [shape_fault(error, file_name, lines) for error in shape_errors]
    sound = _with_defaults(_without(raw, [error["loc"] for error in shape_errors]))
    faults += [_conflict_fault(conflict, file_name, lines) for conflict in _conflicts(sound, raw)]
    if faults or model is None:
        raise ConfigError(tuple(sorted(faults, key=lambda fault: (fault.line or 0, fault.key))))
    return build_settings(model, raw)


def parse_toml(text: str, file_name: str) -> dict[str, Any]:
    """Tables of a TOML text; ConfigError with the one fault on which reading stopped."""
    for number, line in enumerate(text.split("\n"), start=1):
        if len(line) > LONGEST_LINE:
            raise _single_fault(
                file_name, f"has a line of more than {LONGEST_LINE} letters", "break it", number
            )
    try:
        tables = tomllib.loads(text)
    except RecursionError as error:
        raise _single_fault(file_name, *_TOO_DEEP) from error
    except ValueError as error:
        raise ConfigError((syntax_fault(str(error), text, file_name),)) from error
    if _is_deep(tables):
        raise _single_fault(file_name, *_TOO_DEEP)
    return tables


def _is_deep(tables: dict[str, Any]) -> bool:
    """Walk level by level; no recursion, since depth is what is in doubt."""
    level: list[Any] = [tables]
    for _ in range(DEEPEST_NESTING):
        nodes = [node.values() if isinstance(node, dict) else node for node in level]
        level = [child for node in nodes for child in node if isinstance(child, dict | list)]
    return bool(level)


def _conflicts(sound: dict[str, Any], raw: dict[str, Any]) -> Iterator[Conflict]:
    yield from site_conflicts(sound)
    raw_frames = raw.get("frame")
    for name, frame in sound.get("frame", {}).items():
        raw_frame = raw_frames.get(name) if isinstance(raw_frames, dict) else None
        if isinstance(frame, dict) and isinstance(raw_frame, dict):
            yield from frame_conflicts(name, frame, raw_frame)


def _conflict_fault(conflict: Conflict, file_name: str, lines: Mapping[KeyPath, int]) -> Fault:
    return Fault(
        file=file_name,
        line=line_of(lines, conflict.path),
        key=key_text(conflict.path),
        problem=conflict.problem,
        remedy=conflict.remedy,
    )


def _without(raw: dict[str, Any], paths: list[KeyPath]) -> dict[str, Any]:
    """Copy of the tables in which each faulty key is gone and each faulty item is an empty table."""
    sound: dict[str, Any] = plain_copy(raw)
    for path in paths:
        node: Any = sound
        for step in path[:-1]:
            known = isinstance(node, dict) and step in node
            listed = isinstance(node, list) and isinstance(step, int) and step < len(node)
            node = node[step] if known or listed else None
        if isinstance(node, dict):
            node.pop(path[-1], None)
        elif isinstance(node, list) and isinstance(path[-1], int):
            node[path[-1]] = {}
    return sound


def _with_defaults(sound: dict[str, Any]) -> dict[str, Any]:
    """Fill in, inside the tables that are there, what the schema says where the file is silent.

    A key that was faulty stays absent only if it has no default; a rule may then judge the default,
    which never conflicts by itself.
    """
    for pattern in leaf_keys():
        for table in _tables_at(sound, pattern[:-1]):
            default = known_keys()[pattern].default
            if default is not None:
                table.setdefault(pattern[-1], default)
    for frame in _tables_at(sound, ("frame", FRAME_STANDS_AS)):
        heat = frame.get("heat")
        if isinstance(heat, dict):
            heat.setdefault("leaf_allowance_k", leaf_allowance_k(frame.get("cover")))
    return sound


def _tables_at(node: Any, pattern: Pattern) -> Iterator[dict[str, Any]]:
    """Every table that stands at a pattern; lists are looked through."""
    if isinstance(node, list):
        for item in node:
            yield from _tables_at(item, pattern)
    elif isinstance(node, dict):
        if not pattern:
            yield node
        elif pattern[0] == FRAME_STANDS_AS:
            for child in node.values():
                yield from _tables_at(child, pattern[1:])
        elif pattern[0] in node:
            yield from _tables_at(node[pattern[0]], pattern[1:])


def _single_fault(file_name: str, problem: str, remedy: str, line: int | None = None) -> ConfigError:
    return ConfigError((Fault(file=file_name, line=line, key="", problem=problem, remedy=remedy),))
