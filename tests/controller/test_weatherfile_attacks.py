"""Weather files that were damaged, mistyped or made to hurt: each is refused in words, none crashes."""

from __future__ import annotations

import gzip
import zlib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.errors import WeatherFileError
from controller.rehearse.files import read_weather
from controller.weatherfile import COLUMN_LINE, LINES_MAX, parse_weather

HEADER = "# lat: 52.0\n# lon: -1.5\n# irradiance: mean_ending"
ROWS = ("2027-02-01T00:00:00Z,1,0,2,0,0,0,5", "2027-02-01T01:00:00Z,2,0,2,0,0,0,5")
MIDNIGHT = datetime(2027, 2, 1, tzinfo=UTC)


def text(*rows: str, header: str = HEADER, column_line: str = COLUMN_LINE) -> str:
    return "\n".join((header, column_line, *(rows or ROWS))) + "\n"


@pytest.mark.parametrize(
    ("attack", "said"),
    [
        (text(ROWS[0], "0001-01-01T00:00:00+14:00,1,0,2,0,0,0,5"), "line 6: utc is '0001-01-01"),
        (text(ROWS[0], "9999-12-31T23:00:00-14:00,1,0,2,0,0,0,5"), "line 6: utc is '9999-12-31"),
        (text(ROWS[0], "2027-02-30T00:00:00Z,1,0,2,0,0,0,5"), "line 6: utc is '2027-02-30"),
        (text(ROWS[0], "2027-02-01T01:00:00Z,1_0,0,2,0,0,0,5"), "temp_c is '1_0'; write a plain number"),
        (text(ROWS[0], "2027-02-01T01:00:00Z,١,0,2,0,0,0,5"), "temp_c is '١'; write a plain number"),
        (text(ROWS[0], '2027-02-01T01:00:00Z,"1",0,2,0,0,0,5'), "temp_c is '\"1\"'; write a plain number"),
        (text(ROWS[0], "2027-02-01T01:00:00Z,1,5,0,2,0,0,0,5"), "line 6: 9 cells instead of 8"),
        (text(ROWS[0], "2027-02-01T01:00:00Z;1;0;2;0;0;0;5"), "line 6: 1 cells instead of 8"),
        (text(ROWS[0], "2027-02-01T01:00:00Z,-9999,0,2,0,0,0,5"), "temp_c is -9999; it must lie"),
        (text(ROWS[0], "2027-02-01T01:00:00Z,NaN,0,2,0,0,0,5"), "temp_c is NaN; it must lie"),
        (text(ROWS[0], "2027-02-01T01:00:00Z,1,0,2,0,0,0,11"), "cloud_tenths is 11; it must lie"),
        (text(header=f"{HEADER}\n# lat: 48.0"), "lat stands twice, '52.0' and '48.0'; keep one"),
        (text(header=f"{HEADER}\n# irradiance: instant"), "irradiance stands twice"),
        (text(header="# lat: 5_2\n# lon: 0\n# irradiance: instant"), "lat is '5_2'; give decimal degrees"),
        (text(header="# lat: 52\n# lon: 181\n# irradiance: instant"), "lon is '181'; give decimal degrees"),
        (text(header="# lat: 52\n# lon: 0\n# timing: values at utc + . h"), r"timing gives '\.' h after utc"),
        (text(header="# lat: 52\n# lon: 0\n# timing: values at utc + 1.2.3 h"), "timing gives '1.2.3' h"),
        (text(column_line=COLUMN_LINE.replace("temp_c,dew_point_c", "dew_point_c,temp_c")), "column line"),
        ("\n" * (LINES_MAX + 1), "has more than"),
        ("\r" * (LINES_MAX + 1), "has more than"),
        ("\x00" * 50, "the column line reads"),
    ],
    ids=lambda each: repr(each[-60:]),
)
def test_what_cannot_be_true_is_refused_by_name(attack: str, said: str) -> None:
    """The error begins with the file and says what stands there and what should."""
    with pytest.raises(WeatherFileError, match=said) as caught:
        parse_weather(attack, "w.csv")
    assert str(caught.value).startswith("w.csv")


