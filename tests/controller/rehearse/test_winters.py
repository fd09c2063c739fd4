"""Invented winters: plausible each, different all, and the same date alike in any span."""

from __future__ import annotations

import statistics
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.errors import WeatherFileError
from controller.rehearse.files import read_weather
from controller.rehearse.sunpath import sun_at
from controller.rehearse.winters import invent_winter, invent_winter_text, winter_days
from controller.rehearse.winters_days import chain_start
from controller.rehearse.winters_hours import hours_of
from controller.rehearse.winters_kinds import NATURES, Kind, season_c
from controller.weatherfile import parse_weather
from controller.weatherseries import WeatherPoint, WeatherSeries

LATITUDE_DEG, LONGITUDE_DEG = 52.0, 0.0
NOVEMBER, MAY = datetime(2026, 11, 1, tzinfo=UTC), datetime(2027, 5, 1, tzinfo=UTC)
SEEDS = range(20)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
MULLINGAR = Path(__file__).parents[2] / "weather" / "ireland_mullingar_2017.csv.gz"

Days = list[list[WeatherPoint]]
"""Hours by day."""


def winter(
    seed: int, from_utc: datetime = NOVEMBER, to_utc: datetime = MAY, latitude_deg: float = LATITUDE_DEG
) -> WeatherSeries:
    return invent_winter(
        seed=seed,
        from_utc=from_utc,
        to_utc=to_utc,
        latitude_deg=latitude_deg,
        longitude_deg=LONGITUDE_DEG,
    )


def by_day(series: WeatherSeries, from_utc: datetime = NOVEMBER, to_utc: datetime = MAY) -> Days:
    days = []
    while from_utc < to_utc:
        days.append([series.at(from_utc + hour * HOUR) for hour in range(24)])
        from_utc += DAY
    return days


@pytest.fixture(scope="module")
def winters() -> list[Days]:
    return [by_day(winter(seed)) for seed in SEEDS]


def means_c(days: Days) -> list[float]:
    return [statistics.mean(point.temp_c for point in day) for day in days]


def cloud_tenths(points: list[WeatherPoint]) -> float:
    return statistics.mean(point.cloud_tenths or 0.0 for point in points)


def ranges_k(days: Days) -> list[float]:
    return [max(point.temp_c for point in day) - min(point.temp_c for point in day) for day in days]


def frost_share(days: Days) -> float:
    """Nights, 15 to 9 o'clock, with a whole hour below 0 °C."""
    nights = [early[15:] + late[:10] for early, late in pairwise(days)]
    return statistics.mean(min(point.temp_c for point in night) < 0.0 for night in nights)


def persistence(days: Days) -> float:
    """Correlation of daily means with the day after, the season taken out by a mean over six weeks."""
    means = means_c(days)
    apart = [each - statistics.mean(means[max(0, at - 20) : at + 21]) for at, each in enumerate(means)]
    return sum(a * b for a, b in pairwise(apart)) / sum(a * a for a in apart)


def test_every_hour_is_possible_weather(winters: list[Days]) -> None:
    """Dew point below temperature, cloud 0 to 10, wind not negative and no storm, light not negative."""
    for point in (point for days in winters for day in days for point in day):
        assert point.dew_point_c is not None
        assert point.dew_point_c <= point.temp_c
        assert point.cloud_tenths is not None
        assert 0.0 <= point.cloud_tenths <= 10.0
        assert point.wind_m_s is not None
        assert 0.0 <= point.wind_m_s < 22.0
        assert min(point.ghi_w_m2 or 0.0, point.dni_w_m2 or 0.0, point.dhi_w_m2 or 0.0) >= 0.0
        assert (point.dni_w_m2 or 0.0) < 1000.0


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_sun_shines_by_day_only_and_brightest_under_a_clear_sky(seed: int) -> None:
    """No light with the sun down all hour; global is diffuse plus the beam's share to 5 % of a day's sum."""
    series = winter(seed)
    total_w_m2 = parts_w_m2 = 0.0
    at = NOVEMBER
    while at < MAY:
        mean = series.mean_over(at, 3600.0)
        ups = [
            sun_at(at + timedelta(minutes=minute), LATITUDE_DEG, LONGITUDE_DEG).up_frac
            for minute in (0, 30, 60)
        ]
        if max(ups) < 0.0:
            assert mean.ghi_w_m2 == 0.0
            assert mean.dni_w_m2 == 0.0
        total_w_m2 += mean.ghi_w_m2 or 0.0
        parts_w_m2 += (mean.dhi_w_m2 or 0.0) + (mean.dni_w_m2 or 0.0) * max(ups[1], 0.0)
        at += HOUR
    assert parts_w_m2 == pytest.approx(total_w_m2, rel=0.05)


