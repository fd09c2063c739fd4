"""Kinds of day for invented winters, and what each brings.

Pure. The numbers are common practice of a temperate, maritime garden, no source; what they come to is held
against real stations by tests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import IntEnum
from typing import NamedTuple

YEAR_DAYS = 365.25
COLDEST_YEAR_DAY = 38
PARTS_A_DAY = 8


class Kind(IntEnum):
    """What governs a day's weather."""

    CLEAR = 0
    """High pressure overhead, still and bright; frost by night."""
    FOG = 1
    """The same, with fog that hardly lifts."""
    GREY = 2
    """A closed low sky, damp, hardly any daily cycle."""
    MILD = 3
    """Damp south-westerly air."""
    FRONT = 4
    """A front goes through with wind and rain; colder air comes in behind it."""
    SHOWERS = 5
    """Broken cloud and wind in cool air."""
    SNOW = 6
    EAST = 7
    """A dry cold wind off the land."""


class Nature(NamedTuple):
    """What a kind of day brings."""

    winter_k: float
    """Its air against the season's mean in midwinter."""
    summer_k: float
    cloud_tenths: float
    patchy_tenths: float
    """Standard deviation of cloud about its mean."""
    wind_m_s: float
    dry_k: float
    """Dew point below the temperature of the air that it brings."""
    odds: tuple[int, ...]
    """Of each kind on the day after, in the order of ``Kind``."""


NATURES = (
    Nature(-2.5, 1.0, 1.2, 1.3, 1.2, 5.0, (52, 11, 13, 7, 7, 0, 3, 7)),
    Nature(-3.5, 0.0, 8.5, 2.5, 0.7, 0.8, (30, 30, 20, 5, 10, 0, 0, 5)),
    Nature(0.5, -2.0, 9.5, 0.7, 2.3, 1.6, (8, 4, 52, 15, 12, 3, 2, 4)),
    Nature(4.8, 1.0, 9.0, 1.2, 4.2, 1.4, (3, 0, 12, 50, 30, 5, 0, 0)),
    Nature(-0.5, -2.5, 6.2, 3.0, 6.5, 2.5, (12, 0, 9, 16, 10, 45, 8, 0)),
    Nature(-1.0, -2.0, 5.0, 3.0, 4.2, 3.5, (22, 0, 13, 16, 14, 30, 5, 0)),
    Nature(-6.0, -4.0, 9.5, 0.8, 3.0, 1.2, (35, 0, 15, 0, 10, 7, 18, 15)),
    Nature(-5.5, 0.0, 6.0, 3.0, 4.2, 5.0, (20, 0, 15, 5, 0, 0, 10, 50)),
)
"""In the order of ``Kind``."""
COLD = frozenset({Kind.CLEAR, Kind.FOG, Kind.SNOW, Kind.EAST})
WET = frozenset({Kind.FRONT, Kind.SHOWERS, Kind.SNOW})


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """One day as drawn, by local solar time."""

    number: int
    """Days since 1970."""
    kind: Kind
    turn_h: float
    """The hour at which it takes over from the day before, 0 to 24."""
    target_c: float
    """What its air would come to if it stayed."""
    cloud_draws: tuple[float, ...]
    """A standard normal draw for each part of the day."""
    wind_frac: float
    snow_lies: bool
    """Whether snow covers the ground."""
    jitter: tuple[float, ...]
    """From 0 to 1 for each hour."""


def season_c(number: int, latitude_deg: float) -> float:
    """Mean air temperature of the season at sea level in maritime temperate places; no source.

    At 52° 4.5 °C in mid-January and 14.0 °C in mid-July, half a year later south of the equator. What the
    ground does to the air (``winters_hours``) comes on top: it cools January and warms April.
    """
    north = min(abs(latitude_deg), 70.0)
    year_day = datetime.fromtimestamp(number * 86400.0, UTC).timetuple().tm_yday
    return 22.3 - 0.25 * north - (1.0 + 0.08 * north) * math.cos(_phase(year_day, latitude_deg))


def winter_frac(number: int, latitude_deg: float) -> float:
    """1 in midwinter, 0 in midsummer."""
    year_day = datetime.fromtimestamp(number * 86400.0, UTC).timetuple().tm_yday
    return 0.5 + 0.5 * math.cos(_phase(year_day, latitude_deg))


def _phase(year_day: int, latitude_deg: float) -> float:
    half = 0.0 if latitude_deg >= 0.0 else YEAR_DAYS / 2.0
    return 2.0 * math.pi * (year_day - COLDEST_YEAR_DAY - half) / YEAR_DAYS


def offset_k(kind: Kind, winter_frac: float) -> float:
    """The air that a kind of day brings against the season's mean."""
    nature = NATURES[kind]
    return nature.summer_k + (nature.winter_k - nature.summer_k) * winter_frac
