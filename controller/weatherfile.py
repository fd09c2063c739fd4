"""A weather file: text in, a series out that answers for any instant or step.

Pure: the caller reads the bytes. The form is CSV with ``#`` header lines ``key: value``, at least
``lat`` and ``lon``, then ``irradiance: mean_ending`` (means over the interval that ends at the row)
or ``irradiance: instant``, then the column line and one row per hour or finer, blanks where absent.
A ``timing`` line in plain words may stand in place of ``irradiance``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from controller.errors import WeatherFileError
from controller.weatherseries import COLUMNS, EPOCH, IRRADIANCE_COLUMNS, IrradianceTiming, WeatherSeries

COLUMN_LINE = "utc," + ",".join(COLUMNS)
NIGHT_OFFSET_W_M2 = -10.0
"""Radiation meters read slightly below zero at night; down to here that counts as darkness."""

_BOUNDS = {
    "temp_c": (-90.0, 60.0),
    "dew_point_c": (-100.0, 40.0),
    "wind_m_s": (0.0, 100.0),
    "ghi_w_m2": (NIGHT_OFFSET_W_M2, 2000.0),
    "dni_w_m2": (NIGHT_OFFSET_W_M2, 2000.0),
    "dhi_w_m2": (NIGHT_OFFSET_W_M2, 2000.0),
    "cloud_tenths": (0.0, 10.0),
}
_HEADER = re.compile(r"#\s*([A-Za-z_]+)\s*:\s*(.*)")
_INSTANT_AFTER = re.compile(r"values? at utc \+ ([0-9.]+) h\b")
_OFFSET_MAX_H = 1.0
LINES_MAX = 2_000_000
"""Almost four years by the minute; more would cost a board's memory before it could be refused."""
YEAR_MIN, YEAR_MAX = 1800, 2200
_QUOTED_MAX = 40
"""Characters of the file that an error repeats."""
_SAID_ONCE = frozenset({"lat", "lon", "irradiance", "timing"})


@dataclass(frozen=True, slots=True, kw_only=True)
class _Where:
    """A line of the file, for errors."""

    file_name: str
    line: int

    def refuse(self, what: str, remedy: str) -> WeatherFileError:
        """The error that names file, line, what is wrong and what to do."""
        return WeatherFileError(f"{self.file_name}, line {self.line}: {what}; {remedy}")


def parse_weather(text: str, file_name: str) -> WeatherSeries:
    """The whole file as a series; raises WeatherFileError at the first thing that cannot be used.

    Gaps are no error here: ``WeatherSeries.check_span`` refuses them where they matter.
    """
    lines = _split_lines(text, file_name)
    header, column_at = _read_header(lines, file_name)
    rows_at_s, columns = _read_rows(lines, column_at, file_name)
    has_irradiance = any(cell is not None for name in IRRADIANCE_COLUMNS for cell in columns[name])
    return WeatherSeries(
        file_name=file_name,
        latitude_deg=_degrees(header, "lat", 90.0, file_name),
        longitude_deg=_degrees(header, "lon", 180.0, file_name),
        header=header,
        rows_at_s=rows_at_s,
        columns=columns,
        timing=_timing(header, file_name, has_irradiance=has_irradiance),
    )


def _split_lines(text: str, file_name: str) -> list[str]:
    """Lines by any computer's line ends and by nothing else, so that they count as an editor counts them."""
    plain = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    if plain.count("\n") > LINES_MAX:
        raise WeatherFileError(f"{file_name}: has more than {LINES_MAX} lines; cut it to the years you need")
    return plain.split("\n")


def _read_header(lines: Sequence[str], file_name: str) -> tuple[dict[str, str], int]:
    """All ``key: value`` lines and the index of the column line."""
    header: dict[str, str] = {}
    for index, line in enumerate(lines):
        stripped = line.strip()
        if not stripped:
            continue
        if not stripped.startswith("#"):
            if "".join(stripped.split()) != COLUMN_LINE:
                raise _Where(file_name=file_name, line=index + 1).refuse(
                    f"the column line reads {stripped[:80]!r}", f"it must read {COLUMN_LINE}"
                )
            return header, index
        found = _HEADER.fullmatch(stripped)
        if found:
            key, words = found[1].lower(), found[2].strip()
            if key in _SAID_ONCE and header.get(key, words) != words:
                raise _Where(file_name=file_name, line=index + 1).refuse(
                    f"{key} stands twice, {_quoted(header[key])} and {_quoted(words)}", "keep one"
                )
            header[key] = words
    raise WeatherFileError(f"{file_name}: has no column line; after the # lines it must read {COLUMN_LINE}")


def _degrees(header: Mapping[str, str], key: str, bound_deg: float, file_name: str) -> float:
    """Latitude or longitude from the header."""
    try:
        degrees = _number(header[key])
    except KeyError:
        raise WeatherFileError(f"{file_name}: header has no {key}; add a line '# {key}: …'") from None
    except ValueError:
        degrees = math.nan
    if not -bound_deg <= degrees <= bound_deg:
        raise WeatherFileError(
            f"{file_name}: {key} is {_quoted(header[key])}; "
            f"give decimal degrees from {-bound_deg:g} to {bound_deg:g}"
        )
    return degrees


