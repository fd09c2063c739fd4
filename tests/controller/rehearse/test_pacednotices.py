"""What was told in a round: seen in the open notices, read from the history, each event once."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.errors import StorageError
from controller.loop.keeper import notice_detail
from controller.record.read import HistoryReader
from controller.record.rows import EventRow
from controller.record.writer import DirectWriter
from controller.rehearse import pacednotices
from controller.rehearse.pacednotices import NoticeFeed, notice_event
from controller.vocabulary import Ask, FrameName, Kind, NoticeEvent, Urgency

UTC_S = 1_800_000_000.0
SOUTH = FrameName("south")


def step(notice_id: str, event: str, urgency: str, ask: Ask | None = None) -> NoticeEvent:
    return NoticeEvent(
        notice_id=notice_id,
        event=event,
        code="below_keep",
        kind=Kind.FROST,
        urgency=Urgency(urgency),
        frame=SOUTH,
        text=f"{notice_id} {event}",
        ask=ask,
    )


class Told:
    """A history with notices, written as the keeper writes them."""

    def __init__(self, path: Path) -> None:
        self.writer = DirectWriter(path, utc_s=lambda: UTC_S, batch_rows=1)

    def add(self, notice_id: str, event: str, utc_s: float, urgency: str = "now") -> None:
        self.add_event(step(notice_id, event, urgency), utc_s)

    def add_event(self, event: NoticeEvent, utc_s: float) -> None:
        self.writer.add_event(
            EventRow(
                seq=self.writer.first_seq(),
                boot_id="a boot",
                mono_s=utc_s - UTC_S,
                utc_s=utc_s,
                utc_confirmed=True,
                frame=SOUTH,
                what="notice",
                detail=notice_detail(event),
            )
        )


@pytest.fixture
def told(tmp_path: Path) -> Iterator[Told]:
    told = Told(tmp_path / "history.sqlite3")
    yield told
    told.writer.close(0.0)


@pytest.fixture
def feed(tmp_path: Path, told: Told) -> Iterator[NoticeFeed]:
    feed = NoticeFeed(tmp_path / "history.sqlite3")
    yield feed
    feed.close()


def shown(**urgency_by_id: str) -> list[dict[str, str]]:
    return [{"id": notice_id, "urgency": urgency} for notice_id, urgency in urgency_by_id.items()]


def steps(events: tuple[NoticeEvent, ...]) -> list[tuple[str, str]]:
    return [(event.notice_id, event.event) for event in events]


def test_a_notice_is_handed_out_once_at_each_step_of_its_life(told: Told, feed: NoticeFeed) -> None:
    told.add("n1", "raised", UTC_S, "day")
    (raised,) = feed.take(shown(n1="day"), UTC_S)
    assert raised == NoticeEvent(
        notice_id="n1",
        event="raised",
        code="below_keep",
        kind=Kind.FROST,
        urgency=Urgency.DAY,
        frame=SOUTH,
        text="n1 raised",
    )
    assert feed.take(shown(n1="day"), UTC_S + 0.5) == ()
    told.add("n1", "worse", UTC_S + 1.0, "now")
    assert steps(feed.take(shown(n1="now"), UTC_S + 1.0)) == [("n1", "worse")]
    told.add("n2", "raised", UTC_S + 1.5)
    told.add("n1", "cleared", UTC_S + 1.5)
    assert steps(feed.take(shown(n2="now"), UTC_S + 1.5)) == [("n2", "raised"), ("n1", "cleared")]
    told.add("n2", "cleared", UTC_S + 99.0)
    assert steps(feed.take([], UTC_S + 99.0)) == [("n2", "cleared")]


def test_what_an_earlier_run_told_is_not_told_again(told: Told, tmp_path: Path) -> None:
    told.add("n1", "raised", UTC_S)
    feed = NoticeFeed(tmp_path / "history.sqlite3")
    told.add("n5", "raised", UTC_S)
    assert steps(feed.take(shown(n5="now"), UTC_S)) == [("n5", "raised")]
    feed.close()


def test_a_history_that_does_not_come_to_hold_a_notice_is_said(
    feed: NoticeFeed, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pacednotices, "_NAPS_MAX", 3)
    with pytest.raises(StorageError, match="that its history does not hold"):
        feed.take(shown(n1="now"), UTC_S)


@pytest.mark.parametrize(
    "ask",
    [
        None,
        Ask(),
        Ask(opening="shut"),
        Ask(laid=()),
        Ask(opening="ajar", laid=("fleece", "mat")),
    ],
)
def test_what_a_notice_asks_comes_back_from_the_record(
    told: Told, feed: NoticeFeed, tmp_path: Path, ask: Ask | None
) -> None:
    """Nothing asked, nothing to be laid and all left as it is stay apart; nothing asked leaves no entry."""
    event = step("n1", "raised", "now", ask)
    told.add_event(event, UTC_S)
    assert feed.take(shown(n1="now"), UTC_S) == (event,)
    with HistoryReader(tmp_path / "history.sqlite3") as reader:
        (row,) = reader.events(what="notice")
    assert ("ask" in row.detail) is (ask is not None)
    assert notice_event(row) == event
