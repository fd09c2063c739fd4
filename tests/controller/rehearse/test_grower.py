"""Growers: what a person would do at the frame."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from controller.rehearse.grower import GROWERS, AbsentGrower, AttentiveGrower, BusyGrower, Look
from controller.rehearse.sunpath import Direction

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
) -> Look:
    local = datetime(2027, 2, 10, int(hour), round(hour % 1 * 60), tzinfo=UTC)
    return Look(local=local, sun=sun, air_c=air_c, outside_c=outside_c, opening=opening, openings=5)


def test_the_absent_grower_never_moves_a_cover() -> None:
    """Whatever the weather."""
    assert AbsentGrower().choose(look(air_c=45.0, opening=0)) == 0
    assert AbsentGrower().choose(look(air_c=-5.0, opening=3)) == 3


@pytest.mark.parametrize(
    ("air_c", "opening", "chosen"),
    [(8.0, 1, 0), (8.0, 0, 0), (12.0, 1, 1), (17.0, 1, 2), (25.0, 1, 3), (25.0, 4, 4)],
)
def test_the_attentive_grower_opens_wider_when_warm_and_narrower_when_cool(
    air_c: float, opening: int, chosen: int
) -> None:
    """By one step, or by two when it is hot."""
    assert AttentiveGrower().choose(look(air_c=air_c, opening=opening)) == chosen


def test_the_attentive_grower_does_not_bare_the_plants_in_the_cold() -> None:
    """Below 5 °C outside the last opening is left alone."""
    assert AttentiveGrower().choose(look(air_c=30.0, outside_c=1.0, opening=3)) == 3
    assert AttentiveGrower().choose(look(air_c=30.0, outside_c=9.0, opening=3)) == 4


@pytest.mark.parametrize("sun", [AFTERNOON, NIGHT])
def test_the_attentive_grower_shuts_for_the_night(sun: Direction) -> None:
    """From the low sun of the afternoon on, even when it is still warm inside."""
    assert AttentiveGrower().choose(look(air_c=20.0, opening=3, sun=sun)) == 0


def test_the_busy_grower_moves_covers_before_and_after_work_only() -> None:
    """One step open on leaving unless it freezes, shut in the evening, untouched in between."""
    grower = BusyGrower()
    assert grower.choose(look(hour=7.1, opening=0, outside_c=2.0)) == 1
    assert grower.choose(look(hour=7.1, opening=0, outside_c=-2.0)) == 0
    assert grower.choose(look(hour=13.0, opening=1, air_c=40.0)) == 1
    assert grower.choose(look(hour=18.5, opening=1)) == 0
    assert grower.choose(look(hour=3.0, opening=1)) == 0


def test_the_three_growers_have_their_names() -> None:
    """As the command offers them."""
    assert sorted(GROWERS) == ["absent", "attentive", "busy"]
