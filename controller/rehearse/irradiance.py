"""Sunlight of a weather point, with what its file lacks filled in.

Pure. Never below zero, and never more beam than very clean air lets through: an hour's mean over the sine
of a sun that has barely risen would be without bound. While the sun is up and the beam is worked out here,
global is what beam and diffuse put on level ground.

Sources: diffuse share on the clearness index, Erbs, Klein and Duffie (1982); irradiance outside the
atmosphere, Spencer (1971); clear sky, Haurwitz (1945) in ``sunpath``; cloud, Kasten and Czeplak (1980), from
memory. The bound of the beam is our own.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from controller.rehearse.sunpath import Direction, clear_sky_w_m2
from controller.weatherseries import WeatherPoint

SOLAR_CONSTANT_W_M2 = 1366.1
CLEAN_AIR_FRAC = 0.22
"""In the bound of the beam: within 5 % of Kasten (1980) at turbidity 2 down to 10°, and nothing at 0°."""
CLOUD_DIMS_FRAC, CLOUD_POWER = 0.75, 3.4
"""Kasten and Czeplak: global is 1 - 0.75 (cloud / all)^3.4 of a clear sky's."""
CLOUD_IN_DAMP_TENTHS, CLOUD_LESS_PER_K = 9.8, 0.42
DRYING_PER_K = 0.03
"""Warm air stands further from its dew point under the same cloud."""
CLOUD_UNKNOWN_TENTHS = 7.0
"""Where not even a dew point is known: a mid-latitude winter's middling day, common practice, no source."""


class Irradiance(NamedTuple):
    """W/m², none below zero."""

    ghi_w_m2: float
    """Global, on level ground."""
    dni_w_m2: float
    """Beam, square to the sun."""
    dhi_w_m2: float
    """Diffuse, on level ground."""


NIGHT = Irradiance(0.0, 0.0, 0.0)


def _outside_w_m2(year_day: int) -> float:
    year_rad = 2.0 * math.pi * (year_day - 1) / 365.0
    return SOLAR_CONSTANT_W_M2 * (
        1.00011
        + 0.034221 * math.cos(year_rad)
        + 0.00128 * math.sin(year_rad)
        + 0.000719 * math.cos(2.0 * year_rad)
        + 0.000077 * math.sin(2.0 * year_rad)
    )


_DAYS_BEFORE = (0, 0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)
_OUTSIDE_W_M2 = tuple(_outside_w_m2(year_day) for year_day in range(367))


def outside_w_m2(month: int, month_day: int) -> float:
    """Irradiance outside the atmosphere, square to the sun, 1320 to 1415; a leap day shifts it by 0.02 %."""
    return _OUTSIDE_W_M2[_DAYS_BEFORE[month] + month_day]


def beam_max_w_m2(up_frac: float, outside_now_w_m2: float) -> float:
    """The beam in very clean air with the sun at the sine ``up_frac``; 0 with the sun below the horizon."""
    return outside_now_w_m2 * up_frac / (up_frac + CLEAN_AIR_FRAC) if up_frac > 0.0 else 0.0


def diffuse_share(clearness_frac: float) -> float:
    """Diffuse over global at a clearness index (global over that outside, on the level); 0.165 to 1."""
    if clearness_frac <= 0.22:  # noqa: PLR2004  # the correlation's own corners
        return 1.0 - 0.09 * max(clearness_frac, 0.0)
    if clearness_frac > 0.80:  # noqa: PLR2004
        return 0.165
    return 0.9511 + clearness_frac * (
        -0.1604 + clearness_frac * (4.388 + clearness_frac * (-16.638 + clearness_frac * 12.336))
    )


def global_under_cloud_w_m2(up_frac: float, cloud_tenths: float) -> float:
    """Global irradiance under so much cloud, 0 to 10 tenths; 0 with the sun below half a degree."""
    cloud_frac = min(max(cloud_tenths * 0.1, 0.0), 1.0)
    return float(clear_sky_w_m2(up_frac) * (1.0 - CLOUD_DIMS_FRAC * cloud_frac**CLOUD_POWER))


