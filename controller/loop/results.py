"""What one tick came to, for whoever drives the keeper. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from controller.vocabulary import FrameName, HeatReport, NoticeEvent, Readings


class FrameTick(NamedTuple):
    """One frame in one tick."""

    readings: Readings
    report: HeatReport
    aim_c: float
    """The air temperature that the thermostat held to, all allowances in."""
    wish: str
    """Why heat was wanted or not, one of the thermostat's own reasons."""
    opening: str
    covering: str
    """Reported coverings, joined by ``+``; empty when bare."""


class TickResult(NamedTuple):
    """One tick of one keeper."""

    seq: int
    frames: Mapping[FrameName, FrameTick]
    notices: tuple[NoticeEvent, ...]
