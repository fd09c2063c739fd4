"""The seam for an optional humidity probe; no driver ships, and airing then goes by the calendar."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from controller.vocabulary import FrameName


@dataclass(frozen=True, slots=True, kw_only=True)
class HumidityReading:
    """Relative humidity of the air in one frame, 0 to 100 %."""

    humidity_pct: float
    taken_at_s: float


class HumiditySource(Protocol):
    """Whatever can tell the humidity in a frame; never blocks and never raises."""

    def latest(self, frame: FrameName) -> HumidityReading | None:
        """The newest reading, or None where no probe is fitted in that frame."""

    def close(self) -> None:
        """Let go of the hardware."""


class NoHumidity:
    """Stands where no humidity probe is fitted."""

    def latest(self, frame: FrameName) -> HumidityReading | None:  # noqa: ARG002  # the seam's form
        """None, always: no frame has one."""
        return None

    def close(self) -> None:
        """Nothing to let go of."""
