"""Where the sun stands, plainly, for the rehearsal's own weather and stand-in.

Pure. Declination and equation of time by the Fourier series of Spencer (1971), coefficients from
memory; good to about 0.3° here, which a rehearsal does not notice.
"""

from __future__ import annotations

import math
from datetime import datetime
from typing import NamedTuple

CLEAR_SKY_W_M2 = 1098.0
CLEAR_SKY_DECAY = 0.057
"""Haurwitz (1945): global = 1098 · cos z · exp(-0.057 / cos z)."""


class Direction(NamedTuple):
    """A unit vector; a sun below the horizon has a negative ``up_frac``."""

    up_frac: float
    """Sine of the elevation."""
    south_frac: float
    west_frac: float


def sun_at(utc: datetime, latitude_deg: float, longitude_deg: float) -> Direction:
    """Direction to the sun at ``utc`` (aware, UTC) seen from a place on either hemisphere."""
    year_rad = 2.0 * math.pi * (utc.timetuple().tm_yday - 1) / 365.0
    sin_1, cos_1 = math.sin(year_rad), math.cos(year_rad)
    sin_2, cos_2 = 2.0 * sin_1 * cos_1, cos_1 * cos_1 - sin_1 * sin_1
    declination_rad = 0.006918 - 0.399912 * cos_1 + 0.070257 * sin_1 - 0.006758 * cos_2 + 0.000907 * sin_2
    equation_min = 229.18 * (
        0.000075 + 0.001868 * cos_1 - 0.032077 * sin_1 - 0.014615 * cos_2 - 0.04089 * sin_2
    )
    minute = utc.hour * 60.0 + utc.minute + utc.second / 60.0
    hour_rad = math.radians((minute + equation_min) / 4.0 + longitude_deg - 180.0)
    latitude_rad = math.radians(latitude_deg)
    sin_lat, cos_lat = math.sin(latitude_rad), math.cos(latitude_rad)
    sin_dec, cos_dec = math.sin(declination_rad), math.cos(declination_rad)
    cos_hour = math.cos(hour_rad)
    return Direction(
        up_frac=sin_lat * sin_dec + cos_lat * cos_dec * cos_hour,
        south_frac=sin_lat * cos_dec * cos_hour - cos_lat * sin_dec,
        west_frac=cos_dec * math.sin(hour_rad),
    )


def clear_sky_w_m2(up_frac: float) -> float:
    """Global irradiance on level ground under a clear sky; 0 with the sun below the horizon."""
    if up_frac <= 0.01:  # noqa: PLR2004  # half a degree: the formula's own limit is zero
        return 0.0
    return CLEAR_SKY_W_M2 * up_frac * math.exp(-CLEAR_SKY_DECAY / up_frac)
