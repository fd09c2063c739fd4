"""From what the reader or the schema objects to, to a fault that a person can mend. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from controller.config.keys import (
    homes_of,
    key_text,
    names_in,
    nearest,
    pattern_of,
)
from controller.config.lines import KeyPath, line_of
from controller.config.schema import FRAME_STANDS_AS, Pattern, known_keys
from controller.errors import Fault
from controller.units import f_to_c

_LONGEST_SHOWN = 40
_WITH_COMMA = re.compile(r"\s*(-?\d+),(\d+)\s*")
_WITH_FAHRENHEIT = re.compile(r"\s*(-?\d+(?:[.,]\d+)?)\s*°?\s*[Ff]\s*")
_WITH_UNIT = re.compile(r"\s*(-?\d+(?:[.,]\d+)?)\s*[^\d\s.,].*")
_PARSER_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")
_BARE_COMMA = re.compile(r"=\s*-?\d+,\d")
_BARE_UNIT = re.compile(r"=\s*-?\d+(?:\.\d+)?\s*[A-Za-z°%]")
_BARE_SWITCH = re.compile(r"=\s*(?:true|false|yes|no|on|off)\b", re.IGNORECASE)
_BARE_WORD = re.compile(r"=\s*[A-Za-z]")


def shape_fault(error: Mapping[str, Any], file_name: str, lines: Mapping[KeyPath, int]) -> Fault:
    """One objection of the schema as a fault."""
    path = tuple(step for step in error["loc"] if step != "[key]")
    problem, remedy = _problem_and_remedy(error, path)
    return Fault(
        file=file_name, line=line_of(lines, path), key=key_text(path), problem=problem, remedy=remedy
    )


def syntax_fault(message: str, text: str, file_name: str) -> Fault:
    """The reader's one objection; what stands after it cannot be known."""
    found = _PARSER_PLACE.search(message)
    text_lines = text.replace("\r\n", "\n").split("\n")
    line = None
    if found:
        line = int(found.group(1)) if found.group(1) else len(text_lines)
    source = text_lines[line - 1] if line is not None and line <= len(text_lines) else ""
    objection = _PARSER_PLACE.sub("", message)
    return Fault(
        file=file_name,
        line=line,
        key="",
        problem=f"is not TOML ({objection[:1].lower()}{objection[1:]})",
        remedy=_syntax_remedy(source, objection),
    )


def shown(found: object) -> str:
    """What stands in the file, shortened and on one line."""
    if isinstance(found, bool):
        return "true" if found else "false"
    if isinstance(found, dict):
        return "a table"
    if isinstance(found, list):
        return "a list"
    if isinstance(found, int) and abs(found) > 10**_LONGEST_SHOWN:
        return "a number of more than 40 digits"
    words = f'"{found}"' if isinstance(found, str) else str(found)
    words = "".join(sign if sign.isprintable() else "?" for sign in words)
    return words if len(words) <= _LONGEST_SHOWN else f"{words[:_LONGEST_SHOWN]}…"


def _problem_and_remedy(error: Mapping[str, Any], path: KeyPath) -> tuple[str, str]:
    """What is wrong and what would be right."""
    pattern = pattern_of(path)
    if error["type"] == "extra_forbidden":
        return _unknown_key(path, pattern)
    known = known_keys().get(pattern)
    wanted = known.wanted if known is not None else None
    if error["loc"][-1] == "[key]" or pattern == ("frame", "NAME"):
        wanted = known_keys()["frame",].wanted
    if wanted is None or isinstance(path[-1], int):
        wanted = "a table of its own keys"
    if error["type"] == "missing":
        return "is missing", f"add {wanted}"
    found = path[-1] if error["loc"][-1] == "[key]" else error["input"]
    return f"cannot be {shown(found)}", _value_remedy(found, wanted, error["type"], pattern[-1])


def _value_remedy(found: object, wanted: str, kind: str, key: str) -> str:
    """Spell the number out where it can be guessed what was meant."""
    if isinstance(found, str) and kind in ("float_type", "int_type"):
        whole = _WITH_FAHRENHEIT.fullmatch(found)
        if whole and key.endswith("_c"):
            temp_c = f_to_c(float(whole.group(1).replace(",", ".")))
            return f"if that is °F, write {temp_c:.1f} (°C, without quotes or unit); wanted: {wanted}"
        if whole := _WITH_COMMA.fullmatch(found):
            return (
                f"write {whole.group(1)}.{whole.group(2)} with a point and without quotes; wanted: {wanted}"
            )
        if whole := _WITH_UNIT.fullmatch(found):
            return f"write the number alone, without unit or quotes; wanted: {wanted}"
        return f"write it without quotes; wanted: {wanted}"
    return f"write {wanted}"


def _unknown_key(path: KeyPath, pattern: Pattern) -> tuple[str, str]:
    """Point to the name that was probably meant, or to the table where it belongs."""
    name, siblings = pattern[-1], names_in(pattern[:-1])
    if meant := nearest(name, siblings):
        return "is not a known key", f"did you mean {meant}?"
    if homes := homes_of(name):
        if path[0] == "frame" and isinstance(path[1], str):
            homes = tuple(home.replace(f"frame.{FRAME_STANDS_AS}", f"frame.{path[1]}") for home in homes)
        return "does not belong in this table", f"move it to [{'] or ['.join(homes)}]"
    return "is not a known key", f"remove it; known here: {', '.join(sorted(siblings)) or 'nothing'}"


def _syntax_remedy(source: str, objection: str) -> str:
    """Guess at the slip from the line on which reading stopped."""
    if "overwrite" in objection or "twice" in objection or "declare" in objection:
        return "a key or table may stand only once; remove one of the two"
    if _BARE_COMMA.search(source):
        return "write decimals with a point, such as 2.5"
    if _BARE_SWITCH.search(source):
        return "write true or false, in small letters"
    if _BARE_UNIT.search(source):
        return "write the number alone, without a unit"
    if _BARE_WORD.search(source):
        return 'write text in quotes, such as "sand"'
    return 'each line is key = value, a [table] header or a # comment; text stands in "quotes"'
