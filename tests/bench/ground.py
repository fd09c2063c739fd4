"""What all contestants of the bench share: settings, weather, dates, stand-in, watts.

A cable is called adequate when a plain thermostat of one differential, set as much above the line, holds
the line with it through the coldest week. A cable that is never off would hold with less, from what a
week has stored; under a thermostat, which starts when it is cold, such a cable lets the frame freeze.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from controller.config.records import HeatSettings, Settings, SiteSettings
from controller.errors import ControllerError
from controller.rehearse.contract import Factory, StandIn
from controller.rehearse.field import Field
from controller.rehearse.files import read_settings, read_weather
from controller.rehearse.plan import Plan
from controller.rehearse.probes import ProbeNature
from controller.rehearse.seam import load_factory
from controller.rehearse.span import Dates, file_span
from controller.rehearse.standin import SeasonedStandIn, nature_of
from controller.rehearse.standinframe import build_parts
from controller.rehearse.sunpath import DEGREES_PER_H
from controller.vocabulary import FrameName, Place
from controller.weatherseries import WeatherSeries

BUILT_IN = "built-in"
GROWER = "attentive"
STEP_S = 60.0
COARSE_STEP_S = 300.0
QUICK_DAYS = 14
SEASON_FROM, SEASON_UNTIL = (11, 1), (4, 30)

LADDER_FROM_W, LADDER_UNTIL_W, LADDER_FACTOR, LADDER_ROUND_W = 150.0, 4000.0, 1.1, 5.0
WEEK_BEFORE, WEEK_AFTER = timedelta(days=4.5), timedelta(days=2.5)
"""The coldest week lies so about the coldest moment."""
SETTLING = timedelta(days=4)
"""The stand-in lives through so many days before that week, since it begins unheated."""
QUICK_BEFORE = timedelta(days=13), timedelta(days=4)
"""A fortnight begins so long before the coldest moment, when it is mildest."""


class BenchError(ControllerError):
    """The bench cannot be run on what it was given; the text says why and what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """One plan with one heated frame, and that frame's name."""

    plan: Plan
    frame: FrameName

    @property
    def heat(self) -> HeatSettings:
        """The frame's cable and what it is kept at."""
        heat = self.plan.settings.frames[self.frame].heat
        if heat is None:
            raise BenchError(f"frame {self.frame} has no heat; the bench needs a heated frame")
        return heat

    @property
    def keep_c(self) -> float:
        """The line: keep above, without the leaf allowance that only our keeper adds."""
        return self.heat.keep_above_c

    @property
    def span_s(self) -> float:
        """From the plan's first to its last instant."""
        return (self.plan.until_utc - self.plan.from_utc).total_seconds()

    def with_watts(self, power_w: float) -> Ground:
        """The same with a cable of other watts, for the keeper and for the stand-in alike."""
        settings = self.plan.settings
        frame, table = settings.frames[self.frame], settings.tables[self.frame]
        heat_table = table["heat"]
        if not isinstance(heat_table, dict):
            raise BenchError(f"frame {self.frame} has no heat table; the bench needs a heated frame")
        changed = replace(
            settings,
            frames={self.frame: replace(frame, heat=replace(self.heat, power_w=power_w))},
            tables={self.frame: {**table, "heat": {**heat_table, "power_w": power_w}}},
        )
        return replace(self, plan=replace(self.plan, settings=changed))

    def with_air_off_by(self, offset_k: float) -> Ground:
        """The same with every air probe wrong by ``offset_k``."""
        probes = self.plan.settings.frames[self.frame].probes
        wrong = {
            probe: replace(self.plan.natures.get(probe, ProbeNature()), offset_k=offset_k)
            for place, probe in probes.items()
            if place in (Place.AIR, Place.AIR_SECOND)
        }
        return replace(self, plan=replace(self.plan, natures={**self.plan.natures, **wrong}))

    def between(self, from_utc: datetime, until_utc: datetime, step_s: float = STEP_S) -> Ground:
        """The same over another span."""
        return replace(self, plan=replace(self.plan, from_utc=from_utc, until_utc=until_utc, step_s=step_s))


def lay_ground(
    *,
    weather: Path,
    config: Path | None,
    first: date | None,
    last: date | None,
    stand_in: str,
    seed: int,
    quick: bool,
) -> Ground:
    """The ground as asked for; raises ControllerError with what is wrong.

    Without dates from 1 November to 30 April; ``quick`` takes a fortnight with the coldest moment in it.
    """
    series = read_weather(weather)
    settings = stand_at(read_settings(config), series)
    heated = [name for name, frame in settings.frames.items() if frame.heat is not None]
    if not heated:
        raise BenchError("the settings have no heated frame; add a heat table or leave --config out")
    frame = heated[0]
    zone = ZoneInfo(settings.site.zone)
    first = first or _season_start(series, zone)
    last = last or _season_end(first)
    from_utc, until_utc = file_span(series, Dates(first=first, last=last), zone)
    plan = Plan(
        settings=replace(
            settings, frames={frame: settings.frames[frame]}, tables={frame: settings.tables[frame]}
        ),
        weather=series,
        from_utc=from_utc,
        until_utc=until_utc,
        step_s=STEP_S,
        seed=seed,
        stand_in=_factory(stand_in, series, settings.tables[frame], seed),
        stand_in_name=stand_in,
        growers=(GROWER,),
    )
    ground = Ground(plan=plan, frame=frame)
    if not quick:
        return ground
    begins_utc = quick_start(series, from_utc, until_utc)
    return ground.between(begins_utc, min(until_utc, begins_utc + timedelta(days=QUICK_DAYS)))


