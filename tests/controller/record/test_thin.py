from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.record.codec import Stored
from controller.record.read import open_reader
from controller.record.rows import Row, SampleRow, StoredSample, Tier
from controller.record.thin import DAY_S, ROUNDS, join, plan_slice, thin_slice
from controller.record.writer import DirectWriter
from controller.vocabulary import FrameName, Place
from tests.controller.record.lab import UTC_S, event, make_history, sample

FIVE, HOUR = ROUNDS
AIR, AIR_SECOND, OUTSIDE = 14, 15, 19

reading = st.none() | st.integers(-880, 2000)


@st.composite
def table_rows(draw: st.DrawFn) -> list[Stored]:
    """Rows in the order of their numbers: several frames, coverings and boots, a clock that may step."""
    rows: list[Stored] = []
    utc_ms = 1_700_000_000_000
    boot = 1
    for seq in range(1, draw(st.integers(0, 60)) + 1):
        utc_ms += draw(st.sampled_from([10_000, 60_000, 60_000, 60_000, 400_000, -7_200_000]))
        boot += draw(st.integers(0, 20)) == 0
        span_ms = draw(st.integers(1, 120_000))
        heat_ms = draw(st.integers(0, span_ms))
        frame, covering = draw(st.integers(1, 2)), draw(st.sampled_from([5, 5, 5, 6]))
        readings = [draw(reading) for _ in range(7)]
        switches = [draw(st.integers(0, 1)), draw(st.integers(0, 1)), draw(st.integers(0, 4))]
        head = (seq, boot, seq * 60_000, utc_ms, draw(st.integers(0, 1)), frame, span_ms, heat_ms)
        rows.append((*head, *switches, 4, covering, 0, *readings, None, None, None, 0))
    return rows


def apply(rows: list[Stored], step: object, rows_max: int) -> list[Stored]:
    """What the table holds once every slice is done."""
    table = {row[0]: row for row in rows}
    mark_seq, last = 0, max(table, default=0)
    for _ in range(100):
        due = [row for seq, row in sorted(table.items()) if seq > mark_seq][:rows_max]
        plan = plan_slice(due, step, is_last=len(due) < rows_max, mark_seq=mark_seq)  # type: ignore[arg-type]
        for seq in plan.remove:
            del table[seq]
        for row in plan.insert:
            assert row[0] not in table
            table[row[0]] = (*row, 0)
        if plan.mark_seq >= last:
            return [row for _, row in sorted(table.items())]
        assert plan.mark_seq > mark_seq, "every slice comes further"
        mark_seq = plan.mark_seq
    raise AssertionError("never done")


def extreme(rows: list[Stored], places: tuple[int, ...], at: int, pick: object) -> object:
    found = [row[place] for row in rows for place in places if row[13] == 0 and row[place] is not None]
    found += [row[at] for row in rows if row[13] != 0 and row[at] is not None]
    return pick(found) if found else None  # type: ignore[operator]


@given(rows=table_rows(), step=st.sampled_from(ROUNDS), rows_max=st.sampled_from([30, 1000]))
@settings(max_examples=50)
def test_thinning_keeps_time_heat_and_extremes_to_the_last_unit(
    rows: list[Stored], step: object, rows_max: int
) -> None:
    thinned = apply(rows, step, rows_max)
    for frame in (1, 2):
        for covering in (5, 6):
            before = [row for row in rows if (row[5], row[12]) == (frame, covering)]
            after = [row for row in thinned if (row[5], row[12]) == (frame, covering)]
            assert sum(row[6] for row in after) == sum(row[6] for row in before)
            assert sum(row[7] for row in after) == sum(row[7] for row in before)
            for places, at, pick in (
                ((AIR, AIR_SECOND), 21, min),
                ((AIR, AIR_SECOND), 22, max),
                ((OUTSIDE,), 23, min),
            ):
                assert extreme(after, places, at, pick) == extreme(before, places, at, pick)
    if rows_max > len(rows):
        assert apply(thinned, step, rows_max) == thinned, "thinning twice changes nothing"


@given(rows=table_rows())
@settings(max_examples=30)
def test_hours_after_five_minutes_keep_the_same_sums_as_hours_at_once(rows: list[Stored]) -> None:
    rows = [row for row in rows if row[5] == 1]
    staged = apply(apply(rows, FIVE, 1000), HOUR, 1000)
    at_once = apply(rows, HOUR, 1000)
    assert [row[:8] for row in staged] == [row[:8] for row in at_once]
    assert [row[21:24] for row in staged if row[13]] == [row[21:24] for row in at_once if row[13]]


def test_a_mean_is_weighted_by_span_and_rounded_to_the_nearest_sixteenth() -> None:
    def row(seq: int, span_ms: int, air: int | None) -> Stored:
        return (seq, 1, 0, 0, 1, 1, span_ms, 0, 0, 1, 0, 4, 5, 0, air, *[None] * 9, 0)

    assert join([row(1, 60_000, 32), row(2, 60_000, 33)], Tier.HOUR)[AIR] == 33
    assert join([row(1, 60_000, -32), row(2, 60_000, -33)], Tier.HOUR)[AIR] == -32
    assert join([row(1, 180_000, 0), row(2, 60_000, 16)], Tier.HOUR)[AIR] == 4
    assert join([row(1, 60_000, None), row(2, 60_000, 16)], Tier.HOUR)[AIR] == 16
    assert join([row(1, 60_000, None), row(2, 60_000, None)], Tier.HOUR)[AIR] is None


