"""Old detail gives way to means: five minutes after 40 days, an hour after 400; events stay.

Time and heat are sums of whole milliseconds, so energy comes out the same to the last one.
Readings become means weighted by span; the lowest and highest air and the lowest outside reading
are kept beside them.
Rows are joined only within one frame, boot, opening and covering.
"""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from controller.record.codec import PLACES, SAMPLE_COLUMNS, Stored, with_check
from controller.record.rows import Tier
from controller.vocabulary import AIR_PLACES, Place

DAY_S = 86_400
FULL_DETAIL_S = 40 * DAY_S
FIVE_MINUTES_DETAIL_S = 400 * DAY_S
SLICE_ROWS = 2000
_FREED_PAGES = 200

_PLACE_AT = 14
_AIRS_AT = tuple(_PLACE_AT + PLACES.index(place) for place in AIR_PLACES)
_OUTSIDE_AT = _PLACE_AT + PLACES.index(Place.OUTSIDE)
_LOW_AT, _HIGH_AT, _OUTSIDE_LOW_AT = 21, 22, 23
_COLUMN_COUNT = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """One step of retention."""

    mark: str
    tier: Tier
    width_ms: int
    after_s: int


ROUNDS = (
    Round(mark="five_minutes", tier=Tier.FIVE_MINUTES, width_ms=300_000, after_s=FULL_DETAIL_S),
    Round(mark="hour", tier=Tier.HOUR, width_ms=3_600_000, after_s=FIVE_MINUTES_DETAIL_S),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What one slice does: numbers to remove, rows to put in, and how far it came."""

    remove: tuple[int, ...]
    insert: tuple[Stored, ...]
    mark_seq: int


def plan_slice(rows: Sequence[Stored], step: Round, *, is_last: bool, mark_seq: int) -> Plan:
    """Join neighbours of one frame that fall into the same stretch of time. Pure.

    A stretch ends with the first row of any frame outside it, so that a frame that is no more
    keeps nothing open.
    One that may go on after these rows is left for the next slice, unless nothing else is left.
    """
    open_groups: dict[int, list[Stored]] = {}
    closed: list[list[Stored]] = []
    stretch: int | None = None
    for row in rows:
        if row[3] // step.width_ms != stretch:
            stretch = row[3] // step.width_ms
            closed.extend(open_groups.values())
            open_groups.clear()
        group = open_groups.get(row[5])
        if group is not None and _states_of(group[0]) == _states_of(row):
            group.append(row)
            continue
        if group is not None:
            closed.append(group)
        open_groups[row[5]] = [row]
    done_seq = rows[-1][0] if rows else mark_seq
    if not is_last and open_groups:
        done_seq = min(group[0][0] for group in open_groups.values()) - 1
    if is_last or done_seq < rows[0][0]:
        closed.extend(open_groups.values())
        done_seq = rows[-1][0] if rows else mark_seq
    remove: list[int] = []
    insert: list[Stored] = []
    for group in closed:
        if len(group) > 1:
            remove.extend(row[0] for row in group)
            insert.append(join(group, step.tier))
    return Plan(remove=tuple(remove), insert=tuple(insert), mark_seq=max(done_seq, mark_seq))


def join(group: Sequence[Stored], tier: Tier) -> Stored:
    """One row that stands for several; it bears the last one's number, instant and states. Pure."""
    last = group[-1]
    joined = list(last[:_COLUMN_COUNT])
    joined[4] = min(row[4] for row in group)
    joined[6] = sum(row[6] for row in group)
    joined[7] = sum(row[7] for row in group)
    joined[8] = max(row[8] for row in group)
    joined[9] = max(row[9] for row in group)
    joined[10] = max(row[10] for row in group)
    joined[13] = int(tier)
    for at in range(_PLACE_AT, _PLACE_AT + len(PLACES)):
        joined[at] = _mean_of(group, at)
    joined[_LOW_AT] = _least(low for row in group for low in _extremes(row, _LOW_AT, _AIRS_AT))
    highs = _least(-high for row in group for high in _extremes(row, _HIGH_AT, _AIRS_AT))
    joined[_HIGH_AT] = None if highs is None else -highs
    lows = (low for row in group for low in _extremes(row, _OUTSIDE_LOW_AT, (_OUTSIDE_AT,)))
    joined[_OUTSIDE_LOW_AT] = _least(lows)
    return tuple(joined)


def thin_slice(connection: sqlite3.Connection, *, now_utc_s: float, rows_max: int = SLICE_ROWS) -> bool:
    """Thin at most ``rows_max`` rows in one transaction; True while more are due.

    How old a row is goes by its own confirmed time; ``now_utc_s`` must be confirmed too.
    Raises sqlite3.Error, with nothing changed.
    """
    for step in ROUNDS:
        mark_seq = _read_mark(connection, step.mark)
        limit_seq = _last_due(connection, now_utc_s - step.after_s)
        if limit_seq <= mark_seq:
            continue
        rows = connection.execute(
            f"SELECT {SAMPLE_COLUMNS} FROM samples WHERE seq > ? AND seq <= ? ORDER BY seq LIMIT ?",  # noqa: S608  # constant
            (mark_seq, limit_seq, rows_max),
        ).fetchall()
        plan = plan_slice(rows, step, is_last=len(rows) < rows_max, mark_seq=mark_seq)
        _carry_out(connection, step, plan)
        return True
    return False


def _carry_out(connection: sqlite3.Connection, step: Round, plan: Plan) -> None:
    """Replace the rows and move the mark together, then give some free pages back."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        connection.executemany("DELETE FROM samples WHERE seq = ?", [(seq,) for seq in plan.remove])
        connection.executemany(
            f"INSERT INTO samples ({SAMPLE_COLUMNS}) VALUES ({', '.join('?' * 25)})",  # noqa: S608  # constant
            [with_check(row, zlib.crc32) for row in plan.insert],
        )
        connection.execute("INSERT OR REPLACE INTO marks VALUES (?, ?)", (step.mark, plan.mark_seq))
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    # a plain execute would stop after the first freed page
    connection.executescript(f"PRAGMA incremental_vacuum({_FREED_PAGES:d})")


def _read_mark(connection: sqlite3.Connection, mark: str) -> int:
    found = connection.execute("SELECT seq FROM marks WHERE name = ?", (mark,)).fetchone()
    return int(found[0]) if found else 0


def _last_due(connection: sqlite3.Connection, before_utc_s: float) -> int:
    """Number of the latest row whose confirmed time is old enough; 0 when there is none."""
    found = connection.execute(
        "SELECT seq FROM samples WHERE utc_ms < ? AND utc_confirmed = 1 ORDER BY utc_ms DESC LIMIT 1",
        (round(before_utc_s * 1000),),
    ).fetchone()
    return int(found[0]) if found else 0


def _states_of(row: Stored) -> tuple[int, ...]:
    """Only rows that agree in boot, opening and covering may be joined."""
    return (row[1], row[11], row[12])


def _mean_of(group: Sequence[Stored], at: int) -> int | None:
    """Mean of a reading over the rows that have it, by span, to the nearest sixteenth."""
    present = [(row[at], max(row[6], 1)) for row in group if row[at] is not None]
    if not present:
        return None
    total = sum(weight for _, weight in present)
    weighted = sum(reading * weight for reading, weight in present)
    return int((2 * weighted + total) // (2 * total))


def _extremes(row: Stored, at: int, readings_at: Iterable[int]) -> list[int]:
    """What a row tells of an extreme: its own once it is thinned, else its readings."""
    if row[13] != Tier.FULL:
        return [] if row[at] is None else [row[at]]
    return [row[place_at] for place_at in readings_at if row[place_at] is not None]


def _least(numbers: Iterable[int]) -> int | None:
    return min(numbers, default=None)
