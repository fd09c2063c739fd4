"""The history as its one writer sees it: rows go in, trouble comes out as words, nothing is raised.

Every batch is one transaction with one sync, so that a power cut takes at most what still waits;
what waits is mirrored in RUN, so that the death of the process takes nothing that was added.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable
from pathlib import Path

from controller.errors import StorageError
from controller.record import thin
from controller.record.aside import put_aside
from controller.record.backlog import EVENTS_MAX, SAMPLES_MAX, Backlog
from controller.record.mirror import Mirror
from controller.record.rows import RecordHealth, Row
from controller.record.store import (
    UNFIT,
    Connect,
    Finding,
    State,
    Store,
    connect_to_read,
    create,
    has_log,
    inspect,
    last_seq,
)

_WORDS = {
    sqlite3.SQLITE_FULL: "the disk is full: free some space",
    sqlite3.SQLITE_BUSY: "another program holds the history: close it",
    sqlite3.SQLITE_READONLY: "the disk takes no writing: it may be failing, keep a copy of it",
    sqlite3.SQLITE_IOERR: "the disk reports errors: it may be failing, keep a copy of it",
    sqlite3.SQLITE_CANTOPEN: "the history cannot be opened: look at the folder and its rights",
    sqlite3.SQLITE_CORRUPT: "the history is damaged",
    sqlite3.SQLITE_NOTADB: "the history is damaged",
}
_CODE_MASK = 0xFF
_KEEP_OPEN = (sqlite3.SQLITE_FULL, sqlite3.SQLITE_BUSY)
_MEANWHILE = "new rows wait in memory, the oldest thinned when there are too many"


class History:
    """One history file with its backlog.

    ``add``, ``first_seq``, ``is_saved`` and ``health`` may be called from any one thread while
    another opens, flushes, thins and closes; they never touch the disk of the history.
    """

    def __init__(
        self,
        path: Path,
        mirror_path: Path | None,
        *,
        utc_s: Callable[[], float],
        power_safe: bool = True,
        busy_s: float = 1.0,
        samples_max: int = SAMPLES_MAX,
        events_max: int = EVENTS_MAX,
        connect: Connect = sqlite3.connect,
    ) -> None:
        """Take over what the mirror holds; the file is opened by ``open`` or the first ``flush``.

        ``utc_s`` dates what is put aside. Without ``power_safe`` nothing is synced, which only a
        rehearsal may want.
        """
        self._path = path
        self._utc_s = utc_s
        self._synchronous = "FULL" if power_safe else "OFF"
        self._busy_s = busy_s
        self._connect = connect
        mirror = None if mirror_path is None else Mirror(mirror_path)
        self._backlog = Backlog(mirror, samples_max=samples_max, events_max=events_max)
        self._store: Store | None = None
        self._detail = "not opened yet"
        self._set_aside: str | None = None
        self._suspect = False
        self._damage_seen = 0

    def open(self) -> bool:
        """Open or create the file, putting a damaged one aside; False with ``health`` saying why."""
        try:
            self._store = self._open_store()
            if self._store is None:
                return False
            self._backlog.follow(self._store.last_seq(), self._store.is_stored)
        except (sqlite3.Error, OSError, StorageError) as error:
            self._fail(error)
            self._drop_store()
            return False
        self._detail = ""
        return True

    def add(self, rows: Iterable[Row]) -> int:
        """Take rows into memory and the mirror, some microseconds each; returns the last one's ticket."""
        ticket = 0
        for row in rows:
            ticket = self._backlog.put(row)
        return ticket

    def flush(self) -> bool:
        """Save all that is pending in one transaction; False with ``health`` saying why not."""
        store = self._store
        if store is not None and not store.is_in_place():
            self._drop_store()
            store = None
        if store is None:
            if not self.open():
                self._backlog.squeeze()
                return False
            store = self._store
        return store is not None and self._save(store)

    def thin_slice(self, now_utc_s: float) -> bool:
        """Thin a bounded number of old rows; True while more are due."""
        if self._store is None:
            return False
        try:
            return thin.thin_slice(self._store.connection, now_utc_s=now_utc_s)
        except (sqlite3.Error, OSError) as error:
            self._fail(error)
            return False

    def first_seq(self) -> int:
        """The next free number, as far as is known: a file that opens late may move pending rows up."""
        return self._backlog.next_seq()

    def is_saved(self, ticket: int) -> bool:
        """Whether the event with this ticket is safe from a power cut."""
        return self._backlog.is_saved(ticket)

    def pending_since_s(self, now_s: float) -> float:
        """Seconds that the oldest pending row has waited, by the rows' monotonic clock."""
        return self._backlog.pending_since_s(now_s)

    def health(self) -> RecordHealth:
        """How recording goes, as of the last attempt."""
        detail, mirror_detail = self._detail, self._backlog.mirror_detail
        said = f"{detail}; {mirror_detail}" if detail and mirror_detail else detail or mirror_detail
        return RecordHealth(
            recording=not detail,
            detail=said,
            pending=len(self._backlog),
            dropped=self._backlog.dropped,
            set_aside=self._set_aside,
        )

    def close(self) -> None:
        """Close the file; what could not be saved stays in the mirror."""
        self._drop_store()
        self._backlog.close()
        self._detail = self._detail or "closed"

    def _open_store(self) -> Store | None:
        """Judge, put aside or create as needed, and open; ``None`` when the file must not be touched."""
        finding = inspect(self._path)
        if self._damage_seen > 1 and finding.state is State.GOOD:
            finding = Finding(state=State.DAMAGED, detail="cannot be written without damage")
        if finding.state in (State.NEWER, State.UNREACHABLE):
            self._detail = f"{self._path}: {finding.detail}; {_MEANWHILE}"
            return None
        if finding.state is State.DAMAGED:
            self._backlog.follow(_seq_of_damaged(self._path), lambda _: True)
            self._set_aside = put_aside(self._path, utc_s=self._utc_s())
            self._damage_seen = 0
        if finding.state in (State.DAMAGED, State.MISSING):
            create(self._path, utc_s=self._utc_s())
        store = Store(
            self._path,
            utc_s=self._utc_s(),
            synchronous=self._synchronous,
            busy_s=self._busy_s,
            connect=self._connect,
        )
        settled = False
        try:
            settled = not self._suspect or store.settle_log()
        finally:
            if not settled:
                store.close()
        if not settled:
            self._detail = f"{_WORDS[sqlite3.SQLITE_BUSY]}; {_MEANWHILE}"
            return None
        self._suspect = False
        return store

    def _save(self, store: Store) -> bool:
        """One attempt; a row that is itself at fault is dropped and the rest saved."""
        rows = self._backlog.take()
        try:
            if rows:
                try:
                    store.save(rows)
                except UNFIT:
                    self._backlog.discard(store.find_refused(rows))
                    rows = self._backlog.take()
                    store.save(rows)
        except (*UNFIT, sqlite3.Error, OSError) as error:
            self._backlog.settle(saved=False)
            self._backlog.squeeze()
            self._fail(error)
            return False
        self._backlog.settle(saved=True)
        self._detail = ""
        self._damage_seen = 0
        return True

    def _fail(self, error: Exception) -> None:
        """Say what happened; after anything but a full or busy disk the handle is not trusted again."""
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & _CODE_MASK
        self._detail = f"{_WORDS.get(code, str(error))}; {_MEANWHILE}"
        if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
            self._damage_seen += 1
        if code not in _KEEP_OPEN:
            self._suspect = True
            self._drop_store()

    def _drop_store(self) -> None:
        """Close without a word: whatever failed has been told already."""
        store, self._store = self._store, None
        if store is not None:
            try:
                store.close()
            except sqlite3.Error as error:
                self._detail = f"{error}; {_MEANWHILE}"


def _seq_of_damaged(path: Path) -> int:
    """The highest number that a damaged file still tells, so that counting goes on from it."""
    try:
        if not path.is_file():
            return 0
        connection = connect_to_read(path, unchanging=not has_log(path))
        try:
            return last_seq(connection)
        finally:
            connection.close()
    except (sqlite3.Error, OSError):
        return 0
