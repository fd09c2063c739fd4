"""Cuts a run into the spells with the covers shut, each with a copy of the stand-in as it began."""

from __future__ import annotations

import copy
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from controller.rehearse.contract import OpeningNow, StandIn
from controller.rehearse.field import Field
from controller.rehearse.run import Moment
from controller.rehearse.sunpath import DEGREES_PER_H
from controller.vocabulary import FrameName

SHORTEST_S = 1800.0
"""Spells shorter than this are no windows: one slot of heat would not fit."""
OLD_ENOUGH_S = 6 * 3600.0
"""A window younger than this is not split at noon."""


@dataclass(slots=True, kw_only=True)
class Piece:
    """A part of the run: a window with the covers shut, or what lies between two windows."""

    begins_utc: datetime
    begins_air_c: float
    shut: bool
    stand_in: StandIn | None
    """As the keeper's run left it at the beginning; to be copied, never advanced. None between windows."""
    spans: list[tuple[float, OpeningNow]] = field(default_factory=list)
    """How the covers stood, with or without coverings, one after the other: seconds and state."""
    heated: list[tuple[float, float]] = field(default_factory=list)
    """Seconds since the beginning at which a step with heat began, and seconds of heat in it."""
    span_s: float = 0.0

    @property
    def heated_s(self) -> float:
        """Heat that the keeper gave in this piece."""
        return sum(heated_s for _, heated_s in self.heated)

    def extend(self, dt_s: float, stood: OpeningNow, heated_s: float) -> None:
        """Take one more step in."""
        if heated_s > 0.0:
            self.heated.append((self.span_s, heated_s))
        if self.spans and self.spans[-1][1] == stood:
            self.spans[-1] = (self.spans[-1][0] + dt_s, stood)
        else:
            self.spans.append((dt_s, stood))
        self.span_s += dt_s


class WindowCutter:
    """Watches a run; ``pieces`` holds all of it, one after the other, once ``finish`` was called.

    A window begins with the end of the first step under shut covers, one step late, and ends before the
    first step under open ones. At local-solar noon one that is old enough is split.
    """

    def __init__(self, site: Field, frame: FrameName, old_enough_s: float = OLD_ENOUGH_S) -> None:
        """Watch one frame of a field from now on."""
        self.pieces: list[Piece] = []
        self._site = site
        self._frame = frame
        self._old_enough_s = old_enough_s
        self.begins_with: StandIn = copy.deepcopy(site.frames[frame].stand_in)
        """The stand-in at the beginning of the run; to be copied."""
        self._air_c = site.true[frame]["air"]
        self._piece = self._fresh(site.now_utc)
        to_solar = timedelta(hours=site.plan.weather.longitude_deg / DEGREES_PER_H)
        solar = site.now_utc + to_solar
        noon = solar.replace(hour=12, minute=0, second=0, microsecond=0) - to_solar
        self._noon_utc = noon if noon > site.now_utc else noon + timedelta(days=1)

    @property
    def windows(self) -> list[Piece]:
        """The pieces with the covers shut."""
        return [piece for piece in self.pieces if piece.shut]

    def add(self, moment: Moment) -> None:
        """Take one moment of the run."""
        frame = moment.frames[self._frame]
        shut = frame.stood.area_m2 == 0.0
        noon = moment.utc >= self._noon_utc
        if noon:
            self._noon_utc += timedelta(days=1)
        if self._piece.shut and not shut:
            self._begin(moment.utc - timedelta(seconds=moment.dt_s), shut=False)
        self._piece.extend(moment.dt_s, frame.stood, frame.heated_s)
        self._air_c = frame.true_c["air"]
        splits = noon and self._piece.span_s >= self._old_enough_s
        if shut and (splits or not self._piece.shut):
            self._begin(moment.utc, shut=True)

    def finish(self) -> None:
        """End the piece that is open."""
        self._end()
        self._piece = self._fresh(self._site.now_utc)

    def _begin(self, utc: datetime, *, shut: bool) -> None:
        self._end()
        self._piece = self._fresh(utc, shut=shut)

    def _end(self) -> None:
        piece = self._piece
        if piece.shut and piece.span_s < SHORTEST_S:
            piece.shut, piece.stand_in = False, None
        if piece.span_s > 0.0:
            self.pieces.append(piece)

    def _fresh(self, utc: datetime, *, shut: bool = False) -> Piece:
        stand_in = copy.deepcopy(self._site.frames[self._frame].stand_in) if shut else None
        return Piece(begins_utc=utc, begins_air_c=self._air_c, shut=shut, stand_in=stand_in)
