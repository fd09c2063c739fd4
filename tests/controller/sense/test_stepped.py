"""Readers that read when they are looked at: everything at one instant, and nothing in between."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.sense.scratchpad import ReadFailure, Scratchpad, sixteenths_of
from controller.sense.stepped import HANGS_AFTER_S, SteppedReaders
from controller.vocabulary import ProbeId, Rejection
from tests.fakes import FakeClock, W1Tree

A, B, C = ProbeId("28-00000000000a"), ProbeId("28-00000000000b"), ProbeId("28-00000000000c")
PATIENCE_S = 10.0


@pytest.fixture
def tree(tmp_path: Path) -> Iterator[W1Tree]:
    """Three probes on two buses."""
    tree = W1Tree(tmp_path)
    tree.add(A, 3.0)
    tree.add(B, 4.0)
    tree.add(C, 5.0, bus=2)
    yield tree
    tree.release()
    until_s = time.monotonic() + PATIENCE_S
    while reader_threads() and time.monotonic() < until_s:
        time.sleep(0.002)
    assert not reader_threads()


def reader_threads() -> list[threading.Thread]:
    return [thread for thread in threading.enumerate() if thread.name.startswith("probes-")]


def degrees(readers: SteppedReaders) -> dict[ProbeId, tuple[float, float] | Rejection]:
    """Every probe's temperature and instant, or why there is none."""
    found: dict[ProbeId, tuple[float, float] | Rejection] = {}
    for probe, raw in readers.latest().items():
        if isinstance(raw, Scratchpad):
            found[probe] = (sixteenths_of(raw.data) / 16, raw.taken_at_s)
        elif isinstance(raw, ReadFailure):
            found[probe] = raw.reason
    return found


def test_each_look_reads_every_probe_at_its_own_instant(tree: W1Tree) -> None:
    """Whatever the files say when they are looked at is told, as taken at that instant."""
    clock = FakeClock()
    readers = SteppedReaders([A, B, C], tree.folder, mono=clock.mono_s)
    assert degrees(readers) == {A: (3.0, 1000.0), B: (4.0, 1000.0), C: (5.0, 1000.0)}
    for at in range(20):
        tree.set_c(A, at)
        tree.set_c(C, -at)
        now_s = clock.advance(60.0)
        assert degrees(readers) == {A: (at, now_s), B: (4.0, now_s), C: (-at, now_s)}
    readers.close()


def test_no_reader_runs_between_two_looks(tree: W1Tree) -> None:
    """Threads live for the length of a look."""
    readers = SteppedReaders([A, B, C], tree.folder, mono=FakeClock().mono_s)
    assert not reader_threads()
    readers.latest()
    assert not reader_threads()


def test_a_probe_that_is_away_or_wrong_is_named_at_the_same_look(tree: W1Tree) -> None:
    """The reading is the board's own, and so are its reasons."""
    readers = SteppedReaders([A, B, C], tree.folder, mono=FakeClock().mono_s)
    tree.remove(A)
    tree.break_crc(B)
    tree.empty(C)
    assert degrees(readers) == {A: Rejection.ABSENT, B: Rejection.CRC, C: Rejection.EMPTY}
    tree.restore(A, 1.0)
    assert degrees(readers)[A] == (1.0, 1000.0)


def test_a_read_that_hangs_is_told_at_the_same_look_and_costs_no_neighbour(tree: W1Tree) -> None:
    """The others of its bus are read in the same look; later looks do not wait for it again."""
    clock = FakeClock()
    readers = SteppedReaders([A, B, C], tree.folder, mono=clock.mono_s)
    tree.hang(A)
    assert degrees(readers) == {A: Rejection.HUNG, B: (4.0, 1000.0), C: (5.0, 1000.0)}
    now_s = clock.advance(60.0)
    began_s = time.monotonic()
    assert degrees(readers) == {A: Rejection.HUNG, B: (4.0, now_s), C: (5.0, now_s)}
    assert time.monotonic() - began_s < HANGS_AFTER_S / 2
    assert readers.stuck_count == 1


def test_a_probe_that_hung_is_read_again_at_the_first_look_after(tree: W1Tree) -> None:
    """A hung read that came back makes way for a new one."""
    readers = SteppedReaders([A, B], tree.folder, mono=FakeClock().mono_s)
    tree.hang(A)
    assert degrees(readers)[A] is Rejection.HUNG
    tree.set_c(A, 2.5)
    assert tree.release() == 1
    assert degrees(readers)[A] == (2.5, 1000.0)
    assert readers.stuck_count == 0


def test_without_a_thread_to_be_had_the_last_readings_stand(
    tree: W1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They grow stale by themselves, and the next look tries again."""
    clock = FakeClock()
    readers = SteppedReaders([A], tree.folder, mono=clock.mono_s)
    readers.latest()

    def refuse(thread: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    with monkeypatch.context() as patched:
        patched.setattr(threading.Thread, "start", refuse)
        clock.advance(60.0)
        assert degrees(readers) == {A: (3.0, 1000.0)}
    assert degrees(readers) == {A: (3.0, 1060.0)}
