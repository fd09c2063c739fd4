"""A picture of the winter: watches a rehearsal and leaves one SVG file.

Keeps one small record per frame and local day, so that memory does not grow with the steps. Drawn from the
truth of the simulated frame, not from what its probes read.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime, time, timedelta
from pathlib import Path, PurePath
from zoneinfo import ZoneInfo

from controller.config.records import FrameSettings
from controller.durable import write_durably
from controller.rehearse.outputs import AIR_LIMIT_C
from controller.rehearse.picturedays import FrameDay, FrameWinter
from controller.rehearse.picturesheet import draw_sheet
from controller.rehearse.picturewords import day_text
from controller.rehearse.plan import Plan
from controller.rehearse.run import Moment
from controller.units import count_text
from controller.vocabulary import FrameName, Urgency

DAYS_MAX = 400
"""More days than this are not drawn: a season is shorter, and columns would run into each other."""
_INSTANT = timedelta(microseconds=1)


class WinterPicture:
    """Takes part in a run as a watcher; ``write`` leaves the picture of what there is so far."""

    def __init__(self, plan: Plan) -> None:
        """Days are those of the site's own zone; nothing is written before ``write``."""
        self._plan = plan
        self._zone = ZoneInfo(plan.settings.site.zone)
        self.winters = {name: _fresh_winter(frame) for name, frame in plan.settings.frames.items()}
        self._shut = {
            name: frame.openings[0].name if frame.openings else ""
            for name, frame in plan.settings.frames.items()
        }
        self._day_ends_utc = plan.from_utc
        self._today: list[tuple[FrameName, FrameDay, str]] = []
        self._last_utc = plan.from_utc
        self._left_out = False

    def add(self, moment: Moment) -> None:
        """Count one step of every frame, for the day in which it ends; midnight ends the day before."""
        utc, dt_s, frames, result, _ = moment
        if utc > self._day_ends_utc:
            self._begin_day(utc)
        self._last_utc = utc
        for name, day, shut in self._today:
            true_c, heated_s, opening, covering, _ = frames[name]
            day.note(dt_s, true_c["air"], true_c["outside"])
            if heated_s:
                day.heated_s += heated_s
            if opening != shut:
                day.open_s += dt_s
            if covering:
                day.laid_s += dt_s
        if result.notices:
            self._count_urgent(moment)

    def write(self, path: Path) -> None:
        """Leave the picture, whole or not at all; raises StorageError."""
        svg = draw_sheet(tuple(self.winters.values()), self._plan.settings, self._small_print())
        write_durably(path, svg.encode("utf-8"), mode=0o644)

    def _begin_day(self, utc: datetime) -> None:
        """A new record for every frame, up to ``DAYS_MAX``."""
        day = (utc - _INSTANT).astimezone(self._zone).date()
        self._day_ends_utc = datetime.combine(day + timedelta(days=1), time(), self._zone).astimezone(UTC)
        self._today = []
        for name, winter in self.winters.items():
            if len(winter.days) >= DAYS_MAX:
                self._left_out = True
                continue
            fresh = FrameDay(day=day, keep_above_c=winter.keep_above_c, air_max_c=winter.air_max_c)
            winter.days.append(fresh)
            self._today.append((name, fresh, self._shut[name]))

    def _count_urgent(self, moment: Moment) -> None:
        """Urgent notices as they are raised; one of the whole site counts for every frame."""
        for event in moment.result.notices:
            if event.urgency is Urgency.NOW and event.event in {"raised", "worse"}:
                for name, day, *_ in self._today:
                    if not event.frame or event.frame == name:
                        day.urgent += 1

    def _small_print(self) -> str:
        """What this is, and from what it can be had again."""
        plan = self._plan
        weather = plan.weather.header.get("station") or PurePath(plan.weather.file_name).name
        words = (
            "A rehearsal on a simulated frame, not a record of a real one: the program that holds the frame"
            " is the real one; frame, probes and growers are simulated."
            f" Weather: {weather}; seed {plan.seed}; simulated frame: {plan.stand_in_name};"
            f" steps of {plan.step_s:g} s; growers: {', '.join(plan.growers) or 'none'}."
        )
        if plan.faults:
            words += f" Planted: {count_text(len(plan.faults), 'mishap')} of probes."
        if plan.natures:
            words += f" {count_text(len(plan.natures), 'probe')} made to read wrong."
        if self._left_out:
            words += f" Only the first {DAYS_MAX} days are shown."
        if self._last_utc < plan.until_utc:
            last = self._last_utc.astimezone(self._zone)
            words += f" Ended early, at {last:%H:%M} on {day_text(last.date())}."
        return words


def _fresh_winter(frame: FrameSettings) -> FrameWinter:
    heat = frame.heat
    return FrameWinter(
        settings=frame,
        keep_above_c=-math.inf if heat is None else heat.keep_above_c,
        air_max_c=AIR_LIMIT_C if heat is None else heat.air_max_c,
        power_w=0.0 if heat is None else heat.power_w,
    )