def test_spells_last(winters: list[Days]) -> None:
    """Each day's mean hangs on the one before by 0.4 to 0.95 in every winter; Mullingar in 2017: 0.64."""
    found = [persistence(days) for days in winters]
    assert min(found) > 0.4
    assert max(found) < 0.95
    real = read_weather(MULLINGAR)
    spring = by_day(real, datetime(2017, 1, 1, tzinfo=UTC), datetime(2017, 5, 1, tzinfo=UTC))
    assert statistics.mean(found) == pytest.approx(persistence(spring), abs=0.15)


def test_clear_nights_are_colder_and_clear_days_swing_wider(winters: list[Days]) -> None:
    """In December to February; over the whole winter a clear day's range is twice an overcast one's."""
    lows_c: dict[bool, list[float]] = {True: [], False: []}
    swings_k: dict[bool, list[float]] = {True: [], False: []}
    for days in winters:
        for at, (day, range_k) in enumerate(zip(days, ranges_k(days), strict=True)):
            if 30 <= at < 120 and not 2.5 < (night_cloud_tenths := cloud_tenths(day[:8])) < 9.0:
                lows_c[night_cloud_tenths <= 2.5].append(min(point.temp_c for point in day[:8]))
            if not 2.5 < cloud_tenths(day) < 9.0:
                swings_k[cloud_tenths(day) <= 2.5].append(range_k)
    assert statistics.mean(lows_c[True]) < statistics.mean(lows_c[False]) - 4.0
    assert statistics.mean(swings_k[True]) > 2.0 * statistics.mean(swings_k[False])
    assert 8.0 < statistics.mean(swings_k[True]) < 13.0
    assert 2.5 < statistics.mean(swings_k[False]) < 5.0


def test_daily_ranges_are_spread_as_at_a_real_station(winters: list[Days]) -> None:
    """Deciles of the daily range, January to April, within 1.5 K of Mullingar's."""
    real = by_day(read_weather(MULLINGAR), datetime(2017, 1, 1, tzinfo=UTC), datetime(2017, 5, 1, tzinfo=UTC))
    invented = [range_k for days in winters for range_k in ranges_k(days[61:])]
    pairs = zip(statistics.quantiles(ranges_k(real), n=10), statistics.quantiles(invented, n=10), strict=True)
    for real_k, invented_k in pairs:
        assert invented_k == pytest.approx(real_k, abs=1.5)


def test_winters_differ_in_severity_within_what_52_degrees_knows(winters: list[Days]) -> None:
    """Coldest hour from -18 to 0 °C and mostly from -11 to -4; frost nights from 2 to 75 in a hundred.

    Four Irish stations had 12 to 19 in a hundred in 2017, a mild maritime year: below this garden's middle.
    """
    coldest_c = sorted(min(point.temp_c for day in days for point in day) for days in winters)
    assert coldest_c[0] > -18.0
    assert coldest_c[-1] < 0.0
    assert -11.0 < statistics.median(coldest_c) < -4.0
    assert coldest_c[-1] - coldest_c[0] > 4.0
    shares = sorted(frost_share(days) for days in winters)
    assert 0.02 < shares[0] < 0.2
    assert 0.35 < shares[-1] < 0.75
    assert 0.15 < statistics.median(shares) < 0.4


def test_months_are_as_warm_as_they_should_be(winters: list[Days]) -> None:
    """Means over all seeds about a temperate garden's: January 2 to 5 °C, April 7 to 10 °C (from memory)."""
    january = statistics.mean(means_c([day for days in winters for day in days[61:92]]))
    april = statistics.mean(means_c([day for days in winters for day in days[151:181]]))
    assert 2.0 < january < 5.0
    assert 7.0 < april < 10.0


