"""From days as drawn to weather by the hour, for invented winters.

Pure. The air that a day brings takes over gradually from its turn, quickly behind a front. On it rides what
ground and sun do to the air near the ground: it loses heat to a clear sky, gains from the sun, and is mixed
back by wind; so still clear nights are cold, and clear days swing widely. The rates are our own, set so that
daily ranges come out as at real stations (tests hold them); no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import timedelta
from itertools import pairwise
from typing import NamedTuple

from controller.rehearse.irradiance import beam_max_w_m2, global_under_cloud_w_m2, outside_w_m2
from controller.rehearse.sunpath import DEGREES_PER_H, sun_at
from controller.rehearse.winters_kinds import NATURES, PARTS_A_DAY, Day, Kind
from controller.weatherseries import EPOCH

HOUR_S = 3600.0
PART_H = 24.0 / PARTS_A_DAY
AIR_SHARE, FRONT_AIR_SHARE = 0.12, 0.45
"""How far air goes towards its target in one part of a day; behind a front it changes within hours."""
CLOUD_SHARE, WIND_SHARE, DRY_SHARE = 0.7, 0.5, 0.3
FRONT_CLOSED_H = 5.0
"""Cloud is closed for so long after a front's turn."""
SUN_ALSO_AT = (timedelta(minutes=-20), timedelta(minutes=20))
"""Besides the middle of the hour."""
SUN_SAMPLES = 1 + len(SUN_ALSO_AT)
DARK_BELOW_FRAC = -0.09
"""Sine of the sun's height in the middle of an hour in which it nowhere rises."""

SKY_K_PER_H = 1.35
CLOUD_CLOSES = 0.95
CLOUD_POWER = 1.6
WET_SLOWS = 0.7
"""What is left of the loss once dew or fog forms, which gives its heat back."""
SUN_K_PER_H = 6.2
SUN_HALF_W_M2 = 360.0
"""A strong sun stirs a deeper layer and warms each part of it less."""
DAMP_TAKES_FRAC = 0.5
"""Under closed cloud so much of the sun goes into drying wet ground."""
SNOW_CHILLS, SNOW_KEEPS_SUN_FRAC = 1.4, 0.55
"""Snow cuts the air off from the ground's warmth, and throws back most of the sun."""
STILL_H = 10.0
STIRRED_PER_M_S = 0.35
WARM_STIRS_H = 3.8
JITTER_K = 0.15
DEW_BELOW_K = 0.5
"""A still night is damp, but seldom quite saturated at two metres."""
WIND_BY_DAY_FRAC, WIND_JITTER_FRAC = 0.25, 0.2


class Hour(NamedTuple):
    """Weather at a whole hour; irradiance is the mean of the hour that ends there."""

    at_s: float
    """Seconds since 1970."""
    temp_c: float
    dew_point_c: float
    wind_m_s: float
    ghi_w_m2: float
    dni_w_m2: float
    dhi_w_m2: float
    cloud_tenths: float


class Knot(NamedTuple):
    """The air at the edge between two parts of a day."""

    air_c: float
    dry_k: float
    cloud_tenths: float
    wind_m_s: float


class Light(NamedTuple):
    """One hour's means under its cloud."""

    ghi_w_m2: float
    dni_w_m2: float
    dhi_w_m2: float


DARK = Light(0.0, 0.0, 0.0)


def knots_of(days: Sequence[Day]) -> list[Knot]:
    """The air at every edge of the days' parts; the first day only settles it."""
    nature = NATURES[days[0].kind]
    knot = Knot(days[0].target_c, nature.dry_k, nature.cloud_tenths, nature.wind_m_s)
    knots = [knot]
    for before, today in pairwise((days[0], *days)):
        for part in range(PARTS_A_DAY):
            past_h = (part + 1) * PART_H - today.turn_h
            knot = _next_knot(knot, today if past_h >= 0.0 else before, past_h, today.cloud_draws[part])
            knots.append(knot)
    return knots


def _next_knot(knot: Knot, day: Day, past_h: float, number: float) -> Knot:
    """Three hours on, with a normal draw for the cloud."""
    nature = NATURES[day.kind]
    behind_front = day.kind is Kind.FRONT and past_h >= 0.0
    closed = behind_front and past_h < FRONT_CLOSED_H
    cloud_tenths = 10.0 if closed else nature.cloud_tenths + nature.patchy_tenths * number
    return Knot(
        knot.air_c + (FRONT_AIR_SHARE if behind_front else AIR_SHARE) * (day.target_c - knot.air_c),
        knot.dry_k + DRY_SHARE * (nature.dry_k - knot.dry_k),
        min(max(knot.cloud_tenths + CLOUD_SHARE * (cloud_tenths - knot.cloud_tenths), 0.0), 10.0),
        knot.wind_m_s + WIND_SHARE * (nature.wind_m_s * day.wind_frac - knot.wind_m_s),
    )


