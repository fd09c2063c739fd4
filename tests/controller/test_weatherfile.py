"""Weather files: what is read, what is refused, and what lies between the rows."""

from __future__ import annotations

import gzip
import time
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.errors import WeatherFileError
from controller.weatherfile import COLUMN_LINE, parse_weather
from controller.weatherseries import WeatherPoint, WeatherSeries

PITTSBURGH = Path(__file__).parent.parent / "data" / "pittsburgh_tmy3.csv.gz"
HOUR = timedelta(hours=1)
START = datetime(2027, 2, 1, 0, 0, tzinfo=UTC)


def utc_text(hour: float) -> str:
    return (START + hour * HOUR).strftime("%Y-%m-%dT%H:%M:%SZ")


def weather_text(*rows: str, header: str = "# lat: 52.0\n# lon: -1.5\n# irradiance: mean_ending") -> str:
    return "\n".join((header, COLUMN_LINE, *rows)) + "\n"


def row(hour: float, cells: str = "1,0,2,0,0,0,5") -> str:
    return f"{utc_text(hour)},{cells}"


def series(*cells: str, header: str = "# lat: 52.0\n# lon: -1.5\n# irradiance: mean_ending") -> WeatherSeries:
    rows = [row(hour, text) for hour, text in enumerate(cells)]
    return parse_weather(weather_text(*rows, header=header), "w.csv")


@pytest.fixture(scope="module")
def pittsburgh() -> WeatherSeries:
    return parse_weather(gzip.decompress(PITTSBURGH.read_bytes()).decode(), "pittsburgh_tmy3.csv.gz")


def test_the_pittsburgh_year_loads_as_it_is(pittsburgh: WeatherSeries) -> None:
    """Its timing line in plain words stands in place of ``irradiance``; all its months are whole."""
    assert (pittsburgh.latitude_deg, pittsburgh.longitude_deg) == (40.35, -79.92)
    assert pittsburgh.timing.mean_ending
    assert pittsburgh.first_utc == datetime(2001, 10, 1, 6, tzinfo=UTC)
    pittsburgh.check_span(pittsburgh.first_utc, pittsburgh.last_utc)


def test_the_pittsburgh_minimum_is_that_of_its_list(pittsburgh: WeatherSeries) -> None:
    """-16.7 °C is the coldest hour from November to April, as the data's own table says."""
    at, lowest_c = datetime(2001, 11, 1, tzinfo=UTC), 99.0
    while at < datetime(2002, 5, 1, tzinfo=UTC):
        lowest_c = min(lowest_c, pittsburgh.at(at).temp_c)
        at += HOUR
    assert lowest_c == pytest.approx(-16.7)


def test_temperatures_lie_on_a_straight_line_between_rows() -> None:
    """A quarter past the hour is a quarter of the way."""
    point = series("0,-4,1,0,0,0,0", "4,0,3,0,0,0,8").at(START + 0.25 * HOUR)
    assert (point.temp_c, point.dew_point_c, point.wind_m_s, point.cloud_tenths) == (1.0, -3.0, 1.5, 2.0)


def test_a_step_mean_is_the_middle_of_the_line() -> None:
    """Within one hour the mean of a line is its middle, and that is the point's instant."""
    point = series("0,0,0,0,0,0,0", "6,0,0,0,0,0,0").mean_over(START + 0.5 * HOUR, 1200.0)
    assert point.utc == START + timedelta(minutes=40)
    assert point.temp_c == pytest.approx(4.0)


def test_means_belong_to_the_hour_that_ends_at_the_row() -> None:
    """``mean_ending``: the row at one o'clock speaks for midnight to one."""
    weather = series("0,0,0,0,0,0,0", "0,0,0,100,0,0,0", "0,0,0,300,0,0,0")
    assert weather.mean_over(START, 3600.0).ghi_w_m2 == 100.0
    assert weather.mean_over(START + HOUR, 3600.0).ghi_w_m2 == 300.0
    assert weather.mean_over(START + 0.5 * HOUR, 3600.0).ghi_w_m2 == pytest.approx(200.0)
    assert weather.at(START + HOUR).ghi_w_m2 == 100.0


def test_instants_lie_on_a_straight_line() -> None:
    """``instant``: half past is half way."""
    header = "# lat: 52\n# lon: 0\n# irradiance: instant"
    weather = series("0,0,0,100,,,0", "0,0,0,300,,,0", header=header)
    assert weather.at(START + 0.5 * HOUR).ghi_w_m2 == pytest.approx(200.0)
    assert weather.at(START + 0.5 * HOUR).dni_w_m2 is None