def test_months_have_the_sun_they_should(winters: list[Days]) -> None:
    """December, January and April are within half of 0.5, 0.7 and 3.7 kWh/m² a day (from memory)."""
    for first, last, usual_wh_m2 in ((30, 61, 500.0), (61, 92, 700.0), (151, 181, 3700.0)):
        found = statistics.mean(
            sum(point.ghi_w_m2 or 0.0 for point in day) for days in winters for day in days[first:last]
        )
        assert usual_wh_m2 / 1.5 < found < usual_wh_m2 * 1.5


def test_every_kind_of_day_comes_and_none_takes_over() -> None:
    """Each but snow has 3 to 35 days in a hundred; snow falls in most winters, seldom often."""
    first = chain_start((date(2026, 11, 1) - date(1970, 1, 1)).days) + 61
    counts: Counter[Kind] = Counter()
    snows = []
    for seed in SEEDS:
        kinds = [day.kind for day in winter_days(seed, first, first + 180, LATITUDE_DEG)]
        counts.update(kinds)
        snows.append(kinds.count(Kind.SNOW))
    shares = {kind: counts[kind] / counts.total() for kind in Kind}
    assert all(0.03 < share < 0.35 for kind, share in shares.items() if kind is not Kind.SNOW)
    assert 0.005 < shares[Kind.SNOW] < 0.06
    assert sum(count > 0 for count in snows) > len(SEEDS) / 2


def test_snow_falls_on_cold_days_and_is_named_in_the_header() -> None:
    """From noon on a date so named some hour within a day is below 3 °C; a summer's day names none."""
    named = 0
    for seed in range(6):
        series = winter(seed)
        words = series.header["snow_days"]
        for each in [] if words == "none" else words.split():
            noon = datetime.fromisoformat(f"{each}T12:00:00+00:00")
            if NOVEMBER < noon < MAY - DAY:
                named += 1
                assert min(series.at(noon + hour * HOUR).temp_c for hour in range(24)) < 3.0
    assert named > 3
    july = datetime(2027, 7, 1, tzinfo=UTC)
    assert winter(1, july, july + DAY).header["snow_days"] == "none"


def test_behind_a_front_the_air_turns_colder_and_the_wind_gets_up() -> None:
    """After a mild day: nine hours before the turn against a day later; wind six hours after it."""
    first = (date(2026, 11, 1) - date(1970, 1, 1)).days
    falls_k, winds_m_s, usual_m_s = [], [], []
    for seed in range(6):
        days = winter_days(seed, first, first + 180, LATITUDE_DEG)
        series = winter(seed)
        for before, today in pairwise(days[1:-1]):
            turn_utc = NOVEMBER + (today.number - first) * DAY + today.turn_h * HOUR
            usual_m_s.append(series.at(turn_utc).wind_m_s or 0.0)
            if today.kind is Kind.FRONT and before.kind is Kind.MILD:
                falls_k.append(series.at(turn_utc - 9 * HOUR).temp_c - series.at(turn_utc + 15 * HOUR).temp_c)
                winds_m_s.append(series.at(turn_utc + 6 * HOUR).wind_m_s or 0.0)
    assert len(falls_k) > 20
    assert statistics.mean(falls_k) > 2.0
    assert statistics.mean(winds_m_s) > 1.3 * statistics.mean(usual_m_s)


def text(seed: int, from_utc: datetime, to_utc: datetime, longitude_deg: float = LONGITUDE_DEG) -> str:
    return invent_winter_text(
        seed=seed,
        from_utc=from_utc,
        to_utc=to_utc,
        latitude_deg=LATITUDE_DEG,
        longitude_deg=longitude_deg,
    )


def test_the_seed_decides_everything() -> None:
    """Twice the same text, byte for byte; other seeds other weather."""
    end = NOVEMBER + 7 * DAY
    assert text(5, NOVEMBER, end) == text(5, NOVEMBER, end)
    assert len({text(seed, NOVEMBER, end) for seed in range(20)}) == 20


AROUND_THE_TURN = (datetime(2027, 7, 1, tzinfo=UTC), datetime(2027, 10, 10, tzinfo=UTC))


@lru_cache
def long_rows(seed: int, longitude_deg: float) -> list[str]:
    return rows_of(text(seed, *AROUND_THE_TURN, longitude_deg))


