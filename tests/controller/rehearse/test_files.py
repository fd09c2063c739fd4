"""Reading what a rehearsal is given: bounded, and never waiting."""

from __future__ import annotations

import gzip
import os
from pathlib import Path

import pytest

from controller.errors import ConfigError, WeatherFileError
from controller.rehearse import files
from controller.rehearse.files import read_settings, read_weather
from controller.rehearse.invented import invent_weather_text
from tests.controller.rehearse.lab import LATITUDE_DEG, LONGITUDE_DEG, SOUTH, START


def text() -> str:
    return invent_weather_text(
        seed=1, from_utc=START, to_utc=START, latitude_deg=LATITUDE_DEG, longitude_deg=LONGITUDE_DEG
    )


def test_plain_and_packed_files_read_alike(tmp_path: Path) -> None:
    """By what is in them, not by their name."""
    (tmp_path / "plain.gz").write_text(text(), encoding="utf-8")
    (tmp_path / "packed.csv").write_bytes(gzip.compress(text().encode()))
    assert read_weather(tmp_path / "plain.gz").at(START) == read_weather(tmp_path / "packed.csv").at(START)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (gzip.compress(b"x" * 1000, mtime=0)[:-9], "is a damaged gzip file"),
        (b"\x1f\x8bnot really", "is a damaged gzip file"),
        (b"# lat: 1\n\xff\xfe\n", r"line 2: is not UTF-8 text"),
    ],
)
def test_damaged_files_are_told(tmp_path: Path, content: bytes, said: str) -> None:
    """With what to do."""
    path = tmp_path / "w.csv.gz"
    path.write_bytes(content)
    with pytest.raises(WeatherFileError, match=said):
        read_weather(path)


def test_a_file_that_would_swell_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No more than the bound is ever unpacked."""
    monkeypatch.setattr(files, "WEATHER_BYTES_MAX", 2 * 1024 * 1024)
    path = tmp_path / "bomb.csv.gz"
    path.write_bytes(gzip.compress(b"0" * 3 * 1024 * 1024))
    with pytest.raises(WeatherFileError, match="unpacks to more than 2 MB"):
        read_weather(path)
    path.write_bytes(b"0" * 3 * 1024 * 1024)
    with pytest.raises(WeatherFileError, match="is larger than"):
        read_weather(path)


def test_missing_files_pipes_and_folders_are_refused_at_once(tmp_path: Path) -> None:
    """A pipe is not waited for."""
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(WeatherFileError, match=r"none\.csv: does not exist; check the name"):
        read_weather(tmp_path / "none.csv")
    for name in ("pipe", "."):
        with pytest.raises(WeatherFileError, match=r"regular file|cannot be opened"):
            read_weather(tmp_path / name)
        with pytest.raises(ConfigError, match=r"regular file|cannot be opened"):
            read_settings(tmp_path / name)
    with pytest.raises(ConfigError, match="leave --config out to rehearse the example"):
        read_settings(tmp_path / "none.toml")


def test_the_example_comes_with_the_program(tmp_path: Path) -> None:
    """Without a file the example is read; its copy reads the same."""
    example = read_settings(None)
    assert SOUTH in example.frames
    copied = tmp_path / "frameward.toml"
    copied.write_bytes((Path(files.__file__).parent.parent / "data" / "example.toml").read_bytes())
    assert read_settings(copied) == example
