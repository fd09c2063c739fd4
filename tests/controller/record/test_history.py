from __future__ import annotations

import os
import random
import sqlite3
from pathlib import Path

import pytest

from controller.record import schema, store
from controller.record.aside import KEPT_MAX, put_aside
from controller.record.history import History
from controller.record.read import open_reader
from controller.record.rows import Row
from controller.vocabulary import Place
from tests.controller.record.lab import UTC_S, event, make_history, sample, stored, told


def filled(folder: Path, rows: list[Row]) -> Path:
    history = make_history(folder)
    history.add(rows)
    assert history.flush()
    history.close()
    return folder / "history.sqlite3"


def asides(folder: Path) -> list[str]:
    return sorted(piece.name for piece in folder.iterdir() if ".damaged-" in piece.name)


def test_a_new_history_is_strict_whole_numbered_logged_and_synced(tmp_path: Path) -> None:
    history = make_history(tmp_path)
    assert history.open()
    connection = history._store.connection  # type: ignore[union-attr]
    assert connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert connection.execute("PRAGMA synchronous").fetchone()[0] == 2
    assert connection.execute("PRAGMA auto_vacuum").fetchone()[0] == 2
    tables = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'table'").fetchall()
    assert {name for name, _ in tables} == {"words", "samples", "events", "marks", "migrations"}
    for name, sql in tables:
        assert sql.rstrip().endswith("STRICT")
        kinds = {row[2] for row in connection.execute(f"PRAGMA table_info({name})")}
        assert kinds <= {"INTEGER", "TEXT"}, "no floating-point column anywhere"
    ran = connection.execute("SELECT number, name FROM migrations").fetchall()
    assert ran == [(1, "create_history")]
    history.close()


def test_rows_are_stored_once_in_their_order_over_starts(tmp_path: Path) -> None:
    """I7: increasing, no duplicates."""
    rows: list[Row] = [sample(1), event(2), sample(3)]
    filled(tmp_path, rows)
    history = make_history(tmp_path)
    history.open()
    assert history.first_seq() == 4
    later: list[Row] = [sample(4, boot_id="boot-2", mono_s=1.0), event(5)]
    history.add(later)
    history.flush()
    history.close()
    assert stored(tmp_path / "history.sqlite3") == told(rows + later)


@pytest.mark.parametrize("step_s", [-86_400.0, -1.7e9, 86_400.0, 9.5e8])
def test_a_stepping_wall_clock_changes_neither_order_nor_count(tmp_path: Path, step_s: float) -> None:
    """C01, C02: order is kept by number."""
    rows: list[Row] = [sample(1), event(2, "clock_stepped"), sample(3, utc_s=UTC_S + step_s), sample(4)]
    path = filled(tmp_path, rows)
    with open_reader(path) as reader:
        back = [one.row for one in reader.samples(from_utc_s=-1e10, to_utc_s=1e10)]
    assert back == [row for row in rows if row.seq != 2]


@pytest.mark.parametrize(
    "damage", ["empty", "garbage", "half", "folder", "pipe", "foreign", "dropped", "link"]
)
def test_what_is_no_history_is_put_aside_untouched_and_a_fresh_one_begun(tmp_path: Path, damage: str) -> None:
    """S04, S08: start fresh beside it, never overwrite."""
    path = filled(tmp_path, [sample(number) for number in range(1, 400)])
    if damage == "empty":
        path.write_bytes(b"")
    elif damage == "garbage":
        path.write_bytes(b"once upon a time " * 500)
    elif damage == "half":
        path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    elif damage in ("folder", "pipe", "link"):
        path.unlink()
        {
            "folder": path.mkdir,
            "pipe": lambda: os.mkfifo(path),
            "link": lambda: path.symlink_to(tmp_path),
        }[damage]()
    elif damage == "foreign":
        path.unlink()
        with sqlite3.connect(path) as other:
            other.execute("CREATE TABLE recipes (name TEXT)")
        other.close()
    else:
        other = sqlite3.connect(path)
        other.execute("DROP TABLE events")
        other.commit()
        other.close()
    before = path.read_bytes() if path.is_file() else None
    history = make_history(tmp_path)
    history.add([sample(1)])
    assert history.flush()
    health = history.health()
    assert health.recording
    assert [health.set_aside] == asides(tmp_path)
    if before is not None:
        assert (tmp_path / str(health.set_aside)).read_bytes() == before
    history.close()
    assert len(stored(path)) == 1


def test_counting_goes_on_from_what_a_damaged_file_still_tells(tmp_path: Path) -> None:
    path = filled(tmp_path, [sample(number) for number in range(1, 50)])
    other = sqlite3.connect(path)
    other.execute("DROP TABLE marks")
    other.commit()
    other.close()
    history = make_history(tmp_path)
    history.open()
    assert history.first_seq() == 50
    history.close()


