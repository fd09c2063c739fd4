"""Winters without end: a different, plausible one for every seed, in the weather file's own form.

Kinds of day follow each other as a temperate garden knows them (``winters_kinds``, ``winters_days``), and the
hours follow from them (``winters_hours``). A date has the same weather whatever span it is asked in, so any
night of any winter can be looked at alone. Some winters are hard and some are not; the seed decides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime, timedelta

from controller.errors import WeatherFileError
from controller.rehearse.sunpath import DEGREES_PER_H
from controller.rehearse.winters_days import chain_start, draw_days
from controller.rehearse.winters_hours import HOUR_S, Hour, hours_of
from controller.rehearse.winters_kinds import Day, Kind
from controller.weatherfile import COLUMN_LINE, parse_weather
from controller.weatherseries import EPOCH, WeatherSeries

FILE_NAME = "an invented winter"
DAY_S = 86400.0
SETTLE_DAYS = 3
"""Walked before each chain's first day, so that its first hours are like any others."""


def invent_winter(
    *, seed: int, from_utc: datetime, to_utc: datetime, latitude_deg: float, longitude_deg: float
) -> WeatherSeries:
    """Invented weather that covers the span; raises WeatherFileError for a span that runs backwards."""
    text = invent_winter_text(
        seed=seed, from_utc=from_utc, to_utc=to_utc, latitude_deg=latitude_deg, longitude_deg=longitude_deg
    )
    return parse_weather(text, FILE_NAME)


def invent_winter_text(
    *, seed: int, from_utc: datetime, to_utc: datetime, latitude_deg: float, longitude_deg: float
) -> str:
    """The same as text, hourly, an hour longer than the span at both ends; names its days of snow.

    Temperatures suit a maritime garden near sea level from 30° to 65° of either hemisphere.
    """
    if to_utc < from_utc:
        raise WeatherFileError(f"{FILE_NAME}: from {from_utc} to {to_utc} runs backwards; swap the dates")
    first_s = math.floor((from_utc - EPOCH).total_seconds() / HOUR_S) * HOUR_S - HOUR_S
    last_s = math.ceil((to_utc - EPOCH).total_seconds() / HOUR_S) * HOUR_S + HOUR_S
    days = winter_days(seed, _day_of(first_s, longitude_deg), _day_of(last_s, longitude_deg), latitude_deg)
    hours = _hours(seed, latitude_deg, longitude_deg, first_s, last_s)
    return "\n".join((*_header(seed, latitude_deg, longitude_deg, days), *(_row(hour) for hour in hours), ""))


def winter_days(seed: int, first: int, last: int, latitude_deg: float) -> list[Day]:
    """The days from number ``first`` to ``last`` after 1 January 1970, both included."""
    return draw_days(seed, first, last - first + 1, latitude_deg)


def _hours(seed: int, latitude_deg: float, longitude_deg: float, first_s: float, last_s: float) -> list[Hour]:
    """Hours chain by chain, each walked from its own beginning, so that no answer depends on the span."""
    hours: list[Hour] = []
    while first_s <= last_s:
        start = chain_start(_day_of(first_s, longitude_deg))
        after = chain_start(start + 366)
        until_s = after * DAY_S - longitude_deg / DEGREES_PER_H * HOUR_S
        end_s = min(last_s, math.ceil(until_s / HOUR_S) * HOUR_S - HOUR_S)
        begin = start - SETTLE_DAYS
        count = _day_of(end_s, longitude_deg) + 2 - begin
        days = draw_days(seed, begin, count, latitude_deg)
        hours.extend(hours_of(days, latitude_deg, longitude_deg, first_s, end_s))
        first_s = end_s + HOUR_S
    return hours


def _day_of(at_s: float, longitude_deg: float) -> int:
    """Number of the day by local solar time."""
    return math.floor((at_s + longitude_deg / DEGREES_PER_H * HOUR_S) / DAY_S)


def _header(seed: int, latitude_deg: float, longitude_deg: float, days: Sequence[Day]) -> list[str]:
    snow = " ".join(_utc(day.number * DAY_S).strftime("%Y-%m-%d") for day in days if day.kind is Kind.SNOW)
    return [
        "# station: an invented winter; nothing here was ever measured",
        f"# lat: {latitude_deg:.4f}",
        f"# lon: {longitude_deg:.4f}",
        f"# seed: {seed}",
        "# irradiance: mean_ending",
        f"# snow_days: {snow or 'none'}",
        COLUMN_LINE,
    ]


def _row(hour: Hour) -> str:
    return (
        f"{_utc(hour.at_s).strftime('%Y-%m-%dT%H:%M:%SZ')},{hour.temp_c:.2f},{hour.dew_point_c:.2f},"
        f"{hour.wind_m_s:.2f},{hour.ghi_w_m2:.1f},{hour.dni_w_m2:.1f},{hour.dhi_w_m2:.1f},"
        f"{hour.cloud_tenths:.1f}"
    )


def _utc(at_s: float) -> datetime:
    return EPOCH + timedelta(seconds=at_s)
