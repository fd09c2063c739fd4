"""Reading the history from any process, beside its writer, after its death or after a clean close.

Rows come in the order of their numbers, in chunks, each a query of its own: memory stays bounded
and no reader holds the writer up.
A row whose check sum is wrong is left out and counted.
"""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from pathlib import Path
from types import TracebackType
from typing import NamedTuple, Self

from controller.errors import StorageError
from controller.record.codec import (
    EVENT_COLUMNS,
    SAMPLE_COLUMNS,
    Stored,
    decode_event,
    decode_sample,
    is_whole,
)
from controller.record.rows import EventRow, StoredSample
from controller.record.schema import MIGRATIONS, is_ours, read_version
from controller.record.store import connect_to_read, has_log
from controller.vocabulary import FrameName

CHUNK_ROWS = 500
_ATTEMPTS = 3
_LATEST_ROWS_MAX = 200_000
_MS = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatDay:
    """What one frame's heat did on one day; a row counts on the day in which it ends."""

    day: date
    frame: FrameName
    heat_on_s: float
    recorded_s: float
    """Seconds of the day that the history covers."""


class _Look(NamedTuple):
    """The file as it stands."""

    inode: int
    size: int
    mtime_ns: int
    log_exists: bool


def open_reader(path: Path) -> HistoryReader:
    """A reader of the history at ``path``; raises StorageError when there is none that can be read."""
    reader = HistoryReader(path)
    reader.check()
    return reader


