"""The disk fails under a running history; nothing may be raised, lost or doubled."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from controller.record.rows import Row
from tests.controller.record.lab import Meddler, disk_error, event, make_history, sample, stored, told

ROWS: list[Row] = [sample(1), event(2), sample(3), sample(4)]


def count_statements(folder: Path) -> int:
    """How many statements one open, save, save and close take."""
    meddler = Meddler()
    run_through(folder, meddler)
    return meddler.statements


def run_through(folder: Path, meddler: Meddler) -> None:
    """Open, save two batches, thin, close."""
    folder.mkdir()
    history = make_history(folder, connect=meddler.connect)
    history.open()
    history.add(ROWS[:2])
    history.flush()
    history.add(ROWS[2:])
    history.flush()
    history.thin_slice(2e9)
    history.flush()
    history.close()


@pytest.mark.parametrize(
    ("code", "text"),
    [
        (sqlite3.SQLITE_IOERR_WRITE, "disk I/O error"),
        (sqlite3.SQLITE_FULL, "database or disk is full"),
        (sqlite3.SQLITE_READONLY, "attempt to write a readonly database"),
        (sqlite3.SQLITE_CANTOPEN, "unable to open database file"),
        (sqlite3.SQLITE_BUSY, "database is locked"),
    ],
)
def test_the_nth_call_fails_for_every_n(tmp_path: Path, code: int, text: str) -> None:
    """S01, S02, S03, S11: from each single failing call it recovers by itself with every row, once."""
    total = count_statements(tmp_path / "count")
    assert total > 20
    joined = [(2, 'e{"number":2}'), (4, f"s{1 + 3 + 4}")]
    for at in range(1, total + 1):
        meddler = Meddler()

        def fail(_: str, meddler: Meddler = meddler, at: int = at) -> None:
            if meddler.statements == at:
                raise disk_error(code, text)

        meddler.before = fail
        folder = tmp_path / f"n{at}"
        run_through(folder, meddler)
        after = make_history(folder)
        assert after.flush()
        while after.thin_slice(2e9):
            pass
        after.close()
        assert stored(folder / "history.sqlite3") == joined, f"statement {at}"


@pytest.mark.parametrize("from_n", [1, 5, 9, 13, 17])
def test_while_every_call_fails_rows_wait_and_health_says_why(tmp_path: Path, from_n: int) -> None:
    meddler = Meddler()

    def fail(_: str) -> None:
        if meddler.statements >= from_n:
            raise disk_error()

    meddler.before = fail
    history = make_history(tmp_path, connect=meddler.connect, samples_max=30)
    history.open()
    for number in range(1, 200):
        history.add([event(number) if number % 50 == 0 else sample(number)])
        assert not history.flush()
    health = history.health()
    assert not health.recording
    assert "errors" in health.detail
    assert health.dropped > 0
    assert health.pending <= 60 + 3
    meddler.before = lambda _: None
    assert history.flush()
    assert history.health().recording
    history.close()
    kept = stored(tmp_path / "history.sqlite3")
    assert [seq for seq, text in kept if text.startswith("e")] == [50, 100, 150]
    heat_ms = sum(int(text[1:]) for _, text in kept if text.startswith("s"))
    assert heat_ms == sum(number for number in range(1, 200) if number % 50)


def test_after_a_failed_sync_the_batch_is_written_again_through_a_new_handle(tmp_path: Path) -> None:
    """S05: data treated as not saved, a later success on the same handle not trusted, nothing doubled."""
    meddler = Meddler()
    opened = []
    history = make_history(
        tmp_path, connect=lambda *args, **options: opened.append(1) or meddler.connect(*args, **options)
    )
    history.open()
    seen: list[str] = []
    failed = False

    def sync_fails(sql: str) -> None:
        nonlocal failed
        seen.append(sql)
        if sql == "COMMIT" and not failed:
            failed = True
            raise disk_error()

    meddler.after = sync_fails
    ticket = history.add(ROWS[:2])
    assert not history.flush()
    assert not history.is_saved(ticket)
    assert history.health().pending == 2
    assert stored(tmp_path / "history.sqlite3") == told(ROWS[:2]), (
        "the kernel shows it; the disk may not hold it"
    )
    seen.clear()
    assert history.flush()
    assert len(opened) == 2
    emptied = next(at for at, sql in enumerate(seen) if "wal_checkpoint(TRUNCATE)" in sql)
    assert emptied < seen.index("BEGIN IMMEDIATE"), "nothing is added behind a log that may be torn"
    assert history.is_saved(ticket)
    history.close()
    assert stored(tmp_path / "history.sqlite3") == told(ROWS[:2])


def test_while_a_reader_keeps_the_suspect_log_from_being_emptied_nothing_counts_as_saved(
    tmp_path: Path,
) -> None:
    meddler = Meddler()
    history = make_history(tmp_path, connect=meddler.connect)
    history.add(ROWS[:1])
    history.flush()
    reader = sqlite3.connect(tmp_path / "history.sqlite3", isolation_level=None)
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM samples").fetchone()

    def sync_fails(sql: str) -> None:
        if sql == "COMMIT":
            raise disk_error()

    meddler.after = sync_fails
    history.add(ROWS[1:])
    assert not history.flush()
    meddler.after = lambda _: None
    assert not history.flush()
    assert history.health().pending == 3
    reader.execute("COMMIT")
    reader.close()
    assert history.flush()
    history.close()
    assert stored(tmp_path / "history.sqlite3") == told(ROWS)


def test_a_file_that_may_grow_no_further_recovers_on_the_same_handle(tmp_path: Path) -> None:
    """S01 with SQLite's own full error, and room afterwards."""
    history = make_history(tmp_path, samples_max=900)
    history.open()
    connection = history._store.connection  # type: ignore[union-attr]
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    connection.execute(f"PRAGMA max_page_count = {pages + 2}")
    rows: list[Row] = [sample(number) for number in range(1, 700)]
    history.add(rows)
    assert not history.flush()
    assert "full" in history.health().detail
    assert history.health().pending == 699
    connection.execute("PRAGMA max_page_count = 1000000")
    assert history.flush()
    assert history._store.connection is connection  # type: ignore[union-attr]
    history.close()
    assert stored(tmp_path / "history.sqlite3") == told(rows)


def test_a_lock_held_by_another_program_only_delays_saving(tmp_path: Path) -> None:
    """S07."""
    history = make_history(tmp_path)
    history.open()
    other = sqlite3.connect(tmp_path / "history.sqlite3", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    history.add(ROWS)
    assert not history.flush()
    assert "another program" in history.health().detail
    other.execute("COMMIT")
    other.close()
    assert history.flush()
    assert history.health().detail == ""
    history.close()
    assert stored(tmp_path / "history.sqlite3") == told(ROWS)


def test_damage_that_only_writing_meets_leads_to_a_fresh_file(tmp_path: Path) -> None:
    meddler = Meddler()
    history = make_history(tmp_path, connect=meddler.connect)
    history.open()

    def corrupt(sql: str) -> None:
        if sql.startswith("INSERT OR REPLACE INTO samples") and history.health().set_aside is None:
            raise disk_error(sqlite3.SQLITE_CORRUPT, "database disk image is malformed")

    meddler.before = corrupt
    history.add(ROWS)
    assert not history.flush()
    assert not history.flush()
    assert history.flush()
    assert history.health().set_aside is not None
    history.close()
    assert stored(tmp_path / "history.sqlite3") == told(ROWS)
