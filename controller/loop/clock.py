"""What time it is: a small interface with a board's clock, a time-lapse clock, a stepped one, a directed one.

Decisions use ``mono_s`` only. ``utc_s`` is for people, calendars and the record, and may step.
"""

from __future__ import annotations

import os
import signal
import struct
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from controller.errors import HardwareError

SYNCHRONISED_MARK = Path("/run/systemd/timesync/synchronized")
LAPSE_MAX = 3600.0
STEP_SEEN_S = 60.0
"""A change of the offset between wall and monotonic clock that counts as a step."""
_INSTANT = struct.Struct("<dd")
"""Monotonic and wall-clock seconds; so few bytes go through a pipe whole or not at all."""
_INSTANTS_AT_ONCE = 256
_LOOK_AGAIN_S = 1.0


class Clock(Protocol):
    """The clock that a keeper is given."""

    def mono_s(self) -> float:
        """Seconds on a clock that never steps nor runs backwards."""

    def utc_s(self) -> float:
        """Seconds since 1970 as far as this board knows."""

    def utc_confirmed(self) -> bool:
        """True once the wall clock has been set from outside since the board started."""

    def real_wait_s(self, until_mono_s: float) -> float:
        """Real seconds to wait until ``until_mono_s``; never negative."""


class BoardClock:
    """The machine's own clocks."""

    def __init__(self, mark: Path = SYNCHRONISED_MARK) -> None:
        """``mark`` is the file that the time service makes once it has synchronised."""
        self._mark = mark
        self._confirmed = False

    def mono_s(self) -> float:
        """Monotonic seconds of the machine."""
        return time.monotonic()

    def utc_s(self) -> float:
        """Wall-clock seconds since 1970."""
        return time.time()

    def utc_confirmed(self) -> bool:
        """True for good once the mark has been seen."""
        if not self._confirmed:
            self._confirmed = self._mark.exists()
        return self._confirmed

    def real_wait_s(self, until_mono_s: float) -> float:
        """Seconds until ``until_mono_s``; never negative."""
        return max(0.0, until_mono_s - time.monotonic())


class LapseClock:
    """Time-lapse for rehearsals of the real process: every clock runs ``lapse`` times as fast.

    A file ``step_file`` may hold a number of seconds by which the wall clock (only) is wrong,
    which is how a rehearsal steps it.
    """

    def __init__(self, *, lapse: float, step_file: Path) -> None:
        """``lapse`` is 1 for real time, at most 3600."""
        if not 1.0 <= lapse <= LAPSE_MAX:
            raise ValueError(f"lapse is {lapse}; it must lie between 1 and {LAPSE_MAX:g}")
        self._lapse = lapse
        self._step_file = step_file
        self._start_mono_s = time.monotonic()
        self._start_utc_s = time.time()

    def mono_s(self) -> float:
        """Lapsed monotonic seconds."""
        return self._start_mono_s + (time.monotonic() - self._start_mono_s) * self._lapse

    def utc_s(self) -> float:
        """Lapsed wall-clock seconds with the step of the moment."""
        return self._start_utc_s + (self.mono_s() - self._start_mono_s) + self._step_s()

    def utc_confirmed(self) -> bool:
        """A rehearsal's clock counts as set."""
        return True

    def real_wait_s(self, until_mono_s: float) -> float:
        """Real seconds until ``until_mono_s``; never negative."""
        return max(0.0, (until_mono_s - self.mono_s()) / self._lapse)

    def _step_s(self) -> float:
        """The step asked for; an absent or unreadable file means none."""
        try:
            return float(self._step_file.read_text(encoding="ascii"))
        except (OSError, ValueError):
            return 0.0


class RehearsalClock:
    """A clock that stands still until it is advanced."""

    def __init__(self, *, utc_s: float, mono_s: float = 1000.0) -> None:
        """Start at ``utc_s``; the monotonic part starts anywhere."""
        self._utc_s = utc_s
        self._mono_s = mono_s

    def advance(self, dt_s: float) -> None:
        """Let ``dt_s`` seconds pass; raises ValueError when negative."""
        if dt_s < 0:
            raise ValueError(f"a clock cannot advance by {dt_s} s")
        self._mono_s += dt_s
        self._utc_s += dt_s

    def step_wall(self, by_s: float) -> None:
        """Set the wall clock forward or back; the monotonic one does not notice."""
        self._utc_s += by_s

    def mono_s(self) -> float:
        """Monotonic seconds."""
        return self._mono_s

    def utc_s(self) -> float:
        """Wall-clock seconds since 1970."""
        return self._utc_s

    def utc_confirmed(self) -> bool:
        """Always: it was given."""
        return True

    def real_wait_s(self, until_mono_s: float) -> float:  # noqa: ARG002
        """Nothing to wait for: whoever drives it advances it."""
        return 0.0


def set_instant(pipe_fd: int, *, mono_s: float, utc_s: float) -> None:
    """Let it be this instant for whoever holds the other end as a ``DirectedClock``.

    Raises BrokenPipeError where nobody does any more.
    """
    os.write(pipe_fd, _INSTANT.pack(mono_s, utc_s))


class DirectedClock:
    """The clock of a process that another one directs: each instant comes through a pipe.

    It stands still from one wait to the next, so that a whole tick sees one instant, and it waits for
    its director, however long that takes. When the director is gone, the process is told to stop.
    """

    def __init__(self, pipe_fd: int) -> None:
        """Take over the pipe with the first instant in it; raises HardwareError where there is none."""
        self.pipe_fd = pipe_fd
        """Readable when the next instant has come."""
        try:
            os.set_inheritable(pipe_fd, False)  # noqa: FBT003  # the standard library's own signature
            first = os.read(pipe_fd, _INSTANT.size)
            os.set_blocking(pipe_fd, False)
        except OSError as error:
            raise HardwareError(f"descriptor {pipe_fd} gives no time ({error.strerror})") from error
        if len(first) != _INSTANT.size:
            raise HardwareError(f"descriptor {pipe_fd} gives no time; only a rehearsal may direct a clock")
        self._mono_s: float
        self._utc_s: float
        self._mono_s, self._utc_s = _INSTANT.unpack(first)

    def mono_s(self) -> float:
        """Monotonic seconds of the instant that was set."""
        return self._mono_s

    def utc_s(self) -> float:
        """Wall-clock seconds of the instant that was set."""
        return self._utc_s

    def utc_confirmed(self) -> bool:
        """Always: it was given."""
        return True

    def real_wait_s(self, until_mono_s: float) -> float:  # noqa: ARG002  # the director says when
        """0.0 once for each instant that was set, which it then is; else until the next look.

        To be called by the main thread.
        """
        try:
            heard = os.read(self.pipe_fd, _INSTANT.size * _INSTANTS_AT_ONCE)
        except BlockingIOError:
            return _LOOK_AGAIN_S
        if not heard:
            signal.raise_signal(signal.SIGTERM)
            return 0.0
        self._mono_s, self._utc_s = _INSTANT.unpack(heard[-_INSTANT.size :])
        return 0.0


@dataclass(slots=True)
class StepWatch:
    """Tells when the wall clock was set, by its offset from the monotonic one."""

    _offset_s: float | None = None

    def step_s(self, *, mono_s: float, utc_s: float) -> float:
        """Seconds by which the wall clock stepped since the last look; 0.0 when it did not.

        Changes up to 60 s between two looks (slewing, drift) pass as no step.
        """
        offset_s = utc_s - mono_s
        before_s, self._offset_s = self._offset_s, offset_s
        if before_s is None or abs(offset_s - before_s) <= STEP_SEEN_S:
            return 0.0
        return offset_s - before_s
