"""What each night came to: the coldest outside, in the frame as kept, and in the same frame unheated.

A night is local-solar 15:00 to 09:00, named by the date of its dusk. The unheated frame is a deep copy of
the stand-in with the same weather and the same covers at the same times, and no heat from the night's
start on. Until heat first comes on the two are one, so that the copy is made only then.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from controller.rehearse.field import Field, FrameMoment
from controller.rehearse.run import Moment
from controller.rehearse.seam import CheckedStandIn
from controller.rehearse.sunpath import DEGREES_PER_H
from controller.vocabulary import FrameName
from controller.weatherseries import WeatherSeries

NIGHT_FROM_H, NIGHT_UNTIL_H = 15.0, 9.0


@dataclass(frozen=True, slots=True, kw_only=True)
class NightRow:
    """One frame's night, all of it inside the run."""

    night: date
    frame: FrameName
    outside_actual_c: float
    frame_actual_c: float
    frame_unheated_actual_c: float
    heat_h: float


class NightWatch:
    """Watches every moment and leaves a row per frame at the end of each whole night."""

    def __init__(self, field: Field, leave: Callable[[NightRow], None]) -> None:
        """``leave`` takes each row as it is done."""
        self._field = field
        self._leave = leave
        self._to_solar = timedelta(hours=field.plan.weather.longitude_deg / DEGREES_PER_H)
        self._night: date | None = None
        self._of_frame: dict[FrameName, _FrameNight] = {}
        self._next_utc = self._first_dusk(field.now_utc)

    def add(self, moment: Moment) -> None:
        """Take one moment in; nights begin and end with the step that reaches their hour."""
        if self._of_frame:
            for name, night in self._of_frame.items():
                night.add(moment.frames[name], moment.dt_s, moment.utc, relay_on=_relay_on(moment, name))
        if moment.utc < self._next_utc:
            return
        if self._night is not None:
            for name, night in self._of_frame.items():
                self._leave(night.row(self._night, name))
            self._night, self._of_frame = None, {}
            self._next_utc += timedelta(hours=NIGHT_FROM_H - NIGHT_UNTIL_H)
        else:
            self._night = (self._next_utc + self._to_solar).date()
            for name, frame in self._field.frames.items():
                night = self._of_frame[name] = _FrameNight(frame.stand_in, self._field.plan.weather)
                night.begin(moment.frames[name], relay_on=_relay_on(moment, name))
            self._next_utc += timedelta(hours=24.0 - NIGHT_FROM_H + NIGHT_UNTIL_H)

    def _first_dusk(self, from_utc: datetime) -> datetime:
        """The first solar 15:00 at or after the run's start."""
        solar = from_utc + self._to_solar
        dusk = solar.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(hours=NIGHT_FROM_H)
        if dusk < solar:
            dusk += timedelta(days=1)
        return dusk - self._to_solar


def _relay_on(moment: Moment, frame: FrameName) -> bool:
    return moment.result.frames[frame].report.relay_on


class _FrameNight:
    """One frame during one night, and its unheated copy from the first moment that heat parts them."""

    def __init__(self, stand_in: CheckedStandIn, weather: WeatherSeries) -> None:
        self._stand_in = stand_in
        self._weather = weather
        self._copy: CheckedStandIn | None = None
        self._outside_c, self._air_c, self._unheated_c = math.inf, math.inf, math.inf
        self._heated_s = 0.0

    def begin(self, frame: FrameMoment, *, relay_on: bool) -> None:
        """Take the end of the step that reached the night."""
        self._note(frame.true_c, frame.true_c["air"])
        self._part(relay_on=relay_on)

    def add(self, frame: FrameMoment, dt_s: float, utc: datetime, *, relay_on: bool) -> None:
        """Take a step of the night, which ended at ``utc``; ``relay_on`` is how the next one will go."""
        unheated_c = frame.true_c["air"]
        if self._copy is not None:
            weather = self._weather.mean_over(utc - timedelta(seconds=dt_s), dt_s)
            unheated_c = self._copy.advance(dt_s, weather, False, frame.stood)["air"]  # noqa: FBT003  # positional seam
        self._heated_s += frame.heated_s
        self._note(frame.true_c, unheated_c)
        self._part(relay_on=relay_on)

    def row(self, night: date, frame: FrameName) -> NightRow:
        """What it came to."""
        return NightRow(
            night=night,
            frame=frame,
            outside_actual_c=self._outside_c,
            frame_actual_c=self._air_c,
            frame_unheated_actual_c=self._unheated_c,
            heat_h=self._heated_s / 3600.0,
        )

    def _note(self, true_c: Mapping[str, float], unheated_c: float) -> None:
        self._outside_c = min(self._outside_c, true_c["outside"])
        self._air_c = min(self._air_c, true_c["air"])
        self._unheated_c = min(self._unheated_c, unheated_c)

    def _part(self, *, relay_on: bool) -> None:
        if relay_on and self._copy is None:
            self._copy = copy.deepcopy(self._stand_in)
