"""What a rehearsal says in the terminal before it begins and after it has ended."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from controller.config.records import FrameSettings, Settings, Units
from controller.rehearse.paper import Paper, day_words
from controller.rehearse.run import Plan
from controller.rehearse.tally import S_PER_H, FrameTally
from controller.units import (
    cost_of,
    duration_text,
    energy_text,
    money_text,
    temperature_text,
)
from controller.vocabulary import FrameName, Place


def opening_words(plan: Plan, paper: Paper, *, weather_words: str, stood_in_for: tuple[Place, ...]) -> None:
    """Say what is going to run and that nothing of it is real but the keeper."""
    settings = plan.settings
    zone = ZoneInfo(settings.site.zone)
    paper.line("frameward rehearse")
    paper.line()
    paper.paragraph(
        f"{settings.site.name}, {_span_words(plan.from_utc, plan.until_utc, zone)}. {weather_words}"
        " The frame is simulated and no relay is touched; what holds it is the keeper itself, on bytes as"
        " a board would read them. Ctrl-C ends it early.",
    )
    for frame in settings.frames.values():
        paper.paragraph(_frame_words(frame, settings))
    if stood_in_for:
        names = ", ".join(place.value for place in stood_in_for)
        paper.paragraph(
            f"This stand-in does not model: {names}. Those probes read the nearest place instead."
        )
    paper.line()


def closing_words(
    plan: Plan, paper: Paper, tallies: Mapping[FrameName, FrameTally], *, until_utc: datetime, wall_s: float
) -> None:
    """Say what it came to, frame by frame."""
    settings, units = plan.settings, plan.settings.site.units
    zone = ZoneInfo(settings.site.zone)
    simulated_s = (until_utc - plan.from_utc).total_seconds()
    early = "" if until_utc >= plan.until_utc else " (ended early)"
    paper.line()
    paper.paragraph(
        f"{_span_words(plan.from_utc, until_utc, zone)}{early}: {duration_text(simulated_s)} in"
        f" {duration_text(wall_s)}.",
    )
    for name, tally in tallies.items():
        if tally.total_s:
            paper.paragraph(f"{name}: {_tally_words(tally, units)}{_energy_words(tally, settings)}")


def _tally_words(tally: FrameTally, units: Units) -> str:
    coldest_c, warmest_c, keep_c = tally.coldest_c, tally.warmest_c, tally.keep_above_c
    kept = (
        "." if keep_c is None else f", {_hours(tally.below_keep_s)} below {temperature_text(keep_c, units)}."
    )
    return (
        f"coldest outside {temperature_text(tally.coldest_outside_c, units)},"
        f" in the frame {temperature_text(coldest_c, units)}, warmest {temperature_text(warmest_c, units)};"
        f" {_hours(tally.below_0_s)} below {temperature_text(0.0, units)}{kept}"
    )


def _energy_words(tally: FrameTally, settings: Settings) -> str:
    if not tally.power_w:
        return ""
    money = ""
    if settings.price is not None:
        cost = cost_of(tally.energy_wh, settings.price.per_kwh)
        money = f", {money_text(cost, settings.price.currency)}"
    return f" Heat for {_hours(tally.heated_s)}: {energy_text(tally.energy_wh)}{money}."


def _frame_words(frame: FrameSettings, settings: Settings) -> str:
    cover = frame.cover.value.replace("_", " ")
    size = f"{frame.name}: {frame.length_m:g} \N{MULTIPLICATION SIGN} {frame.depth_m:g} m under {cover}"
    if frame.heat is None:
        return f"{size}, without heat."
    kept = temperature_text(frame.heat.keep_above_c, settings.site.units)
    return f"{size}, a cable of {frame.heat.power_w:g} W, kept above {kept}."


def _span_words(from_utc: datetime, until_utc: datetime, zone: ZoneInfo) -> str:
    """Whole days by their dates, both included; else with the hour."""
    first, last = from_utc.astimezone(zone), until_utc.astimezone(zone)
    if first.time() == last.time() == time() and last > first:
        last -= timedelta(days=1)
        if last.date() == first.date():
            return f"{day_words(first)} {first:%Y}"
        return f"{day_words(first)} {first:%Y} to {day_words(last)} {last:%Y}"
    return f"{day_words(first)} {first:%Y %H:%M} to {day_words(last)} {last:%Y %H:%M}"


def _hours(span_s: float) -> str:
    return "no time" if span_s == 0.0 else f"{span_s / S_PER_H:.1f} hours"
