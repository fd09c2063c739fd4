"""Rows, and a database connection that fails, lingers or lies when told to."""

from __future__ import annotations

import functools
import sqlite3
from collections.abc import Callable
from pathlib import Path

from controller.record.history import History
from controller.record.rows import EventRow, Json, Row, SampleRow
from controller.vocabulary import FrameName, Place

UTC_S = 1_767_225_600.0
"""1 January 2026, 00:00 UTC."""


def sample(number: int, **changes: object) -> SampleRow:
    """The sample of minute ``number``, told apart from every other by its heat."""
    fields: dict[str, object] = {
        "seq": number,
        "boot_id": "boot-1",
        "mono_s": 60.0 * number,
        "utc_s": UTC_S + 60.0 * number,
        "utc_confirmed": True,
        "frame": FrameName("south"),
        "sixteenths": {Place.AIR: 32 + number % 40, Place.BED: 96, Place.OUTSIDE: -20 - number % 7},
        "span_s": 60.0,
        "heat_on_s": (number % 60_000) / 1000,
        "heat_wanted": number % 2 == 0,
        "heat_allowed": True,
        "level": 0,
        "opening": "shut",
        "covering": "mat",
    }
    return SampleRow(**(fields | changes))  # type: ignore[arg-type]


def event(number: int, what: str = "notice", **detail: Json) -> EventRow:
    """The event of minute ``number``."""
    return EventRow(
        seq=number,
        boot_id="boot-1",
        mono_s=60.0 * number,
        utc_s=UTC_S + 60.0 * number,
        utc_confirmed=True,
        frame=FrameName("south"),
        what=what,
        detail={"number": number, **detail},
    )


def make_history(folder: Path, **changes: object) -> History:
    """A history with its mirror in ``folder``."""
    options: dict[str, object] = {"utc_s": lambda: UTC_S, "busy_s": 0.01}
    return History(folder / "history.sqlite3", folder / "pending.jsonl", **(options | changes))  # type: ignore[arg-type]


class Meddler:
    """Decides before and after each statement what goes wrong."""

    def __init__(self) -> None:
        """Nothing goes wrong until told."""
        self.before: Callable[[str], None] = lambda _: None
        self.after: Callable[[str], None] = lambda _: None
        self.statements = 0

    def connect(self, *args: object, **options: object) -> sqlite3.Connection:
        """In place of ``sqlite3.connect``."""
        meddler = self

        class Meddled(sqlite3.Connection):
            def execute(self, sql: str, *rest: object) -> sqlite3.Cursor:  # type: ignore[override]
                meddler.statements += 1
                meddler.before(sql)
                cursor = super().execute(sql, *rest)  # type: ignore[arg-type]
                meddler.after(sql)
                return cursor

            def executemany(self, sql: str, rows: object) -> sqlite3.Cursor:  # type: ignore[override]
                meddler.statements += 1
                meddler.before(sql)
                cursor = super().executemany(sql, rows)  # type: ignore[arg-type]
                meddler.after(sql)
                return cursor

        return functools.partial(sqlite3.connect, factory=Meddled)(*args, **options)  # type: ignore[call-overload,no-any-return]


def disk_error(
    code: int = sqlite3.SQLITE_IOERR_FSYNC, text: str = "disk I/O error"
) -> sqlite3.OperationalError:
    """The error that SQLite raises when the disk fails."""
    error = sqlite3.OperationalError(text)
    error.sqlite_errorcode = code
    return error


def stored(path: Path) -> list[tuple[int, str]]:
    """Every row in the file by number: ``s`` with its heat, ``e`` with its detail."""
    connection = sqlite3.connect(path)
    try:
        rows = connection.execute(
            "SELECT seq, 's' || heat_on_ms FROM samples"
            " UNION ALL SELECT seq, 'e' || detail FROM events ORDER BY 1"
        ).fetchall()
    finally:
        connection.close()
    return rows


def told(rows: list[Row]) -> list[tuple[int, str]]:
    """What ``stored`` must give for these rows."""
    return [
        (row.seq, f"s{round(row.heat_on_s * 1000)}")
        if isinstance(row, SampleRow)
        else (row.seq, f'e{{"number":{row.detail["number"]}}}')
        for row in rows
    ]
