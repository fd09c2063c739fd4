"""Reads the files that a rehearsal is given; nothing here hangs or takes without bound."""

from __future__ import annotations

import gzip
import os
import stat
import zlib
from importlib import resources
from pathlib import Path

from controller.config.parse import decode_settings, parse_settings
from controller.config.records import Settings
from controller.errors import ConfigError, Fault, WeatherFileError
from controller.weatherfile import parse_weather
from controller.weatherseries import WeatherSeries

EXAMPLE_NAME = "example.toml"
SETTINGS_BYTES_MAX = 256 * 1024
WEATHER_BYTES_MAX = 64 * 1024 * 1024
"""A year by the minute has about 30 MB."""
_GZIP_MAGIC = b"\x1f\x8b"


def read_settings(path: Path | None) -> Settings:
    """Settings of a file, or of the example that comes with the program; raises ConfigError."""
    if path is None:
        data = resources.files("controller").joinpath("data", EXAMPLE_NAME).read_bytes()
        return parse_settings(decode_settings(data, EXAMPLE_NAME), EXAMPLE_NAME)
    try:
        data = _read_bounded(path, SETTINGS_BYTES_MAX + 1)
    except OSError as error:
        fault = Fault(
            file=str(path),
            line=None,
            key="",
            problem=f"cannot be read ({error.strerror})",
            remedy="check the name, or leave --config out to rehearse the example",
        )
        raise ConfigError((fault,)) from error
    return parse_settings(decode_settings(data, str(path)), str(path))


def read_weather(path: Path) -> WeatherSeries:
    """A weather file, gzipped or not; raises WeatherFileError."""
    try:
        data = _read_bounded(path, WEATHER_BYTES_MAX + 1)
    except OSError as error:
        raise WeatherFileError(f"{path}: cannot be read ({error.strerror}); check the name") from error
    if data.startswith(_GZIP_MAGIC):
        data = _unzip(path, data)
    if len(data) > WEATHER_BYTES_MAX:
        raise WeatherFileError(f"{path}: holds more than {WEATHER_BYTES_MAX >> 20} MB; cut it to a year")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise WeatherFileError(f"{path}, line {line}: is not UTF-8 text; save it as UTF-8") from error
    return parse_weather(text, str(path))


def _unzip(path: Path, data: bytes) -> bytes:
    """At most one byte more than the bound, however much the file would swell to."""
    stream = zlib.decompressobj(wbits=zlib.MAX_WBITS | 16)
    try:
        text = stream.decompress(data, WEATHER_BYTES_MAX + 1)
        if len(text) > WEATHER_BYTES_MAX:
            return text
        return gzip.decompress(data)
    except (OSError, EOFError, zlib.error) as error:
        raise WeatherFileError(f"{path}: is a damaged gzip file ({error}); fetch or pack it anew") from error


def _read_bounded(path: Path, bytes_max: int) -> bytes:
    """At most ``bytes_max`` bytes of a regular file; a pipe or device is refused, never waited for."""
    descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    with os.fdopen(descriptor, "rb") as file:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise OSError(0, "not a regular file")
        return file.read(bytes_max)