class HistoryReader:
    """Queries over one history; raises StorageError with the path and what to do.

    Follows the file when the writer starts, stops, or puts a damaged one aside.
    """

    def __init__(self, path: Path) -> None:
        """Nothing is opened before the first query."""
        self._path = path
        self._connection: sqlite3.Connection | None = None
        self._inode = 0
        self._words: dict[int, str] = {}
        self.damaged = 0
        """Rows left out so far because they are not what was written."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def check(self) -> None:
        """Raise StorageError unless the history can be read now."""
        self._query("SELECT count(*) FROM marks", ())

    def close(self) -> None:
        """Let go of the file."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def last_seq(self) -> int:
        """The highest number in the history; 0 when it is empty."""
        found = self._query("SELECT (SELECT max(seq) FROM samples), (SELECT max(seq) FROM events)", ())[0]
        return max(found[0] or 0, found[1] or 0)

    def latest(self) -> Mapping[FrameName, StoredSample]:
        """Each frame's newest sample, among the newest 200 000 rows."""
        found = self._query(
            "SELECT max(seq) FROM samples WHERE seq > (SELECT max(seq) FROM samples) - ? GROUP BY frame",
            (_LATEST_ROWS_MAX,),
        )
        newest: dict[FrameName, StoredSample] = {}
        for (seq,) in sorted(found):
            for stored in self._query(f"SELECT {SAMPLE_COLUMNS} FROM samples WHERE seq = ?", (seq,)):  # noqa: S608  # constant
                sample = self._decode_sample(stored)
                if sample is not None:
                    newest[sample.row.frame] = sample
        return newest

    def samples(
        self, *, from_utc_s: float, to_utc_s: float, frame: FrameName | None = None
    ) -> Iterator[StoredSample]:
        """Samples that ended from ``from_utc_s`` up to, not including, ``to_utc_s``."""
        span = (round(from_utc_s * _MS), round(to_utc_s * _MS))
        found = self._query("SELECT min(seq), max(seq) FROM samples WHERE utc_ms >= ? AND utc_ms < ?", span)
        first, last = found[0]
        if first is None:
            return
        sql = (
            f"SELECT {SAMPLE_COLUMNS} FROM samples"  # noqa: S608  # constant
            " WHERE seq >= ? AND seq <= ? AND utc_ms >= ? AND utc_ms < ? ORDER BY seq LIMIT ?"
        )
        while first <= last:
            chunk = self._query(sql, (first, last, *span, CHUNK_ROWS))
            for stored in chunk:
                sample = self._decode_sample(stored)
                if sample is not None and frame in (None, sample.row.frame):
                    yield sample
            if len(chunk) < CHUNK_ROWS:
                return
            first = chunk[-1][0] + 1

    def events(
        self, *, what: str | None = None, from_utc_s: float = 0.0, to_utc_s: float = 1e11
    ) -> Iterator[EventRow]:
        """Events of one kind, or of all, from ``from_utc_s`` up to, not including, ``to_utc_s``."""
        span = (round(from_utc_s * _MS), round(to_utc_s * _MS))
        sql = f"SELECT {EVENT_COLUMNS} FROM events WHERE seq > ? AND utc_ms >= ? AND utc_ms < ?"  # noqa: S608  # constant
        chosen: tuple[object, ...] = ()
        if what is not None:
            sql += " AND what = (SELECT id FROM words WHERE word = ?)"
            chosen = (what,)
        after_seq = -1
        while True:
            chunk = self._query(f"{sql} ORDER BY seq LIMIT ?", (after_seq, *span, *chosen, CHUNK_ROWS))
            for stored in chunk:
                event = self._decode_event(stored)
                if event is not None:
                    yield event
            if len(chunk) < CHUNK_ROWS:
                return
            after_seq = chunk[-1][0]

    def heat_by_day(self, *, from_utc_s: float, to_utc_s: float, zone: tzinfo = UTC) -> tuple[HeatDay, ...]:
        """Seconds of heat by day of ``zone`` and frame; times the cable's watts, this is energy."""
        sums: dict[tuple[date, FrameName], list[int]] = {}
        for sample in self.samples(from_utc_s=from_utc_s, to_utc_s=to_utc_s):
            row = sample.row
            day = datetime.fromtimestamp(row.utc_s, zone).date()
            both = sums.setdefault((day, row.frame), [0, 0])
            both[0] += round(row.heat_on_s * _MS)
            both[1] += round(row.span_s * _MS)
        return tuple(
            HeatDay(day=day, frame=frame, heat_on_s=heat_ms / _MS, recorded_s=span_ms / _MS)
            for (day, frame), (heat_ms, span_ms) in sorted(sums.items())
        )

    def _decode_sample(self, stored: Stored) -> StoredSample | None:
        """The sample, or ``None`` and one more on the count of damaged rows."""
        if is_whole(stored, zlib.crc32) and self._knows((stored[1], stored[5], stored[11], stored[12])):
            return decode_sample(stored, self._words)
        self.damaged += 1
        return None

    def _decode_event(self, stored: Stored) -> EventRow | None:
        """The event, or ``None`` and one more on the count of damaged rows."""
        if is_whole(stored, zlib.crc32) and self._knows((stored[1], stored[5], stored[6])):
            return decode_event(stored, self._words)
        self.damaged += 1
        return None

    def _knows(self, ids: tuple[int, ...]) -> bool:
        """Whether every word is known, after a look for new ones if need be."""
        if all(number in self._words for number in ids):
            return True
        self._words = {int(n): str(word) for n, word in self._query("SELECT id, word FROM words", ())}
        return all(number in self._words for number in ids)

    def _query(self, sql: str, values: tuple[object, ...]) -> list[Stored]:
        """All rows of one bounded query; asked again when the file changed under it."""
        for _ in range(_ATTEMPTS):
            before = self._look()
            try:
                rows = self._connected(before).execute(sql, values).fetchall()
                trouble: sqlite3.Error | None = None
            except sqlite3.DatabaseError as error:
                trouble = error
                self.close()
            if before.log_exists:
                if trouble is None:
                    return rows
                continue
            self.close()
            if self._look() == before and trouble is None:
                return rows
        if isinstance(trouble, sqlite3.OperationalError) or trouble is None:
            raise StorageError(
                f"{self._path}: cannot be read ({trouble or 'it keeps changing'}); try again in a minute"
            ) from trouble
        raise StorageError(f"{self._path}: is damaged ({trouble}); restart the keeper") from trouble

    def _look(self) -> _Look:
        """What tells whether the file is still the one that was opened."""
        try:
            found = self._path.stat()
        except OSError as error:
            self.close()
            raise StorageError(
                f"{self._path}: there is no history here ({error.strerror}); start the keeper first"
            ) from error
        return _Look(found.st_ino, found.st_size, found.st_mtime_ns, has_log(self._path))

    def _connected(self, look: _Look) -> sqlite3.Connection:
        """A connection that fits the file as it stands now.

        Without a log the file is taken as unchanging, which holds for one query only: SQLite would
        mix pages of before and after, so such a connection is never kept.
        """
        if self._connection is not None and look.inode != self._inode:
            self.close()
        if self._connection is None:
            connection = connect_to_read(self._path, unchanging=not look.log_exists)
            try:
                self._refuse_foreign(connection)
            except BaseException:
                connection.close()
                raise
            if look.inode != self._inode:
                self._words = {}
            self._inode = look.inode
            self._connection = connection
        return self._connection

    def _refuse_foreign(self, connection: sqlite3.Connection) -> None:
        """Raise StorageError for a file of another program or a newer version."""
        if not is_ours(connection):
            raise StorageError(f"{self._path}: belongs to another program; choose another folder")
        version = read_version(connection)
        if version > len(MIGRATIONS):
            raise StorageError(
                f"{self._path}: was written by a newer version (tables {version}); update this program"
            )