def _timing(header: Mapping[str, str], file_name: str, *, has_irradiance: bool) -> IrradianceTiming:
    """What the irradiance columns mean; a file without irradiance need not say."""
    stated = header.get("irradiance")
    if stated is not None:
        word = stated.lower()
        if word not in {"mean_ending", "instant"}:
            raise WeatherFileError(
                f"{file_name}: irradiance is {_quoted(stated)}; write mean_ending (means over the interval"
                " ending at utc) or instant"
            )
        return IrradianceTiming(mean_ending=word == "mean_ending", offset_s=0.0)
    words = header.get("timing", "").lower()
    if "means over the hour ending at utc" in words:
        return IrradianceTiming(mean_ending=True, offset_s=0.0)
    shifted = _INSTANT_AFTER.search(words)
    if shifted:
        try:
            offset_h = _number(shifted[1])
        except ValueError:
            offset_h = math.inf
        if offset_h > _OFFSET_MAX_H:
            raise WeatherFileError(
                f"{file_name}: timing gives {_quoted(shifted[1])} h after utc; write hours from 0 to 1"
            )
        return IrradianceTiming(mean_ending=False, offset_s=offset_h * 3600.0)
    if has_irradiance and "values at utc" not in words and "readings at utc" not in words:
        raise WeatherFileError(
            f"{file_name}: header does not say what irradiance means;"
            " add '# irradiance: mean_ending' or '# irradiance: instant'"
        )
    return IrradianceTiming(mean_ending=False, offset_s=0.0)


def _read_rows(
    lines: Sequence[str], column_at: int, file_name: str
) -> tuple[list[float], dict[str, list[float | None]]]:
    """Row instants in seconds since 1970 and each column's cells."""
    rows_at_s: list[float] = []
    columns: dict[str, list[float | None]] = {name: [] for name in COLUMNS}
    for index in range(column_at + 1, len(lines)):
        line = lines[index].strip()
        if not line or line.startswith("#"):
            continue
        where = _Where(file_name=file_name, line=index + 1)
        cells = line.split(",")
        if len(cells) != len(COLUMNS) + 1:
            raise where.refuse(
                f"{len(cells)} cells instead of {len(COLUMNS) + 1}", "give every column, blank where absent"
            )
        at_s = _instant(cells[0].strip(), where)
        if rows_at_s and at_s <= rows_at_s[-1]:
            raise where.refuse(f"{cells[0]} does not come after the row before", "sort rows, one per instant")
        rows_at_s.append(at_s)
        for name, cell in zip(COLUMNS, cells[1:], strict=True):
            columns[name].append(_cell(name, cell.strip(), where))
    if len(rows_at_s) < 2:  # noqa: PLR2004  # nothing lies between fewer than two rows
        raise WeatherFileError(f"{file_name}: holds {len(rows_at_s)} rows; at least two are needed")
    if all(cell is None for cell in columns["temp_c"]):
        raise WeatherFileError(f"{file_name}: temp_c is blank in every row; a file needs temperatures")
    return rows_at_s, columns


def _instant(text: str, where: _Where) -> float:
    """Seconds since 1970 of an ISO 8601 instant with its offset from UTC."""
    try:
        instant = datetime.fromisoformat(text)
    except ValueError:
        raise where.refuse(f"utc is {_quoted(text)}", "write it as 2001-10-01T06:00:00Z") from None
    if not YEAR_MIN <= instant.year <= YEAR_MAX:
        raise where.refuse(f"utc is {_quoted(text)}", f"years from {YEAR_MIN} to {YEAR_MAX} are read")
    if instant.tzinfo is None:
        raise where.refuse(f"utc {text} has no zone", "end it with Z")
    return (instant.astimezone(UTC) - EPOCH).total_seconds()


def _cell(name: str, text: str, where: _Where) -> float | None:
    """One number within its column's bounds; None for a blank."""
    if not text:
        return None
    try:
        number = _number(text)
    except ValueError:
        raise where.refuse(f"{name} is {_quoted(text)}", "write a plain number or leave it blank") from None
    low, high = _BOUNDS[name]
    if not low <= number <= high:
        raise where.refuse(
            f"{name} is {text[:_QUOTED_MAX]}", f"it must lie from {low:g} to {high:g}, or be blank"
        )
    return max(number, 0.0) if name in IRRADIANCE_COLUMNS else number


def _number(text: str) -> float:
    """A number as files write it; raises ValueError for the forms that only a program's source knows."""
    if "_" in text or not text.isascii():
        raise ValueError(text)
    return float(text)


def _quoted(text: str) -> str:
    """A piece of the file for an error, not too long."""
    return repr(text[:_QUOTED_MAX])