def test_a_satellite_instant_after_the_hour_is_shifted_and_nothing_else_is() -> None:
    """An offset in the timing line moves irradiance by a quarter of an hour, temperatures stay."""
    header = "# lat: 45\n# lon: 8\n# timing: temp are values at utc; ghi are satellite values at utc + 0.25 h"
    weather = series("0,0,0,0,0,0,0", "4,0,0,400,0,0,0", "8,0,0,400,0,0,0", header=header)
    at = weather.at(START + 1.0 * HOUR)
    assert at.temp_c == pytest.approx(4.0)
    assert at.ghi_w_m2 == pytest.approx(300.0)
    assert weather.at(START + 1.5 * HOUR).ghi_w_m2 == pytest.approx(400.0)
    assert weather.mean_over(START + HOUR, 1800.0).ghi_w_m2 == pytest.approx((350 * 900 + 400 * 900) / 1800)


def test_a_file_without_irradiance_need_not_say_what_it_means() -> None:
    """Blanks are None, never zero."""
    weather = series("1,,,,,,", "2,,,,,,", header="# lat: 53\n# lon: -6")
    assert weather.at(START) == WeatherPoint(START, 1.0, None, None, None, None, None, None)


def test_a_blank_of_up_to_three_hours_is_bridged_and_a_longer_one_stays_blank() -> None:
    """Dew point: two blank hours lie on the line, three (a gap of four hours) are None."""
    weather = series("0,0,,,,,", "0,,,,,,", "0,,,,,,", "0,3,,,,,", header="# lat: 53\n# lon: -6")
    assert weather.at(START + 2 * HOUR).dew_point_c == pytest.approx(2.0)
    longer = series("0,0,,,,,", "0,,,,,,", "0,,,,,,", "0,,,,,,", "0,4,,,,,", header="# lat: 53\n# lon: -6")
    assert longer.at(START + 2 * HOUR).dew_point_c is None


def test_a_gap_over_three_hours_is_refused_only_where_it_is_asked_for() -> None:
    """Missing rows and blank temperatures count alike."""
    rows = [row(0), row(1), row(2), row(6), row(7), row(8, ",,,,,,"), row(11), row(12)]
    weather = parse_weather(weather_text(*rows), "w.csv")
    weather.check_span(START, START + 2 * HOUR)
    weather.check_span(START + 6 * HOUR, START + 7 * HOUR)
    with pytest.raises(WeatherFileError, match="over 3 h between 2027-02-01T02:00:00Z and 2027-02-01T06"):
        weather.check_span(START + HOUR, START + 7 * HOUR)
    with pytest.raises(WeatherFileError, match="between 2027-02-01T07:00:00Z and 2027-02-01T11"):
        weather.check_span(START + 8 * HOUR, START + 9 * HOUR)
    with pytest.raises(WeatherFileError, match="no temperature near"):
        weather.at(START + 4 * HOUR)
    with pytest.raises(WeatherFileError, match="no temperature near"):
        weather.mean_over(START + HOUR, 7200.0)


def test_a_gap_of_exactly_three_hours_is_bridged() -> None:
    """The bound itself is allowed."""
    weather = parse_weather(weather_text(row(0, "0,,,,,,"), row(3, "3,,,,,,")), "w.csv")
    weather.check_span(START, START + 3 * HOUR)
    assert weather.at(START + HOUR).temp_c == pytest.approx(1.0)


@pytest.mark.parametrize(("early_h", "late_h"), [(-1, 1), (0, 3), (-5, -4), (2, 1)])
def test_a_span_outside_the_file_or_backwards_is_refused(early_h: float, late_h: float) -> None:
    """The error names the file's reach or the order of the dates."""
    weather = series("0,,,,,,", "1,,,,,,", "2,,,,,,")
    with pytest.raises(WeatherFileError, match=r"choose dates inside it|swap the dates"):
        weather.check_span(START + early_h * HOUR, START + late_h * HOUR)


