"""What a frame's winter came to: energy, frost hours, heat hours. Pure.

Counted from the true air, each step's end standing for the whole step; frost is strictly below 0 °C.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

S_PER_H = 3600.0


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

    def add(self, dt_s: float, air_c: float, outside_c: float, heated_s: float) -> None:
        """Count one step."""
        self.total_s += dt_s
        self.heated_s += heated_s
        self.coldest_outside_c = min(self.coldest_outside_c, outside_c)
        self.coldest_c = min(self.coldest_c, air_c)
        self.warmest_c = max(self.warmest_c, air_c)
        if air_c < 0.0:
            self.below_0_s += dt_s
            self.below_0_k_s -= air_c * dt_s
        if self.keep_above_c is not None and air_c < self.keep_above_c:
            self.below_keep_s += dt_s
            self.below_keep_k_s += (self.keep_above_c - air_c) * dt_s
        if air_c > self.air_max_c:
            self.over_limit_s += dt_s

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
