"""Readers on a real folder of files: every fault becomes a named failure, and nothing ever waits."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from controller.errors import HardwareError
from controller.sense.probes import BusReaders, list_probes
from controller.sense.scratchpad import RawReading, ReadFailure, Scratchpad, sixteenths_of
from controller.vocabulary import ProbeId, Rejection
from tests.fakes import W1Tree

A = ProbeId("28-00000000000a")
B = ProbeId("28-00000000000b")
C = ProbeId("28-00000000000c")
INTERVAL_S = 0.01
DEADLINE_S = 0.4
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
    wait_until(lambda: not reader_threads())


@pytest.fixture
def readers(tree: W1Tree) -> Iterator[BusReaders]:
    """Readers of all three, on the real clock."""
    readers = BusReaders([A, B, C], tree.folder, INTERVAL_S, DEADLINE_S, time.monotonic)
    yield readers
    readers.close()


def wait_until(fulfilled: Callable[[], bool]) -> None:
    """Look again and again, within a bound."""
    until_s = time.monotonic() + PATIENCE_S
    while not fulfilled():
        assert time.monotonic() < until_s, "not reached in time"
        time.sleep(0.002)


def next_read(readers: BusReaders, probe: ProbeId) -> RawReading:
    """A read begun after now."""
    begun_s = time.monotonic()
    wait_until(lambda: probe in (found := readers.latest()) and found[probe].taken_at_s > begun_s)
    return readers.latest()[probe]


def reader_threads() -> list[threading.Thread]:
    return [thread for thread in threading.enumerate() if thread.name.startswith("probes-")]


def test_every_probe_is_read_and_its_age_counts_from_the_beginning(tree: W1Tree, readers: BusReaders) -> None:
    """A sound scratchpad each, newer and newer, in the values of the tree."""
    first = next_read(readers, A)
    tree.set_c(A, -10.125)
    second = next_read(readers, A)
    assert isinstance(first, Scratchpad)
    assert isinstance(second, Scratchpad)
    assert (sixteenths_of(first.data), sixteenths_of(second.data)) == (48, -162)
    assert second.taken_at_s > first.taken_at_s
    assert {sixteenths_of(raw.data) for raw in readers.latest().values() if isinstance(raw, Scratchpad)} == {
        -162,
        64,
        80,
    }


def test_each_bus_has_one_daemon_thread_and_close_ends_it(tree: W1Tree) -> None:
    """No reader can keep a leaving process alive."""
    readers = BusReaders([A, B, C], tree.folder, INTERVAL_S, DEADLINE_S, time.monotonic)
    next_read(readers, C)
    assert sorted(thread.name for thread in reader_threads()) == [
        "probes-w1_bus_master1",
        "probes-w1_bus_master2",
    ]
    assert all(thread.daemon for thread in reader_threads())
    readers.close()
    wait_until(lambda: not reader_threads())


@pytest.mark.parametrize(
    ("break_it", "reason"),
    [
        (lambda tree: tree.break_crc(A), Rejection.CRC),
        (lambda tree: tree.silence(A), Rejection.SILENT),
        (lambda tree: tree.empty(A), Rejection.EMPTY),
        (lambda tree: tree.write_text(A, "\n"), Rejection.EMPTY),
        (lambda tree: tree.write_text(A, "nan\n"), Rejection.GARBLED),
        (lambda tree: tree.write_text(A, "21375\n"), Rejection.GARBLED),
        (lambda tree: tree.write_text(A, "30 00 4b 46 7f ff 10 10 xx : crc=xx YES\n"), Rejection.GARBLED),
        (
            lambda tree: tree.write_text(A, "30 00 4b 46 7f ff 10 10 c5 : crc=c5 YES\n30 00"),
            Rejection.GARBLED,
        ),
        (lambda tree: tree.write_text(A, "30 00 4b 46 7f ff 10 10 c5 : crc=c5 YES\n"), Rejection.GARBLED),
        (
            lambda tree: tree.write_text(
                A, "30 00 4b 46 7f ff 10 10 c5 : crc=c5 YES\n31 00 4b 46 7f ff 10 10 c5 t=3000\n"
            ),
            Rejection.GARBLED,
        ),
        (lambda tree: tree.write_raw(A, b"\xff\xfe\x00\x80" * 30), Rejection.GARBLED),
        (lambda tree: tree.write_text(A, "x" * 1_000_000), Rejection.GARBLED),
        (lambda tree: tree.make_directory(A), Rejection.BUS_ERROR),
        (lambda tree: tree.remove(A), Rejection.ABSENT),
    ],
)
def test_each_fault_of_the_file_has_its_own_reason(
    tree: W1Tree, readers: BusReaders, break_it: Callable[[W1Tree], None], reason: Rejection
) -> None:
    """P01, P05, P16, and what a library would raise bare; the other probes go on."""
    next_read(readers, A)
    break_it(tree)
    raw = next_read(readers, A)
    assert isinstance(raw, ReadFailure)
    assert raw.reason is reason
    assert raw.detail
    assert isinstance(next_read(readers, B), Scratchpad)


@pytest.mark.parametrize("name", ["power_on", "starve", "short"])
def test_scratchpads_that_the_kernel_calls_sound_come_through_for_judging(
    tree: W1Tree, readers: BusReaders, name: str
) -> None:
    """P07, P08: 85.00, 127.94 and all zeros pass the kernel's check; judging them is not done here."""
    getattr(tree, name)(A)
    raw = next_read(readers, A)
    assert isinstance(raw, Scratchpad)


