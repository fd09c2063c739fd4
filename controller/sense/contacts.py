"""What the contacts wired to the board say. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from controller.vocabulary import FrameName


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameContacts:
    """One frame's contacts; None means not fitted, never unknown."""

    feedback_live: bool | None = None
    supply_present: bool | None = None
    cut_out_closed: bool | None = None
    covers_shut: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardState:
    """All contacts at one instant."""

    stop_pressed: bool | None
    frames: Mapping[FrameName, FrameContacts]
    faults: tuple[str, ...] = ()
    """Reads that failed; those inputs stand at their open side."""
