"""What one tick came to, for whoever drives the keeper. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from controller.vocabulary import FrameName, HeatReport, NoticeEvent, Readings


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameTick:
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


@dataclass(frozen=True, slots=True, kw_only=True)
class TickResult:
    """One tick of one keeper."""

    seq: int
    frames: Mapping[FrameName, FrameTick]
    notices: tuple[NoticeEvent, ...]
