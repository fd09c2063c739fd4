from __future__ import annotations

import sqlite3
import tracemalloc
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from controller.errors import StorageError
from controller.record.read import open_reader
from controller.record.rows import Row, SampleRow
from controller.record.writer import DirectWriter
from controller.vocabulary import FrameName
from tests.controller.record.lab import UTC_S, event, make_history, sample


def filled(folder: Path, rows: list[Row]) -> Path:
    history = make_history(folder)
    history.add(rows)
    assert history.flush()
    history.close()
    return folder / "history.sqlite3"


def test_each_frame_s_newest_sample(tmp_path: Path) -> None:
    rows: list[Row] = [sample(n, frame=FrameName("south" if n % 3 else "north")) for n in range(1, 12)]
    with open_reader(filled(tmp_path, rows)) as reader:
        newest = reader.latest()
        assert {frame: one.row.seq for frame, one in newest.items()} == {"south": 11, "north": 9}
        assert newest[FrameName("south")].row == rows[10]


def test_a_span_holds_its_beginning_and_not_its_end(tmp_path: Path) -> None:
    rows: list[Row] = [sample(number) for number in range(1, 1501)]
    with open_reader(filled(tmp_path, rows)) as reader:
        back = list(reader.samples(from_utc_s=UTC_S + 60 * 100, to_utc_s=UTC_S + 60 * 1400))
        assert [one.row for one in back] == rows[99:1399]
        assert list(reader.samples(from_utc_s=UTC_S + 1e6, to_utc_s=UTC_S + 2e6)) == []
        assert list(reader.samples(from_utc_s=0, to_utc_s=1e11, frame=FrameName("nobody"))) == []


def test_events_by_kind_and_span(tmp_path: Path) -> None:
    rows: list[Row] = [event(n, "notice" if n % 2 else "relay", text="öh") for n in range(1, 1300)]
    with open_reader(filled(tmp_path, rows)) as reader:
        assert list(reader.events()) == rows
        assert [one.seq for one in reader.events(what="relay")] == list(range(2, 1300, 2))
        assert list(reader.events(what="unheard of")) == []
        span = reader.events(what="notice", from_utc_s=UTC_S + 600, to_utc_s=UTC_S + 900)
        assert [one.seq for one in span] == [11, 13]


def test_heat_is_summed_by_the_days_of_the_garden(tmp_path: Path) -> None:
    """C05: the day on which summer time ends has 25 hours, here in Europe/London on 25 October 2026."""
    start_s = 1_792_882_800.0  # 24 October 2026, 23:00 UTC: midnight in London
    rows: list[Row] = [
        sample(n, utc_s=start_s + 3600.0 * n, span_s=3600.0, heat_on_s=360.0) for n in range(49)
    ]
    with open_reader(filled(tmp_path, rows)) as reader:
        days = reader.heat_by_day(from_utc_s=0, to_utc_s=1e11, zone=ZoneInfo("Europe/London"))
    assert [(day.day, day.heat_on_s) for day in days] == [
        (date(2026, 10, 25), 25 * 360.0),
        (date(2026, 10, 26), 24 * 360.0),
    ]
    assert [day.recorded_s for day in days] == [25 * 3600.0, 24 * 3600.0]


def test_a_reader_never_writes(tmp_path: Path) -> None:
    path = filled(tmp_path, [sample(1)])
    with open_reader(path) as reader, pytest.raises(StorageError, match="readonly"):
        reader._query("DELETE FROM samples", ())


def test_a_clean_close_leaves_no_log_and_reading_makes_none(tmp_path: Path) -> None:
    path = filled(tmp_path, [sample(1)])
    with open_reader(path) as reader:
        assert len(list(reader.samples(from_utc_s=0, to_utc_s=1e11))) == 1
        assert sorted(piece.name for piece in tmp_path.iterdir()) == ["history.sqlite3", "pending.jsonl"]


