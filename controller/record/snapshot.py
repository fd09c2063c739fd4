"""What is true now, as one small file in RUN that other processes read.

The keeper replaces it whole; a reader gets a whole current document or plain words why there is
none, never a number that only looks current.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from controller.bounded_read import UnfitFile, read_bounded
from controller.durable import replace_quickly
from controller.errors import StorageError
from controller.units import duration_text
from controller.wire import SNAPSHOT_SCHEMA, refuse_constant

AGE_MAX_S = 180.0
"""Older than this, the controller counts as not running."""
_LARGEST_BYTES = 1_000_000
_AHEAD_MAX_S = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """A whole document of this boot, ``age_s`` seconds old (0 to 180)."""

    document: Mapping[str, object]
    age_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Unusable:
    """No current document; ``reason`` is a sentence for a person."""

    reason: str


class SnapshotWriter:
    """Replaces the snapshot; trouble is kept in ``detail`` and never raised."""

    def __init__(self, path: Path, *, gap_s: float = 0.0) -> None:
        """Write to ``path``, at most once in ``gap_s`` seconds of the caller's clock."""
        self._path = path
        self._gap_s = gap_s
        self._written_at_s: float | None = None
        self.detail = ""
        """Empty after a write that succeeded; else what went wrong with the last."""

    @property
    def healthy(self) -> bool:
        """Whether the last write succeeded, or none was tried yet."""
        return not self.detail

    def due(self, now_s: float) -> bool:
        """Whether the gap is over, so that building a document is worth while."""
        written_at_s = self._written_at_s
        return written_at_s is None or not 0 <= now_s - written_at_s < self._gap_s

    def write(self, document: Mapping[str, object], *, now_s: float | None = None) -> None:
        """Replace the file by ``document``; ``now_s`` starts a new gap."""
        try:
            text = json.dumps(document, allow_nan=False, separators=(",", ":"))
            replace_quickly(self._path, text.encode())
        except StorageError as error:
            self.detail = str(error)
        except (TypeError, ValueError) as error:
            self.detail = f"{self._path}: this tick's state cannot be written as JSON ({error})"
        else:
            self.detail = ""
            self._written_at_s = now_s


def read_snapshot(
    path: Path, *, boot_id_now: str, mono_now_s: float, schema: int = SNAPSHOT_SCHEMA
) -> Snapshot | Unusable:
    """Read the keeper's document, or say why it must not be shown as current.

    ``mono_now_s`` is this boot's monotonic clock, which all processes share.
    """
    document = _read_document(path)
    if isinstance(document, Unusable):
        return document
    if document.get("schema") != schema or isinstance(document.get("schema"), bool):
        return Unusable(reason="The controller runs another version than this program; restart both.")
    if document.get("boot_id") != boot_id_now:
        return Unusable(reason="The controller has not run since the board started.")
    return _judge_age(document, mono_now_s)


def _read_document(path: Path) -> dict[str, object] | Unusable:
    """The file as one JSON object, whatever it says."""
    try:
        data = read_bounded(path, _LARGEST_BYTES).data
    except FileNotFoundError:
        return Unusable(reason="The controller is not running, or has not finished its first round.")
    except UnfitFile as error:
        return Unusable(reason=f"The controller's state file {error}.")
    try:
        document = json.loads(data, parse_constant=refuse_constant)
    except (ValueError, RecursionError):
        document = None
    if not isinstance(document, dict):
        return Unusable(reason="The controller's state file is incomplete or damaged.")
    return document


def _judge_age(document: dict[str, object], mono_now_s: float) -> Snapshot | Unusable:
    """Only a document with a believable age between 0 and the limit is current."""
    mono_s = document.get("mono_s")
    if isinstance(mono_s, bool) or not isinstance(mono_s, int | float):
        return Unusable(reason="The controller's state file does not say when it was written.")
    try:
        age_s = mono_now_s - mono_s
    except OverflowError:
        return Unusable(reason="The controller's state file does not say when it was written.")
    if not age_s >= -_AHEAD_MAX_S:
        return Unusable(reason="The controller's state file bears a time still to come.")
    if not age_s <= AGE_MAX_S:
        return Unusable(reason=f"The controller is not running: its last word is {duration_text(age_s)} old.")
    return Snapshot(document=document, age_s=max(age_s, 0.0))
