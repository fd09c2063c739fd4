"""Whole nights in a second or two: the real keeper on the stand-in, under weather and faults of one's own.

``run_night`` gives back everything as lists, one entry per step; ``broken_rules`` looks for steps in
which a rule was broken that holds in every night (fault matrix, invariants I1, I2, I3, I10).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from controller.config.records import Settings
from controller.folders import Folders
from controller.rehearse.contract import Factory
from controller.rehearse.files import read_settings
from controller.rehearse.keepers import give_order, put_away, real_keeper
from controller.rehearse.probes import ProbeFault
from controller.rehearse.run import Plan, Rehearsal
from controller.rehearse.standin import make_factory
from controller.vocabulary import (
    FrameName,
    HeatReport,
    Level,
    NoticeEvent,
    Place,
    ProbeId,
    Readings,
    Sample,
)
from controller.weatherfile import COLUMN_LINE, parse_weather
from controller.weatherseries import WeatherSeries

SOUTH = FrameName("south")
NOON = datetime(2027, 2, 5, 12, tzinfo=UTC)
"""Every night begins at noon, so that the keeper is long awake when it gets cold."""
LATITUDE_DEG, LONGITUDE_DEG = 53.1, -7.3
MIN_OFF_S = MIN_ON_S = 180.0
ON_PROOF_S = 6 * 3600.0
SWITCHES_PER_H = 6


@dataclass(slots=True)
class Night:
    """One run; index ``i`` is the end of step ``i``."""

    step_s: float
    hours: list[float] = field(default_factory=list)
    """Since noon."""
    air_c: list[float] = field(default_factory=list)
    """True, as all ``_c`` here."""
    bed_c: list[float] = field(default_factory=list)
    cable_c: list[float] = field(default_factory=list)
    outside_c: list[float] = field(default_factory=list)
    relay_on: list[bool] = field(default_factory=list)
    reports: list[HeatReport] = field(default_factory=list)
    readings: list[Readings] = field(default_factory=list)
    aims_c: list[float] = field(default_factory=list)
    told: list[tuple[float, NoticeEvent]] = field(default_factory=list)
    """Hour and event."""

    def between(self, from_h: float, until_h: float) -> Iterator[int]:
        """Indices of the steps that end in the span."""
        return (index for index, hour in enumerate(self.hours) if from_h < hour <= until_h)

    def coldest_c(self, from_h: float = 0.0, until_h: float = math.inf) -> float:
        """Lowest true air in the span."""
        return min(self.air_c[index] for index in self.between(from_h, until_h))

    def on_frac(self, from_h: float, until_h: float) -> float:
        """Share of the span with the relay on."""
        steps = list(self.between(from_h, until_h))
        return sum(self.relay_on[index] for index in steps) / len(steps)

    def levels(self, from_h: float, until_h: float) -> set[Level]:
        """Levels of protection seen in the span."""
        return {self.reports[index].level for index in self.between(from_h, until_h)}

    def hours_of(self, code: str, event: str = "raised") -> list[float]:
        """When notices of this code were raised (or else)."""
        return [hour for hour, notice in self.told if notice.code == code and notice.event == event]


def probe_at(place: Place) -> ProbeId:
    """The example's probe at a place."""
    return read_settings(None).frames[SOUTH].probes[place]


def night_weather(
    *,
    hours: float,
    high_c: float,
    low_c: float,
    cloud_tenths: float = 0.0,
    sun_w_m2: float = 0.0,
) -> WeatherSeries:
    """Warmest at 14:00, coldest at 07:00 every day; ``sun_w_m2`` is direct normal from 08:00 to 17:00."""
    rows = []
    for hour in range(math.ceil(hours) + 2):
        of_day = (12 + hour) % 24
        # half a cosine down from 14:00 to 07:00 (17 h), half a cosine up again (7 h)
        since_high_h = (of_day - 14) % 24
        share = since_high_h / 17 if since_high_h <= 17 else 1 - (since_high_h - 17) / 7
        temp_c = high_c + (low_c - high_c) * (0.5 - 0.5 * math.cos(math.pi * share))
        height = max(0.0, math.sin(math.pi * (of_day - 8) / 9)) if 8 < of_day < 17 else 0.0
        dni = sun_w_m2 if height else 0.0
        stamp = (NOON + timedelta(hours=hour)).strftime("%Y-%m-%dT%H:%M:%SZ")
        rows.append(
            f"{stamp},{temp_c:.3f},{low_c - 2:.3f},1,{0.5 * dni * height:.1f},{dni:.1f},{0.1 * dni:.1f},"
            f"{cloud_tenths}"
        )
    header = f"# lat: {LATITUDE_DEG}\n# lon: {LONGITUDE_DEG}\n# irradiance: instant\n{COLUMN_LINE}\n"
    return parse_weather(header + "\n".join(rows) + "\n", "a night of one's own")


