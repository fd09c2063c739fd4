"""Weather as the built-in simulated frame feels it: sky, wind at the covers, ground by season.

Pure.
"""

from __future__ import annotations

import math
from datetime import datetime
from functools import lru_cache
from typing import NamedTuple

from controller.rehearse.standinframe import FrameParts
from controller.rehearse.winters_kinds import season_c
from controller.weatherseries import WeatherPoint

KELVIN = 273.15
DEW_UNKNOWN_K = 2.5
"""How far the dew point is taken to lie below the air where the weather has none; no source."""
WIND_UNKNOWN_M_S = 2.0
"""At 10 m, where the weather has none: a quiet inland place (common practice, no source)."""
CLOUD_UNKNOWN_TENTHS = 5.0
"""Half a sky, for want of any; no source."""
CLOUD_CLOSES_FRAC = 0.84
"""Unsworth and Monteith (1975), from memory: emissivity goes from that of a clear sky towards 1."""
VAPOUR_J_PER_KGK = 461.5
EVAPORATION_J_PER_KG = 2.5e6
DAY_S, HALF_YEAR_DAYS = 86400.0, 183
ANNUAL_DEPTH_M = 2.2
"""Damping depth of the annual wave in damp soil: sqrt(a T / pi) of 0.5 mm²/s (from memory) comes to 2.2 m."""


class Outer(NamedTuple):
    """What stays the same over one step."""

    air_c: float
    sky_c: float
    deep_c: float
    vapour_kg_m3: float
    wind_m_s: float
    """At 10 m."""
    near_wind_m_s: float
    """At the covers."""


def vapour_kg_m3(dew_c: float) -> float:
    """Water in air that is saturated at ``dew_c``: Magnus' formula over water, ideal gas."""
    return 611.2 * math.exp(17.62 * dew_c / (243.12 + dew_c)) / (VAPOUR_J_PER_KGK * (dew_c + KELVIN))


def sky_c(air_c: float, dew_c: float, cloud_tenths: float, shift_frac: float = 0.0) -> float:
    """Temperature of a black sky with the same radiation; clear sky by Berdahl and Martin (1984)."""
    hundredth = dew_c / 100.0
    clear_frac = 0.711 + 0.56 * hundredth + 0.73 * hundredth * hundredth + shift_frac
    closed_frac = CLOUD_CLOSES_FRAC * min(max(cloud_tenths, 0.0), 10.0) / 10.0
    emitted_frac = min(max((1.0 - closed_frac) * clear_frac + closed_frac, 0.5), 1.0)
    return float((air_c + KELVIN) * emitted_frac**0.25 - KELVIN)


def outer_of(parts: FrameParts, weather: WeatherPoint, deep_c: float) -> Outer:
    """The step's weather, with plain guesses where a column is blank."""
    air_c, dew_c, wind_m_s = weather.temp_c, weather.dew_point_c, weather.wind_m_s
    cloud_tenths = weather.cloud_tenths
    if dew_c is None:
        dew_c = air_c - DEW_UNKNOWN_K
    if wind_m_s is None:
        wind_m_s = WIND_UNKNOWN_M_S
    if cloud_tenths is None:
        cloud_tenths = CLOUD_UNKNOWN_TENTHS
    nature = parts.nature
    return Outer(
        air_c,
        sky_c(air_c, dew_c, cloud_tenths, nature.sky_shift_frac),
        deep_c,
        vapour_kg_m3(dew_c),
        wind_m_s,
        wind_m_s * nature.near_ground_frac,
    )


def season_air_c(utc: datetime, latitude_deg: float) -> float:
    """Daily mean air temperature that the season would have: that of the invented winters."""
    return season_c(int(utc.timestamp() // DAY_S), latitude_deg)


def season_ground_c(utc: datetime, latitude_deg: float, depth_m: float) -> float:
    """Undisturbed ground at a depth: the annual wave damped and late (heat conduction in a half-space)."""
    return _ground_c(int(utc.timestamp() // DAY_S), latitude_deg, depth_m)


@lru_cache(maxsize=8)
def _ground_c(epoch_day: int, latitude_deg: float, depth_m: float) -> float:
    down = depth_m / ANNUAL_DEPTH_M
    day = round(epoch_day - down * HALF_YEAR_DAYS / math.pi)
    once_c, half_a_year_off_c = season_c(day, latitude_deg), season_c(day - HALF_YEAR_DAYS, latitude_deg)
    mean_c = 0.5 * (once_c + half_a_year_off_c)
    return mean_c + math.exp(-down) * (once_c - mean_c)
