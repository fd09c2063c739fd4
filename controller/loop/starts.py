"""Starts and clean stops, so that an unclean end is told and a crash loop recognised."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from controller.bounded_read import UnfitFile, read_bounded
from controller.durable import write_durably
from controller.errors import ControllerError, InvariantBroken, StorageError

_SCHEMA = 1
_KEPT = 50
_LARGEST_BYTES = 65536
_HOUR_S = 3600.0
_DAY_S = 86400.0
CRASH_LOOP_STARTS = 5
"""More unclean ends than this within an hour are told at once: each costs a rest, so heat hardly comes."""
REPEATED_STARTS = 3
"""From so many within a day an unclean end is a day's matter: no longer one bad moment of the supply."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartCount:
    """How often the keeper ended without a clean stop, by the wall clock as it stood."""

    last_was_unclean: bool
    unclean_in_hour: int
    unclean_in_day: int


class StartLog:
    """A small file with the last starts; unreadable or unwritable counts as empty, never stops a start."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._starts = _read(path)

    def note_start(self, utc_s: float) -> StartCount:
        """Record this start and count the unclean ends before it."""
        unclean = [at_s for at_s, clean in self._starts if not clean]
        count = StartCount(
            last_was_unclean=bool(self._starts) and not self._starts[-1][1],
            unclean_in_hour=sum(0 <= utc_s - at_s <= _HOUR_S for at_s in unclean),
            unclean_in_day=sum(0 <= utc_s - at_s <= _DAY_S for at_s in unclean),
        )
        self._starts = [*self._starts[-_KEPT:], (utc_s, False)]
        self._write()
        return count

    def note_stop(self) -> None:
        """Mark this run as cleanly ended."""
        if self._starts:
            self._starts[-1] = (self._starts[-1][0], True)
            self._write()

    def _write(self) -> None:
        document = {
            "schema": _SCHEMA,
            "starts": [{"utc_s": at, "clean": clean} for at, clean in self._starts],
        }
        try:
            write_durably(self._path, json.dumps(document).encode())
        except StorageError:
            return  # a full disk is told by the record's own health; a start must not wait for it


@contextmanager
def refusals_are_clean(path: Path) -> Iterator[None]:
    """A run inside that ends by refusing (settings, hardware, a folder) is marked as cleanly ended.

    It had a reason and said it; only what nobody meant counts towards a crash loop: a crash, a kill,
    a hang, an invariant broken. The run inside notes its own start before it can refuse.
    """
    try:
        yield
    except InvariantBroken:
        raise
    except ControllerError:
        StartLog(path).note_stop()
        raise


def _read(path: Path) -> list[tuple[float, bool]]:
    try:
        document = json.loads(read_bounded(path, _LARGEST_BYTES).data)
        return [(float(start["utc_s"]), bool(start["clean"])) for start in document["starts"]]
    except (FileNotFoundError, UnfitFile, ValueError, KeyError, TypeError, OverflowError, RecursionError):
        return []