def test_the_worst_level_and_any_wish_stay_visible() -> None:
    rows = [
        (1, 1, 0, 0, 1, 1, 60_000, 0, 1, 0, 3, 4, 5, 0, *[None] * 10, 0),
        (2, 1, 0, 0, 0, 1, 60_000, 0, 0, 1, 0, 4, 5, 0, *[None] * 10, 0),
    ]
    joined = join(rows, Tier.FIVE_MINUTES)
    assert joined[0] == 2
    assert joined[4] == 0, "confirmed only if all were"
    assert joined[8:11] == (1, 1, 3)


def days_of_rows(days: int, frame: str = "south") -> list[Row]:
    """A row every 30 minutes, which keeps the test quick."""
    return [
        sample(number, utc_s=UTC_S + 1800.0 * number, span_s=1800.0, frame=FrameName(frame))
        if number % 48
        else event(number)
        for number in range(1, 48 * days)
    ]


def fill(path: Path, rows: list[Row]) -> DirectWriter:
    writer = DirectWriter(path, utc_s=lambda: UTC_S)
    for row in rows:
        if isinstance(row, SampleRow):
            writer.add_sample(row)
        else:
            writer.add_event(row)
    return writer


def read_all(path: Path) -> list[StoredSample]:
    with open_reader(path) as reader:
        back = list(reader.samples(from_utc_s=0, to_utc_s=1e11))
        assert reader.damaged == 0
        return back


def test_full_detail_stays_forty_days_then_hours_follow_after_four_hundred(tmp_path: Path) -> None:
    path = tmp_path / "history.sqlite3"
    rows = days_of_rows(410)
    writer = fill(path, rows)
    now_s = UTC_S + 410 * DAY_S
    writer.request_thinning(now_utc_s=now_s, utc_confirmed=True)
    writer.close(1.0)
    back = read_all(path)
    assert sum(one.row.heat_on_s for one in back) == pytest.approx(
        sum(row.heat_on_s for row in rows if isinstance(row, SampleRow)), abs=1e-6
    )
    for one in back:
        if one.row.utc_s >= now_s - 40 * DAY_S:
            assert one.tier is Tier.FULL
    assert {one.tier for one in back} == {Tier.FULL, Tier.HOUR}, "half-hour rows do not share five minutes"
    hours = [one for one in back if one.tier is Tier.HOUR]
    assert all(one.row.utc_s < now_s - 400 * DAY_S for one in hours)
    assert all(one.row.span_s == 3600 for one in hours)
    with open_reader(path) as reader:
        assert sum(1 for _ in reader.events()) == sum(row.seq % 48 == 0 for row in rows)


def test_without_a_confirmed_clock_nothing_is_thinned(tmp_path: Path) -> None:
    """C01, C03: a clock that may be wrong must not cost detail."""
    path = tmp_path / "history.sqlite3"
    writer = fill(path, days_of_rows(3))
    writer.request_thinning(now_utc_s=UTC_S + 30 * 365 * DAY_S, utc_confirmed=False)
    writer.close(1.0)
    assert all(one.tier is Tier.FULL for one in read_all(path))


def test_rows_of_an_unconfirmed_time_do_not_drag_newer_ones_along(tmp_path: Path) -> None:
    path = tmp_path / "history.sqlite3"
    history = make_history(tmp_path)
    rows = [sample(number) for number in range(1, 40)]
    rows.append(sample(40, utc_s=0.0, utc_confirmed=False))
    rows += [sample(number) for number in range(41, 60)]
    history.add(rows)
    history.flush()
    assert not history.thin_slice(UTC_S + 39 * DAY_S)
    history.close()
    assert [one.row for one in read_all(path)] == rows


def test_a_slice_is_bounded_and_gives_room_back(tmp_path: Path) -> None:
    path = tmp_path / "history.sqlite3"
    fill(path, [sample(number) for number in range(1, 20_001)]).close(1.0)
    before = path.stat().st_size
    connection = sqlite3.connect(path, isolation_level=None)
    count = "SELECT count(*) FROM samples"
    left = connection.execute(count).fetchone()[0]
    slices = 0
    while thin_slice(connection, now_utc_s=UTC_S + 100 * DAY_S, rows_max=2000):
        now_left = connection.execute(count).fetchone()[0]
        assert left - now_left <= 2000
        left = now_left
        slices += 1
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert 10 <= slices <= 13
    assert left == pytest.approx(4000, abs=3)
    assert connection.execute("PRAGMA quick_check").fetchone()[0] == "ok"
    connection.close()
    assert path.stat().st_size < 0.4 * before


def test_minima_of_a_night_survive_thinning(tmp_path: Path) -> None:
    path = tmp_path / "history.sqlite3"
    rows: list[Row] = [
        sample(number, sixteenths={Place.AIR: 40 - (number == 33) * 30, Place.OUTSIDE: -number})
        for number in range(1, 121)
    ]
    writer = fill(path, rows)
    writer.request_thinning(now_utc_s=UTC_S + 500 * DAY_S, utc_confirmed=True)
    writer.close(1.0)
    back = read_all(path)
    assert len(back) <= 4
    assert min(one.air_low for one in back if one.air_low is not None) == 10
    assert min(one.outside_low for one in back if one.outside_low is not None) == -120
    assert min(one.row.sixteenths[Place.AIR] for one in back) > 30, "the mean alone would hide it"


def test_a_frame_that_is_no_more_does_not_hold_the_others_up(tmp_path: Path) -> None:
    path = tmp_path / "history.sqlite3"
    rows: list[Row] = [sample(1, frame=FrameName("gone"))]
    rows += [sample(number) for number in range(2, 6001)]
    writer = fill(path, rows)
    writer.request_thinning(now_utc_s=UTC_S + 100 * DAY_S, utc_confirmed=True)
    writer.close(1.0)
    assert len(read_all(path)) == pytest.approx(1200, abs=3)
