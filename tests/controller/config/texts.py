"""Settings texts for tests: the shipped example, and a small one that is easy to change."""

from __future__ import annotations

import re
from importlib import resources

from controller.config.parse import parse_settings
from controller.config.records import Settings
from controller.errors import ConfigError, Fault

EXAMPLE = resources.files("controller").joinpath("data/example.toml").read_text(encoding="utf-8")

SMALL = """\
[site]
name = "Test plot"
latitude = 50
longitude = 7.5
zone = "Europe/Berlin"

[frame.bed]
length_m = 2
depth_m = 1
front_height_m = 0.3
back_height_m = 0.5
cover = "film"
wall = "none"
faces_deg = 180

[frame.bed.heat]
power_w = 100
relay_pin = 17

[frame.bed.probe.air]
id = "28-000000000001"
[frame.bed.probe.bed]
id = "28-000000000002"
"""


def uncommented(text: str) -> str:
    """Every optional setting put to use: a # with no blank after it is taken away."""
    return re.sub(r"(?m)^#(?![ \n]|$)", "", text)


def read(text: str) -> Settings:
    """Parse, under a short file name."""
    return parse_settings(text, "f.toml")


def faults_of(text: str) -> tuple[Fault, ...]:
    """The faults of a text that must have some."""
    try:
        read(text)
    except ConfigError as error:
        return error.faults
    raise AssertionError("the text has no fault")


def fault_lines(text: str) -> list[str]:
    """The same, as people read them."""
    return [str(fault) for fault in faults_of(text)]