def stand_at(settings: Settings, weather: WeatherSeries) -> Settings:
    """The settings' site, moved to where the weather comes from unless it lies in the same hour of the sun.

    Its clocks then go by the nearest whole hour, so that growers are up by day and not by night.
    """
    site = settings.site
    if abs(site.longitude_deg - weather.longitude_deg) <= DEGREES_PER_H / 2:
        return settings
    moved: SiteSettings = replace(
        site,
        latitude_deg=weather.latitude_deg,
        longitude_deg=weather.longitude_deg,
        zone=f"Etc/GMT{-round(weather.longitude_deg / DEGREES_PER_H):+d}",
    )
    return replace(settings, site=moved)


def coldest_moment(weather: WeatherSeries, from_utc: datetime, until_utc: datetime) -> datetime:
    """When it is coldest outside, to the hour."""
    hours = int((until_utc - from_utc) / timedelta(hours=1))
    instants = [from_utc + timedelta(hours=hour) for hour in range(hours + 1)]
    return min(instants, key=lambda utc: weather.at(utc).temp_c)


def watts_ladder() -> list[float]:
    """Round watts, each a tenth above the one before."""
    rungs = []
    power_w = LADDER_FROM_W
    while power_w <= LADDER_UNTIL_W:
        rungs.append(LADDER_ROUND_W * round(power_w / LADDER_ROUND_W))
        power_w *= LADDER_FACTOR
    return rungs


def quick_start(weather: WeatherSeries, from_utc: datetime, until_utc: datetime) -> datetime:
    """The mildest hour in the days before the coldest moment: a frame begins as cold as the air."""
    coldest = coldest_moment(weather, from_utc, until_utc)
    early, late = (max(from_utc, coldest - before) for before in QUICK_BEFORE)
    hours = int((late - early) / timedelta(hours=1))
    return max(
        (early + timedelta(hours=hour) for hour in range(hours + 1)), key=lambda utc: weather.at(utc).temp_c
    )


def adequate_watts(ground: Ground) -> float:
    """The smallest adequate cable of the ladder; raises BenchError when there is none."""
    ladder = watts_ladder()
    rung = bisect_left(ladder, ground.keep_c, key=lambda power_w: coldest_week_c(ground.with_watts(power_w)))
    if rung < len(ladder):
        return ladder[rung]
    raise BenchError(
        f"no cable up to {ladder[-1]:g} W holds {ground.keep_c:g} °C in the coldest week; lower keep_above_c"
    )


def coldest_week_c(ground: Ground) -> float:
    """The coldest air in the coldest week, under the thermostat by which adequacy is judged."""
    plan = ground.plan
    coldest = coldest_moment(plan.weather, plan.from_utc, plan.until_utc)
    begins = coldest - WEEK_BEFORE
    week = ground.between(
        max(plan.weather.first_utc, begins - SETTLING),
        min(plan.weather.last_utc, coldest + WEEK_AFTER),
        COARSE_STEP_S,
    )
    on_c = ground.keep_c + ground.heat.differential_k
    field, on, coldest_c = Field(week.plan), False, float("inf")
    while field.elapsed_s < week.span_s:
        step_s = min(COARSE_STEP_S, week.span_s - field.elapsed_s)
        air_c = field.step(step_s, {ground.frame: on})[ground.frame].true_c["air"]
        on = air_c <= on_c or (on and air_c < on_c + ground.heat.differential_k)
        if field.now_utc > begins:
            coldest_c = min(coldest_c, air_c)
        field.visit(())
    return coldest_c


def _factory(stand_in: str, weather: WeatherSeries, table: Mapping[str, object], seed: int) -> Factory:
    """The stand-in's; a built-in frame keeps the nature that it has with its own watts under any others."""
    if stand_in != BUILT_IN:
        return load_factory(stand_in)
    nature = nature_of(table, seed)

    def same_frame(changed: dict[str, Any], _start_utc: datetime) -> StandIn:
        return SeasonedStandIn(build_parts(changed, nature), weather.latitude_deg, weather.longitude_deg)

    return same_frame


def _season_start(weather: WeatherSeries, zone: ZoneInfo) -> date:
    """The first 1 November of the file, or its own first day where it has none."""
    begins = weather.first_utc.astimezone(zone).date()
    start = date(begins.year, *SEASON_FROM)
    if start < begins:
        start = date(begins.year + 1, *SEASON_FROM)
    return start if datetime.combine(start, datetime.min.time(), UTC) < weather.last_utc else begins


def _season_end(first: date) -> date:
    """The next 30 April after a day."""
    end = date(first.year, *SEASON_UNTIL)
    return end if end > first else date(first.year + 1, *SEASON_UNTIL)