def test_of_those_put_aside_five_stay_none_is_overwritten_and_the_smallest_goes_first(tmp_path: Path) -> None:
    path = tmp_path / "history.sqlite3"
    for size in (500, 900, 100, 700, 300, 800, 600):
        path.write_bytes(b"x" * size)
        put_aside(path, utc_s=UTC_S)
    sizes = sorted((tmp_path / name).stat().st_size for name in asides(tmp_path))
    assert len(sizes) == KEPT_MAX
    assert sizes == [500, 600, 700, 800, 900]


def test_a_folder_in_the_way_is_never_removed(tmp_path: Path) -> None:
    path = tmp_path / "history.sqlite3"
    for _ in range(KEPT_MAX + 3):
        path.mkdir()
        (path / "letter").write_text("keep me")
        put_aside(path, utc_s=UTC_S)
    assert len(list(tmp_path.glob("*/letter"))) == KEPT_MAX + 3


def test_a_newer_history_is_not_touched_and_rows_wait_in_memory(tmp_path: Path) -> None:
    """S08: newer version: refuse to write, run from memory."""
    path = filled(tmp_path, [sample(1)])
    other = sqlite3.connect(path)
    other.execute("PRAGMA user_version = 99")
    other.commit()
    other.close()
    before = path.read_bytes(), path.stat().st_mtime_ns
    history = make_history(tmp_path)
    history.add([sample(2)])
    assert not history.flush()
    assert not history.flush()
    health = history.health()
    assert not health.recording
    assert "newer version" in health.detail
    assert health.pending == 1
    history.close()
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
    assert asides(tmp_path) == []


def test_a_newer_history_with_a_log_beside_it_is_not_touched_either(tmp_path: Path) -> None:
    path = filled(tmp_path, [sample(1)])
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("PRAGMA user_version = 99")
    log = tmp_path / "history.sqlite3-wal"
    before = path.read_bytes(), log.read_bytes()
    assert before[1]
    history = make_history(tmp_path)
    assert not history.open()
    assert "newer version" in history.health().detail
    history.close()
    assert (path.read_bytes(), log.read_bytes()) == before
    other.close()


