"""When notices go out to people."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from controller.tell.policy import DeliveryPolicy
from controller.vocabulary import FrameName, Kind, NoticeEvent, Urgency


def at(hour: int) -> datetime:
    return datetime(2027, 2, 10, hour, 30, tzinfo=UTC)


def event(step: str = "raised", urgency: Urgency = Urgency.DAY, number: int = 1) -> NoticeEvent:
    return NoticeEvent(
        notice_id=f"n{number}",
        event=step,
        code="probe_lost",
        kind=Kind.FAULT,
        urgency=urgency,
        frame=FrameName("south"),
        text="Look at the probe.",
    )


@pytest.mark.parametrize("hour", range(24))
def test_now_goes_out_at_any_hour(hour: int) -> None:
    """At once, and once."""
    policy = DeliveryPolicy()
    pushed = policy.due([event(urgency=Urgency.NOW)], at(hour))
    assert [(each.event, each.notice_id) for each in pushed] == [("pushed", "n1")]
    assert policy.due([], at(hour)) == ()


def test_day_waits_for_waking_hours() -> None:
    """Raised at half past three at night, it goes out at seven and not before, once."""
    policy = DeliveryPolicy()
    assert policy.due([event()], at(3)) == ()
    assert policy.has_waiting
    assert policy.due([], at(6)) == ()
    assert [each.notice_id for each in policy.due([], at(7))] == ["n1"]
    assert not policy.has_waiting
    assert policy.due([], at(8)) == ()


def test_what_is_over_by_the_morning_disturbs_nobody() -> None:
    """Raised and cleared in one night: nothing goes out."""
    policy = DeliveryPolicy()
    policy.due([event()], at(23))
    policy.due([event("cleared")], at(4))
    assert policy.due([], at(9)) == ()


def test_worse_in_the_night_breaks_through_and_is_not_told_again_in_the_morning() -> None:
    """A notice of the day that turns urgent goes out at once, in place of the one that waited."""
    policy = DeliveryPolicy()
    policy.due([event()], at(2))
    assert len(policy.due([event("worse", Urgency.NOW)], at(3))) == 1
    assert policy.due([], at(9)) == ()


@pytest.mark.parametrize("step", ["cleared", "acked", "claimed"])
def test_what_tells_nothing_new_does_not_go_out(step: str) -> None:
    """Nor does anything for the page."""
    assert DeliveryPolicy().due([event(step, Urgency.NOW)], at(12)) == ()
    assert DeliveryPolicy().due([event("raised", Urgency.PAGE)], at(12)) == ()
