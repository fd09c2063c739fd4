"""Weather as the built-in simulated frame feels it: sky, wind at the covers, ground by season.

Pure.
"""

from __future__ import annotations

import math
from datetime import datetime
from typing import NamedTuple

from controller.rehearse.standinframe import FrameParts
from controller.weatherseries import WeatherPoint

KELVIN = 273.15
DEW_UNKNOWN_K = 2.5
"""How far the dew point is taken to lie below the air where the weather has none."""
WIND_UNKNOWN_M_S = 2.0
CLOUD_UNKNOWN_TENTHS = 5.0
CLOUD_CLOSES_FRAC = 0.84
"""Unsworth and Monteith (1975), from memory: emissivity goes from that of a clear sky towards 1."""
VAPOUR_J_PER_KGK = 461.5
EVAPORATION_J_PER_KG = 2.5e6
YEAR_DAYS = 365.25
COLDEST_DAY_DAYS = 22.0
"""Day of the northern year on which the air is coldest; half a year later in the south."""
ANNUAL_DEPTH_M = 2.2
"""Damping depth of the annual wave in damp soil."""


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


def _phase(utc: datetime, latitude_deg: float) -> float:
    """Radians of the year since the coldest day."""
    half_days = 0.0 if latitude_deg >= 0.0 else YEAR_DAYS / 2
    return 2.0 * math.pi * (utc.timetuple().tm_yday - COLDEST_DAY_DAYS - half_days) / YEAR_DAYS


def _mean_c(latitude_deg: float) -> float:
    """Annual mean of air and ground at sea level; a straight line through temperate places, no source."""
    return 23.0 - 0.27 * min(abs(latitude_deg), 75.0)


SWING_K = 6.0
"""Half the annual range of daily means; between that of oceanic and inland places, no source."""


def season_air_c(utc: datetime, latitude_deg: float) -> float:
    """Daily mean air temperature that the season would have; common practice, no source."""
    return _mean_c(latitude_deg) - SWING_K * math.cos(_phase(utc, latitude_deg))


def season_ground_c(utc: datetime, latitude_deg: float, depth_m: float) -> float:
    """Undisturbed ground at a depth: the annual wave damped and late (heat conduction in a half-space)."""
    down = depth_m / ANNUAL_DEPTH_M
    wave = math.exp(-down) * math.cos(_phase(utc, latitude_deg) - down)
    return _mean_c(latitude_deg) - SWING_K * wave
