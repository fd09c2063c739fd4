"""What ``frameward rehearse`` does once its options are read: plan, run, show, leave."""

from __future__ import annotations

import os
import sys
import time
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from controller.config.records import Settings
from controller.errors import ControllerError, StorageError
from controller.folders import Folders
from controller.rehearse.contract import Factory
from controller.rehearse.daybook import DaybookView, ProgressView
from controller.rehearse.drive import Interrupt, Pace, Run, Watcher, drive, heed_signals
from controller.rehearse.files import read_settings, read_weather
from controller.rehearse.invented import invent_weather
from controller.rehearse.mishaps import parse_faults, parse_natures
from controller.rehearse.nights import NightWatch
from controller.rehearse.outputs import OutputFolder, Tallies
from controller.rehearse.paced import paced_rehearsal
from controller.rehearse.paper import Paper, open_paper
from controller.rehearse.picture import WinterPicture
from controller.rehearse.pictureink import SHEET_BEGINS
from controller.rehearse.place import refuse_foreign_file, rehearsal_folders
from controller.rehearse.plan import Plan
from controller.rehearse.planted import Planted, plant
from controller.rehearse.run import Rehearsal
from controller.rehearse.seam import load_factory
from controller.rehearse.show import BUILT_IN, closing_words, opening_words
from controller.rehearse.span import Dates, file_span, invented_span
from controller.rehearse.standin import make_factory
from controller.rehearse.winters import invent_winter
from controller.weatherseries import WeatherSeries

SHOWN_FOR_S = 120.0
"""Without a pace asked for, a rehearsal to look at takes two minutes."""
LINE_EVERY_REAL_S = 0.7
LINE_EVERY_MIN_S = 1800.0
PLAIN_STEP_S = 60.0
SLOW_LAPSE = 60.0
"""Up to this lapse the keeper ticks as often as on a board."""
SIGNAL_EXIT = 128


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """The options as given; None where somebody left the choice."""

    config: Path | None
    weather: Path | None
    dates: Dates
    stand_in: str
    growers: tuple[str, ...]
    slip_frac: float
    step_s: float | None
    seed: int
    out: Path | None
    lapse: float | None
    fast: bool
    state: Path | None
    run: Path | None
    picture: Path | None
    faults: tuple[str, ...]
    natures: tuple[str, ...]


def rehearse(wanted: Wanted) -> int:
    """Do it; returns the exit code."""
    settings = read_settings(wanted.config)
    if wanted.picture is not None:
        if not wanted.picture.parent.is_dir():
            raise StorageError(f"{wanted.picture.parent}: is no folder; make it or choose another --picture")
        refuse_foreign_file(
            wanted.picture, SHEET_BEGINS.encode(), remedy="move it or choose another --picture"
        )
    weather, span, weather_words = _weather(wanted, settings)
    plan = _make_plan(wanted, settings, weather, span)
    lapse, planted = wanted.lapse, None
    if not wanted.fast and wanted.out is None:
        lapse = lapse or max(1.0, (span[1] - span[0]).total_seconds() / SHOWN_FOR_S)
        if wanted.weather is None and wanted.dates == Dates() and not wanted.faults:
            planted = plant(settings)
    if planted is not None:
        plan = replace(plan, faults=(planted.fault,))
    with ExitStack() as stack:
        folders = rehearsal_folders(stack, state=wanted.state, run=wanted.run, out=wanted.out)
        interrupt = stack.enter_context(heed_signals())
        show = _Show(plan=plan, weather_words=weather_words, planted=planted, lapse=lapse, wanted=wanted)
        return _run(show, folders, interrupt)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Show:
    """One run and how it is shown."""

    plan: Plan
    weather_words: str
    planted: Planted | None
    lapse: float | None
    wanted: Wanted


def _run(show: _Show, folders: Folders, interrupt: Interrupt) -> int:
    """Run one plan and say so; returns the exit code."""
    began_at_s = time.monotonic()
    plan, out = show.plan, show.wanted.out
    paper = open_paper(sys.stdout, os.environ)
    tallies = Tallies(plan.settings)
    watchers: list[Watcher] = [tallies]
    picture = None if show.wanted.picture is None else WinterPicture(plan)
    with ExitStack() as stack:
        rehearsal = _begin(show, folders, stack)
        opening_words(
            plan,
            paper,
            weather_words=show.weather_words,
            stood_in_for=rehearsal.field.stood_in_for,
            planted_words="" if show.planted is None else show.planted.beforehand,
        )
        view = _view(show, paper)
        watchers.append(view)
        if picture is not None:
            watchers.append(picture)
        files = None if out is None else OutputFolder(out, plan.settings, rehearsal.field.places)
        if files is not None:
            watchers += [stack.enter_context(files), NightWatch(rehearsal.field, files.add_night)]
        whole = False
        try:
            whole = drive(rehearsal, watchers, Pace(lapse=show.lapse), interrupt)
        except ControllerError:
            if files is not None:  # what there is, said to be early
                facts = _facts(plan, show.wanted, rehearsal.field.now_utc, whole=False)
                files.write_summary(tallies, facts, time.monotonic() - began_at_s)
            raise
    if isinstance(view, ProgressView):
        view.finish()
    wall_s = time.monotonic() - began_at_s
    if files is not None:
        files.write_summary(tallies, _facts(plan, show.wanted, rehearsal.field.now_utc, whole=whole), wall_s)
    closing_words(plan, paper, tallies.frames, until_utc=rehearsal.field.now_utc, wall_s=wall_s)
    if out is not None:
        paper.paragraph(f"Left in {out}: trace.csv, nights.csv, notices.csv, summary.json.")
    if picture is not None and show.wanted.picture is not None:
        picture.write(show.wanted.picture)
        paper.paragraph(f"The picture of it is {show.wanted.picture}.")
    return 0 if whole else SIGNAL_EXIT + interrupt.signal_number


