"""Clocks: monotonic for decisions, wall for people; steps are seen."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import HardwareError
from controller.loop.clock import (
    BoardClock,
    DirectedClock,
    LapseClock,
    RehearsalClock,
    StepWatch,
    set_instant,
)


def test_the_board_clock_is_confirmed_once_the_time_service_says_so(tmp_path: Path) -> None:
    mark = tmp_path / "synchronized"
    clock = BoardClock(mark)
    assert not clock.utc_confirmed()
    mark.touch()
    assert clock.utc_confirmed()
    mark.unlink()
    assert clock.utc_confirmed(), "once set from outside, a clock stays set"


def test_the_board_clock_waits_never_negatively() -> None:
    clock = BoardClock()
    assert clock.real_wait_s(clock.mono_s() - 5.0) == 0.0
    assert 0.0 < clock.real_wait_s(clock.mono_s() + 5.0) <= 5.0


def test_a_lapse_clock_runs_as_many_times_as_fast(tmp_path: Path) -> None:
    clock = LapseClock(lapse=100.0, step_file=tmp_path / "step")
    before_real_s, before_s = time.monotonic(), clock.mono_s()
    while time.monotonic() - before_real_s < 0.02:
        pass
    passed_s = clock.mono_s() - before_s
    assert passed_s == pytest.approx((time.monotonic() - before_real_s) * 100.0, rel=0.2)
    assert clock.real_wait_s(clock.mono_s() + 100.0) == pytest.approx(1.0, abs=0.1)


def test_a_lapse_clock_steps_its_wall_clock_only(tmp_path: Path) -> None:
    step = tmp_path / "step"
    clock = LapseClock(lapse=1.0, step_file=step)
    mono_s, utc_s = clock.mono_s(), clock.utc_s()
    step.write_text("-86400\n")
    assert clock.utc_s() - utc_s == pytest.approx(-86400, abs=1.0)
    assert clock.mono_s() - mono_s == pytest.approx(0.0, abs=1.0)
    step.write_text("nonsense")
    assert clock.utc_s() - utc_s == pytest.approx(0.0, abs=1.0)


@pytest.mark.parametrize("lapse", [0.0, 0.5, 3601.0, float("nan")])
def test_a_lapse_outside_its_bounds_is_refused(lapse: float, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="between 1 and 3600"):
        LapseClock(lapse=lapse, step_file=tmp_path / "step")


def test_a_rehearsal_clock_moves_only_when_advanced() -> None:
    clock = RehearsalClock(utc_s=1_000_000.0, mono_s=50.0)
    clock.advance(60.0)
    clock.step_wall(3600.0)
    assert (clock.mono_s(), clock.utc_s()) == (110.0, 1_003_660.0)
    with pytest.raises(ValueError, match="cannot advance"):
        clock.advance(-1.0)


def directed() -> tuple[DirectedClock, int]:
    """A clock that was given an instant, and the end of the pipe at which its director sits."""
    read_fd, write_fd = os.pipe()
    set_instant(write_fd, mono_s=50.0, utc_s=1_000_000.0)
    return DirectedClock(read_fd), write_fd


def test_a_directed_clock_is_at_the_instant_set_once_it_waits_and_not_before() -> None:
    clock, write_fd = directed()
    set_instant(write_fd, mono_s=110.0, utc_s=1_000_060.0)
    assert (clock.mono_s(), clock.utc_s()) == (50.0, 1_000_000.0), "a tick under way sees one instant"
    assert clock.real_wait_s(0.0) == 0.0
    assert (clock.mono_s(), clock.utc_s()) == (110.0, 1_000_060.0)
    assert clock.utc_confirmed()
    os.close(write_fd)
    os.close(clock.pipe_fd)


def test_a_directed_clock_gives_each_instant_one_round_and_then_waits_whatever_the_period() -> None:
    clock, write_fd = directed()
    assert clock.real_wait_s(0.0) > 0.0, "the first instant is where it starts, and no round"
    for mono_s in (60.0, 61.0):
        set_instant(write_fd, mono_s=mono_s, utc_s=2e6)
        assert clock.real_wait_s(1e9) == 0.0
        assert clock.real_wait_s(0.0) > 0.0
    os.close(write_fd)
    os.close(clock.pipe_fd)


@given(instants=st.lists(st.tuples(st.floats(0, 1e9), st.floats(-1e9, 1e12)), min_size=1, max_size=300))
def test_a_directed_clock_that_fell_behind_is_at_the_newest_instant(
    instants: list[tuple[float, float]],
) -> None:
    clock, write_fd = directed()
    for mono_s, utc_s in instants:
        set_instant(write_fd, mono_s=mono_s, utc_s=utc_s)
    while clock.real_wait_s(0.0) == 0.0:
        pass
    assert (clock.mono_s(), clock.utc_s()) == instants[-1]
    os.close(write_fd)
    os.close(clock.pipe_fd)


def test_a_process_whose_director_is_gone_is_told_to_stop() -> None:
    told: list[int] = []
    before = signal.signal(signal.SIGTERM, lambda number, frame: told.append(number))
    clock, write_fd = directed()
    try:
        os.close(write_fd)
        clock.real_wait_s(1e9)
    finally:
        signal.signal(signal.SIGTERM, before)
        os.close(clock.pipe_fd)
    assert told == [signal.SIGTERM]
    assert clock.mono_s() == 50.0


def test_a_director_whose_process_is_gone_is_told_so() -> None:
    clock, write_fd = directed()
    os.close(clock.pipe_fd)
    with pytest.raises(BrokenPipeError):
        set_instant(write_fd, mono_s=1.0, utc_s=1.0)
    os.close(write_fd)


def test_a_descriptor_that_gives_no_time_is_refused(tmp_path: Path) -> None:
    short = os.open(tmp_path / "short", os.O_RDWR | os.O_CREAT)
    with pytest.raises(HardwareError, match="only a rehearsal may direct"):
        DirectedClock(short)
    os.close(short)
    with pytest.raises(HardwareError, match="gives no time"):
        DirectedClock(short)


@given(
    steps=st.lists(st.tuples(st.floats(0.1, 600), st.floats(-1e9, 1e9)), max_size=20),
    slew=st.floats(-50, 50),
)
def test_every_step_beyond_a_minute_is_seen_with_its_size_and_no_slew_is(
    steps: list[tuple[float, float]], slew: float
) -> None:
    watch = StepWatch()
    mono_s, utc_s = 0.0, 1e9
    assert watch.step_s(mono_s=mono_s, utc_s=utc_s) == 0.0
    for dt_s, by_s in steps:
        mono_s += dt_s
        utc_s += dt_s + by_s
        seen_s = watch.step_s(mono_s=mono_s, utc_s=utc_s)
        if abs(by_s) > 60.001:
            assert seen_s == pytest.approx(by_s, abs=1e-3)
        elif abs(by_s) < 59.999:
            assert seen_s == 0.0
    assert watch.step_s(mono_s=mono_s + 1, utc_s=utc_s + 1 + slew) == 0.0