def test_a_reader_follows_a_writer_that_comes_goes_and_comes_again(tmp_path: Path) -> None:
    """A connection kept over a whole session of the writer once mixed pages of before and after."""
    path = filled(tmp_path, [sample(number) for number in range(1, 3001)])
    with open_reader(path) as reader:
        assert reader.last_seq() == 3000
        for turn in range(3):
            writer = DirectWriter(path, utc_s=lambda: UTC_S, batch_rows=10)
            for number in range(3001 + 500 * turn, 3501 + 500 * turn):
                writer.add_sample(sample(number))
            assert reader.last_seq() == 3500 + 500 * turn
            writer.request_thinning(now_utc_s=UTC_S + 1e8, utc_confirmed=True)
            writer.close(1.0)
            back = list(reader.samples(from_utc_s=0, to_utc_s=1e11))
            assert back[-1].row.seq == 3500 + 500 * turn
            assert reader.damaged == 0


def test_a_reader_follows_to_the_fresh_file_when_the_old_one_is_put_aside(tmp_path: Path) -> None:
    path = filled(tmp_path, [sample(number) for number in range(1, 9)])
    with open_reader(path) as reader:
        assert reader.last_seq() == 8
        path.rename(tmp_path / "aside")
        with pytest.raises(StorageError, match="no history here"):
            reader.last_seq()
        history = make_history(tmp_path)
        history.add([sample(1, frame=FrameName("brand new"))])
        history.flush()
        assert list(reader.latest()) == ["brand new"]
        history.close()


def test_a_reader_does_not_hold_the_writer_up(tmp_path: Path) -> None:
    filled(tmp_path, [sample(number) for number in range(1, 2001)])
    history = make_history(tmp_path)
    history.open()
    with open_reader(tmp_path / "history.sqlite3") as reader:
        half_read = reader.samples(from_utc_s=0, to_utc_s=1e11)
        next(half_read)
        history.add([sample(2001)])
        assert history.flush()
        assert history._store.settle_log()  # type: ignore[union-attr]
        assert sum(1 for _ in half_read) == 1999
    history.close()


def test_memory_does_not_grow_with_the_span(tmp_path: Path) -> None:
    writer = DirectWriter(tmp_path / "history.sqlite3", utc_s=lambda: UTC_S)
    for number in range(1, 8_001):
        writer.add_sample(sample(number))
    writer.close(1.0)
    with open_reader(tmp_path / "history.sqlite3") as reader:
        tracemalloc.start()
        assert sum(1 for _ in reader.samples(from_utc_s=0, to_utc_s=1e11)) == 8_000
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert peak < 2_000_000


@pytest.mark.parametrize("kind", ["missing", "garbage", "foreign", "newer", "folder"])
def test_what_cannot_be_read_is_said_in_words(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "history.sqlite3"
    words = {
        "missing": "start the keeper",
        "garbage": "damaged",
        "foreign": "another program",
        "newer": "newer version",
        "folder": "cannot be read",
    }
    if kind == "garbage":
        path.write_bytes(b"x" * 5000)
    elif kind == "folder":
        path.mkdir()
    elif kind in ("foreign", "newer"):
        filled(tmp_path, [sample(1)])
        pragma = {"foreign": "application_id = 7", "newer": "user_version = 99"}[kind]
        connection = sqlite3.connect(path)
        connection.execute(f"PRAGMA {pragma}")
        connection.commit()
        connection.close()
    with pytest.raises(StorageError, match=words[kind]):
        open_reader(path)


def test_a_damaged_row_is_left_out_and_counted(tmp_path: Path) -> None:
    path = filled(tmp_path, [sample(1), sample(2), event(3), sample(4)])
    connection = sqlite3.connect(path)
    connection.execute("UPDATE samples SET air = air + 1 WHERE seq = 2")
    connection.execute("UPDATE events SET detail = '{}'")
    connection.execute("DELETE FROM words WHERE word = 'mat'")
    connection.execute("UPDATE samples SET covering = opening WHERE seq = 4")
    connection.commit()
    connection.close()
    with open_reader(path) as reader:
        assert list(reader.samples(from_utc_s=0, to_utc_s=1e11)) == []
        assert list(reader.events()) == []
        assert reader.damaged == 4


def test_rows_read_are_rows_written(tmp_path: Path) -> None:
    rows = [sample(number) for number in range(1, 700)]
    with open_reader(filled(tmp_path, list[Row](rows))) as reader:
        back: list[SampleRow] = [one.row for one in reader.samples(from_utc_s=0, to_utc_s=1e11)]
    assert back == rows
