"""What a rehearsal says in the terminal before it begins and after it has ended."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from controller.config.records import FrameSettings, Settings, Units
from controller.rehearse.paper import Paper, day_words
from controller.rehearse.run import Plan
from controller.rehearse.tally import S_PER_H, FrameTally
from controller.units import (
    c_to_f,
    cost_of,
    count_text,
    decimal_text,
    duration_text,
    energy_text,
    money_text,
    temperature_text,
)
from controller.vocabulary import FrameName, Place

OPEN_SHARE = 0.1
"""With covers open for this share of the time below the line, they are named before the cable."""
BUILT_IN = "built-in"
"""The stand-in that comes along, by its name."""


def opening_words(
    plan: Plan, paper: Paper, *, weather_words: str, stood_in_for: tuple[Place, ...], planted_words: str = ""
) -> None:
    """Say what is going to run and that nothing of it is real but the keeper."""
    settings = plan.settings
    zone = ZoneInfo(settings.site.zone)
    paper.line("frameward rehearse")
    paper.line()
    paper.paragraph(
        f"{settings.site.name}, {_span_words(plan.from_utc, plan.until_utc, zone)}. {weather_words}"
        " Frame and probes are simulated and no relay is touched; the program that holds the frame is the"
        " real one, the same that runs on a board. Ctrl-C ends it early.",
    )
    for frame in settings.frames.values():
        paper.paragraph(_frame_words(frame, settings))
    if planted_words:
        paper.paragraph(planted_words)
    if plan.weather_is_elsewhere:
        paper.paragraph(
            "The weather was taken far to the east or west of the site: growers live by its sun, while all"
            " times shown are the site's."
        )
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
    early = "" if until_utc >= plan.until_utc else " (ended early)"
    paper.line()
    paper.paragraph(
        f"{_span_words(plan.from_utc, until_utc, zone)}{early}:"
        f" {_length_words(plan.from_utc, until_utc, zone)}, rehearsed {_pace_words(wall_s)}.",
    )
    for name, tally in tallies.items():
        if tally.total_s:
            paper.paragraph(f"{name}: {_tally_words(tally, units)}{_energy_words(tally, settings)}")


def _tally_words(tally: FrameTally, units: Units) -> str:
    coldest_c, warmest_c, keep_c = tally.coldest_c, tally.warmest_c, tally.keep_above_c
    frost = _below_words(tally.below_0_s, 0.0, units)
    if keep_c is None:
        held = frost
    elif tally.below_keep_s == 0.0:
        held = _below_words(0.0, keep_c, units)
    else:
        below = _below_words(tally.below_keep_s, keep_c, units)
        start = " (as it was when the run began)" if tally.began_below else ""
        held = f"{frost}, and {below}{start}{_because(tally, units)}"
    return (
        f"coldest outside {temperature_text(tally.coldest_outside_c, units)},"
        f" in the frame {_coldest_words(coldest_c, units)}, warmest {temperature_text(warmest_c, units)}."
        f" It was {held}."
    )


def _coldest_words(coldest_c: float, units: Units) -> str:
    """Frost that rounds to freezing point is still frost."""
    shown = temperature_text(coldest_c, units)
    return f"just below {shown}" if coldest_c < 0.0 and shown == temperature_text(0.0, units) else shown


def _below_words(span_s: float, limit_c: float, units: Units) -> str:
    limit = temperature_text(limit_c, units)
    return f"never below {limit}" if span_s == 0.0 else f"below {limit} for {_hours(span_s)}"


def _because(tally: FrameTally, units: Units) -> str:
    """What a frame below its line was down to: heat that was off, or a cable too weak for the cold."""
    if tally.open_below_keep_s >= OPEN_SHARE * tally.below_keep_s:
        return f", with the covers open for {_hours(tally.open_below_keep_s)} of that"
    if not tally.heated_throughout:
        return f", with the cable off for {_hours(tally.below_keep_s - tally.heated_below_keep_s)} of that"
    if tally.weak_below_c == -math.inf:
        return ", with the cable on throughout"
    outside_c = tally.weak_below_c
    outside = (
        f"{decimal_text(c_to_f(outside_c), 0)} °F"
        if units is Units.FAHRENHEIT
        else f"{decimal_text(outside_c, 0)} °C"
    )
    return f": the cable was on throughout and is too weak below about {outside} outside"


def _energy_words(tally: FrameTally, settings: Settings) -> str:
    if not tally.power_w:
        return ""
    money = ""
    if settings.price is not None:
        cost = cost_of(tally.energy_wh, settings.price.per_kwh)
        money = f", {money_text(cost, settings.price.currency)}"
    if not tally.heated_s:
        return " No heat was needed."
    return f" Heat was on for {_hours(tally.heated_s)}: {energy_text(tally.energy_wh)}{money}."


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


def _length_words(from_utc: datetime, until_utc: datetime, zone: ZoneInfo) -> str:
    """Whole days as they are counted on a calendar, also where the clocks changed in between."""
    first, last = from_utc.astimezone(zone), until_utc.astimezone(zone)
    if first.time() == last.time() == time() and last > first:
        return count_text((last.date() - first.date()).days, "day")
    return duration_text((until_utc - from_utc).total_seconds())


def _pace_words(wall_s: float) -> str:
    return "in less than a second" if wall_s < 1.0 else f"in {duration_text(wall_s)}"


def _hours(span_s: float) -> str:
    """Minutes where it was less than two hours."""
    return duration_text(span_s) if span_s < 2 * S_PER_H else f"{span_s / S_PER_H:.1f} hours"
