from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from controller.record.rows import Recorder, Row, SampleRow
from controller.record.writer import BATCH_S, DirectWriter, HistoryWriter
from tests.controller.record.lab import UTC_S, Meddler, disk_error, event, sample, stored, told


def make_writer(folder: Path, meddler: Meddler | None = None, retry_s: float = 0.02) -> HistoryWriter:
    return HistoryWriter(
        folder / "history.sqlite3",
        folder / "pending.jsonl",
        utc_s=lambda: UTC_S,
        retry_s=retry_s,
        connect=sqlite3.connect if meddler is None else meddler.connect,
    )


def eventually(true: Callable[[], bool], *, within_s: float = 10.0) -> bool:
    until_s = time.monotonic() + within_s
    while time.monotonic() < until_s:
        if true():
            return True
        time.sleep(0.002)
    return False


def test_both_writers_are_recorders(tmp_path: Path) -> None:
    direct: Recorder = DirectWriter(tmp_path / "direct.sqlite3", utc_s=lambda: UTC_S)
    threaded: Recorder = make_writer(tmp_path)
    assert direct.first_seq() == threaded.first_seq() == 1
    assert direct.close(1.0)
    assert threaded.close(1.0)


def test_an_event_goes_to_the_disk_at_once_with_all_that_waited(tmp_path: Path) -> None:
    """Power loss takes no event."""
    writer = make_writer(tmp_path)
    writer.start()
    writer.add_sample(sample(1))
    ticket = writer.add_event(event(2))
    assert eventually(lambda: writer.is_saved(ticket))
    assert stored(tmp_path / "history.sqlite3") == told([sample(1), event(2)])
    assert writer.close(5.0)


def test_samples_wait_for_their_batch_and_no_longer(tmp_path: Path) -> None:
    """Power loss takes ten minutes of samples at most: nine that wait, one still being summed up."""
    assert BATCH_S + 60.0 <= 600.0
    writer = make_writer(tmp_path)
    writer.start()
    for number in range(1, 10):
        writer.add_sample(sample(number))
    assert not eventually(lambda: stored(tmp_path / "history.sqlite3") != [], within_s=0.1)
    writer.add_sample(sample(10))
    assert eventually(lambda: len(stored(tmp_path / "history.sqlite3")) == 10)
    assert writer.close(5.0)


@pytest.mark.parametrize("stuck_on", ["BEGIN", "COMMIT", "PRAGMA"])
def test_a_disk_that_hangs_delays_no_tick(tmp_path: Path, stuck_on: str) -> None:
    """S09: here the disk does not answer at all until it is let go."""
    meddler = Meddler()
    let_go = threading.Event()

    def hang(sql: str) -> None:
        if sql.startswith(stuck_on):
            let_go.wait(20.0)

    meddler.before = hang
    writer = make_writer(tmp_path, meddler)
    began_s = time.monotonic()
    writer.start(deadline_s=0.05)
    assert time.monotonic() - began_s < 2.0
    rows: list[Row] = []
    slowest_s = 0.0
    for number in range(1, 300):
        rows.append(event(number) if number % 10 == 0 else sample(number))
        began_s = time.perf_counter()
        add(writer, rows[-1])
        slowest_s = max(slowest_s, time.perf_counter() - began_s)
        writer.health()
    assert slowest_s < 0.1, "bounded by the scheduler of a busy machine, not by the disk"
    assert not writer.close(0.05)
    let_go.set()
    assert eventually(lambda: len(stored_or_nothing(tmp_path)) == len(rows))
    assert stored(tmp_path / "history.sqlite3") == told(rows)


def add(writer: HistoryWriter | DirectWriter, row: Row) -> None:
    if isinstance(row, SampleRow):
        writer.add_sample(row)
    else:
        writer.add_event(row)


def stored_or_nothing(folder: Path) -> list[tuple[int, str]]:
    try:
        return stored(folder / "history.sqlite3")
    except sqlite3.Error:
        return []