@pytest.mark.parametrize(("hour", "dt_s"), [(-0.1, 60.0), (2.0, 60.0), (1.99, 60.0), (5.0, 0.0), (1.0, -1.0)])
def test_asking_outside_the_file_is_an_error(hour: float, dt_s: float) -> None:
    """Nothing is made up past the last row."""
    weather = series("0,,,,,,", "1,,,,,,", "2,,,,,,")
    with pytest.raises(WeatherFileError):
        weather.mean_over(START + hour * HOUR, dt_s)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no column line"),
        ("# lat: 52\n# lon: 0\nutc,temp_c\n", r"line 3: the column line reads 'utc,temp_c'; it must read"),
        (weather_text(row(0), row(1), header="# lon: 0\n# irradiance: instant"), "header has no lat"),
        (weather_text(row(0), row(1), header="# lat: 95\n# lon: 0"), "lat is '95'; give decimal degrees"),
        (weather_text(row(0), row(1), header="# lat: x\n# lon: 0"), "lat is 'x'"),
        (weather_text(row(0), row(1), header="# lat: nan\n# lon: 0"), "lat is 'nan'"),
        (weather_text(row(0), row(1), header="# lat: 5\n# lon: 0"), "does not say what irradiance means"),
        (weather_text(row(0), row(1), header="# lat: 5\n# lon: 0\n# irradiance: sum"), "irradiance is 'sum'"),
        (
            weather_text(row(0), row(1), header="# lat: 5\n# lon: 0\n# timing: values at utc + 7 h"),
            "timing gives '7' h after utc; write hours from 0 to 1",
        ),
        (weather_text(row(0), row(1, "1,2,3")), r"w.csv, line 6: 4 cells instead of 8"),
        (weather_text(row(0), row(1, "warm,0,2,0,0,0,5")), "line 6: temp_c is 'warm'; write a plain number"),
        (weather_text(row(0), row(1, "nan,0,2,0,0,0,5")), "temp_c is nan; it must lie"),
        (weather_text(row(0), row(1, "1,0,2,0,0,0,inf")), "cloud_tenths is inf"),
        (weather_text(row(0), row(1, "1,0,-2,0,0,0,5")), "wind_m_s is -2"),
        (weather_text(row(0), row(1, "61,0,2,0,0,0,5")), "temp_c is 61"),
        (weather_text(row(1), row(0)), "does not come after the row before"),
        (weather_text(row(0), row(0)), "does not come after the row before"),
        (weather_text(row(0), "2027-02-01T01:00:00,1,0,2,0,0,0,5"), "has no zone; end it with Z"),
        (weather_text(row(0), "noon,1,0,2,0,0,0,5"), "utc is 'noon'; write it as"),
        (weather_text(row(0)), "holds 1 rows"),
        (weather_text(row(0, ",,,,,,"), row(1, ",,,,,,")), "temp_c is blank in every row"),
    ],
)
def test_a_bad_file_is_refused_with_place_and_remedy(text: str, said: str) -> None:
    """The error names the file, the line where there is one, what is wrong and what to do."""
    with pytest.raises(WeatherFileError, match=said) as caught:
        parse_weather(text, "w.csv")
    assert str(caught.value).startswith("w.csv")


def test_line_ends_blank_lines_and_a_byte_order_mark_do_no_harm() -> None:
    """A file saved by a spreadsheet loads; a night offset of the radiation meter is darkness."""
    text = "\ufeff" + weather_text(row(0), "", "# a remark", row(1, "1,0,2,-3,0,0,5")).replace("\n", "\r\n")
    assert parse_weather(text, "w.csv").mean_over(START, 3600.0).ghi_w_m2 == 0.0


@settings(max_examples=60, deadline=None)
@given(
    amounts=st.lists(st.floats(0.0, 1500.0), min_size=3, max_size=12),
    cuts=st.lists(st.floats(0.0, 1.0), max_size=12),
)
def test_means_conserve_energy_over_any_steps(amounts: list[float], cuts: list[float]) -> None:
    """Mean times length over any partition sums to what the rows hold (1 W s in a day)."""
    weather = series(*(f"0,0,0,{amount!r},0,0,0" for amount in amounts))
    whole_s = 3600.0 * (len(amounts) - 1)
    edges_s = sorted({0.0, whole_s, *(round(cut * whole_s) for cut in cuts)})
    total_ws = 0.0
    for early_s, late_s in pairwise(edges_s):
        mean = weather.mean_over(START + timedelta(seconds=early_s), late_s - early_s).ghi_w_m2
        assert mean is not None
        total_ws += mean * (late_s - early_s)
    assert total_ws == pytest.approx(3600.0 * sum(amounts[1:]), abs=1.0)


@settings(max_examples=60, deadline=None)
@given(
    temps=st.lists(st.floats(-20.0, 20.0), min_size=3, max_size=8),
    asks=st.lists(st.tuples(st.floats(0.0, 1.0), st.floats(1.0, 9000.0)), min_size=1, max_size=8),
)
def test_the_answer_does_not_depend_on_what_was_asked_before(
    temps: list[float], asks: list[tuple[float, float]]
) -> None:
    """One series asked in any order answers as a fresh one does, and means stay within the rows' range."""
    cells = [f"{temp!r},0,1,10,0,0,0" for temp in temps]
    used = series(*cells)
    whole_s = 3600.0 * (len(temps) - 1)
    for share, dt_s in asks:
        start = START + timedelta(seconds=share * whole_s)
        if share * whole_s + dt_s > whole_s:
            continue
        answer = used.mean_over(start, dt_s)
        assert answer == series(*cells).mean_over(start, dt_s)
        assert min(temps) - 1e-6 <= answer.temp_c <= max(temps) + 1e-6


def test_a_step_costs_a_few_microseconds(pittsburgh: WeatherSeries) -> None:
    """Far below what a winter of one-minute steps can bear; the bound is loose for busy machines."""
    at, step = pittsburgh.first_utc, timedelta(minutes=1)
    began_at_s = time.perf_counter()
    for _ in range(20_000):
        pittsburgh.mean_over(at, 60.0)
        at += step
    assert (time.perf_counter() - began_at_s) / 20_000 < 30e-6
