"""Where each key of a TOML text stands. Pure.

The standard reader keeps no line numbers, so the text is walked once more.
The walk only has to follow a text that has already parsed; its result is compared with
the parsed tables, and on any difference no line is given at all: a line is right or absent.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

KeyPath = tuple[str | int, ...]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BLANKS = re.compile(r"[ \t]*")
_LITERAL = re.compile(r"'([^'\n]*)'")
_BASIC = re.compile(r'"((?:[^"\\\n]|\\.)*)"')
_LONG_LITERAL = re.compile(r"'''.*?'''(?:'{0,2})", re.DOTALL)
_LONG_BASIC = re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})', re.DOTALL)
_PLAIN = re.compile(r"[^\s,\]}#]+(?: \d[^\s,\]}#]*)?")
"""Number, boolean or date; the blank is the one allowed between a date and its time."""
_DEEPEST = 50


class _Lost(Exception):  # noqa: N818  # never leaves this file
    """The walk and the text do not agree."""


def locate_keys(text: str, parsed: Mapping[str, object]) -> Mapping[KeyPath, int]:
    """First line, from 1, of every key, table and array item of ``parsed``; empty when unsure."""
    walk = _Walk(text.replace("\r\n", "\n"))
    try:
        walk.read_all()
        return walk.lines if walk.lines.keys() == _paths(parsed, ()) else {}
    except (_Lost, IndexError, RecursionError):
        return {}


def line_of(lines: Mapping[KeyPath, int], path: KeyPath) -> int | None:
    """Line of ``path``, else of the nearest table around it, else None."""
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return None


def _paths(node: object, here: KeyPath) -> set[KeyPath]:
    """Every path that the parsed tables hold."""
    found: set[KeyPath] = set()
    children: list[tuple[str | int, object]] = []
    if isinstance(node, dict):
        children = list(node.items())
    elif isinstance(node, list):
        children = list(enumerate(node))
    for step, child in children:
        found.add((*here, step))
        found |= _paths(child, (*here, step))
    return found


class _Walk:
    """One pass over the text; ``lines`` grows as keys are met."""

    def __init__(self, text: str) -> None:
        """Start before the first line."""
        self.text = text
        self.at = 0
        self.lines: dict[KeyPath, int] = {}
        self._table: KeyPath = ()
        self._counts: dict[KeyPath, int] = {}
        self._counted_to = 0
        self._line = 1

    def read_all(self) -> None:
        """Walk from the first line to the last."""
        while self._skip_gaps():
            if self.text.startswith("[", self.at):
                self._read_header()
            else:
                self._read_pair(self._table, 0)

    def _read_header(self) -> None:
        """Enter ``[table]`` or the next item of ``[[array]]``."""
        line = self._line_here()
        double = self.text.startswith("[[", self.at)
        self.at += 2 if double else 1
        names = self._read_keys()
        self._expect("]]" if double else "]")
        here: KeyPath = ()
        for name in names[:-1]:
            here = (*here, name)
            self._mark(here, line)
            if here in self._counts:
                here = (*here, self._counts[here] - 1)
        here = (*here, names[-1])
        self._mark(here, line)
        if double:
            index = self._counts.get(here, 0)
            self._counts[here] = index + 1
            here = (*here, index)
            self._mark(here, line)
        self._table = here

    def _read_pair(self, table: KeyPath, depth: int) -> None:
        """Read ``key.key = …`` inside ``table``."""
        line = self._line_here()
        here = table
        for name in self._read_keys():
            here = (*here, name)
            self._mark(here, line)
        self._expect("=")
        self._skip_blanks()
        self._read_element(here, depth)

    def _read_element(self, here: KeyPath, depth: int) -> None:
        """Read whatever stands right of ``=`` or between commas."""
        if depth > _DEEPEST:
            raise _Lost
        mark = self.text[self.at]
        if mark == "[":
            self._read_array(here, depth)
        elif mark == "{":
            self._read_inline_table(here, depth)
        else:
            for form in (_LONG_BASIC, _LONG_LITERAL, _BASIC, _LITERAL, _PLAIN):
                found = form.match(self.text, self.at)
                if found:
                    self.at = found.end()
                    return
            raise _Lost

    def _read_array(self, here: KeyPath, depth: int) -> None:
        self.at += 1
        index = 0
        while self._skip_gaps() and self.text[self.at] != "]":
            self._mark((*here, index), self._line_here())
            self._read_element((*here, index), depth + 1)
            index += 1
            self._skip_gaps()
            if self.text[self.at] == ",":
                self.at += 1
        self._expect("]")

    def _read_inline_table(self, here: KeyPath, depth: int) -> None:
        self.at += 1
        while self._skip_gaps() and self.text[self.at] != "}":
            self._read_pair(here, depth + 1)
            self._skip_gaps()
            if self.text[self.at] == ",":
                self.at += 1
        self._expect("}")

    def _read_keys(self) -> list[str]:
        """One dotted key as its parts."""
        parts = [self._read_key()]
        self._skip_blanks()
        while self.text.startswith(".", self.at):
            self.at += 1
            parts.append(self._read_key())
            self._skip_blanks()
        return parts

    def _read_key(self) -> str:
        self._skip_blanks()
        for form in (_BARE_KEY, _BASIC, _LITERAL):
            found = form.match(self.text, self.at)
            if found:
                self.at = found.end()
                return found.group(found.lastindex or 0)
        raise _Lost

    def _mark(self, path: KeyPath, line: int) -> None:
        """Remember the first mention."""
        if len(path) > _DEEPEST:
            raise _Lost
        self.lines.setdefault(path, line)

    def _expect(self, mark: str) -> None:
        self._skip_blanks()
        if not self.text.startswith(mark, self.at):
            raise _Lost
        self.at += len(mark)

    def _skip_blanks(self) -> None:
        found = _BLANKS.match(self.text, self.at)
        self.at = found.end() if found else self.at

    def _skip_gaps(self) -> bool:
        """Pass blanks, line ends and comments; False at the end of the text."""
        while self.at < len(self.text):
            if self.text[self.at] in " \t\n":
                self.at += 1
            elif self.text[self.at] == "#":
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            else:
                return True
        return False

    def _line_here(self) -> int:
        """Line of the present place, counted on from the last question."""
        self._line += self.text.count("\n", self._counted_to, self.at)
        self._counted_to = self.at
        return self._line
