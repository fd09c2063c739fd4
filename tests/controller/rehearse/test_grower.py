"""Growers: what a person would do at the frame."""

from __future__ import annotations

from datetime import UTC, datetime, time

import pytest

from controller.rehearse.grower import (
    GROWERS,
    AbsentGrower,
    AttentiveGrower,
    BusyGrower,
    Look,
    Stand,
    asked_for,
)
from controller.rehearse.sunpath import Direction
from controller.vocabulary import Ask, FrameName, Kind, NoticeEvent, Urgency

NOON = Direction(0.4, 0.9, 0.0)
AFTERNOON = Direction(0.12, 0.7, 0.7)
NIGHT = Direction(-0.5, 0.0, 0.8)


def look(
    *,
    air_c: float = 12.0,
    outside_c: float = 6.0,
    opening: int = 1,
    sun: Direction = NOON,
    hour: float = 12.0,
    laid: tuple[str, ...] = (),
) -> Look:
    local = datetime(2027, 2, 10, int(hour), round(hour % 1 * 60), tzinfo=UTC)
    return Look(
        local=local,
        sun=sun,
        air_c=air_c,
        outside_c=outside_c,
        opening=opening,
        openings=5,
        laid=laid,
        coverings=("mat", "fleece"),
    )


def test_the_absent_grower_never_moves_a_cover() -> None:
    """Whatever the weather."""
    assert AbsentGrower().choose(look(air_c=45.0, opening=0)).opening == 0
    assert AbsentGrower().choose(look(air_c=-5.0, opening=3)).opening == 3


@pytest.mark.parametrize(
    ("air_c", "opening", "chosen"),
    [(8.0, 1, 0), (8.0, 0, 0), (12.0, 1, 1), (17.0, 1, 2), (25.0, 1, 3), (25.0, 4, 4)],
)
def test_the_attentive_grower_opens_wider_when_warm_and_narrower_when_cool(
    air_c: float, opening: int, chosen: int
) -> None:
    """By one step, or by two when it is hot."""
    assert AttentiveGrower().choose(look(air_c=air_c, opening=opening)).opening == chosen


def test_the_attentive_grower_does_not_bare_the_plants_in_the_cold() -> None:
    """Below 5 °C outside the last opening is left alone."""
    assert AttentiveGrower().choose(look(air_c=30.0, outside_c=1.0, opening=3)).opening == 3
    assert AttentiveGrower().choose(look(air_c=30.0, outside_c=9.0, opening=3)).opening == 4


def test_the_attentive_grower_lets_no_frost_in_unless_it_is_hot_inside() -> None:
    """Below 0 °C outside: shut at 18 °C, a crack at 23 °C, and back to a crack from wider."""
    grower = AttentiveGrower()
    assert grower.choose(look(air_c=18.0, outside_c=-3.0, opening=0)).opening == 0
    assert grower.choose(look(air_c=23.0, outside_c=-3.0, opening=0)).opening == 1
    assert grower.choose(look(air_c=15.0, outside_c=-3.0, opening=3)).opening == 1


@pytest.mark.parametrize("sun", [AFTERNOON, NIGHT])
def test_the_attentive_grower_shuts_for_the_night(sun: Direction) -> None:
    """From the low sun of the afternoon on, even when it is still warm inside."""
    assert AttentiveGrower().choose(look(air_c=20.0, opening=3, sun=sun)).opening == 0


def test_the_busy_grower_moves_covers_before_and_after_work_only() -> None:
    """One step open on leaving unless it freezes, shut in the evening, untouched in between."""
    grower = BusyGrower()
    assert grower.choose(look(hour=7.1, opening=0, outside_c=2.0)).opening == 1
    assert grower.choose(look(hour=7.1, opening=0, outside_c=-2.0)).opening == 0
    assert grower.choose(look(hour=13.0, opening=1, air_c=40.0)).opening == 1
    assert grower.choose(look(hour=18.5, opening=1)).opening == 0
    assert grower.choose(look(hour=3.0, opening=1)).opening == 0


