"""Reads the files that a rehearsal is given; nothing here hangs or takes without bound."""

from __future__ import annotations

import gzip
import io
import zlib
from importlib import resources
from pathlib import Path

from controller.bounded_read import UnfitFile, read_bounded
from controller.config.parse import LARGEST_FILE_BYTES, decode_settings, parse_settings
from controller.config.records import Settings
from controller.errors import ConfigError, Fault, WeatherFileError
from controller.weatherfile import parse_weather
from controller.weatherseries import WeatherSeries

EXAMPLE_NAME = "example.toml"
WEATHER_BYTES_MAX = 64 * 1024 * 1024
"""A year by the minute has about 30 MB."""
_GZIP_MAGIC = b"\x1f\x8b"


def read_settings(path: Path | None) -> Settings:
    """Settings of a file, or of the example that comes with the program; raises ConfigError."""
    if path is None:
        data = resources.files("controller").joinpath("data", EXAMPLE_NAME).read_bytes()
        return parse_settings(decode_settings(data, EXAMPLE_NAME), EXAMPLE_NAME)
    try:
        data = read_bounded(path, LARGEST_FILE_BYTES).data
    except (UnfitFile, FileNotFoundError) as error:
        fault = Fault(
            file=str(path),
            line=None,
            key="",
            problem=_why(error),
            remedy="check the name, or leave --config out to rehearse the example",
        )
        raise ConfigError((fault,)) from error
    return parse_settings(decode_settings(data, str(path)), str(path))


def read_weather(path: Path) -> WeatherSeries:
    """A weather file, gzipped or not; raises WeatherFileError."""
    try:
        data = read_bounded(path, WEATHER_BYTES_MAX).data
    except (UnfitFile, FileNotFoundError) as error:
        raise WeatherFileError(f"{path}: {_why(error)}; check the name") from error
    if data.startswith(_GZIP_MAGIC):
        data = _unzip(path, data)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise WeatherFileError(f"{path}, line {line}: is not UTF-8 text; save it as UTF-8") from error
    return parse_weather(text, str(path))


def _unzip(path: Path, data: bytes) -> bytes:
    """What is packed, refused before it would swell past the bound."""
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(data)) as packed:
            text = packed.read(WEATHER_BYTES_MAX + 1)
    except (OSError, EOFError, zlib.error) as error:
        raise WeatherFileError(f"{path}: is a damaged gzip file ({error}); fetch or pack it anew") from error
    if len(text) > WEATHER_BYTES_MAX:
        raise WeatherFileError(f"{path}: unpacks to more than {WEATHER_BYTES_MAX >> 20} MB; cut it to a year")
    return text


def _why(error: Exception) -> str:
    return "does not exist" if isinstance(error, FileNotFoundError) else str(error)
