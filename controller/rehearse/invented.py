"""Invented winter weather for an invented allotment, so that a rehearsal needs no file.

Every draw comes from the seed. Fourteen kinds of day follow each other as a frosty fortnight
would bring them: grey, mild and damp, a clear spell down to hard frost, a thaw with wind, frost again.
A date has the same weather whatever span it is asked in; the season lifts the whole.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from random import Random

from controller.rehearse.sunpath import DEGREES_PER_H
from controller.rehearse.winters_hours import light_of
from controller.weatherfile import COLUMN_LINE, parse_weather
from controller.weatherseries import EPOCH, WeatherSeries

HOUR_S = 3600.0
MIN_AT_H = 7.0
MAX_AT_H = 14.0
"""Solar hours of the day's lowest and highest temperature."""
COOLING_BEND, COOLING_POWER = 2.4, 1.5
"""Air falls fastest about sunset and ever more slowly through the night."""
DEW_FOLLOWS_FRAC = 0.4
"""By day the ground gives back what it took as dew and rime."""
JITTER_K = 0.7
FIRST_DAY = 20850
"""1 February 2027, in days since 1970; the list of days begins there and at every 14 days from it."""
FILE_NAME = "invented weather"


@dataclass(frozen=True, slots=True)
class _Day:
    """One kind of day as early February brings it."""

    low_c: float
    high_c: float
    night_cloud_tenths: float
    day_cloud_tenths: float
    wind_m_s: float
    dryness_k: float
    """How far the dew point lies below the day's low."""


FORTNIGHT = (
    _Day(3.0, 6.5, 9.5, 9.0, 3.0, 1.0),  # grey
    _Day(6.0, 9.5, 10.0, 9.5, 2.0, -0.5),  # mild and damp
    _Day(4.5, 8.0, 7.0, 4.0, 4.5, 1.5),  # clearing from the west
    _Day(-1.0, 6.0, 1.0, 1.0, 1.5, 1.0),  # first clear frost
    _Day(-3.5, 4.5, 0.0, 0.5, 1.0, 1.5),
    _Day(-6.0, 2.5, 0.0, 0.0, 1.0, 2.0),
    _Day(-8.0, 2.0, 0.0, 1.0, 0.8, 2.0),  # the hardest night
    _Day(-4.5, 3.0, 3.0, 6.0, 2.0, 1.0),  # high cloud comes
    _Day(0.5, 7.5, 9.5, 10.0, 4.0, 0.0),  # thaw
    _Day(5.0, 8.5, 8.0, 7.0, 8.0, 1.5),  # wind and showers
    _Day(2.0, 7.0, 4.0, 3.0, 3.5, 2.0),
    _Day(-2.5, 5.0, 0.5, 1.0, 1.2, 1.0),  # frost again
    _Day(-5.0, 4.0, 0.0, 0.5, 1.0, 1.5),
    _Day(-0.5, 6.0, 7.0, 8.5, 2.5, 0.5),  # it softens
)


def invent_weather(
    *, seed: int, from_utc: datetime, to_utc: datetime, latitude_deg: float, longitude_deg: float
) -> WeatherSeries:
    """Invented weather that covers the span; the same seed and span give the same weather."""
    text = invent_weather_text(
        seed=seed, from_utc=from_utc, to_utc=to_utc, latitude_deg=latitude_deg, longitude_deg=longitude_deg
    )
    return parse_weather(text, FILE_NAME)


def invent_weather_text(
    *, seed: int, from_utc: datetime, to_utc: datetime, latitude_deg: float, longitude_deg: float
) -> str:
    """The same as text in the weather file's own form, hourly, a little longer than the span."""
    first_s = math.floor((from_utc - EPOCH).total_seconds() / HOUR_S) * HOUR_S - HOUR_S
    last_s = math.ceil((to_utc - EPOCH).total_seconds() / HOUR_S) * HOUR_S + HOUR_S
    to_solar_s = longitude_deg / DEGREES_PER_H * HOUR_S
    first_day = math.floor((first_s + to_solar_s) / 86400.0) - 1
    last_day = math.floor((last_s + to_solar_s) / 86400.0) + 1
    days = _draw_days(seed, first_day, last_day - first_day + 1)
    lines = [
        "# station: an invented allotment; nothing here was ever measured",
        f"# lat: {latitude_deg:.3f}",
        f"# lon: {longitude_deg:.3f}",
        f"# seed: {seed}",
        "# irradiance: mean_ending",
        COLUMN_LINE,
    ]
    for hour in range(round((last_s - first_s) / HOUR_S) + 1):
        at_s = first_s + hour * HOUR_S
        day_count, into_day_s = divmod(at_s + to_solar_s - first_day * 86400.0, 86400.0)
        utc = EPOCH + timedelta(seconds=at_s)
        temp_c, dew_c, wind_m_s, cloud = _hour_state(days, int(day_count), into_day_s / HOUR_S)
        ghi, dni, dhi = light_of(at_s, cloud, latitude_deg, longitude_deg)
        lines.append(
            f"{utc.strftime('%Y-%m-%dT%H:%M:%SZ')},{temp_c:.2f},{dew_c:.2f},{wind_m_s:.2f},"
            f"{ghi:.1f},{dni:.1f},{dhi:.1f},{cloud:.1f}"
        )
    return "\n".join(lines) + "\n"


