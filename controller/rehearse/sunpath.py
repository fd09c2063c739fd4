"""Where the sun stands, plainly, for the rehearsal's own weather and stand-in.

Pure. The low-precision formulas of the Astronomical Almanac, from memory; held against published positions
by tests, to 0.02° from 1950 to 2050. Without refraction, which lifts the sun by half a degree at the horizon
and less than a tenth above 10°.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import NamedTuple

J2000 = datetime(2000, 1, 1, 12, tzinfo=UTC)
SIN_TILT, COS_TILT = math.sin(math.radians(23.439)), math.cos(math.radians(23.439))
"""The ecliptic's; it changes by 0.0004° in thirty years."""
CLEAR_SKY_W_M2 = 1098.0
CLEAR_SKY_DECAY = 0.057
"""Haurwitz (1945): global = 1098 · cos z · exp(-0.057 / cos z)."""
DEGREES_PER_H = 15.0
"""The mean sun goes round in 24 hours; the longitude over this is solar time less UTC."""


class Direction(NamedTuple):
    """A unit vector; a sun below the horizon has a negative ``up_frac``."""

    up_frac: float
    """Sine of the elevation."""
    south_frac: float
    west_frac: float


def sun_at(utc: datetime, latitude_deg: float, longitude_deg: float) -> Direction:
    """Direction to the sun at ``utc`` (aware, UTC) seen from a place on either hemisphere."""
    past_days = (utc - J2000).total_seconds() / 86400.0
    mean_rad = 4.8949504 + 0.0172027917 * past_days
    anomaly_rad = 6.2400408 + 0.0172019697 * past_days
    ecliptic_rad = mean_rad + 0.0334231 * math.sin(anomaly_rad) + 0.000349066 * math.sin(2.0 * anomaly_rad)
    sin_ecliptic = math.sin(ecliptic_rad)
    ascension_rad = math.atan2(COS_TILT * sin_ecliptic, math.cos(ecliptic_rad))
    # at the epoch, which is noon, the mean sun stood over Greenwich
    hour_rad = 2.0 * math.pi * past_days + math.radians(longitude_deg) + mean_rad - ascension_rad
    sin_dec = SIN_TILT * sin_ecliptic
    cos_dec = math.sqrt(1.0 - sin_dec * sin_dec)
    latitude_rad = math.radians(latitude_deg)
    sin_lat, cos_lat = math.sin(latitude_rad), math.cos(latitude_rad)
    cos_hour = math.cos(hour_rad)
    return Direction(
        up_frac=sin_lat * sin_dec + cos_lat * cos_dec * cos_hour,
        south_frac=sin_lat * cos_dec * cos_hour - cos_lat * sin_dec,
        west_frac=cos_dec * math.sin(hour_rad),
    )


def clear_sky_w_m2(up_frac: float) -> float:
    """Global irradiance on level ground under a clear sky; 0 with the sun below half a degree."""
    if up_frac <= 0.01:  # noqa: PLR2004  # its own radius and refraction; the formula's own limit is zero
        return 0.0
    return CLEAR_SKY_W_M2 * up_frac * math.exp(-CLEAR_SKY_DECAY / up_frac)
