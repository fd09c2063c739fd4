"""A running rehearsal in the terminal: a calm line now and then, notices as sentences."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from controller.config.records import FrameSettings, Settings, Units
from controller.heat.thermostat import WishReason
from controller.loop.results import FrameTick
from controller.rehearse.field import FrameMoment
from controller.rehearse.paper import DASH, Paper, day_words
from controller.rehearse.plan import Plan
from controller.rehearse.planted import Remark
from controller.rehearse.run import Moment
from controller.units import c_to_f, decimal_text, duration_text
from controller.vocabulary import AIR_PLACES, HeatReason, NoticeEvent, Place, Sample, Urgency

STRIP_FROM_C = -10.0
STRIP_TO_C = 30.0
STRIP_CELLS_MAX = 23
STRIP_CELLS_MIN = 14
STRIP_FROM_COLUMNS = 78
"""A narrower terminal has no room for a strip that can be read, nor for the covers."""
PAUSES = frozenset({HeatReason.RESTING, HeatReason.OFF_PROOF, HeatReason.SWITCH_LIMIT})
"""Refusals that end by themselves within minutes and protect relay and cable."""
BAR_CELLS = 30
_INSTANT = timedelta(seconds=1)
_INDENT = 11
COVERS_LETTERS = 7
"""So much of the covers' own name is shown."""
_BEFORE_STRIP = _INDENT + 38 + COVERS_LETTERS + 1
"""Columns to the left of the strip where there is one frame and no name is shown."""