def test_a_refused_file_is_a_bus_error_with_the_systems_name_for_it(
    tree: W1Tree, readers: BusReaders
) -> None:
    """An error of the line is told apart from a probe that is away."""
    tree.make_directory(A)
    raw = next_read(readers, A)
    assert isinstance(raw, ReadFailure)
    assert raw.detail.startswith("EISDIR")


def test_a_probe_that_vanished_comes_back_by_itself(tree: W1Tree, readers: BusReaders) -> None:
    """P01: retried at every round, for ever."""
    next_read(readers, A)
    tree.remove(A)
    assert isinstance(next_read(readers, A), ReadFailure)
    tree.restore(A, 1.5)
    raw = next_read(readers, A)
    assert isinstance(raw, Scratchpad)
    assert sixteenths_of(raw.data) == 24


def test_a_probe_that_was_away_at_the_start_is_taken_up_when_it_appears(tmp_path: Path) -> None:
    """Even the folder itself may come later."""
    readers = BusReaders([A], tmp_path / "devices", INTERVAL_S, DEADLINE_S, time.monotonic)
    raw = next_read(readers, A)
    assert isinstance(raw, ReadFailure)
    assert raw.reason is Rejection.ABSENT
    W1Tree(tmp_path).add(A, 2.0)
    wait_until(lambda: isinstance(readers.latest()[A], Scratchpad))
    readers.close()


def test_all_probes_of_a_bus_vanish_together_and_return(tree: W1Tree, readers: BusReaders) -> None:
    """P04: every one absent; the other bus is not touched."""
    for probe in (A, B):
        tree.remove(probe)
    assert all(isinstance(next_read(readers, probe), ReadFailure) for probe in (A, B))
    assert isinstance(next_read(readers, C), Scratchpad)
    for probe in (A, B):
        tree.restore(probe, 0.5)
    assert all(isinstance(next_read(readers, probe), Scratchpad) for probe in (A, B))


def test_a_hung_read_costs_its_own_probe_only_and_is_taken_up_again(
    tree: W1Tree, readers: BusReaders
) -> None:
    """P24: found at the deadline; the bus goes on with a new thread; one stuck thread, no more."""
    next_read(readers, A)
    tree.hang(A)
    wait_until(
        lambda: (
            isinstance(raw := readers.latest()[A], ReadFailure)
            and raw.reason is Rejection.HUNG
            and readers.stuck_count == 1
        )
    )
    hung = readers.latest()[A]
    for probe in (B, C):
        assert isinstance(next_read(readers, probe), Scratchpad)
    assert readers.latest()[A] == hung
    assert len(reader_threads()) == 3
    tree.set_c(A, 6.0)
    assert readers.latest()[A] == hung, "the old read still holds the probe"
    assert tree.release() == 1
    raw = next_read(readers, A)
    assert isinstance(raw, Scratchpad)
    assert sixteenths_of(raw.data) == 96
    assert readers.stuck_count == 0
    wait_until(lambda: len(reader_threads()) == 2)