def test_an_older_history_is_brought_up_to_date_step_by_step(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """G10, for the history: each step with its record, rows kept."""
    filled(tmp_path, [sample(1)])

    def add_humidity(connection: sqlite3.Connection) -> None:
        connection.execute("ALTER TABLE samples ADD COLUMN humidity INTEGER")

    steps = (*schema.MIGRATIONS, add_humidity)
    for room in (schema, store):
        monkeypatch.setattr(room, "MIGRATIONS", steps)
    monkeypatch.setattr(schema.migrate, "__kwdefaults__", {"migrations": steps})
    history = make_history(tmp_path)
    assert history.open()
    connection = history._store.connection  # type: ignore[union-attr]
    assert connection.execute("SELECT number, name FROM migrations").fetchall() == [
        (1, "create_history"),
        (2, "add_humidity"),
    ]
    assert connection.execute("SELECT count(humidity), count(*) FROM samples").fetchone() == (0, 1)
    history.close()


def test_a_migration_that_fails_leaves_no_trace(tmp_path: Path) -> None:
    path = filled(tmp_path, [sample(1)])
    connection = sqlite3.connect(path, isolation_level=None)
    before = connection.iterdump()

    def half_done(inside: sqlite3.Connection) -> None:
        inside.execute("CREATE TABLE halves (a INTEGER) STRICT")
        inside.execute("DROP TABLE events")
        raise sqlite3.OperationalError("power")

    dump = list(before)
    with pytest.raises(sqlite3.OperationalError, match="power"):
        schema.migrate(connection, utc_s=UTC_S, migrations=(*schema.MIGRATIONS, half_done))
    assert list(connection.iterdump()) == dump
    assert schema.read_version(connection) == 1
    connection.close()


@pytest.mark.parametrize("seed", range(40))
def test_whatever_bits_flip_no_row_is_read_that_was_not_written(tmp_path: Path, seed: int) -> None:
    """S04: found by the structure check at start or by the row's own check sum when it is read."""
    rows: list[Row] = [sample(number) for number in range(1, 800)]
    path = filled(tmp_path, rows)
    rng = random.Random(seed)  # noqa: S311  # damage, not secrets
    data = bytearray(path.read_bytes())
    at = rng.randrange(4096, len(data) - 300)
    for offset in range(rng.choice((1, 1, 1, 200))):
        data[at + offset] ^= 1 << rng.randrange(8)
    path.write_bytes(data)
    history = make_history(tmp_path)
    assert history.flush()
    aside = history.health().set_aside
    history.close()
    written = {row.seq: row for row in rows}
    if aside is None:
        with open_reader(path) as reader:
            back = [one.row for one in reader.samples(from_utc_s=0, to_utc_s=1e11)]
            assert all(written[row.seq] == row for row in back)
            assert len(back) + reader.damaged <= len(rows)
            assert len(back) >= len(rows) - 40
    else:
        assert (tmp_path / aside).read_bytes() == bytes(data)


def test_a_removed_file_is_noticed_and_a_fresh_one_begun(tmp_path: Path) -> None:
    """S08 while running: without this, rows would go on into a file without a name."""
    history = make_history(tmp_path)
    history.add([sample(1)])
    history.flush()
    (tmp_path / "history.sqlite3").unlink()
    history.add([sample(2)])
    assert history.flush()
    history.close()
    assert stored(tmp_path / "history.sqlite3") == told([sample(2)])


def test_a_log_whose_history_is_gone_is_not_played_into_the_new_one(tmp_path: Path) -> None:
    history = make_history(tmp_path)
    history.add([sample(number) for number in range(1, 9)])
    history.flush()
    (tmp_path / "history.sqlite3").unlink()
    assert (tmp_path / "history.sqlite3-wal").stat().st_size > 0
    fresh = make_history(tmp_path)
    assert fresh.open()
    assert fresh.health().set_aside is None
    fresh.close()
    history.close()
    assert stored(tmp_path / "history.sqlite3") == []
    assert list(tmp_path.glob("history.sqlite3.stray-*-wal"))


def test_pending_rows_of_a_dead_process_are_saved_by_the_next(tmp_path: Path) -> None:
    rows: list[Row] = [sample(1), event(2), sample(3)]
    dead = make_history(tmp_path)
    dead.open()
    dead.add(rows)
    alive = make_history(tmp_path)
    assert alive.flush()
    assert alive.first_seq() == 4
    alive.close()
    dead.close()
    assert stored(tmp_path / "history.sqlite3") == told(rows)


def test_a_death_between_saving_and_emptying_the_mirror_doubles_nothing(tmp_path: Path) -> None:
    rows: list[Row] = [sample(1), event(2), sample(3)]
    dead = make_history(tmp_path)
    dead.open()
    dead.add(rows)
    mirror = (tmp_path / "pending.jsonl").read_bytes()
    dead.flush()
    (tmp_path / "pending.jsonl").write_bytes(mirror)
    alive = make_history(tmp_path)
    alive.open()
    alive.add([sample(alive.first_seq())])
    assert alive.flush()
    alive.close()
    dead.close()
    assert stored(tmp_path / "history.sqlite3") == told([*rows, sample(4)])


def test_rows_numbered_before_the_file_could_be_opened_move_behind_those_in_it(tmp_path: Path) -> None:
    path = filled(tmp_path, [sample(number) for number in range(1, 101)])
    hidden = tmp_path / "elsewhere"
    path.rename(hidden)
    (tmp_path / "history.sqlite3").write_bytes(b"")
    late = History(
        tmp_path / "blocked" / "history.sqlite3", tmp_path / "pending.jsonl", utc_s=lambda: UTC_S, busy_s=0.01
    )
    (tmp_path / "blocked").write_text("no folder yet")
    assert not late.open()
    late.add([sample(1, boot_id="boot-2"), event(2)])
    assert not late.flush()
    (tmp_path / "blocked").unlink()
    (tmp_path / "blocked").mkdir()
    hidden.rename(tmp_path / "blocked" / "history.sqlite3")
    assert late.flush()
    late.close()
    numbers = [seq for seq, _ in stored(tmp_path / "blocked" / "history.sqlite3")]
    assert numbers == list(range(1, 103))


def test_a_row_that_no_table_takes_costs_only_itself(tmp_path: Path) -> None:
    history = make_history(tmp_path)
    bad = sample(2, sixteenths={Place.AIR: "cold"})
    worse = sample(3, utc_s=float("nan"))
    history.add([sample(1), bad, worse, event(4), sample(5, level=2**70)])
    assert history.flush()
    assert history.health().dropped == 3
    history.close()
    assert stored(tmp_path / "history.sqlite3") == told([sample(1), event(4)])


def test_a_healthy_history_says_nothing(tmp_path: Path) -> None:
    history = make_history(tmp_path)
    assert not history.health().recording
    history.open()
    assert (history.health().recording, history.health().detail) == (True, "")
    history.close()
