"""Pace and interrupt, on a clock that the test moves."""

from __future__ import annotations

import os
import signal
from dataclasses import dataclass, field

import pytest

from controller.rehearse.drive import Interrupt, Pace, drive, heed_signals
from controller.rehearse.run import Moment, Rehearsal
from tests.controller.rehearse.lab import HysteresisKeeper, plan


@dataclass
class Counting:
    """Counts moments and may interrupt after some."""

    stop_after: int = 10**9
    interrupt: Interrupt = field(default_factory=Interrupt)
    seen: int = 0

    def add(self, moment: Moment) -> None:
        """Count."""
        assert moment.dt_s > 0
        self.seen += 1
        if self.seen == self.stop_after:
            self.interrupt.signal_number = signal.SIGTERM


@dataclass
class Naps:
    """A clock on which naps are all that passes."""

    now_s: float = 0.0
    longest_s: float = 0.0

    def mono_s(self) -> float:
        """Now."""
        return self.now_s

    def nap(self, span_s: float) -> None:
        """Let it pass."""
        self.now_s += span_s
        self.longest_s = max(self.longest_s, span_s)


def rehearsal(days: float = 0.1) -> Rehearsal:
    return Rehearsal(plan(days=days), HysteresisKeeper)


def test_full_speed_never_waits() -> None:
    """Every moment reaches every watcher."""
    naps, one, other = Naps(), Counting(), Counting()
    pace = Pace(lapse=None, mono_s=naps.mono_s, nap=naps.nap)
    assert drive(rehearsal(), [one, other], pace, Interrupt())
    assert one.seen == other.seen == 144
    assert naps.now_s == 0.0


@pytest.mark.parametrize(("lapse", "expected_s"), [(1.0, 8640.0), (60.0, 144.0), (864.0, 10.0)])
def test_a_pace_takes_its_time(lapse: float, expected_s: float) -> None:
    """``lapse`` simulated seconds pass in each real one, in naps short enough to be interrupted."""
    naps = Naps()
    assert drive(rehearsal(), [], Pace(lapse=lapse, mono_s=naps.mono_s, nap=naps.nap), Interrupt())
    assert naps.now_s == pytest.approx(expected_s, rel=1e-6)
    assert naps.longest_s <= 0.1


def test_an_interrupt_ends_the_run_after_the_moment_at_hand() -> None:
    """What there is stays; the run does not count as whole."""
    counting = Counting(stop_after=7)
    assert not drive(rehearsal(), [counting], Pace(lapse=None), counting.interrupt)
    assert counting.seen == 7


def test_an_interrupt_cuts_a_wait_short() -> None:
    """At real time nobody waits for the next minute to end."""
    naps, interrupt = Naps(), Interrupt()

    def nap(span_s: float) -> None:
        naps.nap(span_s)
        if naps.now_s > 3.0:
            interrupt.signal_number = signal.SIGINT

    counting = Counting()
    assert not drive(rehearsal(), [counting], Pace(lapse=1.0, mono_s=naps.mono_s, nap=nap), interrupt)
    assert naps.now_s < 3.2
    assert counting.seen == 1


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_signals_are_heeded_and_handlers_come_back(number: signal.Signals) -> None:
    """Inside, the signal is only noted; afterwards the earlier handler stands again."""
    before = signal.getsignal(number)
    with heed_signals() as interrupt:
        os.kill(os.getpid(), number)
        assert interrupt.signal_number == number
    assert signal.getsignal(number) is before
