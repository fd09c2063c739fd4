"""The SQLite file itself: opened, judged, put aside when damaged, written in whole batches."""

from __future__ import annotations

import errno
import sqlite3
import stat
import zlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from controller.durable import sync_folder
from controller.record.aside import SIDE_FILES, put_aside
from controller.record.codec import (
    EVENT_COLUMNS,
    SAMPLE_COLUMNS,
    Stored,
    encode_event,
    encode_sample,
    with_check,
)
from controller.record.rows import Row, SampleRow
from controller.record.schema import APPLICATION_ID, MIGRATIONS, find_damage, is_ours, migrate, read_version

Connect = Callable[..., sqlite3.Connection]

UNFIT = (
    ValueError,
    TypeError,
    AttributeError,
    OverflowError,
    sqlite3.IntegrityError,
    sqlite3.DataError,
    sqlite3.InterfaceError,
    sqlite3.ProgrammingError,
)
"""What a row raises that is itself at fault, not the disk."""
_HEADER = b"SQLite format 3\x00"
_SAMPLE_SQL = f"INSERT OR REPLACE INTO samples ({SAMPLE_COLUMNS}) VALUES ({', '.join('?' * 25)})"  # noqa: S608  # constants only
_EVENT_SQL = f"INSERT OR REPLACE INTO events ({EVENT_COLUMNS}) VALUES ({', '.join('?' * 9)})"  # noqa: S608  # constants only


class State(Enum):
    """What stands at the history's path."""

    MISSING = "missing"
    GOOD = "good"
    NEWER = "newer"
    DAMAGED = "damaged"
    UNREACHABLE = "unreachable"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What stands at the path, with words for a person when it is not good."""

    state: State
    detail: str = ""


class Store:
    """One open history; every method may raise sqlite3.Error or OSError."""

    def __init__(
        self,
        path: Path,
        *,
        utc_s: float,
        synchronous: str = "FULL",
        busy_s: float = 1.0,
        connect: Connect = sqlite3.connect,
    ) -> None:
        """Open a file that ``inspect`` found good, and bring its tables up to date."""
        self.path = path
        self.connection = connect(path, isolation_level=None, timeout=busy_s, check_same_thread=False)
        try:
            _prepare(self.connection, synchronous)
            migrate(self.connection, utc_s=utc_s)
            self._words = {
                str(word): int(number)
                for number, word in self.connection.execute("SELECT id, word FROM words")
            }
            self._inode = path.stat().st_ino
        except BaseException:
            self.connection.close()
            raise

    def last_seq(self) -> int:
        """The highest number in the file; 0 when it is empty."""
        return last_seq(self.connection)

    def is_stored(self, row: Row) -> bool:
        """Whether the row's number belongs to this very row."""
        table = "samples" if isinstance(row, SampleRow) else "events"
        found = self.connection.execute(
            f"SELECT word, mono_ms FROM {table} JOIN words ON words.id = boot WHERE seq = ?",  # noqa: S608  # one of two constants
            (row.seq,),
        ).fetchone()
        return bool(found == (row.boot_id, round(row.mono_s * 1000)))

    def is_in_place(self) -> bool:
        """Whether the path still leads to the file that is open."""
        try:
            return self.path.stat().st_ino == self._inode
        except OSError:
            return False

    def save(self, rows: Iterable[Row]) -> None:
        """Write a batch in one transaction; when this returns, it is on the disk."""
        connection = self.connection
        connection.execute("BEGIN IMMEDIATE")
        known = len(self._words)
        try:
            samples: list[Stored] = []
            events: list[Stored] = []
            for row in rows:
                if isinstance(row, SampleRow):
                    samples.append(with_check(encode_sample(row, self._word_id), zlib.crc32))
                else:
                    events.append(with_check(encode_event(row, self._word_id), zlib.crc32))
            connection.executemany(_SAMPLE_SQL, samples)
            connection.executemany(_EVENT_SQL, events)
            connection.execute("COMMIT")
        except BaseException:
            self._words = dict(list(self._words.items())[:known])
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise

    def find_refused(self, rows: Iterable[Row]) -> set[int]:
        """Numbers of the rows that the tables will never take; writes nothing."""
        refused: set[int] = set()
        known = len(self._words)
        self.connection.execute("BEGIN IMMEDIATE")
        try:
            for row in rows:
                try:
                    if isinstance(row, SampleRow):
                        values = with_check(encode_sample(row, self._word_id), zlib.crc32)
                        self.connection.execute(_SAMPLE_SQL, values)
                    else:
                        values = with_check(encode_event(row, self._word_id), zlib.crc32)
                        self.connection.execute(_EVENT_SQL, values)
                except UNFIT:
                    refused.add(row.seq)
        finally:
            self._words = dict(list(self._words.items())[:known])
            if self.connection.in_transaction:
                self.connection.execute("ROLLBACK")
        return refused

    def settle_log(self) -> bool:
        """Move the whole write-ahead log into the file; False while a reader is in the way.

        After a failed sync the log's tail may be missing on the disk though the kernel shows it, and
        all that follows would be lost with it; so the log is emptied before anything is added.
        """
        busy = self.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        return int(busy) == 0

    def close(self) -> None:
        """Close; the last connection to close also empties the write-ahead log."""
        self.connection.close()

    def _word_id(self, word: str) -> int:
        """The id of a word, made on first use inside the running transaction."""
        number = self._words.get(word)
        if number is None:
            cursor = self.connection.execute("INSERT INTO words (word) VALUES (?)", (word,))
            if cursor.lastrowid is None:
                raise sqlite3.InternalError("no id for a new word")
            number = self._words[word] = cursor.lastrowid
        return number


