"""Calendar work: named jobs by the wall clock, which only ever set inputs of the next tick.

Two drivers share one table of triggers. On a board the scheduler's own thread puts names into a
queue; in a fast rehearsal the same triggers are asked directly with the rehearsal's clock.
Nothing that keeps plants or people safe hangs on either.
"""

from __future__ import annotations

import logging
import queue
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Protocol

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.cron import CronTrigger

DAY_TURNS = "day_turns"
"""Look again at what depends on the date; hourly, so that no zone or clock change is missed."""
THIN_HISTORY = "thin_history"
"""Thin old samples; at noon, when frost is least likely."""

_MISFIRE_GRACE_S = 3600


def job_triggers() -> Mapping[str, CronTrigger]:
    """Every calendar job with its trigger, all in UTC so that none runs twice or never."""
    return {
        DAY_TURNS: CronTrigger(minute=0, second=5, timezone=UTC),
        THIN_HISTORY: CronTrigger(hour=12, minute=10, timezone=UTC),
    }


class Calendar(Protocol):
    """Tells which jobs fell due since the last look."""

    def due(self, utc_s: float) -> tuple[str, ...]:
        """Names of due jobs, each at most once."""

    def restart(self) -> None:
        """Plan anew, because the wall clock was set."""

    def close(self) -> None:
        """Stop."""


class BoardCalendar:
    """APScheduler on its own thread; it never runs our code, it only names what is due."""

    def __init__(self) -> None:
        """Start the scheduler; its jobs are planned from the clock as it stands."""
        logging.getLogger("apscheduler").setLevel(logging.WARNING)  # it tells of every job at every start
        self._due: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._scheduler = BackgroundScheduler(
            timezone=UTC, job_defaults={"coalesce": True, "misfire_grace_time": _MISFIRE_GRACE_S}
        )
        self._plan()
        self._scheduler.start()

    def due(self, utc_s: float) -> tuple[str, ...]:  # noqa: ARG002
        """Names of due jobs, each at most once."""
        names: list[str] = []
        while True:
            try:
                name = self._due.get_nowait()
            except queue.Empty:
                return tuple(names)
            if name not in names:
                names.append(name)

    def restart(self) -> None:
        """Plan anew from the clock as it stands now."""
        self._scheduler.remove_all_jobs()
        self._plan()

    def close(self) -> None:
        """Stop without waiting."""
        self._scheduler.shutdown(wait=False)

    def _plan(self) -> None:
        for name, trigger in job_triggers().items():
            self._scheduler.add_job(self._due.put, trigger, args=[name], id=name, replace_existing=True)


class RehearsalCalendar:
    """The same triggers, asked with the time that a rehearsal is at."""

    def __init__(self) -> None:
        """Nothing is planned before the first look."""
        self._triggers = job_triggers()
        self._next_utc_s: dict[str, float] = {}

    def due(self, utc_s: float) -> tuple[str, ...]:
        """Names of jobs whose time lies between the last look and ``utc_s``."""
        if self._next_utc_s and utc_s < min(self._next_utc_s.values()):
            return ()
        names = tuple(name for name, at_s in self._next_utc_s.items() if at_s <= utc_s)
        for name in names or tuple(self._triggers):
            self._next_utc_s[name] = self._next_after(name, utc_s)
        return names

    def restart(self) -> None:
        """Forget the plan; the next look makes it anew."""
        self._next_utc_s.clear()

    def close(self) -> None:
        """Nothing to stop."""

    def _next_after(self, name: str, utc_s: float) -> float:
        now = datetime.fromtimestamp(utc_s, UTC)
        fire = self._triggers[name].get_next_fire_time(now, now)
        return float("inf") if fire is None else fire.timestamp()
