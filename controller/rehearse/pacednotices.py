"""What a keeper process told in one round: seen in its open notices, read from its history."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from controller.errors import StorageError
from controller.record.read import HistoryReader
from controller.record.rows import EventRow
from controller.vocabulary import Ask, Kind, NoticeEvent, Urgency

_NAP_S = 0.002
_NAPS_MAX = 2500
"""Five seconds and more for the history's own thread to write an event."""
_SLACK_S = 1.0
"""Instants are stored to the millisecond."""


class NoticeFeed:
    """The events of every round, each once; the history is asked only when the open notices changed."""

    def __init__(self, history: Path) -> None:
        """Begin where the history stands; it need not exist yet."""
        self._reader = HistoryReader(history)
        self._open: dict[str, str] = {}
        """Urgency by id."""
        self._last_seq = self._reader.last_seq() if history.exists() else -1

    def take(self, open_now: Iterable[Mapping[str, Any]], utc_s: float) -> tuple[NoticeEvent, ...]:
        """What was told in the round at ``utc_s`` that left these notices open.

        Raises StorageError where the history does not come to hold it.
        """
        now = {str(notice["id"]): str(notice["urgency"]) for notice in open_now}
        before, self._open = self._open, now
        if now == before:
            return ()
        expected = {(each, "raised") for each in now.keys() - before.keys()}
        expected |= {(each, "cleared") for each in before.keys() - now.keys()}
        expected |= {(each, "worse") for each in now.keys() & before.keys() if now[each] != before[each]}
        for _ in range(_NAPS_MAX):
            events = self._read(utc_s)
            if expected <= {(event.notice_id, event.event) for _, event in events}:
                self._last_seq = events[-1][0]
                return tuple(event for _, event in events)
            time.sleep(_NAP_S)
        raise StorageError("the rehearsed keeper told something that its history does not hold")

    def close(self) -> None:
        """Let the history go."""
        self._reader.close()

    def _read(self, utc_s: float) -> list[tuple[int, NoticeEvent]]:
        rows = self._reader.events(what="notice", from_utc_s=utc_s - _SLACK_S)
        return [(row.seq, notice_event(row)) for row in rows if row.seq > self._last_seq]


def notice_event(row: EventRow) -> NoticeEvent:
    """A notice's step as it was recorded; raises KeyError or ValueError for a row that holds none."""
    detail: Mapping[str, Any] = row.detail
    return NoticeEvent(
        notice_id=str(detail["id"]),
        event=str(detail["event"]),
        code=str(detail["code"]),
        kind=Kind(detail["kind"]),
        urgency=Urgency(detail["urgency"]),
        frame=row.frame,
        text=str(detail["text"]),
        ask=None if "ask" not in detail else _ask(detail["ask"]),
    )


def _ask(recorded: Mapping[str, Any]) -> Ask:
    opening, laid = recorded["opening"], recorded["laid"]
    return Ask(
        opening=None if opening is None else str(opening),
        laid=None if laid is None else tuple(str(covering) for covering in laid),
    )
