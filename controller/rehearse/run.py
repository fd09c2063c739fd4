"""The rehearsal itself: stand-in, probes, clock and one real keeper, step after step.

Nothing here waits; whoever drives it takes one ``Moment`` after another at the pace they like.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import NamedTuple, Protocol
from zoneinfo import ZoneInfo

from controller.config.records import FrameSettings, OpeningSettings, Settings
from controller.loop.clock import RehearsalClock
from controller.loop.results import TickResult
from controller.rehearse.contract import Factory, OpeningNow
from controller.rehearse.grower import GROWERS, LOOK_EVERY_S, Look
from controller.rehearse.probes import ProbeFault, ProbeNature, SimulatedProbes, unmodelled_places
from controller.rehearse.seam import CheckedStandIn, make_stand_in
from controller.rehearse.sunpath import sun_at
from controller.vocabulary import FrameName, Place, ProbeId
from controller.weatherseries import EPOCH, WeatherSeries


class KeeperLike(Protocol):
    """What a rehearsal needs of a keeper."""

    def tick(self) -> TickResult:
        """Do one complete round on the clock and probes that it was built with."""


BuildKeeper = Callable[[Settings, RehearsalClock, SimulatedProbes, float], KeeperLike]
"""Takes settings, clock, probes and the step in seconds; gives a keeper that has not ticked yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is to be rehearsed."""

    settings: Settings
    weather: WeatherSeries
    from_utc: datetime
    until_utc: datetime
    step_s: float
    seed: int
    stand_in: Factory
    stand_in_name: str
    grower: str
    """One of ``attentive``, ``busy``, ``absent``."""
    faults: Sequence[ProbeFault] = ()
    natures: Mapping[ProbeId, ProbeNature] = field(default_factory=dict)


class FrameMoment(NamedTuple):
    """One frame at the end of one step; a tuple because many are made."""

    true_c: Mapping[str, float]
    heated_s: float
    """Seconds of this step with the relay on."""
    opening: str
    """How the covers stood during the step."""


class Moment(NamedTuple):
    """The end of one step."""

    utc: datetime
    dt_s: float
    frames: Mapping[FrameName, FrameMoment]
    result: TickResult


@dataclass(slots=True, kw_only=True)
class _Frame:
    """One frame while it is being rehearsed."""

    openings: tuple[OpeningSettings, ...]
    stand_in: CheckedStandIn
    opening: int = 0
    opening_now: OpeningNow
    heat_on: bool = False


class Rehearsal:
    """One keeper, its frames, their weather and their gardener."""

    def __init__(
        self,
        plan: Plan,
        build_keeper: BuildKeeper,
        report_opening: Callable[[KeeperLike, FrameName, str], None] | None = None,
    ) -> None:
        """Check the weather and every stand-in, then build the keeper.

        ``report_opening`` tells the keeper how the grower left the covers, as a person would.
        """
        plan.weather.check_span(plan.from_utc, plan.until_utc)
        self.plan = plan
        self._zone = ZoneInfo(plan.settings.site.zone)
        self._grower = GROWERS[plan.grower]()
        self._utc = plan.from_utc
        first = plan.weather.at(plan.from_utc)
        self._frames = {name: self._frame(frame) for name, frame in plan.settings.frames.items()}
        self._true: dict[FrameName, Mapping[str, float]] = {
            name: frame.stand_in.advance(0.0, first, False, frame.opening_now)  # noqa: FBT003  # positional seam
            for name, frame in self._frames.items()
        }
        self.places = tuple(dict.fromkeys(place for true in self._true.values() for place in true))
        """Places that the stand-ins model."""
        self.clock = RehearsalClock(utc_s=(plan.from_utc - EPOCH).total_seconds())
        self.probes = SimulatedProbes(
            plan.settings.frames, seed=plan.seed, faults=plan.faults, natures=plan.natures
        )
        self.keeper = build_keeper(plan.settings, self.clock, self.probes, plan.step_s)
        self._report_opening = report_opening
        self._next_look_s = 0.0

    @property
    def now_utc(self) -> datetime:
        """How far the run has come."""
        return self._utc

    @property
    def stood_in_for(self) -> tuple[Place, ...]:
        """Fitted probes whose place no stand-in models, so that the nearest place is read instead."""
        return unmodelled_places(self.plan.settings.frames, self.places)

    def moments(self) -> Iterator[Moment]:
        """Step until the end of the plan; each moment is handed out as soon as it is over."""
        elapsed_s, total_s = 0.0, (self.plan.until_utc - self.plan.from_utc).total_seconds()
        while elapsed_s < total_s:
            dt_s = min(self.plan.step_s, total_s - elapsed_s)
            elapsed_s += dt_s
            yield self._step(dt_s)
            if elapsed_s >= self._next_look_s:
                self._next_look_s += LOOK_EVERY_S
                self._look()

    def _step(self, dt_s: float) -> Moment:
        weather = self.plan.weather.mean_over(self._utc, dt_s)
        frames: dict[FrameName, FrameMoment] = {}
        for name, frame in self._frames.items():
            true = frame.stand_in.advance(dt_s, weather, frame.heat_on, frame.opening_now)
            self._true[name] = true
            frames[name] = FrameMoment(true, dt_s if frame.heat_on else 0.0, frame.opening_now.name)
        self._utc += timedelta(seconds=dt_s)
        self.clock.advance(dt_s)
        self.probes.take(self._true, dt_s, self.clock.mono_s())
        result = self.keeper.tick()
        for name, frame in self._frames.items():
            frame.heat_on = result.frames[name].report.relay_on
        return Moment(self._utc, dt_s, frames, result)

    def _look(self) -> None:
        """Let the grower look at every frame and move the covers."""
        local = self._utc.astimezone(self._zone)
        weather = self.plan.weather
        sun = sun_at(self._utc, weather.latitude_deg, weather.longitude_deg)
        for name, frame in self._frames.items():
            true = self._true[name]
            chosen = self._grower.choose(
                Look(
                    local=local,
                    sun=sun,
                    air_c=true["air"],
                    outside_c=true["outside"],
                    opening=frame.opening,
                    openings=len(frame.openings),
                )
            )
            if chosen != frame.opening:
                frame.opening = chosen
                frame.opening_now = _opening_now(frame.openings[chosen])
                if self._report_opening is not None:
                    self._report_opening(self.keeper, name, frame.opening_now.name)

    def _frame(self, settings: FrameSettings) -> _Frame:
        opening_now = _opening_now(settings.openings[0])
        stand_in = make_stand_in(
            self.plan.stand_in,
            name=self.plan.stand_in_name,
            table=self.plan.settings.tables[settings.name],
            start_utc=self.plan.from_utc,
            first_weather=self.plan.weather.at(self.plan.from_utc),
            opening=opening_now,
        )
        return _Frame(openings=settings.openings, stand_in=stand_in, opening_now=opening_now)


def _opening_now(opening: OpeningSettings) -> OpeningNow:
    return OpeningNow(name=opening.name, area_m2=opening.area_m2, height_m=opening.height_m)
