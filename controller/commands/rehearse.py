"""``frameward rehearse``: the real keeper on a simulated frame."""

from __future__ import annotations

import os
import sys
import time
from contextlib import ExitStack
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import click

from controller.commands.day import read_day
from controller.folders import Folders
from controller.rehearse.daybook import DaybookView, ProgressView
from controller.rehearse.drive import Interrupt, Pace, Watcher, drive, heed_signals
from controller.rehearse.files import read_settings, read_weather
from controller.rehearse.grower import GROWERS
from controller.rehearse.invented import invent_weather
from controller.rehearse.nights import NightWatch
from controller.rehearse.outputs import OutputFolder, Tallies
from controller.rehearse.paper import open_paper
from controller.rehearse.place import rehearsal_folders
from controller.rehearse.planted import Planted, plant
from controller.rehearse.run import Plan, Rehearsal
from controller.rehearse.seam import load_factory
from controller.rehearse.show import closing_words, opening_words
from controller.rehearse.span import Dates, file_span, invented_span
from controller.rehearse.standin import make_factory

if TYPE_CHECKING:
    from controller.config.records import Settings

BUILT_IN = "built-in"
SHOWN_FOR_S = 120.0
"""Without a pace asked for, a rehearsal to look at takes two minutes."""
LINE_EVERY_REAL_S = 0.7
LINE_EVERY_MIN_S = 1800.0
STEP_S_MAX = 3600.0
PLAIN_STEP_S = 60.0
SLOW_LAPSE = 60.0
"""Up to this lapse the keeper ticks as often as on a board."""
SIGNAL_EXIT = 128


@click.command(
    "rehearse",
    epilog="Example: frameward rehearse --weather winter.csv.gz --from 2001-11-01 --days 30 --out autumn\n\n"
    "Exit codes: 0 done, 1 a file, folder or stand-in cannot be used, 2 wrong usage, 78 settings unusable, "
    "130 or 143 interrupted, after writing what there is.",
)
@click.option(
    "--config",
    type=click.Path(path_type=Path, readable=False),
    metavar="FILE",
    help="Settings file.  [default: the example that comes along]",
)
@click.option(
    "--weather",
    type=click.Path(path_type=Path, readable=False),
    metavar="FILE",
    help="Weather file, CSV, gzipped or not.  [default: an invented frosty fortnight]",
)
@click.option(
    "--from",
    "from_date",
    type=read_day,
    metavar="DATE",
    help="First day in the site's zone, such as 2027-02-14.",
)
@click.option("--to", "to_date", type=read_day, metavar="DATE", help="Last day, included.")
@click.option(
    "--days", type=click.IntRange(1, 400), metavar="N", help="Days from the first one on, in place of --to."
)
@click.option(
    "--stand-in",
    default=BUILT_IN,
    show_default=True,
    metavar="MODULE:FACTORY",
    help="Simulated frame; a module in the current folder will do.",
)
@click.option(
    "--grower",
    "growers",
    type=click.Choice(list(GROWERS)),
    multiple=True,
    default=("attentive",),
    show_default=True,
    help="Who moves the covers; more than one may share the frames.",
)
@click.option(
    "--slips",
    "slip_frac",
    type=click.FloatRange(0.0, 1.0),
    default=0.0,
    metavar="FRAC",
    help="Share of the growers' deeds that they report and have not done.",
)
@click.option(
    "--step-s",
    type=click.FloatRange(1.0, STEP_S_MAX),
    metavar="N",
    help="Simulated seconds per step.  [default: 60; at --lapse 60 or less the keeper's own tick]",
)
@click.option("--seed", type=int, default=1, show_default=True, metavar="N", help="For every invented draw.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, readable=False),
    metavar="DIR",
    help="Leave trace.csv, nights.csv, notices.csv and summary.json there, and the keeper's folder;"
    " runs at full speed.",
)
@click.option("--lapse", type=click.FloatRange(0.1), metavar="N", help="Simulated seconds per real second.")
@click.option("--fast", is_flag=True, help="As fast as it goes, with a progress line only.")
@click.option(
    "--state",
    type=click.Path(path_type=Path, readable=False),
    metavar="DIR",
    help="Keep the keeper's lasting folder there; one that a real keeper uses is refused.",
)
@click.option(
    "--run",
    type=click.Path(path_type=Path, readable=False),
    metavar="DIR",
    help="Keep the keeper's passing folder there.",
)
def command(
    *,
    config: Path | None,
    weather: Path | None,
    from_date: date | None,
    to_date: date | None,
    days: int | None,
    stand_in: str,
    growers: tuple[str, ...],
    slip_frac: float,
    step_s: float | None,
    seed: int,
    out: Path | None,
    lapse: float | None,
    fast: bool,
    state: Path | None,
    run: Path | None,
) -> None:
    """Run the real keeper on a simulated frame; no relay is touched.

    With nothing given: an invented fortnight of frost on the example frame, in about two minutes.
    With --out it runs at full speed unless --lapse sets a pace.
    """
    if fast and lapse is not None:
        raise click.UsageError("--fast and --lapse contradict each other; give one")
    if days is not None and to_date is not None:
        raise click.UsageError("--days and --to contradict each other; give one")
    settings, dates = read_settings(config), Dates(first=from_date, last=to_date, days=days)
    plan, weather_words = _make_plan(
        settings,
        weather=weather,
        dates=dates,
        stand_in=stand_in,
        growers=growers,
        slip_frac=slip_frac,
        step_s=step_s or _step_s(settings, lapse),
        seed=seed,
    )
    total_s = (plan.until_utc - plan.from_utc).total_seconds()
    planted = None
    if not fast and out is None:
        lapse = lapse or max(1.0, total_s / SHOWN_FOR_S)
        if weather is None and dates == Dates():
            planted = plant(settings)
    if planted is not None:
        plan = replace(plan, faults=(planted.fault,))
    with ExitStack() as stack:
        folders = rehearsal_folders(stack, state=state, run=run, out=out)
        interrupt = stack.enter_context(heed_signals())
        exit_code = _rehearse(
            plan, weather_words, folders, planted=planted, out=out, lapse=lapse, interrupt=interrupt
        )
    if exit_code:
        sys.exit(exit_code)