def hours_of(
    days: Sequence[Day], latitude_deg: float, longitude_deg: float, first_s: float, last_s: float
) -> list[Hour]:
    """Weather at every whole hour, UTC, from ``first_s`` to ``last_s``, both included.

    The days must reach from some days before to the day after; the more before, the less it matters
    that the air near the ground starts out like the air above.
    """
    knots = knots_of(days)
    to_solar_h = longitude_deg / DEGREES_PER_H - days[0].number * 24.0
    at_h = math.ceil(-to_solar_h)
    hours = []
    near_k = 0.0
    while at_h * HOUR_S <= last_s:
        solar_h = at_h + to_solar_h
        knot, day, hour = _between(knots, solar_h), days[int(solar_h // 24.0)], int(solar_h % 24.0)
        light = light_of(at_h * HOUR_S, knot.cloud_tenths, latitude_deg, longitude_deg)
        gusty = 1.0 + WIND_JITTER_FRAC * (2.0 * day.jitter[(hour + 12) % 24] - 1.0)
        wind_m_s = _by_day(knot.wind_m_s, solar_h % 24.0) * gusty
        dew_c = knot.air_c - knot.dry_k
        change_k_per_h = _change_k_per_h(
            light.ghi_w_m2,
            knot.cloud_tenths / 10.0,
            wet=knot.air_c + near_k < dew_c,
            snow_lies=day.snow_lies,
        )
        near_k = _mixed_k(near_k, change_k_per_h, wind_m_s)
        if at_h * HOUR_S >= first_s:
            temp_c = knot.air_c + near_k + JITTER_K * (2.0 * day.jitter[hour] - 1.0)
            dew_c = min(dew_c, temp_c - DEW_BELOW_K)
            hours.append(Hour(at_h * HOUR_S, temp_c, dew_c, wind_m_s, *light, knot.cloud_tenths))
        at_h += 1
    return hours


def _between(knots: Sequence[Knot], solar_h: float) -> Knot:
    """The air between two knots."""
    index, share = divmod(solar_h / PART_H, 1.0)
    early, late = knots[int(index)], knots[int(index) + 1]
    return Knot(
        early.air_c + (late.air_c - early.air_c) * share,
        early.dry_k + (late.dry_k - early.dry_k) * share,
        early.cloud_tenths + (late.cloud_tenths - early.cloud_tenths) * share,
        early.wind_m_s + (late.wind_m_s - early.wind_m_s) * share,
    )


def _by_day(wind_m_s: float, solar_h: float) -> float:
    """Wind near the ground: less by night, most soon after noon; its mean over a day is kept."""
    return wind_m_s * (1.0 - WIND_BY_DAY_FRAC * math.cos(2.0 * math.pi * (solar_h - 2.0) / 24.0))


def _change_k_per_h(ghi_w_m2: float, cloud_frac: float, *, wet: bool, snow_lies: bool) -> float:
    """What sun and sky do in an hour to the air near the ground."""
    warming_k_per_h = SUN_K_PER_H * ghi_w_m2 / (ghi_w_m2 + SUN_HALF_W_M2)
    warming_k_per_h *= 1.0 - DAMP_TAKES_FRAC * cloud_frac * cloud_frac
    loss_k_per_h = float(SKY_K_PER_H * (1.0 - CLOUD_CLOSES * cloud_frac**CLOUD_POWER))
    if wet:
        loss_k_per_h *= WET_SLOWS
    if snow_lies:
        return warming_k_per_h * SNOW_KEEPS_SUN_FRAC - loss_k_per_h * SNOW_CHILLS
    return warming_k_per_h - loss_k_per_h


def _mixed_k(near_k: float, change_k_per_h: float, wind_m_s: float) -> float:
    """An hour later: how far the air near the ground is from that above it, with which it mixes."""
    mixed_h = STILL_H / (1.0 + STIRRED_PER_M_S * wind_m_s)
    if near_k > 0.0:
        mixed_h = min(mixed_h, WARM_STIRS_H)
    kept_frac = math.exp(-1.0 / mixed_h)
    return near_k * kept_frac + change_k_per_h * mixed_h * (1.0 - kept_frac)


def light_of(at_s: float, cloud_tenths: float, latitude_deg: float, longitude_deg: float) -> Light:
    """Means over the hour that ends at ``at_s``; diffuse by Kasten and Czeplak (1980), from memory."""
    middle_utc = EPOCH + timedelta(seconds=at_s - HOUR_S / 2.0)
    sun = sun_at(middle_utc, latitude_deg, longitude_deg)
    if sun.up_frac < DARK_BELOW_FRAC:
        return DARK
    diffuse_frac = 0.3 + 0.7 * (cloud_tenths / 10.0) ** 2
    outside_now_w_m2 = outside_w_m2(middle_utc.month, middle_utc.day)
    ghi_w_m2 = dni_w_m2 = dhi_w_m2 = 0.0
    for each in (sun, *(sun_at(middle_utc + off, latitude_deg, longitude_deg) for off in SUN_ALSO_AT)):
        global_w_m2 = global_under_cloud_w_m2(each.up_frac, cloud_tenths) / SUN_SAMPLES
        if global_w_m2 > 0.0:
            most_w_m2 = beam_max_w_m2(each.up_frac, outside_now_w_m2) / SUN_SAMPLES
            beam_w_m2 = min(global_w_m2 * (1.0 - diffuse_frac) / each.up_frac, most_w_m2)
            ghi_w_m2 += global_w_m2
            dni_w_m2 += beam_w_m2
            dhi_w_m2 += global_w_m2 - beam_w_m2 * each.up_frac
    return Light(ghi_w_m2, dni_w_m2, dhi_w_m2)