@pytest.mark.parametrize(
    "attack",
    [
        text(header=f"# lat: {'9' * 100_000}\n# lon: 0"),
        text(header=f"# lat: 52\n# lon: 0\n# irradiance: {'x' * 100_000}"),
        text(ROWS[0], f"{'x' * 100_000},1,0,2,0,0,0,5"),
        text(ROWS[0], f"2027-02-01T01:00:00Z,{'9' * 100_000},0,2,0,0,0,5"),
        text(column_line="x" * 100_000),
    ],
    ids=lambda each: each[:40],
)
def test_an_error_stays_short_whatever_it_quotes(attack: str) -> None:
    """Nobody is shown a screen full of somebody's cell."""
    with pytest.raises(WeatherFileError) as caught:
        parse_weather(attack, "w.csv")
    assert len(str(caught.value)) < 300


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_any_computer_s_line_ends_will_do(ends: str) -> None:
    """A file from a spreadsheet, an old one too, with its byte order mark."""
    series = parse_weather("\ufeff" + text().replace("\n", ends), "w.csv")
    assert series.at(MIDNIGHT + timedelta(minutes=30)).temp_c == pytest.approx(1.5)


def test_other_breaks_within_a_line_do_not_split_it() -> None:
    """A form feed or a line separator in a remark leaves the line numbers of errors right."""
    attack = text(ROWS[0], "bad,1,0,2,0,0,0,5", header=f"# note: one\x0ctwo\u2028three\n{HEADER}")
    with pytest.raises(WeatherFileError, match="line 7: utc is 'bad'"):
        parse_weather(attack, "w.csv")


def test_the_same_header_line_twice_is_no_quarrel() -> None:
    """Two notes, or one latitude said twice alike, harm nobody."""
    series = parse_weather(text(header=f"# note: a\n# note: b\n# lat: 52.0\n{HEADER}"), "w.csv")
    assert series.latitude_deg == 52.0


PACKED = gzip.compress(text().encode(), mtime=0)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "has no column line"),
        (gzip.compress(b"", mtime=0), "has no column line"),
        (PACKED[:-4], "damaged gzip"),
        (PACKED[:20], "damaged gzip"),
        (PACKED[:10], "damaged gzip"),
        (PACKED[:-8] + bytes(8), "damaged gzip"),
        (PACKED[:15] + b"\xff\xff\xff" + PACKED[18:], "damaged gzip"),
        (PACKED + b"more", "damaged gzip"),
        (b"\x1f\x8b\x08\x00" + zlib.compress(b"x"), "damaged gzip"),
        (text().encode("utf-16"), "line 1: is not UTF-8"),
        (text(header=f"{HEADER}\n# note: °").encode("latin-1"), "line 4: is not UTF-8"),
        (gzip.compress(b"\n" * (70 << 20), compresslevel=1), "unpacks to more than"),
        (gzip.compress(PACKED), "is not UTF-8"),
    ],
    ids=range(13),
)
def test_a_damaged_file_is_refused_before_it_can_hurt(tmp_path: Path, data: bytes, said: str) -> None:
    """Cut off, altered, packed twice, in another encoding, or swelling past its bound."""
    path = tmp_path / "w.csv.gz"
    path.write_bytes(data)
    with pytest.raises(WeatherFileError, match=said) as caught:
        read_weather(path)
    assert str(caught.value).startswith(str(path))


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_file_with_anything_written_into_it_loads_or_is_refused(data: st.DataObject) -> None:
    """No other error ever comes out, and what loads answers for its own span or refuses it."""
    lines = text(*ROWS, "2027-02-01T02:00:00Z,3,,,,,,").splitlines()
    alphabet = st.sampled_from([*"0123456789-+.,:;#TZeE_ nainf\t\r\n\x00\ufeffé", "values at utc + ", "lat"])
    for _ in range(data.draw(st.integers(1, 3))):
        row = data.draw(st.integers(0, len(lines) - 1))
        at = data.draw(st.integers(0, len(lines[row])))
        cut = data.draw(st.integers(0, 6))
        lines[row] = (
            lines[row][:at] + "".join(data.draw(st.lists(alphabet, max_size=6))) + lines[row][at + cut :]
        )
    try:
        series = parse_weather("\n".join(lines), "w.csv")
        series.check_span(series.first_utc, series.last_utc)
        series.mean_over(series.first_utc, (series.last_utc - series.first_utc).total_seconds())
    except WeatherFileError as error:
        assert str(error).startswith("w.csv")  # noqa: PT017  # either way is right
