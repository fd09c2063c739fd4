"""Weather between the rows of a file: linear in time, means over any step.

Pure, and quick for steps that follow each other: the coefficients of the current stretch are kept.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import NamedTuple

from controller.errors import WeatherFileError

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
GAP_MAX_S = 3 * 3600.0
IRRADIANCE_COLUMNS = ("ghi_w_m2", "dni_w_m2", "dhi_w_m2")
COLUMNS = ("temp_c", "dew_point_c", "wind_m_s", *IRRADIANCE_COLUMNS, "cloud_tenths")

_Line = tuple[float | None, float]
"""Amount at the start of a stretch and its slope per second; None where the file has nothing."""


class WeatherPoint(NamedTuple):
    """Weather at an instant, or its means over a step; ``None`` where the file has nothing.

    A tuple and not a dataclass because one is made in every simulated step.
    """

    utc: datetime
    """The instant, or the middle of the step."""
    temp_c: float
    dew_point_c: float | None
    wind_m_s: float | None
    ghi_w_m2: float | None
    dni_w_m2: float | None
    dhi_w_m2: float | None
    cloud_tenths: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class IrradianceTiming:
    """What an irradiance cell means."""

    mean_ending: bool
    """A mean over the interval that ends at the row; otherwise the amount at an instant."""
    offset_s: float
    """How long after the row that instant lies, 0 to 3600; 0 for means."""


class WeatherSeries:
    """One weather file, ready to be asked; the answer never depends on what was asked before."""

    def __init__(
        self,
        *,
        file_name: str,
        latitude_deg: float,
        longitude_deg: float,
        header: Mapping[str, str],
        rows_at_s: Sequence[float],
        columns: Mapping[str, Sequence[float | None]],
        timing: IrradianceTiming,
    ) -> None:
        """Take rows in increasing order; blanks of up to 3 h are filled along a straight line."""
        self.file_name = file_name
        self.latitude_deg = latitude_deg
        self.longitude_deg = longitude_deg
        self.header = dict(header)
        self.timing = timing
        self._rows_at_s = list(rows_at_s)
        self._cells = {name: _fill_short_gaps(self._rows_at_s, columns[name]) for name in COLUMNS}
        self._knots_at_s = self._rows_at_s
        if timing.offset_s:
            shifted = {at_s + timing.offset_s for at_s in self._rows_at_s[:-1]}
            self._knots_at_s = sorted(shifted.union(self._rows_at_s))
        self._index = -1
        self._low_s = self._high_s = 0.0
        self._lines: tuple[_Line, ...] = ()

    @property
    def first_utc(self) -> datetime:
        """Instant of the first row."""
        return _utc(self._rows_at_s[0])

    @property
    def last_utc(self) -> datetime:
        """Instant of the last row."""
        return _utc(self._rows_at_s[-1])

    def check_span(self, from_utc: datetime, to_utc: datetime) -> None:
        """Raise WeatherFileError unless temperatures cover the whole span with no gap over 3 h."""
        from_s, to_s = _seconds(from_utc), _seconds(to_utc)
        if from_s > to_s:
            raise WeatherFileError(f"from {_iso(from_s)} to {_iso(to_s)} runs backwards; swap the dates")
        cells = zip(self._rows_at_s, self._cells["temp_c"], strict=True)
        known_at_s = [at_s for at_s, cell in cells if cell is not None]
        first = bisect_right(known_at_s, from_s) - 1
        last = bisect_left(known_at_s, to_s)
        if first < 0 or last == len(known_at_s):
            raise WeatherFileError(
                f"{self.file_name}: has temperatures from {_iso(known_at_s[0])}"
                f" to {_iso(known_at_s[-1])}, not from {_iso(from_s)} to {_iso(to_s)};"
                " choose dates inside it"
            )
        for early_s, late_s in pairwise(known_at_s[first : last + 1]):
            if late_s - early_s > GAP_MAX_S:
                raise WeatherFileError(
                    f"{self.file_name}: no temperature for over 3 h between {_iso(early_s)}"
                    f" and {_iso(late_s)}; choose dates that leave this out"
                )

    def at(self, utc: datetime) -> WeatherPoint:
        """The weather at ``utc``; raises WeatherFileError outside the file or inside a gap.

        Where irradiance comes as means, the mean of the interval that ends at or after ``utc``.
        """
        at_s = _seconds(utc)
        if not self._low_s < at_s <= self._high_s:
            self._seek(at_s, ending_here=True)
        return self._point(utc, at_s - self._low_s)

    def mean_over(self, start_utc: datetime, dt_s: float) -> WeatherPoint:
        """Means over the ``dt_s`` seconds from ``start_utc``; ``utc`` is the middle of the step.

        With ``dt_s`` 0 the weather at ``start_utc``. Raises WeatherFileError outside the file, inside
        a gap, or for a negative ``dt_s``. A column that is blank in any part of the step is None.
        """
        start_s = _seconds(start_utc)
        end_s = start_s + dt_s
        if not (self._low_s <= start_s and end_s <= self._high_s) or dt_s <= 0.0:
            if dt_s == 0.0:
                return self.at(start_utc)
            if dt_s < 0.0:
                raise WeatherFileError(f"a step of {dt_s} s runs backwards; give seconds above 0")
            self._seek(start_s, ending_here=False)
            if end_s > self._high_s:
                return self._mean_of_many(start_utc, start_s, end_s)
        return self._point(start_utc + timedelta(seconds=dt_s / 2), (start_s + end_s) / 2 - self._low_s)

    def _mean_of_many(self, start_utc: datetime, start_s: float, end_s: float) -> WeatherPoint:
        """Means over a step that reaches over several stretches, each weighted by its length."""
        sums: list[float | None] = [0.0] * len(COLUMNS)
        at_s = start_s
        while at_s < end_s:
            self._seek(at_s, ending_here=False)
            until_s = min(end_s, self._high_s)
            middle_s = (at_s + until_s) / 2 - self._low_s
            for place, (start, slope) in enumerate(self._lines):
                so_far = sums[place]
                if start is None or so_far is None:
                    sums[place] = None
                else:
                    sums[place] = so_far + (start + slope * middle_s) * (until_s - at_s)
            at_s = until_s
        means = [None if total is None else total / (end_s - start_s) for total in sums]
        temp_c, *others = means
        if temp_c is None:
            raise self._no_temperature(start_s)
        return WeatherPoint(start_utc + timedelta(seconds=(end_s - start_s) / 2), temp_c, *others)

    def _point(self, utc: datetime, past_s: float) -> WeatherPoint:
        """The current stretch's lines at ``past_s`` after its start, written out for speed."""
        temp, dew, wind, ghi, dni, dhi, cloud = self._lines
        temp_c = temp[0]
        if temp_c is None:
            raise self._no_temperature(self._low_s + past_s)
        return WeatherPoint(
            utc,
            temp_c + temp[1] * past_s,
            None if dew[0] is None else dew[0] + dew[1] * past_s,
            None if wind[0] is None else wind[0] + wind[1] * past_s,
            None if ghi[0] is None else ghi[0] + ghi[1] * past_s,
            None if dni[0] is None else dni[0] + dni[1] * past_s,
            None if dhi[0] is None else dhi[0] + dhi[1] * past_s,
            None if cloud[0] is None else cloud[0] + cloud[1] * past_s,
        )

    def _seek(self, at_s: float, *, ending_here: bool) -> None:
        """Make the stretch current that begins at ``at_s`` or, with ``ending_here``, ends there."""
        knots_at_s = self._knots_at_s
        if not knots_at_s[0] <= at_s <= knots_at_s[-1] or (at_s == knots_at_s[-1] and not ending_here):
            raise WeatherFileError(
                f"{self.file_name}: {_iso(at_s)} lies outside the file, which reaches from"
                f" {_iso(knots_at_s[0])} to {_iso(knots_at_s[-1])}; choose dates inside it"
            )
        index = bisect_right(knots_at_s, at_s) - 1
        if ending_here and index and knots_at_s[index] == at_s:
            index -= 1
        if index == self._index:
            return
        self._index = index
        self._low_s, self._high_s = knots_at_s[index], knots_at_s[index + 1]
        self._lines = tuple(self._line(name) for name in COLUMNS)

    def _line(self, name: str) -> _Line:
        """One column over the current stretch."""
        irradiance = name in IRRADIANCE_COLUMNS
        offset_s = self.timing.offset_s if irradiance else 0.0
        rows_at_s, cells = self._rows_at_s, self._cells[name]
        before = bisect_right(rows_at_s, self._low_s - offset_s) - 1
        if before < 0:
            return cells[0], 0.0
        start, end = cells[before], cells[before + 1]
        span_s = rows_at_s[before + 1] - rows_at_s[before]
        if end is None or span_s > GAP_MAX_S:
            return None, 0.0
        if irradiance and self.timing.mean_ending:
            return end, 0.0
        if start is None:
            return None, 0.0
        slope = (end - start) / span_s
        return start + slope * (self._low_s - offset_s - rows_at_s[before]), slope

    def _no_temperature(self, at_s: float) -> WeatherFileError:
        return WeatherFileError(
            f"{self.file_name}: no temperature near {_iso(at_s)}; choose dates that leave this out"
        )


def _fill_short_gaps(rows_at_s: Sequence[float], cells: Sequence[float | None]) -> list[float | None]:
    """Blanks between two known cells at most 3 h apart, filled along a straight line."""
    filled = list(cells)
    if None not in filled:
        return filled
    known = [index for index, cell in enumerate(cells) if cell is not None]
    for early, late in pairwise(known):
        start, end = cells[early], cells[late]
        span_s = rows_at_s[late] - rows_at_s[early]
        if start is None or end is None or span_s > GAP_MAX_S:
            continue
        for index in range(early + 1, late):
            filled[index] = start + (end - start) * (rows_at_s[index] - rows_at_s[early]) / span_s
    return filled


def _seconds(utc: datetime) -> float:
    return (utc - EPOCH).total_seconds()


def _utc(at_s: float) -> datetime:
    return EPOCH + timedelta(seconds=at_s)


def _iso(at_s: float) -> str:
    return _utc(at_s).strftime("%Y-%m-%dT%H:%M:%SZ")
