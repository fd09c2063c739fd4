"""The two kinds of row that are kept, and what a recorder owes its caller. Pure.

Temperatures are whole sixteenths of a degree Celsius, the step of a DS18B20 at 12 bits.
Durations and instants are kept to the millisecond.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple, Protocol, TypeAlias

from controller.vocabulary import FrameName, Place

Json: TypeAlias = "str | int | float | bool | Sequence[Json] | Mapping[str, Json] | None"

SIXTEENTHS_PER_K = 16


class Tier(IntEnum):
    """How far a stored sample has been thinned."""

    FULL = 0
    FIVE_MINUTES = 1
    HOUR = 2


class SampleRow(NamedTuple):
    """One frame over the ``span_s`` seconds that end at ``mono_s``.

    ``seq`` grows by at least one from row to row, over all frames and kinds of row; a number that
    does not is raised to the next free one, so a row is never lost for its number.
    A place that is absent from ``sixteenths`` had no trusted reading.
    ``heat_on_s`` counts the seconds of the span with the relay read back as on.
    """

    seq: int
    boot_id: str
    mono_s: float
    utc_s: float
    utc_confirmed: bool
    frame: FrameName
    sixteenths: Mapping[Place, int]
    span_s: float
    heat_on_s: float
    heat_wanted: bool
    heat_allowed: bool
    level: int
    opening: str
    covering: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EventRow:
    """Something that happened once; kept for ever.

    ``what`` is ``started``, ``settings``, ``clock_stepped``, ``command``, ``notice`` or ``pin_stuck``;
    a lockout, as whatever else is told, is a notice. ``frame`` is empty for the whole site.
    A ``detail`` that cannot be written as JSON is kept as its text.
    """

    seq: int
    boot_id: str
    mono_s: float
    utc_s: float
    utc_confirmed: bool
    frame: FrameName
    what: str
    detail: Mapping[str, Json]


Row: TypeAlias = SampleRow | EventRow


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredSample:
    """A sample as read back, with what thinning left of its extremes.

    In a thinned row the readings are means over the span, weighted by time; ``air_low`` and
    ``air_high`` are the lowest and highest single reading of both air places, ``outside_low`` the
    lowest outside.
    In a full row they are that row's own readings; ``None`` where there was none.
    """

    row: SampleRow
    tier: Tier
    air_low: int | None
    air_high: int | None
    outside_low: int | None


class RecordHealth(NamedTuple):
    """Whether rows reach the disk, in words for a person."""

    recording: bool
    """The last attempt to save succeeded, or none has been due yet on an open file."""
    detail: str
    """Empty when all is well; else what is wrong and what is done meanwhile."""
    pending: int
    """Rows in memory that are not on the disk yet."""
    dropped: int
    """Samples folded into a neighbour, and rows refused, since the process started."""
    set_aside: str | None
    """Name of a damaged history that was put aside at this start, else ``None``."""


class Recorder(Protocol):
    """What the loop sees of the history: no method here raises or waits for a disk."""

    def first_seq(self) -> int:
        """The next free number; count on from it."""
        ...

    def add_sample(self, row: SampleRow) -> None:
        """Take a sample; it is on the disk within ten minutes."""
        ...

    def add_event(self, row: EventRow) -> int:
        """Take an event, written at once with all that waits before it; returns its ticket."""
        ...

    def is_saved(self, ticket: int) -> bool:
        """Whether the event with this ticket is safe from a power cut."""
        ...

    def request_thinning(self, *, now_utc_s: float, utc_confirmed: bool) -> None:
        """Ask for one day's round of thinning; does nothing while the clock is not confirmed."""
        ...

    def health(self) -> RecordHealth:
        """How recording goes, as of the last attempt."""
        ...

    def close(self, deadline_s: float) -> bool:
        """Save what is pending and close; False when ``deadline_s`` ran out first."""
        ...
