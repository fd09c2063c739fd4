"""What a picture remembers: one small record per frame and local day. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from controller.config.records import FrameSettings


@dataclass(slots=True, kw_only=True)
class FrameDay:
    """One frame during one local day, by the truth and not by its probes."""

    day: date
    keep_above_c: float
    """Minus infinity for a frame without heat: nothing is kept there."""
    air_max_c: float
    air_low_c: float = math.inf
    air_high_c: float = -math.inf
    outside_low_c: float = math.inf
    outside_high_c: float = -math.inf
    heated_s: float = 0.0
    open_s: float = 0.0
    laid_s: float = 0.0
    """With anything lying over the covers."""
    frost_s: float = 0.0
    below_keep_s: float = 0.0
    warm_s: float = 0.0
    """Above the air limit."""
    urgent: int = 0
    """Notices of urgency ``now`` that were raised or became worse."""

    def note(self, dt_s: float, air_c: float, outside_c: float) -> None:
        """Count one step's temperatures; written out because it is done in every step."""
        if air_c < self.air_low_c:  # noqa: PLR1730  # quicker than min(), and seldom true
            self.air_low_c = air_c
        if air_c > self.air_high_c:  # noqa: PLR1730  # as above
            self.air_high_c = air_c
        if outside_c < self.outside_low_c:  # noqa: PLR1730  # as above
            self.outside_low_c = outside_c
        if outside_c > self.outside_high_c:  # noqa: PLR1730  # as above
            self.outside_high_c = outside_c
        if air_c < self.keep_above_c:
            self.below_keep_s += dt_s
        if air_c < 0.0:
            self.frost_s += dt_s
        elif air_c > self.air_max_c:
            self.warm_s += dt_s


@dataclass(slots=True, kw_only=True)
class FrameWinter:
    """All days of one frame, in order and without a gap."""

    settings: FrameSettings
    keep_above_c: float
    """Minus infinity for a frame without heat: nothing is kept there."""
    air_max_c: float
    power_w: float
    days: list[FrameDay] = field(default_factory=list)

    @property
    def heated_s(self) -> float:
        """Relay on."""
        return math.fsum(day.heated_s for day in self.days)

    @property
    def energy_wh(self) -> float:
        """Relay on times configured watts."""
        return energy_wh_of(self.days, self.power_w)

    @property
    def coldest(self) -> FrameDay:
        """The first day with the frame's lowest air; there must be one day."""
        return min(self.days, key=lambda day: day.air_low_c)

    @property
    def coldest_outside(self) -> FrameDay:
        """The first day with the lowest outside; there must be one day."""
        return min(self.days, key=lambda day: day.outside_low_c)


def energy_wh_of(days: Sequence[FrameDay], power_w: float) -> float:
    """Energy of some days."""
    return math.fsum(day.heated_s for day in days) * power_w / 3600.0
