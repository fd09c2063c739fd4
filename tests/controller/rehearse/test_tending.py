"""A grower's rounds."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from random import Random

from controller.rehearse.grower import GROWERS, Look
from controller.rehearse.sunpath import Direction
from controller.rehearse.tending import Deed, Tending
from controller.vocabulary import Ask, FrameName, Kind, NoticeEvent, Urgency

SOUTH, NORTH = FrameName("south"), FrameName("north")
OPENINGS = {SOUTH: {"shut": 0, "crack": 1, "wide": 2}, NORTH: {"shut": 0, "crack": 1, "wide": 2}}
MIDNIGHT = datetime(2027, 2, 10, tzinfo=UTC)


def tending(name: str = "attentive", *, slip_frac: float = 0.0, looked: bool = True) -> Tending:
    """One that has just looked, so that only what is asked for is done, unless told otherwise."""
    made = Tending(grower=GROWERS[name], slip_frac=slip_frac, draws=Random(1))  # noqa: S311  # mistakes, not secrets
    if looked:
        made.next_look_s = 1e9
    return made


def push(opening: str = "wide", *, frame: FrameName = SOUTH, number: int = 1) -> NoticeEvent:
    return NoticeEvent(
        notice_id=f"n{number}",
        event="pushed",
        code="give_air",
        kind=Kind.OPEN,
        urgency=Urgency.DAY,
        frame=frame,
        text="Open.",
        ask=Ask(opening=opening),
    )


def rounds(of: Tending, from_h: float, until_h: float) -> list[tuple[float, Deed]]:
    """Deeds by the hour of the day, one look at the clock a minute, the frame warm and shut."""
    done = []
    opening = {SOUTH: 0, NORTH: 0}
    for minute in range(round(from_h * 60), round(until_h * 60)):
        elapsed_s = minute * 60.0
        if not of.is_due(elapsed_s):
            continue
        local = MIDNIGHT + timedelta(seconds=elapsed_s)

        def look_at(name: FrameName, local: datetime = local) -> Look:
            return Look(
                local=local,
                sun=Direction(0.4, 0.9, 0.0),
                air_c=12.0,
                outside_c=8.0,
                opening=opening[name],
                openings=3,
            )

        for deed in of.round(elapsed_s, local, look_at, OPENINGS):
            done.append((minute / 60, deed))
            if deed.done:
                opening[deed.frame] = deed.stand.opening
    return done


def test_a_push_is_acted_on_ten_minutes_later_by_whoever_is_there() -> None:
    """At nine in the morning the attentive grower acts at ten past, once, at that frame only."""
    grower = tending()
    grower.hear([push()], 9 * 3600.0)
    [(hour, deed)] = rounds(grower, 9, 24)
    assert (round(hour * 60), deed.frame, deed.stand.opening, deed.done) == (9 * 60 + 10, SOUTH, 2, True)


def test_a_push_in_the_night_waits_for_the_morning() -> None:
    """At two the attentive grower sleeps until seven, the busy one until half past six."""
    for name, hour in (("attentive", 7.0), ("busy", 6.5)):
        grower = tending(name)
        grower.hear([push()], 2 * 3600.0)
        [(at_h, _)] = rounds(grower, 2, 24)
        assert at_h == hour


def test_a_push_at_noon_finds_the_busy_grower_at_six() -> None:
    """Nobody leaves work for it."""
    grower = tending("busy")
    grower.hear([push()], 12 * 3600.0)
    [(at_h, _)] = rounds(grower, 12, 24)
    assert at_h == 18.0


def test_the_absent_grower_does_nothing_of_it() -> None:
    """However often told."""
    grower = tending("absent")
    grower.hear([push()], 9 * 3600.0)
    assert rounds(grower, 9, 48) == []


def test_the_newest_of_a_kind_counts_and_what_is_over_is_left() -> None:
    """Wide, then crack: crack is done. Cleared before the deed: nothing is."""
    grower = tending()
    grower.hear([push("wide")], 9 * 3600.0)
    grower.hear([push("crack", number=2)], 9 * 3600.0 + 300.0)
    assert [deed.stand.opening for _, deed in rounds(grower, 9, 24)] == [1]
    grower.hear([push("wide", number=3)], 9 * 3600.0)
    over = push(number=3)
    grower.hear(
        [NoticeEvent(**{name: getattr(over, name) for name in over.__slots__} | {"event": "cleared"})], 0.0
    )
    assert rounds(grower, 9, 24) == []


def test_each_frame_is_asked_for_by_itself() -> None:
    """Two frames, two pushes, two deeds."""
    grower = tending()
    grower.hear([push("wide"), push("crack", frame=NORTH, number=2)], 9 * 3600.0)
    assert {(deed.frame, deed.stand.opening) for _, deed in rounds(grower, 9, 24)} == {(SOUTH, 2), (NORTH, 1)}


def test_slips_are_reported_and_not_done_in_about_their_share() -> None:
    """All at 1, none at 0, some in between, the same for the same seed."""
    for slip_frac, done in ((0.0, {True}), (1.0, {False}), (0.5, {True, False})):
        grower = tending(slip_frac=slip_frac)
        seen = set()
        for number in range(12):
            grower.hear([push(number=number)], 9 * 3600.0)
            seen |= {deed.done for _, deed in rounds(grower, 9, 11)}
        assert seen == done


def test_looks_come_every_twenty_minutes_while_somebody_is_there() -> None:
    """And are not saved up over the night."""
    grower = tending(looked=False)
    looks = [minute for minute in range(24 * 60) if grower.is_due(minute * 60.0) and _looked(grower, minute)]
    assert looks == [hour * 60 + past for hour in range(24) for past in (0, 20, 40)]


def _looked(grower: Tending, minute: int) -> bool:
    before = grower.next_look_s
    grower.round(minute * 60.0, MIDNIGHT + timedelta(minutes=minute), _nothing_seen, {})
    return grower.next_look_s > before


def _nothing_seen(name: FrameName) -> Look:
    raise AssertionError(f"{name} was looked at")