def test_coverings_go_on_at_nightfall_before_a_cold_night_and_off_in_daylight() -> None:
    """All there is to lay, below 2 °C outside; off when the sun is up, unless it freezes hard and is low."""
    grower = AttentiveGrower()
    assert grower.choose(look(outside_c=1.0, sun=NIGHT)).laid == ("mat", "fleece")
    assert grower.choose(look(outside_c=5.0, sun=NIGHT)).laid == ()
    assert grower.choose(look(outside_c=5.0, sun=NIGHT, laid=("mat",))).laid == ("mat",)
    assert grower.choose(look(outside_c=1.0, laid=("mat",))).laid == ()
    before_dawn = Direction(-0.1, 0.3, -0.9)
    assert grower.choose(look(outside_c=1.0, sun=before_dawn)).laid == (), "too late for this night"
    assert grower.choose(look(outside_c=1.0, sun=before_dawn, laid=("mat",))).laid == ("mat",)
    low = Direction(0.08, 0.7, -0.7)
    assert grower.choose(look(outside_c=-6.0, sun=low, laid=("mat",))).laid == ("mat",)


def test_the_busy_grower_covers_in_the_evening_and_uncovers_before_work() -> None:
    """Within both visits of the day."""
    grower = BusyGrower()
    assert grower.choose(look(hour=18.5, outside_c=-1.0)) == Stand(opening=0, laid=("mat", "fleece"))
    assert grower.choose(look(hour=6.6, outside_c=-1.0, laid=("mat",))).laid == ("mat",)
    assert grower.choose(look(hour=7.2, outside_c=-1.0, laid=("mat",))) == Stand(opening=0, laid=())


@pytest.mark.parametrize(
    ("name", "hours"),
    [("attentive", set(range(7, 22))), ("busy", {7, 18, 19, 20, 21}), ("absent", set())],
)
def test_each_grower_keeps_hours(name: str, hours: set[int]) -> None:
    """Attentive from 7 to 22, busy from half past six to half past seven and 18 to 22, absent never."""
    assert {hour for hour in range(24) if GROWERS[name].is_there(time(hour))} == hours


def test_busy_is_there_from_half_past_six_to_half_past_seven() -> None:
    """The ends of the hour to the minute."""
    there = BusyGrower().is_there
    assert [there(time(6, 29)), there(time(6, 30)), there(time(7, 29)), there(time(7, 30))] == [
        False,
        True,
        True,
        False,
    ]


def notice(kind: Kind, ask: Ask | None = None, urgency: Urgency = Urgency.NOW) -> NoticeEvent:
    return NoticeEvent(
        notice_id="n1",
        event="pushed",
        code="any",
        kind=kind,
        urgency=urgency,
        frame=FrameName("south"),
        text="",
        ask=ask,
    )


def test_what_a_notice_asks_for_is_done_to_the_letter() -> None:
    """Openings and coverings by their names; what it leaves open stays; unknown names change nothing."""
    openings = {"shut": 0, "crack": 1, "wide": 4}
    wide = notice(Kind.OPEN, Ask(opening="wide"))
    assert asked_for(wide, look(laid=("mat",)), openings) == Stand(opening=4, laid=("mat",))
    cover = notice(Kind.FROST, Ask(opening="shut", laid=("fleece",)))
    assert asked_for(cover, look(opening=3), openings) == Stand(opening=0, laid=("fleece",))
    strange = notice(Kind.OPEN, Ask(opening="ajar", laid=("blanket",)))
    assert asked_for(strange, look(opening=3), openings) == Stand(opening=3, laid=())


def test_frost_told_without_an_ask_is_answered_with_all_there_is() -> None:
    """Shut and covered; a FAULT moves no cover."""
    assert asked_for(notice(Kind.FROST), look(opening=2), {}) == Stand(opening=0, laid=("mat", "fleece"))
    assert asked_for(notice(Kind.FAULT), look(opening=2), {}) == Stand(opening=2, laid=())


def test_the_three_growers_have_their_names() -> None:
    """As the command offers them."""
    assert sorted(GROWERS) == ["absent", "attentive", "busy"]
