"""Real files as they are: each loads and can be walked through its winter minute by minute."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from controller.errors import WeatherFileError
from controller.rehearse.files import read_weather
from controller.rehearse.irradiance import irradiance_of
from controller.rehearse.sunpath import sun_at
from controller.weatherseries import WeatherSeries

HERE = Path(__file__).parent.parent
PITTSBURGH = HERE / "data" / "pittsburgh_tmy3.csv.gz"
MULLINGAR = HERE / "weather" / "ireland_mullingar_2017.csv.gz"
PIEDMONT = HERE / "weather" / "piedmont_pvgis_tmy.csv.gz"

FILES = pytest.mark.parametrize(
    ("path", "first", "last", "coldest_c"),
    [
        (PITTSBURGH, (2001, 11, 1), (2002, 5, 1), -16.7),
        (PIEDMONT, (2001, 11, 1), (2002, 5, 1), -2.3),
        (MULLINGAR, (2017, 1, 1), (2017, 5, 1), -4.9),
        (MULLINGAR, (2017, 11, 1), (2017, 12, 31), None),
    ],
    ids=["pittsburgh", "piedmont", "mullingar spring", "mullingar autumn"],
)


@FILES
def test_a_winter_is_walked_minute_by_minute(
    path: Path, first: tuple[int, int, int], last: tuple[int, int, int], coldest_c: float | None
) -> None:
    """Every step has weather and light; the coldest hour is the one the data's own table names (to 0.1)."""
    series = read_weather(path)
    at, end = datetime(*first, tzinfo=UTC), datetime(*last, tzinfo=UTC)
    series.check_span(at, end)
    lowest_c, minute, sun = 99.0, timedelta(minutes=1), sun_at(at, series.latitude_deg, series.longitude_deg)
    while at < end:
        point = series.mean_over(at, 60.0)
        if at.minute % 10 == 0:
            sun = sun_at(point.utc, series.latitude_deg, series.longitude_deg)
            assert min(irradiance_of(point, sun)) >= 0.0
        lowest_c = min(lowest_c, point.temp_c)
        at += minute
    if coldest_c is not None:
        assert lowest_c == pytest.approx(coldest_c, abs=0.1)


def day_sum_wh_m2(series: WeatherSeries, year: int, month: int) -> float:
    """Mean daily global irradiation of a month at ten-minute steps, from what the file has."""
    at, total_wh_m2, days = datetime(year, month, 1, tzinfo=UTC), 0.0, 28
    for _ in range(days * 144):
        point = series.mean_over(at, 600.0)
        sun = sun_at(point.utc, series.latitude_deg, series.longitude_deg)
        total_wh_m2 += irradiance_of(point, sun).ghi_w_m2 / 6.0
        at += timedelta(minutes=10)
    return total_wh_m2 / days


@pytest.mark.parametrize(
    ("year", "month", "low", "high"),
    [(2017, 12, 300.0, 650.0), (2017, 1, 400.0, 850.0), (2017, 2, 800.0, 1500.0), (2017, 4, 2900.0, 4600.0)],
)
def test_where_neither_sun_nor_cloud_was_recorded_the_months_have_plausible_sun(
    year: int, month: int, low: float, high: float
) -> None:
    """Wh/m² a day about the Irish midlands' long means, 0.45, 0.6, 1.1 and 3.7 kWh/m² (from memory)."""
    assert low < day_sum_wh_m2(read_weather(MULLINGAR), year, month) < high


@pytest.mark.parametrize(("path", "bound_frac"), [(PITTSBURGH, 0.25), (PIEDMONT, 0.25)], ids=["us", "italy"])
def test_the_estimate_holds_a_winter_s_sun_within_a_quarter(path: Path, bound_frac: float) -> None:
    """November to April with irradiance and cloud hidden, against what the file has."""
    series = read_weather(path)
    at, real, estimated = datetime(2001, 11, 1, tzinfo=UTC), 0.0, 0.0
    while at < datetime(2002, 5, 1, tzinfo=UTC):
        point = series.mean_over(at, 1200.0)
        sun = sun_at(point.utc, series.latitude_deg, series.longitude_deg)
        hidden = point._replace(ghi_w_m2=None, dni_w_m2=None, dhi_w_m2=None, cloud_tenths=None)
        real += point.ghi_w_m2 or 0.0
        estimated += irradiance_of(hidden, sun).ghi_w_m2
        at += timedelta(minutes=20)
    assert estimated == pytest.approx(real, rel=bound_frac)


def test_the_summer_that_a_file_leaves_out_is_refused_with_its_ends() -> None:
    """Asked from May to October the error names the gap, and asked beyond the file its reach."""
    series = read_weather(MULLINGAR)
    with pytest.raises(
        WeatherFileError, match=r"no temperature for over 3 h between 2017-05-31T\S+ and 2017-10"
    ):
        series.check_span(datetime(2017, 5, 1, tzinfo=UTC), datetime(2017, 11, 1, tzinfo=UTC))
    with pytest.raises(WeatherFileError, match="choose dates inside it"):
        series.check_span(datetime(2017, 11, 1, tzinfo=UTC), datetime(2018, 4, 1, tzinfo=UTC))