def cloud_by_day_tenths(air_c: float, dew_point_c: float | None) -> float:
    """An estimate of daytime cloud where none was seen, from how far the air is from its dew point.

    A straight line through two typical years that have irradiance, November to April (their share of a clear
    sky's light by dew-point depression): right on average, by the hour hardly better than ±3 tenths. It says
    nothing about a night, when air is damp under any sky.
    """
    if dew_point_c is None:
        return CLOUD_UNKNOWN_TENTHS
    warmth = 1.0 + DRYING_PER_K * min(max(air_c, -10.0), 25.0)
    return min(max(CLOUD_IN_DAMP_TENTHS - CLOUD_LESS_PER_K * (air_c - dew_point_c) / warmth, 0.0), 10.0)


def irradiance_of(weather: WeatherPoint, sun: Direction) -> Irradiance:
    """Global, beam and diffuse at a weather point with the sun at ``sun``.

    A given beam is kept up to ``beam_max_w_m2``; what it loses by that goes to the diffuse, up to a given
    global. Of two columns the third follows, and where diffuse or beam alone would make more than global,
    global is believed. Global alone is split. With no global, cloud stands for it, and without cloud
    ``cloud_by_day_tenths``; that estimate gives way to a diffuse or a beam that is given and brings more.
    The sun being down, what light there is is diffuse.
    """
    ghi_w_m2, dni_w_m2, dhi_w_m2 = weather.ghi_w_m2, weather.dni_w_m2, weather.dhi_w_m2
    up_frac = sun.up_frac
    if up_frac <= 0.0:
        lit_w_m2 = ghi_w_m2 or dhi_w_m2 or 0.0
        return Irradiance(lit_w_m2, 0.0, lit_w_m2) if lit_w_m2 > 0.0 else NIGHT
    utc = weather.utc
    outside_now_w_m2 = outside_w_m2(utc.month, utc.day)
    if ghi_w_m2 is not None and dni_w_m2 is not None and dhi_w_m2 is not None:
        most_w_m2 = beam_max_w_m2(up_frac, outside_now_w_m2)
        if dni_w_m2 > most_w_m2:
            dni_w_m2, dhi_w_m2 = most_w_m2, max(dhi_w_m2, ghi_w_m2 - most_w_m2 * up_frac)
        return Irradiance(max(ghi_w_m2, 0.0), max(dni_w_m2, 0.0), max(dhi_w_m2, 0.0))
    if ghi_w_m2 is None:
        if dni_w_m2 is not None and dhi_w_m2 is not None:
            ghi_w_m2 = dni_w_m2 * up_frac + dhi_w_m2
        else:
            cloud_tenths = weather.cloud_tenths
            if cloud_tenths is None:
                cloud_tenths = cloud_by_day_tenths(weather.temp_c, weather.dew_point_c)
            beam_w_m2 = min(dni_w_m2 or 0.0, beam_max_w_m2(up_frac, outside_now_w_m2)) * up_frac
            ghi_w_m2 = max(global_under_cloud_w_m2(up_frac, cloud_tenths), dhi_w_m2 or 0.0, beam_w_m2)
    return _split(max(ghi_w_m2, 0.0), dni_w_m2, dhi_w_m2, up_frac, outside_now_w_m2)


def _split(
    ghi_w_m2: float,
    dni_w_m2: float | None,
    dhi_w_m2: float | None,
    up_frac: float,
    outside_now_w_m2: float,
) -> Irradiance:
    """Global as beam and diffuse; a beam too strong for the air goes to the diffuse."""
    if dni_w_m2 is None:
        if dhi_w_m2 is None:
            dhi_w_m2 = ghi_w_m2 * diffuse_share(ghi_w_m2 / (outside_now_w_m2 * up_frac))
        dni_w_m2 = (ghi_w_m2 - dhi_w_m2) / up_frac
    dni_w_m2 = min(max(dni_w_m2, 0.0), ghi_w_m2 / up_frac, beam_max_w_m2(up_frac, outside_now_w_m2))
    return Irradiance(ghi_w_m2, dni_w_m2, max(ghi_w_m2 - dni_w_m2 * up_frac, 0.0))
