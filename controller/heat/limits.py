"""Pure: the hard ceilings of heating, and the limits of one frame that can only be tighter.

No setting, command, forecast or page can go past a constant of this file: a limit looser than
its ceiling is refused, not clamped.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

AIR_CEILING_C = 30.0
"""No heat with any trusted air reading at or above this."""
ROOT_CEILING_C = 25.0
"""No heat with any trusted root-zone reading at or above this."""
CABLE_CEILING_C = 80.0
"""No cable limit above this, whatever its maker prints."""
COOLER_BY_K = 0.5
"""A limit that was reached lets go this far below itself."""
TIGHTER_K = 2.0
"""Every temperature limit is this much lower while a fitted probe is not trusted."""
LOCK_ABOVE_K = 5.0
"""This far above its limit, the root zone or the cable locks heat off."""
HEAT_MEMORY_S = 3600.0
"""Only heat commanded or live within this time can lock; sun alone cannot."""
MIN_ON_FLOOR_S = 180.0
MIN_OFF_FLOOR_S = 180.0
HOUR_S = 3600.0
SWITCHES_PER_H = 6
"""Switch-ons within any hour."""
ON_PROOF_CEILING_S = 21600.0
"""Longest run before the cable must be shown to go off."""
BLIND_DUTY = 0.30
"""Share of any hour that may be heated with neither root zone nor cable in sight."""
BLIND_HOUR_S = BLIND_DUTY * HOUR_S
BLIND_RUN_S = BLIND_HOUR_S / SWITCHES_PER_H
"""A blind run begins only where the share has room for this much: the share over all switch-ons."""
GOOD_CYCLES = 3
"""Good ticks in a row that permission costs."""
STALE_INTERVALS = 3.0
"""A sample older than this many sample intervals is no evidence."""
LATE_TICKS = 3.0
"""A gap between two ticks longer than this many ticks counts as late."""
FEEDBACK_LAG_S = 10.0
"""A relay may follow this late, and an input must hold this long to be believed."""
FEEDBACK_ON_S = 60.0
"""A cable commanded on must show life within this time."""
RESPONSE_TRIES = 3
"""Tries without an answer before the long wait."""
RESPONSE_WAIT_S = 3600.0
"""Between single further tries once the first three had no answer."""
TICK_CEILING_S = 300.0
"""A control step longer than this is refused; real boards run at 2 to 10 s."""
PROBE_COLDEST_C = -55.0
PROBE_WARMEST_C = 125.0
"""Range of the probe's data sheet; a sample outside it is no evidence."""
_LOOP_TICK_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatLimits:
    """The limits of one frame; building one that is looser than a ceiling raises ValueError."""

    tick_s: float
    air_max_c: float
    root_max_c: float
    cable_max_c: float | None
    """``None`` means that no cable probe is fitted."""
    min_on_s: float
    min_off_s: float
    on_proof_s: float
    stale_s: float
    feedback_lag_s: float
    feedback_on_s: float
    guard_required: bool
    """The cable lies on the surface: a trusted guard reading is the price of heat."""
    blind_duty_allowed: bool
    """Commissioning recorded a cable rated to run without pause and an independent cut-out."""

    @property
    def late_s(self) -> float:
        """A gap between two ticks beyond this is late."""
        return LATE_TICKS * self.tick_s

    def __post_init__(self) -> None:
        """Refuse every value outside its bounds; NaN is outside all of them."""
        _within("tick_s", self.tick_s, 0.1, TICK_CEILING_S)
        _within("air_max_c", self.air_max_c, 0.0, AIR_CEILING_C)
        _within("root_max_c", self.root_max_c, 0.0, ROOT_CEILING_C)
        if self.cable_max_c is not None:
            _within("cable_max_c", self.cable_max_c, 0.0, CABLE_CEILING_C)
        _within("min_on_s", self.min_on_s, MIN_ON_FLOOR_S, HOUR_S)
        _within("min_off_s", self.min_off_s, MIN_OFF_FLOOR_S, HOUR_S)
        _within("on_proof_s", self.on_proof_s, max(self.min_on_s, self.tick_s), ON_PROOF_CEILING_S)
        _within("stale_s", self.stale_s, self.tick_s, STALE_INTERVALS * TICK_CEILING_S)
        _within("feedback_lag_s", self.feedback_lag_s, FEEDBACK_LAG_S, 2 * TICK_CEILING_S)
        _within("feedback_on_s", self.feedback_on_s, FEEDBACK_ON_S, 2 * TICK_CEILING_S)
        for name in ("guard_required", "blind_duty_allowed"):
            if type(getattr(self, name)) is not bool:
                raise ValueError(f"{name}: must be true or false")


def make_limits(
    *,
    tick_s: float,
    air_max_c: float = AIR_CEILING_C,
    root_max_c: float = ROOT_CEILING_C,
    cable_max_c: float | None = None,
    min_on_s: float = MIN_ON_FLOOR_S,
    min_off_s: float = MIN_OFF_FLOOR_S,
    on_proof_s: float = ON_PROOF_CEILING_S,
    guard_required: bool = False,
    blind_duty_allowed: bool = False,
) -> HeatLimits:
    """The limits of one frame, loop-derived ones worked out from the tick.

    Every probe is sampled once a tick. Raises ValueError where any limit is looser than its ceiling.
    A rehearsal's long tick stretches only what counts ticks, never a temperature.
    """
    two_ticks_s = 2 * tick_s if tick_s > _LOOP_TICK_S else 0.0
    return HeatLimits(
        tick_s=tick_s,
        air_max_c=air_max_c,
        root_max_c=root_max_c,
        cable_max_c=cable_max_c,
        min_on_s=min_on_s,
        min_off_s=min_off_s,
        on_proof_s=on_proof_s,
        stale_s=STALE_INTERVALS * tick_s,
        feedback_lag_s=max(FEEDBACK_LAG_S, two_ticks_s),
        feedback_on_s=max(FEEDBACK_ON_S, two_ticks_s),
        guard_required=guard_required,
        blind_duty_allowed=blind_duty_allowed,
    )


def _within(name: str, number: float, lowest: float, highest: float) -> None:
    """Raise ValueError unless ``lowest <= number <= highest``."""
    if type(number) not in (int, float) or math.isnan(number) or not lowest <= number <= highest:
        raise ValueError(f"{name}: {number!r} is outside {lowest:g} to {highest:g}")
