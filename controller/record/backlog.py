"""Rows between the tick and the disk: numbered, bounded, mirrored, never waited for."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Collection

from controller.record.codec import renumber
from controller.record.mirror import Mirror
from controller.record.rows import EventRow, Row, SampleRow
from controller.vocabulary import FrameName

SAMPLES_MAX = 5000
"""Three and a half days of one frame at a row a minute, in about 5 MB."""
EVENTS_MAX = 20_000


class Backlog:
    """Pending rows in the order of their numbers; safe for one adding and one saving thread."""

    def __init__(
        self, mirror: Mirror | None, *, samples_max: int = SAMPLES_MAX, events_max: int = EVENTS_MAX
    ) -> None:
        """Take over what an earlier process left in the mirror."""
        self._lock = threading.Lock()
        self._mirror = mirror
        self._samples_max = samples_max
        self._events_max = events_max
        self._rows: list[Row] = []
        self._samples = 0
        self._in_flight_seq = 0
        self._last_seq = 0
        self._tickets = 0
        self._unsaved: deque[int] = deque()
        self.dropped = 0
        if mirror is not None:
            for row in mirror.load():
                self._append(row)

    def __len__(self) -> int:
        """Rows that are not on the disk yet."""
        return len(self._rows)

    @property
    def mirror_detail(self) -> str:
        """Trouble with the mirror, or an empty text."""
        return "" if self._mirror is None else self._mirror.detail

    @property
    def overfull(self) -> bool:
        """Whether samples should be thinned when there is time."""
        return self._samples > self._samples_max

    def next_seq(self) -> int:
        """The next free number."""
        return self._last_seq + 1

    def put(self, row: Row) -> int:
        """Take one row in some microseconds; returns a ticket for ``is_saved``.

        A number that is not free is raised to the next free one.
        """
        with self._lock:
            if self._samples >= 2 * self._samples_max:
                self._squeeze()
            kept = self._append(row)
            if kept is not None and self._mirror is not None:
                self._mirror.append(kept)
            return self._tickets

    def pending_since_s(self, now_s: float) -> float:
        """Seconds, on the rows' own monotonic clock, that the oldest row has waited."""
        rows = self._rows
        return abs(now_s - rows[0].mono_s) if rows else 0.0

    def is_saved(self, ticket: int) -> bool:
        """Whether the event of this ticket is on the disk."""
        with self._lock:
            return not self._unsaved or ticket < self._unsaved[0]

    def take(self) -> list[Row]:
        """All pending rows, which stay pending until they are settled."""
        with self._lock:
            self._in_flight_seq = self._last_seq
            return list(self._rows)

    def settle(self, *, saved: bool) -> None:
        """End what ``take`` began; saved rows leave the memory and the mirror."""
        with self._lock:
            if saved:
                gone = sum([row.seq <= self._in_flight_seq for row in self._rows])
                events = sum([isinstance(row, EventRow) for row in self._rows[:gone]])
                self._samples -= gone - events
                for _ in range(events):
                    self._unsaved.popleft()
                del self._rows[:gone]
                self._trim_mirror()
            self._in_flight_seq = 0

    def discard(self, refused: Collection[int]) -> None:
        """Drop rows that the history will never take, by number."""
        with self._lock:
            events = [row.seq for row in self._rows if isinstance(row, EventRow)]
            self._unsaved = deque(
                ticket for ticket, seq in zip(self._unsaved, events, strict=True) if seq not in refused
            )
            before = len(self._rows)
            self._rows = [row for row in self._rows if row.seq not in refused]
            self._samples = sum(isinstance(row, SampleRow) for row in self._rows)
            self.dropped += before - len(self._rows)
            self._rewrite_mirror()

    def follow(self, stored_seq: int, is_stored: Callable[[Row], bool]) -> None:
        """Continue after ``stored_seq``: rows whose number belongs to another row get a free one."""
        with self._lock:
            self._last_seq = max(self._last_seq, stored_seq)
            doubtful = [row for row in self._rows if row.seq <= stored_seq]
        clashing = {row.seq for row in doubtful if not is_stored(row)}
        if not clashing:
            return
        with self._lock:
            moved = [row for row in self._rows if row.seq in clashing]
            self._rows = [row for row in self._rows if row.seq not in clashing]
            for row in moved:
                self._last_seq += 1
                self._rows.append(renumber(row, self._last_seq))
            self._rewrite_mirror()

    def squeeze(self) -> None:
        """Fold every second of the older samples into its neighbour if there are too many."""
        with self._lock:
            if self.overfull:
                self._squeeze()

    def close(self) -> None:
        """Let go of the mirror; pending rows stay in it for the next start."""
        if self._mirror is not None:
            self._mirror.close()

    def _append(self, row: Row) -> Row | None:
        """Number and keep one row; past the bound of events the newest is refused."""
        if row.seq <= self._last_seq:
            row = renumber(row, self._last_seq + 1)
        if isinstance(row, SampleRow):
            self._samples += 1
        else:
            if len(self._unsaved) >= self._events_max:
                self.dropped += 1
                return None
            self._tickets += 1
            self._unsaved.append(self._tickets)
        self._last_seq = row.seq
        self._rows.append(row)
        return row

    def _squeeze(self) -> None:
        """Among the older half of what is not being saved, leave every second sample of a frame."""
        free = [row for row in self._rows if isinstance(row, SampleRow) and row.seq > self._in_flight_seq]
        older: dict[FrameName, list[SampleRow]] = {}
        for row in free[: max(len(free) // 2, 2)]:
            older.setdefault(row.frame, []).append(row)
        changed: dict[int, SampleRow | None] = {}
        for rows in older.values():
            for first, second in zip(rows[::2], rows[1::2], strict=False):
                changed[first.seq] = None
                changed[second.seq] = _fold(first, second)
        left = [changed.get(row.seq, row) for row in self._rows]
        self._rows = [row for row in left if row is not None]
        lost = len(left) - len(self._rows)
        self._samples -= lost
        self.dropped += lost
        self._rewrite_mirror()

    def _trim_mirror(self) -> None:
        """Empty the mirror, or shorten it once most of its lines are saved."""
        if self._mirror is None:
            return
        if not self._rows:
            self._mirror.clear()
        elif self._mirror.lines > 2 * len(self._rows) + 200:
            self._rewrite_mirror()

    def _rewrite_mirror(self) -> None:
        if self._mirror is not None:
            self._mirror.rewrite(self._rows)


def _fold(first: SampleRow, second: SampleRow) -> SampleRow:
    """The second sample, standing for both spans where they belong together, so that energy stays whole."""
    alike = (first.boot_id, first.opening, first.covering) == (
        second.boot_id,
        second.opening,
        second.covering,
    )
    if not alike:
        return second
    return second._replace(span_s=first.span_s + second.span_s, heat_on_s=first.heat_on_s + second.heat_on_s)
