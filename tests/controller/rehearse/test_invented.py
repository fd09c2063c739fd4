"""The invented fortnight: seeded, frosty, in the weather file's own form."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from controller.rehearse.invented import invent_weather, invent_weather_text
from controller.rehearse.sunpath import sun_at
from controller.weatherfile import parse_weather
from controller.weatherseries import WeatherSeries
from tests.controller.rehearse.lab import LATITUDE_DEG, LONGITUDE_DEG

FROM = datetime(2027, 2, 1, tzinfo=UTC)
UNTIL = FROM + timedelta(days=14)


def text(seed: int = 1) -> str:
    return invent_weather_text(
        seed=seed, from_utc=FROM, to_utc=UNTIL, latitude_deg=LATITUDE_DEG, longitude_deg=LONGITUDE_DEG
    )


def weather(seed: int = 1, from_utc: datetime = FROM, to_utc: datetime = UNTIL) -> WeatherSeries:
    return invent_weather(
        seed=seed, from_utc=from_utc, to_utc=to_utc, latitude_deg=LATITUDE_DEG, longitude_deg=LONGITUDE_DEG
    )


def temperatures(series: WeatherSeries, from_utc: datetime, days: int) -> list[float]:
    return [series.at(from_utc + timedelta(hours=hour)).temp_c for hour in range(24 * days)]


def test_the_same_seed_gives_the_same_text_and_another_seed_another() -> None:
    """Everything random comes from the seed."""
    assert text(1) == text(1)
    assert text(1) != text(2)


@pytest.mark.parametrize("seed", [1, 2, 3, 77])
def test_a_fortnight_brings_frost_and_mild_damp_days(seed: int) -> None:
    """At least four nights below -2 °C, one below -7 °C, a day that never falls below 4 °C."""
    series = weather(seed)
    lows_c = [min(temperatures(series, FROM + timedelta(days=day), 1)) for day in range(14)]
    assert sum(low_c < -2.0 for low_c in lows_c) >= 4
    assert min(lows_c) < -7.0
    assert max(lows_c) > 4.0


def test_it_reads_back_as_a_weather_file_that_covers_its_span() -> None:
    """The text is in the form that any weather file has, and says that nothing was measured."""
    series = parse_weather(text(), "invented")
    series.check_span(FROM, UNTIL)
    assert "invented" in series.header["station"]
    assert series.timing.mean_ending


def test_the_sun_shines_by_day_only_and_clear_days_are_bright() -> None:
    """Irradiance is zero with the sun down; the best hour of the fortnight is a clear one."""
    series = weather()
    brightest_w_m2 = 0.0
    for hour in range(24 * 14):
        at = FROM + timedelta(hours=hour)
        mean = series.mean_over(at, 3600.0)
        assert mean.ghi_w_m2 is not None
        assert mean.dni_w_m2 is not None
        brightest_w_m2 = max(brightest_w_m2, mean.dni_w_m2)
        ends_up = (
            sun_at(at, LATITUDE_DEG, LONGITUDE_DEG).up_frac,
            sun_at(at + timedelta(hours=1), LATITUDE_DEG, LONGITUDE_DEG).up_frac,
        )
        if max(ends_up) < -0.02:
            assert mean.ghi_w_m2 == 0.0
    assert brightest_w_m2 > 500.0


def test_the_dew_point_never_exceeds_the_temperature() -> None:
    """Air holds no more than it can."""
    series = weather()
    for hour in range(24 * 14):
        point = series.at(FROM + timedelta(hours=hour))
        assert point.dew_point_c is not None
        assert point.dew_point_c < point.temp_c


def test_summer_is_warmer() -> None:
    """The season lifts the same kinds of day."""
    july = datetime(2027, 7, 1, tzinfo=UTC)
    summer = temperatures(weather(1, july, july + timedelta(days=14)), july, 14)
    winter = temperatures(weather(), FROM, 14)
    assert sum(summer) / len(summer) > sum(winter) / len(winter) + 8.0


def test_a_date_has_the_same_weather_in_any_span() -> None:
    """A single day is cut out of the fortnight, so a night can be looked at alone."""
    day = FROM + timedelta(days=6)
    alone = weather(1, day, day + timedelta(days=1))
    assert temperatures(alone, day, 1) == temperatures(weather(), day, 1)


def test_clear_nights_cool_fastest_in_the_evening() -> None:
    """Over the hardest nights more than half of the fall from the day's highest has come by 22 o'clock."""
    for night in (4, 5, 6):
        dusk = FROM + timedelta(days=night - 1, hours=14)
        hours_c = temperatures(weather(), dusk, 1)
        high_c, low_c = hours_c[0], min(hours_c)
        assert (high_c - hours_c[8]) / (high_c - low_c) > 0.5
        falls_k = [early - late for early, late in pairwise(hours_c[:18])]
        assert 2 <= falls_k.index(max(falls_k)) <= 6


def test_frosty_days_are_dry_but_not_like_a_desert() -> None:
    """At two on clear days relative humidity (Magnus, over water) is 45 to 80 %, on mild damp ones above."""
    for day, low_pct, high_pct in ((5, 45.0, 80.0), (6, 45.0, 80.0), (1, 80.0, 100.0)):
        point = weather().at(FROM + timedelta(days=day, hours=14))
        assert point.dew_point_c is not None
        ratio = math.exp(
            17.62 * point.dew_point_c / (243.12 + point.dew_point_c)
            - 17.62 * point.temp_c / (243.12 + point.temp_c)
        )
        assert low_pct < 100.0 * ratio < high_pct