def test_every_probe_hung_leaves_one_stuck_thread_each(tree: W1Tree, readers: BusReaders) -> None:
    """However long it lasts, threads do not pile up."""
    for probe in (A, B, C):
        tree.hang(probe)
    wait_until(lambda: readers.latest() is not None and readers.stuck_count == 3)
    for _ in range(50):
        readers.latest()
    assert len(reader_threads()) == 5, "three stuck, and one idle thread for each of two buses"
    for probe in (A, B, C):
        tree.set_c(probe, 1.0)
    tree.release()
    for probe in (A, B, C):
        assert isinstance(next_read(readers, probe), Scratchpad)
    wait_until(lambda: len(reader_threads()) == 2)


def test_a_look_never_waits_for_a_hung_read(tree: W1Tree, readers: BusReaders) -> None:
    """The tick's own part is a glance."""
    tree.hang(A)
    wait_until(lambda: readers.latest() is not None and readers.stuck_count == 1)
    begun_s = time.perf_counter()
    for _ in range(1000):
        readers.latest()
    assert time.perf_counter() - begun_s < 0.5


def test_a_thread_that_cannot_be_had_is_asked_for_again(
    tree: W1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A board out of threads is no reason to stop looking."""
    start = threading.Thread.start

    def refuse(self: threading.Thread) -> None:
        raise RuntimeError(f"can't start {self.name}")

    monkeypatch.setattr(threading.Thread, "start", refuse)
    readers = BusReaders([A], tree.folder, INTERVAL_S, DEADLINE_S, time.monotonic)
    assert readers.latest() == {}
    monkeypatch.setattr(threading.Thread, "start", start)
    readers.latest()
    assert isinstance(next_read(readers, A), Scratchpad)
    readers.close()


def test_whatever_a_library_raises_becomes_a_failure(
    readers: BusReaders, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Torn files have made libraries raise bare IndexError; the reader outlives it."""
    next_read(readers, A)

    def tear(_lines: list[str], _taken_at_s: float) -> RawReading:
        raise IndexError("torn")

    with monkeypatch.context() as patched:
        patched.setattr("controller.sense.probes.decode_lines", tear)
        raw = next_read(readers, A)
    assert isinstance(raw, ReadFailure)
    assert raw.detail == "IndexError: torn"
    assert isinstance(next_read(readers, A), Scratchpad)


def test_the_list_holds_real_probes_only(tree: W1Tree) -> None:
    """Phantoms of family 00, bus masters and files are left out; other families are listed as of no use."""
    (tree.folder / "00-800000000000").mkdir()
    (tree.folder / "w1_bus_master1").mkdir()
    (tree.folder / "28-notanumber00").mkdir()
    (tree.folder / "28-00000000000d").mkdir()
    (tree.folder / "28-00000000000e").symlink_to(tree.root / "nowhere")
    tree.add("10-00000000000f", 1.0, bus=2)
    for family in ("3b", "1d"):
        (tree.folder / f"{family}-000000000010").mkdir()
    found = {entry.probe: (entry.bus, entry.usable) for entry in list_probes(tree.folder)}
    assert found == {
        A: ("w1_bus_master1", True),
        B: ("w1_bus_master1", True),
        C: ("w1_bus_master2", True),
        "28-00000000000d": ("w1_bus_master1", True),
        "28-00000000000e": ("w1_bus_master1", True),
        "10-00000000000f": ("w1_bus_master2", False),
        "3b-000000000010": ("w1_bus_master1", False),
        "1d-000000000010": ("w1_bus_master1", False),
    }


def test_a_board_without_the_folder_says_what_to_do(tmp_path: Path) -> None:
    """Most first starts fail at the overlay."""
    with pytest.raises(HardwareError, match="dtoverlay=w1-gpio"):
        list_probes(tmp_path / "devices")


def test_the_library_never_loads_kernel_modules() -> None:
    """Importing it elsewhere would run a loader and raise where there is no bus."""
    assert os.environ["W1THERMSENSOR_NO_KERNEL_MODULE"] == "1"
