"""The built-in stand-in: sane physics, deterministic, copyable, quick.

The numbers it is held to are common practice, no source: a shut cold frame in a low winter sun warms by
some 20 K within two hours, stays a few kelvin above a clear frosty night by itself, and 60-80 W per
square metre of bed hold it some 10 K above the outside.
"""

# ruff: noqa: FBT001, FBT003  # the seam's arguments are positional

from __future__ import annotations

import copy
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.rehearse.contract import OpeningNow, StandIn
from controller.rehearse.standin import PlainStandIn, factory, make_factory
from controller.rehearse.standinframe import build_parts
from tests.controller.rehearse.lab import (
    LATITUDE_DEG,
    LONGITUDE_DEG,
    SHUT,
    START,
    frame_table,
    weather,
)

MAT = OpeningNow(name="shut", area_m2=0.0, height_m=0.0, covering_r_m2k_w=0.3)
HAND = OpeningNow(name="hand", area_m2=0.2, height_m=0.09)
OFF = OpeningNow(name="off", area_m2=2.24, height_m=0.55)
NOON = datetime(2027, 2, 10, 12, tzinfo=UTC)


def stand_in() -> StandIn:
    return make_factory(LATITUDE_DEG, LONGITUDE_DEG)(frame_table(), START)


def run(
    frame: StandIn,
    hours: float,
    temp_c: float,
    *,
    heat_on: bool = False,
    opening: OpeningNow = SHUT,
    cloud_tenths: float = 0.0,
) -> dict[str, float]:
    """Night weather that stays as it is."""
    places: dict[str, float] = {}
    for _ in range(round(hours * 60)):
        places = frame.advance(60.0, weather(temp_c, cloud_tenths=cloud_tenths), heat_on, opening)
    return places


def test_nothing_happens_in_no_time() -> None:
    """``advance(0, …)`` gives the initial state, however often."""
    frame = stand_in()
    first = frame.advance(0.0, weather(3.0), True, SHUT)
    assert frame.advance(0.0, weather(3.0), False, OFF) == first
    assert first["outside"] == 3.0
    assert set(first) == {"air", "bed", "outside", "wall", "cable"}


def test_a_clear_night_leaves_the_frame_a_little_warmer_than_outside() -> None:
    """Falling from 3 to -5 °C over 14 h without heat: 1 to 4 K above the outside at the end."""
    frame = stand_in()
    frame.advance(0.0, weather(3.0), False, SHUT)
    run(frame, 24, 3.0)
    for hour in range(15):
        places = run(frame, 1, 3.0 - 8.0 * hour / 14)
    assert 1.0 <= places["air"] - places["outside"] <= 4.0


@pytest.mark.parametrize("cloud_tenths", [0.0, 5.0, 10.0])
def test_seventy_watts_a_square_metre_hold_some_ten_kelvin(cloud_tenths: float) -> None:
    """150 W for days at -8 °C outside: between 0 and 4 °C inside, the bed and cable warmer still."""
    table = frame_table(heat={**frame_table()["heat"], "power_w": 150})
    frame = make_factory(LATITUDE_DEG, LONGITUDE_DEG)(table, START)
    places = run(frame, 96, -8.0, heat_on=True, cloud_tenths=cloud_tenths)
    assert 0.0 <= places["air"] <= 4.0
    assert places["air"] < places["bed"] < places["cable"] < 45.0


def test_a_clear_sky_costs_more_than_a_clouded_one() -> None:
    """The cover sees the sky."""
    clear = run(stand_in(), 48, -3.0, cloud_tenths=0.0)
    clouded = run(stand_in(), 48, -3.0, cloud_tenths=10.0)
    assert clear["air"] < clouded["air"] - 0.5


def test_a_mat_saves_a_good_part_of_the_loss() -> None:
    """Heated at -8 °C, a thick mat raises the frame by kelvins."""
    bare = run(stand_in(), 96, -8.0, heat_on=True)
    matted = run(stand_in(), 96, -8.0, heat_on=True, opening=MAT)
    assert matted["air"] > bare["air"] + 3.0


def warmed(opening: OpeningNow, hours: float = 2.0) -> float:
    """Air after so long in a February sun at 4 °C outside, from a cold start."""
    frame = stand_in()
    frame.advance(0.0, weather(1.0, utc=NOON), False, opening)
    frame.advance(36_000.0, weather(1.0, utc=NOON - timedelta(hours=6)), False, opening)
    for _ in range(round(hours * 60)):
        places = frame.advance(60.0, weather(4.0, utc=NOON, sun_w_m2=650.0), False, opening)
    return places["air"]


