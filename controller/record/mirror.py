"""Rows that wait for the history, kept in RUN so that the death of the process loses none of them.

Appended line by line without a sync: RUN lies in memory, and a power cut takes it anyway.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from controller.bounded_read import UnfitFile, read_bounded
from controller.durable import replace_quickly
from controller.errors import StorageError
from controller.record.codec import decode_line, encode_line
from controller.record.rows import Row

_LARGEST_BYTES = 64_000_000


class Mirror:
    """One append-only file; trouble is kept in ``detail`` and never raised."""

    def __init__(self, path: Path) -> None:
        """Mirror to ``path``; nothing is opened before the first use."""
        self._path = path
        self._descriptor = -1
        self._torn = False
        self.lines = 0
        """Lines in the file, whole or torn."""
        self.detail = ""
        """Empty after a write that succeeded."""

    def append(self, row: Row) -> None:
        """Add one row; on failure it is mirrored no further, only kept in memory."""
        try:
            line = encode_line(row)
            if self._torn:
                line = b"\n" + line
            self._torn = True
            if os.write(self._opened(), line) == len(line):
                self._torn = False
                self.detail = ""
            else:
                self.detail = f"{self._path}: has no room left"
            self.lines += 1
        except (OSError, ValueError, TypeError, AttributeError) as error:
            self.detail = f"{self._path}: cannot be written ({error})"
            self._close()

    def clear(self) -> None:
        """Forget every line; called once the history has them all."""
        try:
            os.ftruncate(self._opened(), 0)
            self.lines = 0
            self._torn = False
        except OSError as error:
            self.detail = f"{self._path}: cannot be emptied ({error.strerror})"
            self._close()

    def rewrite(self, rows: Iterable[Row]) -> None:
        """Replace the file by exactly these rows, all or nothing."""
        self._close()
        try:
            lines = [encode_line(row) for row in rows]
            replace_quickly(self._path, b"".join(lines), mode=0o640)
            self.lines = len(lines)
            self._torn = False
            self.detail = ""
        except (StorageError, ValueError, TypeError, AttributeError) as error:
            self.detail = str(error)

    def load(self) -> list[Row]:
        """Rows that an earlier process left, in their order; torn lines are left out."""
        try:
            lines = read_bounded(self._path, _LARGEST_BYTES).data.split(b"\n")
        except FileNotFoundError:
            return []
        except UnfitFile as error:
            self.detail = f"{self._path}: {error}"
            return []
        self.lines = len(lines)
        self._torn = bool(lines[-1])
        return [row for line in lines if (row := decode_line(line)) is not None]

    def close(self) -> None:
        """Let go of the file; what it holds stays."""
        self._close()

    def _opened(self) -> int:
        """The open file; opened again after trouble."""
        if self._descriptor < 0:
            flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC | os.O_NONBLOCK
            self._path.parent.mkdir(parents=True, exist_ok=True)
            self._descriptor = os.open(self._path, flags, 0o640)
        return self._descriptor

    def _close(self) -> None:
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1