def _begin(show: _Show, folders: Folders, stack: ExitStack) -> Run:
    """At full speed all in one process; at a pace the keeper is a process of its own."""
    if show.lapse is not None:
        return stack.enter_context(paced_rehearsal(show.plan, folders, config=show.wanted.config))
    from controller.rehearse.keepers import give_order, put_away, real_keeper  # noqa: PLC0415  # heavy, and not for --help

    rehearsal = Rehearsal(show.plan, real_keeper(folders), give_order)
    stack.callback(put_away, rehearsal.keeper)
    return rehearsal


def _view(show: _Show, paper: Paper) -> ProgressView | DaybookView:
    if show.lapse is None:
        return ProgressView(show.plan, paper, time.monotonic)
    return DaybookView(
        show.plan.settings,
        paper,
        every_s=max(LINE_EVERY_MIN_S, _round_up(LINE_EVERY_REAL_S * show.lapse)),
        remarks=() if show.planted is None else show.planted.remarks,
    )


def _weather(wanted: Wanted, settings: Settings) -> tuple[WeatherSeries, tuple[datetime, datetime], str]:
    """The weather, the span of the run in it, and where it comes from in words."""
    site, zone = settings.site, ZoneInfo(settings.site.zone)
    if wanted.weather is not None:
        series = read_weather(wanted.weather)
        words = f"The weather is that of {series.header.get('station') or wanted.weather.name}."
        return series, file_span(series, wanted.dates, zone), words
    span = invented_span(wanted.dates, zone)
    demonstrates = wanted.dates.first is None and wanted.dates.last is None
    series = (invent_weather if demonstrates else invent_winter)(
        seed=wanted.seed,
        from_utc=span[0],
        to_utc=span[1],
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
    )
    return series, span, "The weather is invented."


def _make_plan(
    wanted: Wanted, settings: Settings, weather: WeatherSeries, span: tuple[datetime, datetime]
) -> Plan:
    return Plan(
        settings=settings,
        weather=weather,
        from_utc=span[0],
        until_utc=span[1],
        step_s=wanted.step_s or _step_s(settings, wanted.lapse),
        seed=wanted.seed,
        stand_in=_stand_in(wanted.stand_in, weather, wanted.seed),
        stand_in_name=wanted.stand_in,
        growers=wanted.growers,
        slip_frac=wanted.slip_frac,
        faults=parse_faults(wanted.faults, settings, *span),
        natures=parse_natures(wanted.natures, settings),
    )


def _stand_in(name: str, weather: WeatherSeries, seed: int) -> Factory:
    return (
        make_factory(weather.latitude_deg, weather.longitude_deg, seed=seed)
        if name == BUILT_IN
        else load_factory(name)
    )


def _facts(plan: Plan, wanted: Wanted, until_utc: datetime, *, whole: bool) -> dict[str, object]:
    """What was rehearsed, for the summary; no path, so that the same run leaves the same bytes anywhere."""
    return {
        "seed": plan.seed,
        "from_utc": plan.from_utc.isoformat().replace("+00:00", "Z"),
        "until_utc": until_utc.isoformat().replace("+00:00", "Z"),
        "whole": whole,
        "step_s": plan.step_s,
        "stand_in": plan.stand_in_name,
        "growers": list(plan.growers),
        "slips": plan.slip_frac,
        "faults": list(wanted.faults),
        "probes": list(wanted.natures),
        "weather": plan.weather.header.get("station") or Path(plan.weather.file_name).name,
    }


def _step_s(settings: Settings, lapse: float | None) -> float:
    return settings.site.tick_s if lapse is not None and lapse <= SLOW_LAPSE else PLAIN_STEP_S


def _round_up(span_s: float) -> float:
    """To whole half hours, so that lines fall on even times."""
    return -(-span_s // LINE_EVERY_MIN_S) * LINE_EVERY_MIN_S
