"""A running rehearsal in the terminal: a calm line now and then, notices as sentences."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from datetime import datetime
from zoneinfo import ZoneInfo

from controller.config.records import FrameSettings, Settings, Units
from controller.loop.results import FrameTick
from controller.rehearse.paper import DASH, WIDTH, Paper, day_words
from controller.rehearse.run import Moment, Plan
from controller.units import c_to_f, decimal_text, duration_text
from controller.vocabulary import AIR_PLACES, NoticeEvent, Place, Sample, Urgency

STRIP_FROM_C = -10.0
STRIP_TO_C = 30.0
STRIP_CELLS = 31
_INDENT = 11


class DaybookView:
    """One line per frame at a fixed spacing of simulated time, and every notice as it comes."""

    def __init__(self, settings: Settings, paper: Paper, *, every_s: float) -> None:
        """``every_s`` is simulated seconds between two lines."""
        self._settings = settings
        self._paper = paper
        self._every_s = every_s
        self._zone = ZoneInfo(settings.site.zone)
        self._due_s = every_s
        self._raised_at_s: dict[str, float] = {}
        self._elapsed_s = 0.0
        self._day = ""
        names = " " * (max(map(len, settings.frames), default=0) + 1) if len(settings.frames) > 1 else ""
        self._name_width = len(names)
        scale = [" "] * STRIP_CELLS
        for mark_c in (-10, 0, 10, 20):
            mark = decimal_text(self._shown(mark_c), 0)
            at = _cell_of(mark_c)
            scale[at : at + len(mark)] = mark
        paper.line(f"{'':{_INDENT}}time {names}outside  frame    bed  heat     {''.join(scale).rstrip()}")

    def add(self, moment: Moment) -> None:
        """Take one moment; most leave no trace."""
        self._elapsed_s += moment.dt_s
        if moment.result.notices:
            local = moment.utc.astimezone(self._zone)
            for event in moment.result.notices:
                self._notice(event, local)
        if self._elapsed_s >= self._due_s:
            self._due_s += self._every_s
            local = moment.utc.astimezone(self._zone)
            for name, tick in moment.result.frames.items():
                self._entry(self._settings.frames[name], tick, local)

    def _entry(self, frame: FrameSettings, tick: FrameTick, local: datetime) -> None:
        """One frame's line."""
        day = day_words(local)
        shown_day, self._day = ("" if day == self._day else day), day
        name = f"{frame.name:{self._name_width}}" if self._name_width else ""
        outside_c = _read_c(tick, Place.OUTSIDE)
        air = [air_c for place in AIR_PLACES if (air_c := _read_c(tick, place)) is not None]
        frame_c = min(air, default=None)
        heat = "on" if tick.report.relay_on else "held" if tick.report.heat_wanted else "resting"
        keep_c = None if frame.heat is None else frame.heat.keep_above_c
        paper = self._paper
        heat_words = paper.tint(f"{heat:8}", "33" if heat == "on" else "2")
        paper.line(
            f"{paper.tint(f'{shown_day:{_INDENT}}', '1')}{local:%H:%M} {name}"
            f"{self._number(outside_c)}{self._number(frame_c)}{self._number(_read_c(tick, Place.BED))}"
            f"  {heat_words} {self._strip(outside_c, frame_c, keep_c)}"
        )

    def _strip(self, outside_c: float | None, frame_c: float | None, keep_c: float | None) -> str:
        """A thermometer lying down: outside, frame, and the line the frame is kept above."""
        cells = ["·"] * STRIP_CELLS
        for at_c, mark in ((keep_c, "│"), (outside_c, "○"), (frame_c, "●")):
            if at_c is not None:
                cells[_cell_of(at_c)] = mark
        if not self._paper.colour:
            return "".join(cells)
        tints = {"·": "2", "│": "32", "○": "36", "●": "1"}
        return "".join(self._paper.tint(cell, tints[cell]) for cell in cells)

    def _notice(self, event: NoticeEvent, local: datetime) -> None:
        """Raised, worse or over, as a sentence that hangs under its time."""
        if event.event not in {"raised", "worse", "cleared"}:
            return
        if event.event == "cleared":
            lasted = duration_text(self._elapsed_s - self._raised_at_s.pop(event.notice_id, self._elapsed_s))
            words, tint = f"✓ {event.kind.value} over after {lasted}: {event.frame or 'this board'}", "2"
        else:
            self._raised_at_s.setdefault(event.notice_id, self._elapsed_s)
            words, tint = f"▸ {event.kind.value} {event.text}", "31" if event.urgency is Urgency.NOW else "1"
        text = textwrap.wrap(f"{local:%H:%M} {words}", WIDTH - _INDENT, subsequent_indent=" " * 8)
        for line in text:
            self._paper.line(" " * _INDENT + self._paper.tint(line, tint))

    def _shown(self, temp_c: float) -> float:
        return c_to_f(temp_c) if self._settings.site.units is Units.FAHRENHEIT else temp_c

    def _number(self, temp_c: float | None) -> str:
        return f"{DASH if temp_c is None else decimal_text(self._shown(temp_c)):>7}"


class ProgressView:
    """How far a full-speed run has come."""

    def __init__(self, plan: Plan, paper: Paper, mono_s: Callable[[], float]) -> None:
        """On a live terminal the line is written over; else one line per tenth."""
        self._plan = plan
        self._paper = paper
        self._mono_s = mono_s
        self._zone = ZoneInfo(plan.settings.site.zone)
        self._total_s = (plan.until_utc - plan.from_utc).total_seconds()
        self._elapsed_s = 0.0
        self._next_frac = 0.1
        self._shown_at_s = mono_s()
        self._steps = 0

    def add(self, moment: Moment) -> None:
        """Take one moment; the clock is looked at every 256 of them."""
        self._elapsed_s += moment.dt_s
        self._steps += 1
        if self._paper.live:
            if self._steps & 0xFF == 0 and self._mono_s() - self._shown_at_s >= 0.25:  # noqa: PLR2004  # calm
                self._shown_at_s = self._mono_s()
                self._paper.write("\r" + self._paper.fit(self._words(moment)).ljust(WIDTH - 1))
        elif self._elapsed_s >= self._next_frac * self._total_s:
            self._next_frac += 0.1
            self._paper.line(self._words(moment))

    def finish(self) -> None:
        """Leave a clean line behind."""
        if self._paper.live:
            self._paper.write("\r" + " " * (WIDTH - 1) + "\r")

    def _words(self, moment: Moment) -> str:
        return (
            f"{day_words(moment.utc.astimezone(self._zone)):{_INDENT}}"
            f"{100 * self._elapsed_s / self._total_s:3.0f} % rehearsed"
        )


def _cell_of(at_c: float) -> int:
    share = (at_c - STRIP_FROM_C) / (STRIP_TO_C - STRIP_FROM_C)
    return min(STRIP_CELLS - 1, max(0, round(share * (STRIP_CELLS - 1))))


def _read_c(tick: FrameTick, place: Place) -> float | None:
    reading = tick.readings.get(place)
    return reading.temp_c if isinstance(reading, Sample) else None