def run_night(
    folder: Path,
    *,
    hours: float,
    weather: WeatherSeries,
    faults: Sequence[ProbeFault] = (),
    settings: Settings | None = None,
    grower: str = "absent",
    step_s: float = 60.0,
    seed: int = 1,
    stand_in: Factory | None = None,
) -> Night:
    """Run the keeper for so many hours from noon; ``faults`` count seconds from noon too."""
    folders = Folders(state=folder / "state", run=folder / "run")
    for each in (folders.state, folders.run):
        each.mkdir(parents=True, exist_ok=True)
    plan = Plan(
        settings=settings or read_settings(None),
        weather=weather,
        from_utc=NOON,
        until_utc=NOON + timedelta(hours=hours),
        step_s=step_s,
        seed=seed,
        stand_in=stand_in or make_factory(LATITUDE_DEG, LONGITUDE_DEG),
        stand_in_name="night",
        growers=(grower,),
        faults=faults,
    )
    rehearsal = Rehearsal(plan, real_keeper(folders), give_order)
    night = Night(step_s=step_s)
    elapsed_s = 0.0
    with ExitStack() as stack:
        stack.callback(put_away, rehearsal.keeper)
        for moment in rehearsal.moments():
            elapsed_s += moment.dt_s
            true, tick = moment.frames[SOUTH].true_c, moment.result.frames[SOUTH]
            night.hours.append(elapsed_s / 3600.0)
            night.air_c.append(true["air"])
            night.bed_c.append(true["bed"])
            night.cable_c.append(true["cable"])
            night.outside_c.append(true["outside"])
            night.relay_on.append(tick.report.relay_on)
            night.reports.append(tick.report)
            night.readings.append(dict(tick.readings))
            night.aims_c.append(tick.aim_c)
            night.told.extend((elapsed_s / 3600.0, event) for event in moment.result.notices)
    return night


def broken_rules(night: Night) -> list[str]:
    """Every step that broke a rule of all nights, in words; empty when all held."""
    broken = [
        f"{night.hours[index]:.2f} h: {what}"
        for index, report in enumerate(night.reports)
        for what in _broken_at(report, night.readings[index])
    ]
    if night.relay_on and night.relay_on[0]:
        broken.append("heat on in the first step (I3)")
    switched_on_h: list[float] = []
    for on, from_h, until_h in _runs(night):
        span_s = (until_h - from_h) * 3600.0
        whole = until_h < night.hours[-1]
        if on:
            switched_on_h.append(from_h)
            if span_s > ON_PROOF_S + night.step_s + 1.0:
                broken.append(f"{from_h:.2f} h: on for {span_s:.0f} s without a rest (I2)")
        elif whole and span_s < MIN_OFF_S - 1.0:
            broken.append(f"{from_h:.2f} h: off for {span_s:.0f} s only (I10)")
    for index, from_h in enumerate(switched_on_h):
        if sum(from_h <= later_h < from_h + 1.0 - 1e-6 for later_h in switched_on_h[index:]) > SWITCHES_PER_H:
            broken.append(f"{from_h:.2f} h: more than {SWITCHES_PER_H} switchings in an hour (I10)")
    return broken


def _broken_at(report: HeatReport, readings: Readings) -> Iterator[str]:
    if report.relay_on and not report.heat_allowed:
        yield "relay on without permission"
    if report.relay_on and not report.heat_wanted:
        yield "relay on though nobody wanted heat"
    bed = readings[Place.BED]
    if report.relay_on and isinstance(bed, Sample) and bed.temp_c >= 25.0:  # the root limit
        yield "heat on over a root zone at its limit (I1)"
    trusted = [readings[place] for place in (Place.BED, Place.CABLE) if isinstance(readings[place], Sample)]
    if report.relay_on and not trusted and report.level is not Level.BLIND:
        yield "heat on with no trusted reading near the cable (I1)"


def _runs(night: Night) -> Iterator[tuple[bool, float, float]]:
    """Stretches of one relay state as (on, from, until) in hours."""
    begun_h, state = 0.0, False
    for hour, on in zip(night.hours, night.relay_on, strict=True):
        if on != state:
            yield state, begun_h, hour
            begun_h, state = hour, on
    if night.hours:
        yield state, begun_h, night.hours[-1]
