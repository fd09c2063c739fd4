"""Drives a rehearsal at full speed or at a pace, until its end or until somebody interrupts it."""

from __future__ import annotations

import signal
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from types import FrameType
from typing import Protocol

from controller.rehearse.field import Field
from controller.rehearse.plan import Plan
from controller.rehearse.run import Moment

_NAP_S_MAX = 0.1
"""Waiting goes in naps, so that an interrupt is heeded at once."""


class Watcher(Protocol):
    """Anything that wants every moment."""

    def add(self, moment: Moment) -> None:
        """Take one moment."""


class Run(Protocol):
    """A rehearsal of either kind: in one process, or with the keeper as a process of its own."""

    @property
    def plan(self) -> Plan:
        """What is rehearsed."""

    @property
    def field(self) -> Field:
        """Everything outside the keeper."""

    def moments(self) -> Iterator[Moment]:
        """Step until the end of the plan."""


@dataclass(slots=True)
class Interrupt:
    """Set by a signal; 0 while nobody has asked."""

    signal_number: int = 0


@contextmanager
def heed_signals() -> Iterator[Interrupt]:
    """SIGINT and SIGTERM ask a run to end in order; what was there before comes back afterwards."""
    interrupt = Interrupt()

    def ask(number: int, frame: FrameType | None) -> None:  # noqa: ARG001  # a handler's form
        interrupt.signal_number = number

    before = {number: signal.signal(number, ask) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield interrupt
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How fast simulated time goes."""

    lapse: float | None
    """Simulated seconds per real second, above 0; None for as fast as it goes."""
    mono_s: Callable[[], float] = time.monotonic
    nap: Callable[[float], None] = time.sleep


def drive(rehearsal: Run, watchers: Sequence[Watcher], pace: Pace, interrupt: Interrupt) -> bool:
    """Hand every moment to every watcher; True when the run came to its end."""
    begun_at_s, simulated_s = pace.mono_s(), 0.0
    for moment in rehearsal.moments():
        simulated_s += moment.dt_s
        if pace.lapse is not None:
            _wait(begun_at_s + simulated_s / pace.lapse, pace, interrupt)
        for watcher in watchers:
            watcher.add(moment)
        if interrupt.signal_number:
            return moment.utc >= rehearsal.plan.until_utc
    return True


def _wait(until_s: float, pace: Pace, interrupt: Interrupt) -> None:
    while not interrupt.signal_number:
        left_s = until_s - pace.mono_s()
        if left_s <= 0.0:
            return
        pace.nap(min(left_s, _NAP_S_MAX))