def _rehearse(
    plan: Plan,
    weather_words: str,
    folders: Folders,
    *,
    planted: Planted | None,
    out: Path | None,
    lapse: float | None,
    interrupt: Interrupt,
) -> int:
    """Run one plan and say so; returns the exit code."""
    from controller.rehearse.keepers import give_order, put_away, real_keeper  # noqa: PLC0415  # heavy, and not for --help

    began_at_s = time.monotonic()
    paper = open_paper(sys.stdout, os.environ)
    rehearsal = Rehearsal(plan, real_keeper(folders), give_order)
    tallies = Tallies(plan.settings)
    progress = ProgressView(plan, paper, time.monotonic) if lapse is None else None
    view = progress or DaybookView(
        plan.settings,
        paper,
        every_s=max(LINE_EVERY_MIN_S, _round_up(LINE_EVERY_REAL_S * (lapse or 1.0))),
        remarks=() if planted is None else planted.remarks,
    )
    watchers: list[Watcher] = [tallies, view]
    with ExitStack() as stack:
        stack.callback(put_away, rehearsal.keeper)  # first of all: even the opening words may find no reader
        opening_words(
            plan,
            paper,
            weather_words=weather_words,
            stood_in_for=rehearsal.field.stood_in_for,
            planted_words="" if planted is None else planted.beforehand,
        )
        files = None if out is None else OutputFolder(out, plan.settings, rehearsal.field.places)
        if files is not None:
            watchers += [stack.enter_context(files), NightWatch(rehearsal.field, files.add_night)]
        whole = drive(rehearsal, watchers, Pace(lapse=lapse), interrupt)
    if progress is not None:
        progress.finish()
    wall_s = time.monotonic() - began_at_s
    if files is not None:
        files.write_summary(tallies, _facts(plan, rehearsal.field.now_utc, whole=whole), wall_s)
    closing_words(plan, paper, tallies.frames, until_utc=rehearsal.field.now_utc, wall_s=wall_s)
    if out is not None:
        paper.paragraph(f"Left in {out}: trace.csv, nights.csv, notices.csv, summary.json.")
    return 0 if whole else SIGNAL_EXIT + interrupt.signal_number


def _make_plan(
    settings: Settings,
    *,
    weather: Path | None,
    dates: Dates,
    stand_in: str,
    growers: tuple[str, ...],
    slip_frac: float,
    step_s: float,
    seed: int,
) -> tuple[Plan, str]:
    """What is to be rehearsed, and where its weather comes from in words."""
    site = settings.site
    zone = ZoneInfo(site.zone)
    if weather is None:
        from_utc, until_utc = invented_span(dates, zone)
        series = invent_weather(
            seed=seed,
            from_utc=from_utc,
            to_utc=until_utc,
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
        )
        words = "The weather is invented."
    else:
        series = read_weather(weather)
        from_utc, until_utc = file_span(series, dates, zone)
        words = f"The weather is that of {series.header.get('station') or weather.name}."
    built_in = stand_in == BUILT_IN
    plan = Plan(
        settings=settings,
        weather=series,
        from_utc=from_utc,
        until_utc=until_utc,
        step_s=step_s,
        seed=seed,
        stand_in=make_factory(series.latitude_deg, series.longitude_deg)
        if built_in
        else load_factory(stand_in),
        stand_in_name=stand_in,
        growers=growers,
        slip_frac=slip_frac,
    )
    return plan, words


def _facts(plan: Plan, until_utc: datetime, *, whole: bool) -> dict[str, object]:
    """What was rehearsed, for the summary."""
    return {
        "seed": plan.seed,
        "from_utc": plan.from_utc.isoformat().replace("+00:00", "Z"),
        "until_utc": until_utc.isoformat().replace("+00:00", "Z"),
        "whole": whole,
        "step_s": plan.step_s,
        "stand_in": plan.stand_in_name,
        "growers": list(plan.growers),
        "slips": plan.slip_frac,
    }


def _step_s(settings: Settings, lapse: float | None) -> float:
    return settings.site.tick_s if lapse is not None and lapse <= SLOW_LAPSE else PLAIN_STEP_S


def _round_up(span_s: float) -> float:
    """To whole half hours, so that lines fall on even times."""
    return -(-span_s // LINE_EVERY_MIN_S) * LINE_EVERY_MIN_S
