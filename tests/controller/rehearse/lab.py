"""A rehearsal's parts for tests: the example frame, invented weather, a keeper of a few lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from controller.config.records import Settings
from controller.loop.clock import RehearsalClock
from controller.loop.results import FrameTick, TickResult
from controller.rehearse.contract import Factory, OpeningNow
from controller.rehearse.files import read_settings
from controller.rehearse.invented import invent_weather
from controller.rehearse.probes import ProbeFault, SimulatedProbes
from controller.rehearse.run import Plan
from controller.rehearse.standin import make_factory
from controller.sense.scratchpad import Scratchpad, examine
from controller.vocabulary import (
    FrameName,
    HeatReport,
    Kind,
    Level,
    NoticeEvent,
    Place,
    Reading,
    Rejected,
    Rejection,
    Sample,
    Urgency,
)
from controller.weatherseries import WeatherPoint

SOUTH = FrameName("south")
SHUT = OpeningNow(name="shut", area_m2=0.0, height_m=0.0)
START = datetime(2027, 2, 5, tzinfo=UTC)
LATITUDE_DEG, LONGITUDE_DEG = 53.1, -7.3


def example() -> Settings:
    return read_settings(None)


def frame_table(**changes: Any) -> dict[str, Any]:
    return {**example().tables[SOUTH], **changes}


def weather(
    temp_c: float, *, utc: datetime = START, sun_w_m2: float = 0.0, cloud_tenths: float = 0.0
) -> WeatherPoint:
    """Still, dry weather; ``sun_w_m2`` is direct normal, with a tenth of it diffuse."""
    return WeatherPoint(
        utc, temp_c, temp_c - 3.0, 1.0, 0.6 * sun_w_m2, sun_w_m2, 0.1 * sun_w_m2, cloud_tenths
    )


class HysteresisKeeper:
    """A keeper of a few lines: on below 2 °C, off at 3 °C, by the air probe's own bytes."""

    def __init__(
        self, settings: Settings, clock: RehearsalClock, probes: SimulatedProbes, step_s: float
    ) -> None:
        self.settings, self.clock, self.probes, self.step_s = settings, clock, probes, step_s
        self.seq = self.switched = 0
        self.on: dict[FrameName, bool] = {}

    def tick(self) -> TickResult:
        """One round on the bytes as they are."""
        self.seq += 1
        frames = {}
        notices: tuple[NoticeEvent, ...] = ()
        for name, frame in self.settings.frames.items():
            readings = {place: self._read(probe) for place, probe in frame.probes.items()}
            air = readings.get(Place.AIR)
            was = self.on.get(name, False)
            on = isinstance(air, Sample) and (air.temp_c < 2.0 or (was and air.temp_c < 3.0))
            self.on[name] = on
            if on and not was:
                self.switched += 1
                notices += (_notice(name, "raised", self.switched),)
            if was and not on:
                notices += (_notice(name, "cleared", self.switched),)
            report = HeatReport(
                heat_wanted=on,
                heat_allowed=on,
                relay_on=on,
                level=Level.NORMAL,
                reasons=(),
                switch_on_count=self.switched,
            )
            frames[name] = FrameTick(
                readings=readings, report=report, aim_c=2.0, wish="", opening="shut", covering=""
            )
        return TickResult(seq=self.seq, frames=frames, notices=notices)

    def _read(self, probe: Any) -> Reading:
        raw = self.probes.latest()[probe]
        if not isinstance(raw, Scratchpad):
            return Rejected(reason=raw.reason, since_at_s=raw.taken_at_s)
        contents = examine(raw.data)
        if contents.flaw is not None:
            return Rejected(reason=Rejection(contents.flaw), since_at_s=raw.taken_at_s)
        return Sample(temp_c=contents.sixteenths / 16, taken_at_s=raw.taken_at_s)


def _notice(frame: FrameName, event: str, number: int) -> NoticeEvent:
    return NoticeEvent(
        notice_id=f"n{number}",
        event=event,
        code="heat_on",
        kind=Kind.FROST,
        urgency=Urgency.NOW,
        frame=frame,
        text=f'Heat is on in {frame}, "at last", and goes on until the air is at 3 °C.',
    )


def plan(
    *,
    settings: Settings | None = None,
    days: float = 1.0,
    step_s: float = 60.0,
    seed: int = 1,
    grower: str = "absent",
    slip_frac: float = 0.0,
    stand_in: Factory | None = None,
    faults: Sequence[ProbeFault] = (),
    natures: Mapping[Any, Any] | None = None,
) -> Plan:
    """The cold days of the invented fortnight from 5 February on."""
    until_utc = START + timedelta(days=days)
    fortnight = datetime(2027, 2, 1, tzinfo=UTC)
    return Plan(
        settings=settings or example(),
        weather=invent_weather(
            seed=seed,
            from_utc=fortnight,
            to_utc=fortnight + timedelta(days=14),
            latitude_deg=LATITUDE_DEG,
            longitude_deg=LONGITUDE_DEG,
        ),
        from_utc=START,
        until_utc=until_utc,
        step_s=step_s,
        seed=seed,
        stand_in=stand_in or make_factory(LATITUDE_DEG, LONGITUDE_DEG),
        stand_in_name="test",
        growers=(grower,),
        slip_frac=slip_frac,
        faults=faults,
        natures=natures or {},
    )
