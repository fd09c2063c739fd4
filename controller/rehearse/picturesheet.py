"""The whole picture: what was found, a panel for each frame, a key in words, and what it was. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from controller.config.records import Settings
from controller.rehearse.picturedays import FrameWinter
from controller.rehearse.pictureink import (
    Box,
    broken,
    evened,
    figure,
    filled,
    letters,
    line,
    shape,
    sheet,
    triangle,
)
from controller.rehearse.picturepanel import Panel, exclamation
from controller.rehearse.picturescale import COLUMN_C_MAX, scale_for
from controller.rehearse.picturewords import common_finding, finding, lowered, span_words
from controller.units import temperature_text

WIDTH_PX = 1200.0
EDGE_PX = 28.0
TITLE_PX, PLACE_PX, NAME_PX, KEY_PX, SMALL_PX = 32.0, 21.0, 22.0, 19.0, 17.0
KEY_COLUMNS = 3
SAMPLE_PX = 32.0
"""From the left edge of a sample in the key to its words."""
LEADING = 1.35
NOTHING = "Nothing was rehearsed"


def draw_sheet(winters: Sequence[FrameWinter], settings: Settings, small_print: str) -> str:
    """The SVG file; without a day it says that nothing was rehearsed."""
    if not any(winter.days for winter in winters):
        title, told, place = NOTHING, [], settings.site.name
    else:
        days = winters[0].days
        title = common_finding(winters, settings)
        place = f"{settings.site.name}, {span_words(days[0].day, days[-1].day)}"
        told = [f"{winter.settings.name}: {lowered(finding(winter, settings))}" for winter in winters]
    at_px, body = _paragraph(place, EDGE_PX, PLACE_PX, ink="quiet")
    at_px, words = _paragraph(title, at_px + 4.0, TITLE_PX, bold=True)
    body += words
    if told:
        at_px, panels = _panels(winters, settings, told, at_px)
        at_px, key = _key(_key_words(winters), at_px + 14.0)
        if any(day.air_high_c > COLUMN_C_MAX for winter in winters for day in winter.days):
            cut = temperature_text(COLUMN_C_MAX, settings.site.units)
            small_print = f"Columns end at {cut}, however warm it was. {small_print}"
        body += panels + key
    at_px, words = _paragraph(small_print, at_px + 14.0, SMALL_PX, ink="quiet")
    return sheet(
        WIDTH_PX,
        at_px + EDGE_PX,
        title=f"{place}: {title}",
        description=". ".join((*told, small_print)),
        body=body + words,
    )


def _panels(
    winters: Sequence[FrameWinter], settings: Settings, told: Sequence[str], at_px: float
) -> tuple[float, str]:
    """All panels on one scale; each under its own finding where there are several."""
    scale, body = scale_for(winters, settings.site.units), ""
    for winter, words in zip(winters, told, strict=True):
        if len(winters) > 1:
            at_px, drawn = _paragraph(words, at_px + 22.0, NAME_PX, bold=True)
            body += drawn
        panel = Panel(winter, scale, at_px)
        body += panel.draw()
        at_px = panel.bottom_px
    return at_px, body


def _paragraph(
    text: str, at_px: float, size_px: float, *, ink: str = "ink", bold: bool = False
) -> tuple[float, str]:
    """Text from edge to edge; gives where it ends."""
    body = ""
    split = evened if bold else broken
    for each in split(text, WIDTH_PX - 2.0 * EDGE_PX, size_px, bold=bold):
        at_px += LEADING * size_px
        body += letters(each, EDGE_PX, at_px - 0.3 * size_px, size_px=size_px, ink=ink, bold=bold)
    return at_px, body


def _key(entries: Sequence[tuple[str, str]], at_px: float) -> tuple[float, str]:
    """Each thing with a sample of how it looks."""
    body = ""
    for index, (kind, words) in enumerate(entries):
        left_px = EDGE_PX + index % KEY_COLUMNS * (WIDTH_PX - EDGE_PX) / KEY_COLUMNS
        base_px = at_px + LEADING * KEY_PX + index // KEY_COLUMNS * 1.5 * KEY_PX
        body += _sample(kind, left_px, base_px)
        body += letters(words, left_px + SAMPLE_PX, base_px, size_px=KEY_PX)
    rows = -(-len(entries) // KEY_COLUMNS)
    return at_px + rows * 1.5 * KEY_PX, body


def _key_words(winters: Sequence[FrameWinter]) -> list[tuple[str, str]]:
    """Only what occurs."""
    days = [day for winter in winters for day in winter.days]
    heated = any(winter.power_w for winter in winters)
    choices = (
        ("outside", "broad: outside, low to high", True),
        ("air", "narrow: in the frame, likewise", True),
        ("keep", "dashed: kept above this", heated),
        ("frostzone", "shaded: below freezing", True),
        ("frost", "point down: frost in the frame", any(day.frost_s for day in days)),
        ("warm", "point up: above the air limit", any(day.warm_s for day in days)),
        ("urgent", "an urgent notice that day", any(day.urgent for day in days)),
        ("open", "upwards: hours of covers open", any(day.open_s for day in days)),
        ("laid", "downwards: hours of mats on", any(day.laid_s for day in days)),
        ("heat", "hours of heat; at right, kWh", heated),
    )
    return [(kind, words) for kind, words, occurs in choices if occurs]


def _sample(kind: str, left_px: float, base_px: float) -> str:
    """How one thing looks, beside its words."""
    middle_px = left_px + 11.0
    marks = {
        "urgent": ("warm", exclamation(middle_px, base_px, 1.6)),
        "frost": ("frost", triangle(middle_px, base_px, 7.0, -14.0)),
        "warm": ("warm", triangle(middle_px, base_px - 14.0, 7.0, 14.0)),
    }
    if kind in marks:
        return shape(*marks[kind])
    if kind == "keep":
        return line("air", f"M{figure(left_px)} {figure(base_px - 6.0)}h24", width_px=2.0, dashes="7 5")
    wide_px = 8.0 if kind == "air" else 18.0
    return filled(kind, [Box(middle_px - wide_px / 2.0, base_px + 2.0, wide_px, 18.0)])