def rows_of(weather_text: str) -> list[str]:
    return [line for line in weather_text.splitlines() if line.startswith("20")]


@settings(max_examples=10, deadline=None)
@given(
    seed_and_longitude=st.sampled_from([(1, 0.0), (2, -80.5), (77, 174.9)]),
    start_h=st.integers(0, 24 * 90),
    hours=st.integers(1, 24 * 6),
)
def test_a_date_has_the_same_weather_in_any_span(
    seed_and_longitude: tuple[int, float], start_h: int, hours: int
) -> None:
    """Rows of a short span stand, letter for letter, in a long one, over the turn of the chain too."""
    seed, longitude_deg = seed_and_longitude
    start = AROUND_THE_TURN[0] + start_h * HOUR
    short = rows_of(text(seed, start, start + hours * HOUR, longitude_deg))
    long = long_rows(seed, longitude_deg)
    assert len(short) == hours + 3
    at = long.index(short[0])
    assert long[at : at + len(short)] == short


def test_the_turn_of_the_chain_brings_no_leap() -> None:
    """On 1 September temperatures go on from hour to hour by less than 4 K, as on any day."""
    border = datetime(2027, 9, 1, tzinfo=UTC)
    for seed in range(4):
        series = winter(seed, border - DAY, border + DAY)
        hours_c = [series.at(border - DAY + hour * HOUR).temp_c for hour in range(49)]
        assert max(abs(late - early) for early, late in pairwise(hours_c)) < 4.0


def test_it_reads_back_as_a_weather_file_that_covers_its_span() -> None:
    """Hourly without a gap, an hour longer at both ends, and it says that nothing was measured."""
    series = parse_weather(text(2, NOVEMBER, MAY), "w.csv")
    series.check_span(NOVEMBER, MAY)
    assert (series.first_utc, series.last_utc) == (NOVEMBER - HOUR, MAY + HOUR)
    assert "ever measured" in series.header["station"]
    assert series.timing.mean_ending
    with pytest.raises(WeatherFileError, match="swap the dates"):
        text(2, MAY, NOVEMBER)


@pytest.mark.parametrize("latitude_deg", [-45.0, 30.0, 41.0, 60.0, 65.0])
def test_other_latitudes_have_their_own_winter(latitude_deg: float) -> None:
    """Colder to the north in January, and in the south warm when the north is cold."""
    january = (date(2027, 1, 15) - date(1970, 1, 1)).days
    days = by_day(winter(4, latitude_deg=latitude_deg))
    mean_c = statistics.mean(means_c(days[61:92]))
    assert mean_c == pytest.approx(season_c(january, latitude_deg), abs=7.0)
    assert season_c(january, latitude_deg) > season_c(january, abs(latitude_deg) + 1.0)


def test_each_kind_of_day_names_the_odds_of_all() -> None:
    """A kind added without its column or row would shift all others."""
    assert len(NATURES) == len(Kind)
    assert all(len(nature.odds) == len(Kind) and sum(nature.odds) == 100 for nature in NATURES)


def test_hours_do_not_depend_on_how_long_before_they_began() -> None:
    """Three days of settling leave under a hundredth of a kelvin of how the walk began."""
    first = (date(2027, 1, 10) - date(1970, 1, 1)).days
    longer = winter_days(3, first - 20, first + 3, LATITUDE_DEG)
    at_s = first * 86400.0
    late = hours_of(longer[10:], LATITUDE_DEG, LONGITUDE_DEG, at_s, at_s + 3600.0)
    early = hours_of(longer, LATITUDE_DEG, LONGITUDE_DEG, at_s, at_s + 3600.0)
    assert late[0].temp_c == pytest.approx(early[0].temp_c, abs=0.01)


def test_the_season_has_the_means_that_are_said_of_it() -> None:
    """4.5 °C in mid-January and 14.0 °C in mid-July, and half a year later south of the equator."""
    january, july = ((date(2027, month, 15) - date(1970, 1, 1)).days for month in (1, 7))
    for number, mean_c in ((january, 4.5), (july, 14.0)):
        assert season_c(number, 52.0) == pytest.approx(mean_c, abs=0.05)
        assert season_c(number + 183, -52.0) == pytest.approx(mean_c, abs=0.05)