def _draw_days(seed: int, first_day: int, count: int) -> list[_Day]:
    """The kinds of day with their draws and the season's lift, from the day ``first_day`` after 1970."""
    days = []
    for day in range(first_day, first_day + count):
        kind = FORTNIGHT[(day - FIRST_DAY) % len(FORTNIGHT)]
        draws = Random(f"weather {seed} {day}")  # noqa: S311  # weather, not a secret
        year_day = datetime.fromtimestamp(day * 86400.0, UTC).timetuple().tm_yday
        lift_k = 6.5 * (1.0 - math.cos(2.0 * math.pi * (year_day - 35) / 365.0))
        low_c = kind.low_c + lift_k + draws.uniform(-JITTER_K, JITTER_K)
        days.append(
            _Day(
                low_c=low_c,
                high_c=max(low_c + 2.0, kind.high_c + lift_k + draws.uniform(-JITTER_K, JITTER_K)),
                night_cloud_tenths=min(10.0, max(0.0, kind.night_cloud_tenths + draws.uniform(-0.5, 0.5))),
                day_cloud_tenths=min(10.0, max(0.0, kind.day_cloud_tenths + draws.uniform(-1.0, 1.0))),
                wind_m_s=kind.wind_m_s * draws.uniform(0.8, 1.2),
                dryness_k=kind.dryness_k,
            )
        )
    return days


def _hour_state(days: list[_Day], index: int, solar_h: float) -> tuple[float, float, float, float]:
    """Temperature, dew point, wind and cloud at one solar hour of one day."""
    today, before, after = days[index], days[max(index - 1, 0)], days[min(index + 1, len(days) - 1)]
    if solar_h < MIN_AT_H:
        temp_c = _cooling(before.high_c, today.low_c, solar_h + 24.0 - MAX_AT_H)
    elif solar_h < MAX_AT_H:
        temp_c = _eased(today.low_c, today.high_c, (solar_h - MIN_AT_H) / (MAX_AT_H - MIN_AT_H))
    else:
        temp_c = _cooling(today.high_c, after.low_c, solar_h - MAX_AT_H)
    other, share = (before, 0.5 - solar_h / 24.0) if solar_h < 12.0 else (after, solar_h / 24.0 - 0.5)  # noqa: PLR2004
    dew_c = _mixed(today.low_c - today.dryness_k, other.low_c - other.dryness_k, share)
    low_c = _mixed(today.low_c, other.low_c, share)
    dew_c += DEW_FOLLOWS_FRAC * max(temp_c - low_c, 0.0)
    daylight = 0.5 - 0.5 * math.cos(2.0 * math.pi * (solar_h - 1.0) / 24.0)
    wind_m_s = _mixed(today.wind_m_s, other.wind_m_s, share) * (0.6 + 0.6 * daylight)
    night_cloud_tenths = _mixed(today.night_cloud_tenths, other.night_cloud_tenths, share)
    return (
        temp_c,
        min(dew_c, temp_c - 0.1),
        wind_m_s,
        _mixed(night_cloud_tenths, today.day_cloud_tenths, daylight),
    )


def _mixed(low: float, high: float, share: float) -> float:
    return low + (high - low) * share


def _eased(low: float, high: float, share: float) -> float:
    """Half a cosine from low to high, flat at both."""
    return _mixed(low, high, 0.5 - 0.5 * math.cos(math.pi * share))


def _cooling(high_c: float, low_c: float, past_h: float) -> float:
    """From a day's highest to the next morning's lowest, ``past_h`` after the first."""
    share = past_h / (24.0 - MAX_AT_H + MIN_AT_H)
    fallen = (1.0 - math.exp(-COOLING_BEND * share**COOLING_POWER)) / (1.0 - math.exp(-COOLING_BEND))
    return _mixed(high_c, low_c, fallen)
