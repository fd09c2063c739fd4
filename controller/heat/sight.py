"""Pure: what the judge can see in one frame's evidence, once all of it has been checked again.

Whoever made the evidence has judged the readings before; this file trusts none of that.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from controller.heat.limits import PROBE_COLDEST_C, PROBE_WARMEST_C, HeatLimits
from controller.vocabulary import HeatEvidence, Reading, Rejected, Sample

_FLAGS = ("heat_wanted", "frost_likely", "commissioned", "late")
_INPUTS = ("feedback_live", "supply_present", "cut_out_closed", "stop_pressed")


class Sight(NamedTuple):
    """The warmest trusted reading of each kind; ``None`` where none is trusted."""

    air_c: float | None
    root_c: float | None
    """Bed and guard together."""
    cable_c: float | None
    """``None`` also where no cable limit is set: a cable without a limit protects nothing."""
    guard_seen: bool
    whole: bool
    """Every probe that is fitted is trusted, and there is one for the air."""

    @property
    def heated_part_seen(self) -> bool:
        """Root zone or cable is in sight; without either, heat is blind."""
        return self.root_c is not None or self.cable_c is not None


def look(limits: HeatLimits, evidence: HeatEvidence) -> Sight | None:
    """What can be seen, or None when anything in the evidence is not as it must be.

    Not as it must be: a number that is not finite, a sample outside the probe's range, from the
    future, older than the limit or from before the clock began, a flag that is no bool.
    """
    now_s = evidence.now_s
    if not (_is_number(now_s) and 0.0 <= now_s < math.inf and _flags_hold(evidence)):
        return None
    oldest_s = max(0.0, now_s - limits.stale_s)
    air = _warmest(evidence.air, oldest_s, now_s)
    root = _warmest(evidence.root, oldest_s, now_s)
    guard = _warmest(_fitted(evidence.guard), oldest_s, now_s)
    cable = _warmest(_fitted(evidence.cable), oldest_s, now_s)
    if air is None or root is None or guard is None or cable is None:
        return None
    air_c, air_whole = air
    root_c, root_whole = root
    guard_c, guard_whole = guard
    cable_c, cable_whole = cable
    if guard_c is not None:
        root_c = guard_c if root_c is None else max(root_c, guard_c)
    if limits.cable_max_c is None:
        cable_c = None
    elif cable_c is None:
        cable_whole = False
    return Sight(
        air_c=air_c,
        root_c=root_c,
        cable_c=cable_c,
        guard_seen=guard_c is not None,
        whole=air_whole and root_whole and guard_whole and cable_whole and air_c is not None,
    )


def _fitted(reading: Reading | None) -> tuple[Reading, ...]:
    """An optional probe as a tuple of none or one."""
    return () if reading is None else (reading,)


def _flags_hold(evidence: HeatEvidence) -> bool:
    """Every flag is a bool, every optional input a bool or None, the coldest a number or None."""
    for name in _FLAGS:
        if type(getattr(evidence, name)) is not bool:
            return False
    for name in _INPUTS:
        flag = getattr(evidence, name)
        if flag is not None and type(flag) is not bool:
            return False
    coldest_c = evidence.coldest_c
    return coldest_c is None or (_is_number(coldest_c) and math.isfinite(coldest_c))


def _warmest(
    readings: tuple[Reading, ...], oldest_s: float, newest_s: float
) -> tuple[float | None, bool] | None:
    """The warmest sample and whether all are samples; None when any of them is not sound."""
    if type(readings) is not tuple:
        return None
    warmest_c: float | None = None
    whole = True
    for reading in readings:
        if isinstance(reading, Sample):
            sample_c, taken_at_s = reading.temp_c, reading.taken_at_s
            if not (_is_number(sample_c) and PROBE_COLDEST_C <= sample_c <= PROBE_WARMEST_C):
                return None
            if not (_is_number(taken_at_s) and oldest_s <= taken_at_s <= newest_s):
                return None
            warmest_c = sample_c if warmest_c is None else max(warmest_c, sample_c)
        elif isinstance(reading, Rejected):
            whole = False
        else:
            return None
    return warmest_c, whole


def _is_number(candidate: object) -> bool:
    """A float or an int, but no bool and nothing that only looks like a number."""
    return isinstance(candidate, float) or type(candidate) is int
