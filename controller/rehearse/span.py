"""From dates in the site's zone to the two instants between which a rehearsal runs. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from controller.errors import WeatherFileError
from controller.weatherseries import GAP_MAX_S, WeatherSeries

INVENTED_FROM = date(2027, 2, 1)
INVENTED_DAYS = 14
INVENTED_DAYS_MAX = 400
"""A season and more; each day costs memory before the run begins."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dates:
    """What was asked for, in the site's zone; the last date and the number of days exclude each other."""

    first: date | None = None
    last: date | None = None
    days: int | None = None


def invented_span(dates: Dates, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The span without a weather file: the dates given, else a fortnight; both ends included."""
    more = timedelta(days=(dates.days or INVENTED_DAYS) - 1)
    first = dates.first
    if first is None:
        first = INVENTED_FROM if dates.last is None else dates.last - more
    last = dates.last or first + more
    if (last - first).days >= INVENTED_DAYS_MAX:
        raise WeatherFileError(
            f"from {first} to {last} are more than {INVENTED_DAYS_MAX} days; choose fewer, or give --weather"
        )
    return _midnights(first, last, zone)


def file_span(weather: WeatherSeries, dates: Dates, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The span with a weather file: the dates given, else as far as the file reaches.

    A file that begins after the first midnight or ends before the last by no more than 3 h shortens
    the span; anything worse is left for the file's own check to refuse.
    """
    first = dates.first or weather.first_utc.astimezone(zone).date()
    last = dates.last
    if last is None and dates.days is not None:
        last = first + timedelta(days=dates.days - 1)
    ends = weather.last_utc.astimezone(zone).date()
    # A first date past the file's end is one that the file does not hold, not dates in the wrong order.
    from_utc, until_utc = _midnights(first, last or max(first, ends), zone)
    slack = timedelta(seconds=GAP_MAX_S)
    if dates.first is None or from_utc < weather.first_utc <= from_utc + slack:
        from_utc = max(from_utc, weather.first_utc)
    short = until_utc - slack <= weather.last_utc < until_utc
    if short or (last is None and weather.last_utc > from_utc):
        until_utc = min(until_utc, weather.last_utc)
    return from_utc, until_utc


def _midnights(from_date: date, to_date: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """Midnight before the first and after the last date, in UTC."""
    if to_date < from_date:
        raise WeatherFileError(f"the dates run backwards: from {from_date} to {to_date}; swap them")
    return _midnight(from_date, zone), _midnight(to_date + timedelta(days=1), zone)


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), zone).astimezone(UTC)