def test_a_february_sun_warms_a_shut_frame_by_twenty_kelvin_in_two_hours() -> None:
    """From a degree or so to above twenty."""
    assert 20.0 <= warmed(SHUT) <= 35.0


def test_each_wider_opening_is_cooler() -> None:
    """Shut, hand, off: the last stays within a few kelvin of the outside."""
    shut, hand, off = warmed(SHUT), warmed(HAND), warmed(OFF)
    assert shut > hand + 4.0
    assert hand > off + 2.0
    assert off < 8.0


def test_the_cable_is_slow() -> None:
    """A quarter of an hour of heat hardly shows in the air, four hours do."""
    frame = stand_in()
    before = run(frame, 48, -3.0)["air"]
    soon = run(frame, 0.25, -3.0, heat_on=True)["air"]
    later = run(frame, 3.75, -3.0, heat_on=True)["air"]
    assert soon - before < 0.2
    assert later - before > 0.7


def test_long_steps_come_to_the_same_as_short_ones() -> None:
    """Inside, no step is longer than a minute."""
    short, long = stand_in(), stand_in()
    for _ in range(360):
        few = short.advance(60.0, weather(-3.0), True, SHUT)
    for _ in range(6):
        many = long.advance(3600.0, weather(-3.0), True, SHUT)
    assert many == pytest.approx(few, abs=0.02)


def test_copies_go_their_own_way_and_agree_when_treated_alike() -> None:
    """A deep copy is independent, and the same inputs give the same temperatures."""
    one = stand_in()
    run(one, 5, -1.0)
    other = copy.deepcopy(one)
    assert run(one, 3, -4.0) == run(other, 3, -4.0)
    assert run(one, 3, -4.0, heat_on=True) != run(other, 3, -4.0)


@settings(max_examples=40, deadline=None)
@given(
    temp_c=st.floats(-30.0, 40.0),
    dt_s=st.floats(1.0, 7200.0),
    sun_w_m2=st.floats(0.0, 1100.0),
    area_m2=st.floats(0.0, 3.0),
    heat_on=st.booleans(),
)
def test_no_weather_drives_it_astray(
    temp_c: float, dt_s: float, sun_w_m2: float, area_m2: float, heat_on: bool
) -> None:
    """Any step length and any opening: temperatures stay within what sun, sky and cable can do."""
    frame = stand_in()
    opening = OpeningNow(name="some", area_m2=area_m2, height_m=0.3)
    for _ in range(20):
        places = frame.advance(dt_s, weather(temp_c, utc=NOON, sun_w_m2=sun_w_m2), heat_on, opening)
    for place_c in places.values():
        assert temp_c - 30.0 <= place_c <= temp_c + 130.0


@pytest.mark.parametrize("cover", ["glass", "rigid_sheet", "twin_wall", "film"])
@pytest.mark.parametrize("wall", ["brick", "timber", "none"])
def test_every_kind_of_cover_and_wall_is_known(cover: str, wall: str) -> None:
    """Each word of the settings has its numbers; two skins lose less than one."""
    single = build_parts(frame_table(cover=cover, wall=wall, skins=1))
    double = build_parts(frame_table(cover=cover, wall=wall, skins=2))
    assert double.skin_m2k_w > single.skin_m2k_w
    assert double.light_passed_frac < single.light_passed_frac


def test_a_frame_without_heat_takes_none() -> None:
    """Heat on means nothing where no cable lies."""
    table = frame_table()
    del table["heat"]
    cold, colder = (PlainStandIn(build_parts(table), 52.0, 0.0) for _ in range(2))
    assert run(cold, 3, -3.0, heat_on=True) == run(colder, 3, -3.0)


def test_weather_without_sun_and_cloud_columns_still_has_days() -> None:
    """Where the file holds temperature alone, light is estimated from the sun's height."""
    frame = factory(frame_table(), START)
    blank = weather(4.0, utc=NOON)._replace(
        ghi_w_m2=None, dni_w_m2=None, dhi_w_m2=None, cloud_tenths=None, dew_point_c=None, wind_m_s=None
    )
    frame.advance(0.0, blank, False, SHUT)
    for _ in range(120):
        by_day = frame.advance(60.0, blank, False, SHUT)["air"]
    for _ in range(240):
        by_night = frame.advance(60.0, blank._replace(utc=START), False, SHUT)["air"]
    assert by_day > by_night + 5.0
