"""The ice-point correction: what a probe reads in melting ice, and whether that may be trusted.

Pure. Melting ice in water is 0.00 °C by the definition of the practice (ASTM E563, scope). One point
corrects one offset; the probe's slope stays as it is, which is right for a guard against frost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import fmean, pstdev

READINGS_NEEDED = 20
SPREAD_MAX_K = 0.125
"""Two steps of a 12-bit probe."""
DRIFT_MAX_K = 0.05
"""Between the means of the older and the newer half of the last readings."""
OFFSET_MAX_K = 0.5
"""The data sheet's own accuracy from -10 to +85 °C; more is a broken probe or a bad bath."""


class IceFlaw(StrEnum):
    """Why an ice bath gave no correction."""

    TOO_FEW = "too_few"
    UNSTEADY = "unsteady"
    DRIFTING = "drifting"
    TOO_FAR_OFF = "too_far_off"


@dataclass(frozen=True, slots=True, kw_only=True)
class IcePoint:
    """One probe's correction."""

    offset_k: float
    """Added to every raw reading; -0.5 to 0.5."""
    residual_k: float
    """Standard deviation of the readings it rests on."""
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class IceRefusal:
    """No correction, the reason, and what to do about it."""

    flaw: IceFlaw
    remedy: str


def find_ice_point(raw_c: Sequence[float]) -> IcePoint | IceRefusal:
    """Correction from uncorrected readings in melting ice, oldest first; the last twenty count.

    Refused when they are too few, scatter, still move, or lie further off than the data sheet allows.
    """
    if len(raw_c) < READINGS_NEEDED:
        return _refusal(IceFlaw.TOO_FEW, f"{len(raw_c)} of {READINGS_NEEDED} readings; wait longer")
    last = raw_c[-READINGS_NEEDED:]
    half = READINGS_NEEDED // 2
    drift_k = fmean(last[half:]) - fmean(last[:half])
    # A test that NaN fails: each refusal asks whether the good case holds.
    if not abs(drift_k) <= DRIFT_MAX_K:
        return _refusal(
            IceFlaw.DRIFTING, f"still moving by {drift_k:+.2f} K; stir, wait ten minutes, then start again"
        )
    spread_k = max(last) - min(last)
    if not spread_k <= SPREAD_MAX_K:
        return _refusal(
            IceFlaw.UNSTEADY, f"readings scatter over {spread_k:.2f} K; pack the ice closer round the probe"
        )
    mean_c = fmean(last)
    if abs(mean_c) > OFFSET_MAX_K:
        return _refusal(
            IceFlaw.TOO_FAR_OFF,
            f"reads {mean_c:+.2f} °C in ice, and the data sheet allows {OFFSET_MAX_K} K; "
            "mend the bath (more crushed ice, less water, no salt) or replace the probe",
        )
    return IcePoint(offset_k=-mean_c, residual_k=pstdev(last), count=len(last))


def _refusal(flaw: IceFlaw, remedy: str) -> IceRefusal:
    """Shorten the refusals above."""
    return IceRefusal(flaw=flaw, remedy=remedy)
