"""Two ways to drive a history: on a thread of its own, or at full speed without one."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path

from controller.record.history import History
from controller.record.rows import EventRow, RecordHealth, SampleRow
from controller.record.store import Connect

BATCH_S = 540.0
"""Samples wait at most this long; with a row a minute a power cut then takes ten minutes at most."""
RETRY_S = 5.0
RETRY_S_MAX = 60.0
_THIN_SLICES_MAX = 100


class HistoryWriter:
    """Writes on a daemon thread, so that no disk, however slow, delays a tick.

    Meets ``rows.Recorder``. ``add_sample`` and ``add_event`` touch memory and the mirror in RUN only.
    """

    def __init__(
        self,
        path: Path,
        mirror_path: Path | None,
        *,
        utc_s: Callable[[], float],
        retry_s: float = RETRY_S,
        connect: Connect = sqlite3.connect,
    ) -> None:
        """Take over what an earlier process left in the mirror; ``start`` begins to write.

        After trouble it tries again in ``retry_s`` seconds, then in twice that, up to a minute.
        """
        self._history = History(path, mirror_path, utc_s=utc_s, connect=connect)
        self._retry_s = retry_s
        self._wake = threading.Event()
        self._opened = threading.Event()
        self._closed = threading.Event()
        self._stop = threading.Event()
        self._thin_utc_s: float | None = None
        self._thread = threading.Thread(target=self._run, name="history", daemon=True)

    def start(self, deadline_s: float = 5.0) -> None:
        """Begin writing; waits at most ``deadline_s`` for the file, so that numbering goes on from it."""
        self._thread.start()
        self._opened.wait(deadline_s)

    def first_seq(self) -> int:
        """The next free number; see ``History.first_seq``."""
        return self._history.first_seq()

    def add_sample(self, row: SampleRow) -> None:
        """Take a sample; it is on the disk within ten minutes."""
        self._history.add((row,))
        if self._history.pending_since_s(row.mono_s) >= BATCH_S:
            self._wake.set()

    def add_event(self, row: EventRow) -> int:
        """Take an event, written at once; returns a ticket for ``is_saved``."""
        ticket = self._history.add((row,))
        self._wake.set()
        return ticket

    def is_saved(self, ticket: int) -> bool:
        """Whether the event with this ticket is safe from a power cut."""
        return self._history.is_saved(ticket)

    def request_thinning(self, *, now_utc_s: float, utc_confirmed: bool) -> None:
        """Ask for one day's round of thinning; does nothing while the clock is not confirmed."""
        if utc_confirmed:
            self._thin_utc_s = now_utc_s
            self._wake.set()

    def health(self) -> RecordHealth:
        """How recording goes, as of the last attempt."""
        health = self._history.health()
        if self._opened.is_set() and not self._closed.is_set() and not self._thread.is_alive():
            return health._replace(recording=False, detail="the part that writes the history has stopped")
        return health

    def close(self, deadline_s: float) -> bool:
        """Save what is pending and close; False when ``deadline_s`` ran out first.

        What is not saved by then stays in the mirror for the next start.
        """
        self._stop.set()
        self._wake.set()
        if not self._thread.is_alive():
            if self._thread.ident is None:
                self._history.flush()
            self._history.close()
            return self._history.health().pending == 0
        return self._closed.wait(deadline_s) and self._history.health().pending == 0

    def _run(self) -> None:
        """The thread: open, then save whenever woken or due; after trouble only when the pause is over."""
        self._history.open()
        self._opened.set()
        pause_s = self._retry_s
        saved = self._history.health().pending == 0 or self._history.flush()
        while not self._stop.is_set():
            if saved:
                self._wake.wait(BATCH_S)
            else:
                self._stop.wait(pause_s)
            self._wake.clear()
            saved = self._history.flush()
            pause_s = self._retry_s if saved else min(2 * pause_s, RETRY_S_MAX)
            if saved:
                self._thin()
        if not saved or self._history.health().pending:
            self._history.flush()
        self._history.close()
        self._closed.set()

    def _thin(self) -> None:
        """Carry out a round that was asked for, giving way to events between slices."""
        now_utc_s, self._thin_utc_s = self._thin_utc_s, None
        if now_utc_s is None:
            return
        for _ in range(_THIN_SLICES_MAX):
            if self._stop.is_set() or not self._history.thin_slice(now_utc_s):
                return
            if self._wake.is_set():
                self._history.flush()


class DirectWriter:
    """Writes on the caller's thread, in large batches without syncs: for rehearsals at full speed.

    Meets ``rows.Recorder``; the same rows give the same file content. Nothing here is safe from a
    power cut before ``close``.
    """

    def __init__(self, path: Path, *, utc_s: Callable[[], float], batch_rows: int = 2000) -> None:
        """Open or create the file at once."""
        self._history = History(path, None, utc_s=utc_s, power_safe=False, busy_s=5.0)
        self._batch_rows = batch_rows
        self._waiting = 0
        self._history.open()

    def first_seq(self) -> int:
        """The next free number."""
        return self._history.first_seq()

    def add_sample(self, row: SampleRow) -> None:
        """Take a sample; every so many rows are written together."""
        self._history.add((row,))
        self._count()

    def add_event(self, row: EventRow) -> int:
        """Take an event; returns a ticket for ``is_saved``."""
        ticket = self._history.add((row,))
        self._count()
        return ticket

    def is_saved(self, ticket: int) -> bool:
        """Whether the event with this ticket has been handed to the file."""
        return self._history.is_saved(ticket)

    def request_thinning(self, *, now_utc_s: float, utc_confirmed: bool) -> None:
        """Thin at once, in bounded slices; does nothing while the clock is not confirmed."""
        if utc_confirmed:
            self._history.flush()
            for _ in range(_THIN_SLICES_MAX):
                if not self._history.thin_slice(now_utc_s):
                    return

    def health(self) -> RecordHealth:
        """How recording goes, as of the last attempt."""
        return self._history.health()

    def close(self, deadline_s: float) -> bool:  # noqa: ARG002  # the same call as the other writer's
        """Save what is pending and close; False when it could not be saved."""
        saved = self._history.flush()
        self._history.close()
        return saved

    def _count(self) -> None:
        self._waiting += 1
        if self._waiting >= self._batch_rows:
            self._waiting = 0
            self._history.flush()