def test_trouble_is_tried_again_without_being_asked(tmp_path: Path) -> None:
    """S01: resumes by itself."""
    meddler = Meddler()
    broken = True

    def fail(sql: str) -> None:
        if broken and sql.startswith("BEGIN"):
            raise disk_error(sqlite3.SQLITE_FULL, "database or disk is full")

    writer = make_writer(tmp_path, meddler)
    writer.start()
    meddler.before = fail
    ticket = writer.add_event(event(1))
    assert eventually(lambda: not writer.health().recording)
    assert "full" in writer.health().detail
    assert writer.health().pending == 1
    broken = False
    assert eventually(lambda: writer.is_saved(ticket))
    assert writer.health().recording
    assert writer.close(5.0)


def test_trouble_is_not_hammered_by_a_flood_of_events(tmp_path: Path) -> None:
    meddler = Meddler()
    tries = 0

    def fail(sql: str) -> None:
        nonlocal tries
        if sql.startswith("BEGIN"):
            tries += 1
            raise disk_error(sqlite3.SQLITE_FULL, "database or disk is full")

    writer = make_writer(tmp_path, meddler, retry_s=0.5)
    writer.start()
    meddler.before = fail
    began_s = time.monotonic()
    for number in range(1, 200):
        writer.add_event(event(number))
        time.sleep(0.001)
    took_s = time.monotonic() - began_s
    assert 1 <= tries <= 1 + took_s / 0.5
    writer.close(0.1)


def test_a_close_that_cannot_save_leaves_all_to_the_next_start(tmp_path: Path) -> None:
    meddler = Meddler()
    writer = make_writer(tmp_path, meddler)
    writer.start()

    def fail(_: str) -> None:
        raise disk_error()

    meddler.before = fail
    rows: list[Row] = [sample(1), event(2)]
    for row in rows:
        add(writer, row)
    assert not writer.close(2.0)
    after = make_writer(tmp_path)
    after.start()
    assert eventually(lambda: len(stored(tmp_path / "history.sqlite3")) == 2)
    assert after.first_seq() == 3
    assert after.close(5.0)
    assert stored(tmp_path / "history.sqlite3") == told(rows)


def test_a_writing_thread_that_ends_by_a_fault_of_ours_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(threading, "excepthook", lambda _: None)
    writer = make_writer(tmp_path)
    writer.start()

    def broken() -> bool:
        raise RuntimeError("a fault of ours")

    monkeypatch.setattr(writer._history, "flush", broken)
    writer.add_event(event(1))
    assert eventually(lambda: not writer.health().recording)
    assert "stopped" in writer.health().detail
    assert not writer.close(0.1)


def test_thinning_runs_on_the_thread_when_the_clock_is_confirmed(tmp_path: Path) -> None:
    writer = make_writer(tmp_path)
    writer.start()
    for number in range(1, 101):
        writer.add_sample(sample(number))
    writer.request_thinning(now_utc_s=UTC_S + 1e8, utc_confirmed=False)
    ticket = writer.add_event(event(101))
    assert eventually(lambda: writer.is_saved(ticket))
    assert len(stored(tmp_path / "history.sqlite3")) == 101
    writer.request_thinning(now_utc_s=UTC_S + 1e8, utc_confirmed=True)
    assert eventually(lambda: len(stored(tmp_path / "history.sqlite3")) <= 4)
    assert writer.close(5.0)


def test_the_direct_writer_gives_the_same_file_for_the_same_rows(tmp_path: Path) -> None:
    dumps = []
    for name in ("one", "two"):
        writer = DirectWriter(tmp_path / name, utc_s=lambda: UTC_S, batch_rows=7)
        for number in range(1, 100):
            add(writer, event(number) if number % 9 == 0 else sample(number))
        assert writer.close(1.0)
        connection = sqlite3.connect(tmp_path / name)
        dumps.append(list(connection.iterdump()))
        connection.close()
    assert dumps[0] == dumps[1]
    assert len(dumps[0]) > 99


def test_a_direct_writer_without_a_folder_says_so_and_goes_on(tmp_path: Path) -> None:
    (tmp_path / "blocked").write_text("no folder")
    writer = DirectWriter(tmp_path / "blocked" / "history.sqlite3", utc_s=lambda: UTC_S, batch_rows=2)
    for number in range(1, 9):
        writer.add_sample(sample(number))
    assert not writer.health().recording
    assert writer.health().pending == 8
    assert not writer.close(1.0)
