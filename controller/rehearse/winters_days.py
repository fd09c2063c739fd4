"""The chain in which days of invented winters follow each other.

Every draw comes from the seed and the day's own number, so a date is the same in any span. The chain starts
afresh on every 1 September.
"""

from __future__ import annotations

import math
from datetime import date, timedelta
from random import Random

from controller.rehearse.winters_kinds import (
    COLD,
    NATURES,
    PARTS_A_DAY,
    WET,
    Day,
    Kind,
    offset_k,
    season_c,
    winter_frac,
)

STARTS_IN_MONTH = 9
"""September: no frost yet, so nobody minds that one winter's chain ends there and the next begins."""
SEVERITY_K = 0.8
"""How much colder all air is in a winter one standard deviation harder than most."""
SEVERITY_CHOICE = 0.25
"""The same in the odds of cold kinds of day, as the exponent of e."""
DAILY_SPREAD_K = 2.0
AIR_KEEPS_FRAC = 0.4
"""How much of yesterday's air is still there, when it is asked whether rain falls as snow."""
SNOW_BELOW_C = 0.8
"""Air that is warmer brings rain (common practice, no source)."""
SNOW_LIES_BELOW_C = 1.5
"""A day whose air is warmer melts it (no source)."""
WIND_SPREAD = 0.3
"""Standard deviation of the logarithm of a day's wind."""
WIND_DRAW_MAX = 2.3
"""So that no hour's mean passes what a garden inland sees in a storm, about 20 m/s."""


def draw_days(seed: int, first: int, count: int, latitude_deg: float) -> list[Day]:
    """``count`` days from the one that is ``first`` after 1970, each as its own chain brings it."""
    days: list[Day] = []
    while len(days) < count:
        begin = first + len(days)
        start = chain_start(begin)
        until = min(first + count, chain_start(start + 366))
        days.extend(_walk(seed, start, until, latitude_deg)[begin - start :])
    return days


def _walk(seed: int, start: int, until: int, latitude_deg: float) -> list[Day]:
    """A chain from its first day up to, and without, the day ``until``."""
    severity = Random(f"winter {seed} from {start}").gauss(0.0, 1.0)  # noqa: S311  # weather, not a secret
    odds = [
        [
            weight * (math.exp(SEVERITY_CHOICE * severity) if kind in COLD else 1.0)
            for kind, weight in zip(Kind, nature.odds, strict=True)
        ]
        for nature in NATURES
    ]
    days = []
    kind, air_c, snow_lies = Kind.GREY, season_c(start, latitude_deg), False
    for number in range(start, until):
        draws = Random(f"winter {seed} {number}")  # noqa: S311
        kind = draws.choices(tuple(Kind), odds[kind])[0]
        usual_c, cold_frac = season_c(number, latitude_deg), winter_frac(number, latitude_deg)
        shift_k = DAILY_SPREAD_K * draws.gauss(0.0, 1.0) - SEVERITY_K * severity
        target_c = usual_c + offset_k(kind, cold_frac) + shift_k
        if kind in WET:
            snows = AIR_KEEPS_FRAC * air_c + (1.0 - AIR_KEEPS_FRAC) * target_c <= SNOW_BELOW_C
            kind = Kind.SNOW if snows else Kind.SHOWERS if kind is Kind.SNOW else kind
            target_c = usual_c + offset_k(kind, cold_frac) + shift_k
        air_c += (1.0 - AIR_KEEPS_FRAC) * (target_c - air_c)
        snow_lies = kind is Kind.SNOW or (snow_lies and air_c < SNOW_LIES_BELOW_C)
        days.append(
            Day(
                number=number,
                kind=kind,
                turn_h=24.0 * draws.random(),
                target_c=target_c,
                cloud_draws=tuple(draws.gauss(0.0, 1.0) for _ in range(PARTS_A_DAY)),
                wind_frac=math.exp(WIND_SPREAD * min(draws.gauss(0.0, 1.0), WIND_DRAW_MAX)),
                snow_lies=snow_lies,
                jitter=tuple(draws.random() for _ in range(24)),
            )
        )
    return days


def chain_start(number: int) -> int:
    """The first day of the chain that a day belongs to."""
    day = date(1970, 1, 1) + timedelta(days=number)
    year = day.year if day.month >= STARTS_IN_MONTH else day.year - 1
    return (date(year, STARTS_IN_MONTH, 1) - date(1970, 1, 1)).days
