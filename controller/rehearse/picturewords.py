"""What a picture says in words: what was found, day by day and in all. Pure."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from controller.config.records import Settings, Units
from controller.rehearse.picturedays import FrameDay, FrameWinter
from controller.units import (
    cost_of,
    count_text,
    duration_text,
    energy_text,
    money_text,
    temperature_text,
)

TWO_HOURS_S = 7200.0


def finding(winter: FrameWinter, settings: Settings) -> str:
    """One frame's winter in a sentence, such as ``Never below 1.4 °C; 41.0 kWh; coldest outside …``."""
    units = settings.site.units
    parts = [_held(winter, units)]
    warm_s = sum(day.warm_s for day in winter.days)
    if warm_s:
        limit = temperature_text(winter.air_max_c, units)
        warmest = temperature_text(max(day.air_high_c for day in winter.days), units)
        parts.append(f"above {limit} for {hours_text(warm_s)}, up to {warmest}")
    if winter.power_w:
        money = ""
        if settings.price is not None and winter.heated_s:
            cost = cost_of(winter.energy_wh, settings.price.per_kwh)
            money = f" ({money_text(cost, settings.price.currency)})"
        parts.append(f"{energy_text(winter.energy_wh)}{money}" if winter.heated_s else "no heat was needed")
    else:
        parts.append("no heat is fitted")
    outside = winter.coldest_outside
    parts.append(
        f"coldest outside {temperature_text(outside.outside_low_c, units)} on {day_text(outside.day)}"
    )
    return unbroken("; ".join(parts))


def _held(winter: FrameWinter, units: Units) -> str:
    """How the air fared against frost and its own line."""
    coldest = winter.coldest
    low = temperature_text(coldest.air_low_c, units)
    frost_s = sum(day.frost_s for day in winter.days)
    below_s = sum(day.below_keep_s for day in winter.days)
    if frost_s:
        if low == temperature_text(0.0, units):
            low = f"just below {low}"
        return f"Down to {low} on {day_text(coldest.day)}, {hours_text(frost_s)} below freezing"
    if below_s:
        kept = temperature_text(winter.keep_above_c, units)
        return f"Never below {low}; under its line of {kept} for {hours_text(below_s)}"
    return f"Never below {low}"


def common_finding(winters: Sequence[FrameWinter], settings: Settings) -> str:
    """All frames of a site in a sentence; with one frame that frame's own."""
    if len(winters) == 1:
        return finding(winters[0], settings)
    units = settings.site.units
    coldest = min(winters, key=lambda winter: winter.coldest.air_low_c)
    low = temperature_text(coldest.coldest.air_low_c, units)
    frosted = sum(any(day.frost_s for day in winter.days) for winter in winters)
    if frosted:
        several = count_text(len(winters), "frame")
        held = f"Frost in {frosted} of {several}, down to {low} in {coldest.settings.name}"
    else:
        held = f"No frost in any of {count_text(len(winters), 'frame')}; never below {low}"
    energy = energy_text(sum(winter.energy_wh for winter in winters))
    outside = min((winter.coldest_outside for winter in winters), key=lambda day: day.outside_low_c)
    return unbroken(
        f"{held}; {energy} in all; coldest outside"
        f" {temperature_text(outside.outside_low_c, units)} on {day_text(outside.day)}"
    )


def day_words(day: FrameDay, winter: FrameWinter, units: Units) -> str:
    """One day in full, for whoever points at it."""
    words = (
        f"{day_text(day.day)}: outside {temperature_text(day.outside_low_c, units)} to"
        f" {temperature_text(day.outside_high_c, units)}, in the frame"
        f" {temperature_text(day.air_low_c, units)} to {temperature_text(day.air_high_c, units)}"
    )
    spans = (
        (day.heated_s, f"heat {energy_text(day.heated_s * winter.power_w / 3600.0)} in"),
        (day.open_s, "open for"),
        (day.laid_s, "mats on for"),
        (day.frost_s, "below freezing for"),
        (day.warm_s, "above its limit for"),
    )
    words += "".join(f", {what} {hours_text(span_s)}" for span_s, what in spans if span_s)
    return words + (f", {count_text(day.urgent, 'urgent notice')}" if day.urgent else "")


def span_words(first: date, last: date) -> str:
    """From the first day to the last, years where they are needed."""
    if first == last:
        return f"{day_text(first)} {first.year}"
    if first.year != last.year:
        return f"{day_text(first)} {first.year} to {day_text(last)} {last.year}"
    begins = str(first.day) if first.month == last.month else day_text(first)
    return f"{begins} to {day_text(last)} {last.year}"


def unbroken(sentence: str) -> str:
    """Figures that are not torn from what they count."""
    return re.sub("(?<=[0-9]) (?=[^0-9])", "\N{NO-BREAK SPACE}", sentence)


def lowered(sentence: str) -> str:
    """A sentence that goes on after a colon."""
    return sentence[:1].lower() + sentence[1:]


def day_text(day: date) -> str:
    """A day as it is spoken: ``7 February``."""
    return f"{day.day} {day:%B}"


def hours_text(span_s: float) -> str:
    """Minutes where it was less than two hours."""
    return duration_text(span_s) if span_s < TWO_HOURS_S else f"{span_s / 3600.0:.0f} hours"