class DaybookView:
    """One line per frame at a fixed spacing of simulated time, and every notice as it comes."""

    def __init__(
        self, settings: Settings, paper: Paper, *, every_s: float, remarks: Sequence[Remark] = ()
    ) -> None:
        """``every_s`` is simulated seconds between two lines; ``remarks`` are told at their instants."""
        self._settings = settings
        self._paper = paper
        self._every_s = every_s
        self._zone = ZoneInfo(settings.site.zone)
        self._due_s = every_s
        self._raised_at_s: dict[str, float] = {}
        self._elapsed_s = 0.0
        self._day = ""
        self._remarks = sorted(remarks, key=lambda remark: remark.at_s)
        names = " " * (max(map(len, settings.frames), default=0) + 1) if len(settings.frames) > 1 else ""
        self._name_width = len(names)
        cells = min(STRIP_CELLS_MAX, paper.width - _BEFORE_STRIP - self._name_width)
        self._cells = cells if paper.width >= STRIP_FROM_COLUMNS and cells >= STRIP_CELLS_MIN else 0
        self._legend()
        covers = f"{'covers':{COVERS_LETTERS + 1}}" if self._cells else ""
        paper.line(
            f"{'':{_INDENT}}time  {names}outside  frame    bed  heat     {covers}{self._scale()}".rstrip(),
        )

    def add(self, moment: Moment) -> None:
        """Take one moment; most leave no trace."""
        self._elapsed_s += moment.dt_s
        if self._remarks and self._elapsed_s >= self._remarks[0].at_s:
            self._hang(f"({self._remarks.pop(0).words})", moment.utc.astimezone(self._zone), "2")
        if moment.result.notices:
            local = moment.utc.astimezone(self._zone)
            for event in moment.result.notices:
                self._notice(event, local)
        if self._elapsed_s >= self._due_s:
            self._due_s += self._every_s
            local = moment.utc.astimezone(self._zone)
            for name, tick in moment.result.frames.items():
                self._entry(self._settings.frames[name], tick, moment.frames[name], local)

    def _entry(self, frame: FrameSettings, tick: FrameTick, truth: FrameMoment, local: datetime) -> None:
        """One frame's line."""
        day = day_words(local)
        shown_day, self._day = ("" if day == self._day else day), day
        name = f"{frame.name:{self._name_width}}" if self._name_width else ""
        outside_c = _read_c(tick, Place.OUTSIDE)
        air = [air_c for place in AIR_PLACES if (air_c := _read_c(tick, place)) is not None]
        frame_c = min(air, default=None)
        heat = DASH if frame.heat is None else heat_word(tick)
        keep_c = None if frame.heat is None else frame.heat.keep_above_c
        paper = self._paper
        heat_words = paper.tint(f"{heat:8}", "33" if heat == "on" else "2")
        line = (
            f"{paper.tint(f'{shown_day:{_INDENT}}', '1')}{local:%H:%M} {name}"
            f"{self._number(outside_c)}{self._number(frame_c)}{self._number(_read_c(tick, Place.BED))}"
            f"  {heat_words} {self._covers(truth)}{self._strip(outside_c, frame_c, keep_c)}"
        )
        paper.line(line.rstrip())

    def _covers(self, truth: FrameMoment) -> str:
        return f"{covers_word(truth):{COVERS_LETTERS}} " if self._cells else ""

    def _strip(self, outside_c: float | None, frame_c: float | None, keep_c: float | None) -> str:
        """A thermometer lying down: outside, frame, and the line the frame is kept above."""
        if not self._cells:
            return ""
        cells = ["·"] * self._cells
        for at_c, mark in ((keep_c, "│"), (outside_c, "○"), (frame_c, "●")):
            if at_c is not None:
                cells[_cell_of(at_c, self._cells)] = mark
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
            words, tint = f"✓ {event.kind.value} over after {lasted}: {event.text}", "2"
        else:
            self._raised_at_s.setdefault(event.notice_id, self._elapsed_s)
            words, tint = f"▸ {event.kind.value} {event.text}", "31" if event.urgency is Urgency.NOW else "1"
        self._hang(words, local, tint)

    def _hang(self, words: str, local: datetime, tint: str) -> None:
        """Sentences that hang under their time, and under their day where it is a new one."""
        day = day_words(local)
        shown_day, self._day = ("" if day == self._day else day), day
        text = textwrap.wrap(f"{local:%H:%M} {words}", self._paper.width - _INDENT, subsequent_indent=" " * 8)
        for line in text:
            self._paper.line(self._paper.tint(f"{shown_day:{_INDENT}}", "1") + self._paper.tint(line, tint))
            shown_day = ""

    def _legend(self) -> None:
        """What the marks and words of the lines mean."""
        if self._cells:
            self._paper.paragraph("○ outside, ● in the frame, │ the line that the frame is kept above.")
        self._paper.paragraph(
            "Heat: on; off, none is needed; resting, its relay pauses for some minutes; held, it is"
            " refused, and a notice says why."
            + (
                " Covers: how they truly stand, or what lies over them; a + where it is more than one."
                if self._cells
                else ""
            )
        )
        self._paper.line()

    def _scale(self) -> str:
        scale = [" "] * self._cells
        for mark_c in (-10, 0, 10, 20) if self._cells else ():
            mark = decimal_text(self._shown(mark_c), 0)
            at = _cell_of(mark_c, self._cells)
            scale[at : at + len(mark)] = mark
        return "".join(scale)

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
                self._paper.write("\r" + self._paper.fit(self._words(moment)).ljust(self._paper.width - 1))
        elif self._elapsed_s >= self._next_frac * self._total_s:
            self._next_frac += 0.1
            self._paper.line(self._words(moment))

    def finish(self) -> None:
        """Leave a clean line behind."""
        if self._paper.live:
            self._paper.write("\r" + " " * (self._paper.width - 1) + "\r")

    def _words(self, moment: Moment) -> str:
        done_frac = min(1.0, self._elapsed_s / self._total_s)
        day = day_words((moment.utc - _INSTANT).astimezone(self._zone))  # midnight ends the day before
        bar = "=" * int(done_frac * BAR_CELLS)
        return f"{day:{_INDENT}}{100 * done_frac:3.0f} % rehearsed  {bar.ljust(BAR_CELLS, '·')}"


def covers_word(frame: FrameMoment) -> str:
    """How the covers stand, in the owner's own word; what lies over them, with a plus where there is more."""
    covering, plus, _ = frame.covering.partition("+")
    return covering[: COVERS_LETTERS - len(plus)] + plus if covering else frame.opening[:COVERS_LETTERS]


def heat_word(tick: FrameTick) -> str:
    """``on``, ``off``, ``resting`` (wanted, but its relay pauses) or ``held`` (wanted and refused)."""
    report = tick.report
    if report.relay_on:
        return "on"
    if not report.heat_wanted:
        return "resting" if tick.wish == WishReason.HELD_OFF else "off"
    return "resting" if report.reasons and PAUSES.issuperset(report.reasons) else "held"


def _cell_of(at_c: float, cells: int) -> int:
    share = (at_c - STRIP_FROM_C) / (STRIP_TO_C - STRIP_FROM_C)
    return min(cells - 1, max(0, round(share * (cells - 1))))


def _read_c(tick: FrameTick, place: Place) -> float | None:
    reading = tick.readings.get(place)
    return reading.temp_c if isinstance(reading, Sample) else None
