"""Who stands in for the gardener: somebody who looks at the frame now and then and moves the covers.

Pure. These growers go by habit, the light and the thermometer; they do not read notices yet.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, time
from typing import Protocol

from controller.rehearse.sunpath import Direction

LOOK_EVERY_S = 1200.0
OPEN_WIDER_C = 16.0
OPEN_WIDE_C = 22.0
CLOSE_NARROWER_C = 9.0
FIRST_LIGHT_FRAC = 0.05
LOW_SUN_FRAC = 0.15
"""Sines of 3° and 9°: when the day begins and when it is time to shut and keep its warmth."""
UNCOVER_ABOVE_C = 5.0
"""Colder outside than this, the covers are never taken off altogether."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What a person sees standing at the frame."""

    local: datetime
    sun: Direction
    """Where the sun stands over the place that the weather comes from."""
    air_c: float
    outside_c: float
    opening: int
    """Index of the present opening, 0 is shut."""
    openings: int
    """How many there are; the last is the widest."""


class Grower(Protocol):
    """Decides the opening at each look."""

    def choose(self, look: Look) -> int:
        """Index of the opening to leave the covers at."""


class AbsentGrower:
    """Never comes."""

    def choose(self, look: Look) -> int:
        """Whatever it was."""
        return look.opening


class AttentiveGrower:
    """At home: looks every twenty minutes while it is light, and shuts when the sun gets low."""

    def choose(self, look: Look) -> int:
        """Wider when warm, narrower when cool, shut from the low sun of the afternoon to the morning."""
        sinks = look.sun.west_frac > 0.0
        if look.sun.up_frac < (LOW_SUN_FRAC if sinks else FIRST_LIGHT_FRAC):
            return 0
        widest = look.openings - 1
        if look.outside_c < UNCOVER_ABOVE_C:
            widest = max(0, widest - 1)
        if look.air_c >= OPEN_WIDE_C:
            return min(look.opening + 2, widest)
        if look.air_c >= OPEN_WIDER_C:
            return min(look.opening + 1, widest)
        if look.air_c <= CLOSE_NARROWER_C:
            return max(look.opening - 1, 0)
        return min(look.opening, widest)


class BusyGrower:
    """At work: props the covers one step before leaving on a morning without frost, shuts them at six."""

    leaves = time(7, 0)
    away_from = time(7, 30)
    back = time(18, 0)

    def choose(self, look: Look) -> int:
        """One step open for the whole day, by habit; shut from the evening on."""
        now = look.local.time()
        if self.leaves <= now < self.away_from:
            return 1 if look.outside_c > 0.0 and look.openings > 1 else 0
        if self.away_from <= now < self.back:
            return look.opening
        return 0


GROWERS: Mapping[str, Callable[[], Grower]] = {
    "attentive": AttentiveGrower,
    "busy": BusyGrower,
    "absent": AbsentGrower,
}
