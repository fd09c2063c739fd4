"""Dates to instants."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from controller.errors import WeatherFileError
from controller.rehearse.span import INVENTED_FROM, Dates, file_span, invented_span
from controller.weatherfile import COLUMN_LINE, parse_weather
from controller.weatherseries import WeatherSeries

DUBLIN = ZoneInfo("Europe/Dublin")
NEW_YORK = ZoneInfo("America/New_York")


def series(first: str, last: str) -> WeatherSeries:
    rows = f"{first},1,,,,,,\n{last},1,,,,,,\n"
    return parse_weather(f"# lat: 40\n# lon: -80\n{COLUMN_LINE}\n{rows}", "w.csv")


WINTER = series("2001-10-01T06:00:00Z", "2002-06-01T05:00:00Z")


def test_both_dates_are_included_in_the_sites_own_zone() -> None:
    """1 November to 30 April at New York: from its midnight, UTC-5 less one for summer time at the end."""
    span = file_span(WINTER, Dates(first=date(2001, 11, 1), last=date(2002, 4, 30)), NEW_YORK)
    assert span == (datetime(2001, 11, 1, 5, tzinfo=UTC), datetime(2002, 5, 1, 4, tzinfo=UTC))


def test_without_dates_a_file_is_run_from_end_to_end() -> None:
    """No more and no less than it holds."""
    assert file_span(WINTER, Dates(), NEW_YORK) == (WINTER.first_utc, WINTER.last_utc)


def test_an_edge_that_the_file_misses_by_an_hour_or_two_is_cut() -> None:
    """The first midnight lies two hours before the first row; the run begins with the row."""
    from_utc, until_utc = file_span(WINTER, Dates(first=date(2001, 10, 1), last=date(2002, 5, 31)), NEW_YORK)
    assert from_utc == WINTER.first_utc
    assert until_utc == datetime(2002, 6, 1, 4, tzinfo=UTC)
    year = series("2017-01-01T00:00:00Z", "2017-12-31T23:00:00Z")
    assert (
        file_span(year, Dates(first=date(2017, 12, 31), last=date(2017, 12, 31)), DUBLIN)[1] == year.last_utc
    )


def test_a_date_outside_the_file_stays_for_the_file_to_refuse() -> None:
    """It is not silently moved."""
    from_utc, until_utc = file_span(WINTER, Dates(first=date(2001, 9, 1), last=date(2002, 6, 30)), NEW_YORK)
    with pytest.raises(WeatherFileError, match="choose dates inside it"):
        WINTER.check_span(from_utc, until_utc)


def test_the_invented_span_is_a_fortnight_unless_told() -> None:
    """From the first date on, or up to the last; ``days`` counts from the first."""
    from_utc, until_utc = invented_span(Dates(), DUBLIN)
    assert from_utc.date() == INVENTED_FROM
    assert (until_utc - from_utc).days == 14
    assert invented_span(Dates(last=date(2027, 3, 14)), DUBLIN)[0] == datetime(2027, 3, 1, tzinfo=UTC)
    assert invented_span(Dates(first=date(2027, 1, 5), days=2), DUBLIN)[1] == datetime(2027, 1, 7, tzinfo=UTC)


def test_a_span_over_the_change_to_summer_time_is_an_hour_short() -> None:
    """28 March 2027 has 23 hours at Dublin."""
    from_utc, until_utc = invented_span(Dates(first=date(2027, 3, 28), days=1), DUBLIN)
    assert (until_utc - from_utc).total_seconds() == 23 * 3600


def test_the_invented_weather_has_an_end() -> None:
    """A year and a bit; a slip of the hand does not fill the memory."""
    span = invented_span(Dates(first=date(2027, 1, 1), days=400), DUBLIN)
    assert round((span[1] - span[0]).total_seconds() / 86400) == 400
    with pytest.raises(WeatherFileError, match="more than 400 days; choose fewer"):
        invented_span(Dates(first=date(2027, 1, 1), last=date(2028, 2, 5)), DUBLIN)


def test_dates_that_run_backwards_are_refused() -> None:
    """With both named."""
    with pytest.raises(WeatherFileError, match="from 2027-02-03 to 2027-02-01; swap them"):
        invented_span(Dates(first=date(2027, 2, 3), last=date(2027, 2, 1)), DUBLIN)
