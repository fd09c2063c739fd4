"""What a frame's winter came to: energy, frost hours, heat hours. Pure.

Counted from the true air, each step's end standing for the whole step; frost is strictly below 0 °C.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

S_PER_H = 3600.0
WEAK_AFTER_S = 3600.0
"""A cable that has been on for this long and lets the air go on falling below its line is too weak;
before that it may only be late, since sand and bed are slow."""
THROUGHOUT_FRAC = 0.95
"""Heat on for this share of a time counts as on throughout: the relay's own rests are short."""


@dataclass(slots=True, kw_only=True)
class FrameTally:
    """One frame's sums so far."""

    power_w: float
    keep_above_c: float | None
    """None for a frame without heat: nothing is kept there."""
    air_max_c: float
    total_s: float = 0.0
    heated_s: float = 0.0
    coldest_c: float = math.inf
    coldest_outside_c: float = math.inf
    warmest_c: float = -math.inf
    below_0_s: float = 0.0
    below_0_k_s: float = 0.0
    below_keep_s: float = 0.0
    below_keep_k_s: float = 0.0
    over_limit_s: float = 0.0
    switch_on_count: int = 0
    on_for_s: float = 0.0
    """Without a pause, up to now; not counted past ``WEAK_AFTER_S``."""
    after_hour_c: float = math.inf
    """The air when the present heating had lasted ``WEAK_AFTER_S``."""
    heated_below_keep_s: float = 0.0
    began_below: bool = False
    """The run began below the line, so that nobody had kept it there."""
    settling: bool = False
    """Still in the stretch that began below."""
    weak: bool = False
    """At this moment the air has fallen below its line under long heating."""
    weak_below_c: float = -math.inf
    """The mildest outside at which such a time began; minus infinity while there was none."""

    open_below_keep_s: float = 0.0
    """Of the time below the line, with the covers open."""

    def add(
        self, dt_s: float, air_c: float, outside_c: float, heated_s: float, *, is_open: bool = False
    ) -> None:
        """Count one step; no cable is called weak for air that open covers let in."""
        if self.total_s == 0.0:
            self.settling = self.began_below = self.keep_above_c is not None and air_c < self.keep_above_c
        self.total_s += dt_s
        self.heated_s += heated_s
        if heated_s < dt_s or is_open:
            self.on_for_s = 0.0
        elif self.on_for_s < WEAK_AFTER_S:
            self.on_for_s += dt_s
            self.after_hour_c = air_c
        self.coldest_outside_c = min(self.coldest_outside_c, outside_c)
        self.coldest_c = min(self.coldest_c, air_c)
        self.warmest_c = max(self.warmest_c, air_c)
        if air_c < 0.0:
            self.below_0_s += dt_s
            self.below_0_k_s -= air_c * dt_s
        if self.keep_above_c is not None and air_c < self.keep_above_c:
            self.below_keep_s += dt_s
            self.below_keep_k_s += (self.keep_above_c - air_c) * dt_s
            self.heated_below_keep_s += heated_s
            if is_open:
                self.open_below_keep_s += dt_s
            if (
                not self.weak
                and not self.settling
                and self.on_for_s >= WEAK_AFTER_S
                and air_c < self.after_hour_c
            ):
                self.weak = True
                self.weak_below_c = max(self.weak_below_c, outside_c)
        else:
            self.weak = self.settling = False
        if air_c > self.air_max_c:
            self.over_limit_s += dt_s

    @property
    def heated_throughout(self) -> bool:
        """Whether the cable was on for as good as all of the time below the line."""
        return self.heated_below_keep_s >= THROUGHOUT_FRAC * self.below_keep_s

    @property
    def energy_wh(self) -> float:
        """Relay on times configured watts."""
        return self.heated_s * self.power_w / S_PER_H

    def document(self) -> dict[str, float | int | None]:
        """The frame's part of ``summary.json``; null where nothing was counted."""
        kept = self.keep_above_c is not None
        return {
            "kwh": round(self.energy_wh / 1000.0, 6),
            "coldest_c": round(self.coldest_c, 4) if self.total_s else None,
            "below_0_h": round(self.below_0_s / S_PER_H, 4),
            "below_0_kh": round(self.below_0_k_s / S_PER_H, 4),
            "below_keep_h": round(self.below_keep_s / S_PER_H, 4) if kept else None,
            "below_keep_kh": round(self.below_keep_k_s / S_PER_H, 4) if kept else None,
            "over_limit_h": round(self.over_limit_s / S_PER_H, 4),
            "switch_on_count": self.switch_on_count,
        }