def last_seq(connection: sqlite3.Connection) -> int:
    """The highest number over both tables; 0 when they are empty."""
    found = connection.execute(
        "SELECT max(coalesce((SELECT max(seq) FROM samples), 0), coalesce((SELECT max(seq) FROM events), 0))"
    ).fetchone()
    return int(found[0])


def inspect(path: Path) -> Finding:
    """Judge what stands at ``path`` without changing a byte of it."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return Finding(state=State.DAMAGED, detail="is no plain file")
        with path.open("rb") as stream:
            header = stream.read(len(_HEADER))
    except FileNotFoundError:
        return Finding(state=State.MISSING)
    except PermissionError:
        return Finding(state=State.DAMAGED, detail="may not be read by this user")
    except OSError as error:
        state = State.DAMAGED if error.errno == errno.EIO else State.UNREACHABLE
        return Finding(state=state, detail=f"cannot be read ({error.strerror})")
    if header != _HEADER:
        return Finding(state=State.DAMAGED, detail="is empty" if not header else "is not a history")
    return _inspect_tables(path)


def _inspect_tables(path: Path) -> Finding:
    """Judge version and structure through a connection that cannot write."""
    try:
        connection = connect_to_read(path, unchanging=not has_log(path))
        try:
            if not is_ours(connection):
                return Finding(state=State.DAMAGED, detail="belongs to another program")
            version = read_version(connection)
            if version > len(MIGRATIONS):
                detail = f"was written by a newer version (tables {version}, known {len(MIGRATIONS)})"
                return Finding(state=State.NEWER, detail=detail)
            damage = find_damage(connection)
        finally:
            connection.close()
    except sqlite3.OperationalError as error:
        unreadable = error.sqlite_errorcode == sqlite3.SQLITE_IOERR_READ
        state = State.DAMAGED if unreadable else State.UNREACHABLE
        return Finding(state=state, detail=f"cannot be opened ({error})")
    except sqlite3.DatabaseError as error:
        return Finding(state=State.DAMAGED, detail=f"is damaged ({error})")
    if damage:
        return Finding(state=State.DAMAGED, detail=f"is damaged ({damage})")
    return Finding(state=State.GOOD)


def has_log(path: Path) -> bool:
    """Whether a write-ahead log lies beside the file: a writer is alive, or died."""
    return path.with_name(f"{path.name}-wal").exists()


def connect_to_read(path: Path, *, unchanging: bool, busy_s: float = 1.0) -> sqlite3.Connection:
    """A connection that cannot write.

    Without a write-ahead log SQLite could only open the file by creating one, so it must then be
    taken as ``unchanging``; pass ``not has_log(path)``.
    """
    uri = f"{path.absolute().as_uri()}?mode=ro{'&immutable=1' if unchanging else ''}"
    return sqlite3.connect(uri, uri=True, isolation_level=None, timeout=busy_s, check_same_thread=False)


def create(path: Path, *, utc_s: float) -> None:
    """Make an empty history beside ``path`` and move it there only when it is whole."""
    for suffix in SIDE_FILES:
        if path.with_name(path.name + suffix).exists():
            put_aside(path, utc_s=utc_s, label="stray")
            break
    path.parent.mkdir(parents=True, exist_ok=True)
    growing = path.with_name(f"{path.name}.new")
    for suffix in ("", *SIDE_FILES):
        growing.with_name(growing.name + suffix).unlink(missing_ok=True)
    connection = sqlite3.connect(growing, isolation_level=None)
    try:
        connection.execute("PRAGMA auto_vacuum = INCREMENTAL")
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID:d}")
        _prepare(connection, "FULL")
        migrate(connection, utc_s=utc_s)
    finally:
        connection.close()
    growing.replace(path)
    sync_folder(path.parent)


def _prepare(connection: sqlite3.Connection, synchronous: str) -> None:
    """Settings of every writing connection."""
    pragmas: Sequence[str] = (
        "journal_mode = WAL",
        f"synchronous = {synchronous}",
        "journal_size_limit = 4194304",
        "cache_size = -1024",
        "temp_store = MEMORY",
        "cell_size_check = ON",
    )
    for pragma in pragmas:
        connection.execute(f"PRAGMA {pragma}")
