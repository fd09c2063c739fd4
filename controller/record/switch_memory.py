"""What the relays did within the last hour, in RUN, for the next process of the same boot.

One file a frame, ``switched-NAME.json``::

    {"schema": 1, "boot_id": "…", "switch_ons": [812.4, 1410.9], "heat_ended_at_s": 1612.9}

Instants are the board's monotonic clock; ``heat_ended_at_s`` is null while heat is on. A file of
another boot, damaged or from the future tells nothing, and then the worse is taken.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

from controller.bounded_read import UnfitFile, read_bounded
from controller.durable import replace_quickly
from controller.vocabulary import FrameName

SWITCHED_SCHEMA = 1
_LARGEST_BYTES = 4096


class SwitchFiles:
    """The switchings of all frames of one board."""

    def __init__(self, run: Path, boot_id: str) -> None:
        """``run`` is the folder RUN, which a power cut empties; it must exist."""
        self._run = run
        self._boot_id = boot_id

    def load(self, frame: FrameName, now_s: float) -> tuple[tuple[float, ...], float] | None:
        """The switch-ons, oldest first, and when heat was last on; None when that is not known.

        Heat that was on when its process ended counts as on until now.
        """
        try:
            document = json.loads(read_bounded(self._path(frame), _LARGEST_BYTES).data)
        except (FileNotFoundError, UnfitFile, ValueError, RecursionError):
            return None
        if not isinstance(document, dict):
            return None
        if document.get("schema") != SWITCHED_SCHEMA or document.get("boot_id") != self._boot_id:
            return None
        switch_ons, ended_at_s = document.get("switch_ons"), document.get("heat_ended_at_s", "")
        if not isinstance(switch_ons, list) or not all(_is_instant(at_s, now_s) for at_s in switch_ons):
            return None
        if ended_at_s is None:
            ended_at_s = now_s
        if not _is_instant(ended_at_s, now_s):
            return None
        return tuple(sorted(switch_ons)), ended_at_s

    def note(self, frame: FrameName, switch_ons: tuple[float, ...], heat_ended_at_s: float | None) -> None:
        """Replace what was known of this frame; raises StorageError where RUN does not take it."""
        document = {
            "schema": SWITCHED_SCHEMA,
            "boot_id": self._boot_id,
            "switch_ons": switch_ons,
            "heat_ended_at_s": heat_ended_at_s,
        }
        replace_quickly(self._path(frame), json.dumps(document).encode() + b"\n")

    def _path(self, frame: FrameName) -> Path:
        return self._run / f"switched-{frame}.json"


def _is_instant(found: object, now_s: float) -> bool:
    """A number of seconds of this boot, not later than now."""
    if isinstance(found, bool) or not isinstance(found, int | float):
        return False
    return math.isfinite(found) and 0.0 <= found <= now_s
