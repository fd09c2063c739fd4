"""The built-in stand-in through its seam: sane, deterministic, copyable, varied by its seed.

Marks are common practice, no source, unless one is named; figures with a source are in ``tests/published``.
"""

# ruff: noqa: FBT003  # the seam's arguments are positional

from __future__ import annotations

import copy
import math
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.rehearse.contract import OpeningNow
from controller.rehearse.seam import make_stand_in
from controller.rehearse.standin import SeasonedStandIn, factory, make_factory, nature_of
from controller.rehearse.standinframe import build_parts
from controller.rehearse.standinlayers import DEEP_M
from controller.rehearse.standinnature import NOMINAL
from controller.rehearse.standinouter import ANNUAL_DEPTH_M, outer_of, season_air_c, season_ground_c
from controller.rehearse.winters_kinds import season_c
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


def stand_in(**changes: object) -> SeasonedStandIn:
    made = make_factory(LATITUDE_DEG, LONGITUDE_DEG)(frame_table(**changes), START)
    assert isinstance(made, SeasonedStandIn)
    return made


def run(
    frame: SeasonedStandIn,
    hours: float,
    temp_c: float,
    *,
    heat_on: bool = False,
    opening: OpeningNow = SHUT,
    cloud_tenths: float = 0.0,
    step_s: float = 300.0,
) -> dict[str, float]:
    """Night weather that stays as it is."""
    places: dict[str, float] = {}
    point = weather(temp_c, cloud_tenths=cloud_tenths)
    for _ in range(round(hours * 3600 / step_s)):
        places = frame.advance(step_s, point, heat_on, opening)
    return places


def test_nothing_happens_in_no_time() -> None:
    """``advance(0, …)`` gives the initial state, however often."""
    frame = stand_in()
    first = frame.advance(0.0, weather(3.0), True, SHUT)
    assert frame.advance(0.0, weather(3.0), False, OFF) == first
    assert first["outside"] == 3.0
    assert set(first) == {"air", "bed", "outside", "wall", "cable", "pots"}


def test_it_passes_the_seam() -> None:
    """As any other stand-in: places, numbers, copies that agree."""
    made = make_stand_in(
        factory,
        name="built in",
        table=frame_table(),
        start_utc=START,
        first_weather=weather(3.0),
        opening=SHUT,
    )
    assert "pots" in made.advance(60.0, weather(3.0), False, SHUT)


def test_it_starts_as_a_frame_that_has_stood_there() -> None:
    """In its first two days, dark and as cold as at first, nothing moves by more than a few kelvin."""
    frame = stand_in()
    first = frame.advance(0.0, weather(3.0, cloud_tenths=8.0), False, SHUT)
    later = run(frame, 48, 3.0, cloud_tenths=8.0)
    for place in ("air", "bed", "wall", "cable", "pots"):
        assert later[place] == pytest.approx(first[place], abs=2.5), place


def test_a_clear_sky_costs_more_than_a_clouded_one() -> None:
    """The cover sees the sky."""
    clear = run(stand_in(), 48, -3.0, cloud_tenths=0.0)
    clouded = run(stand_in(), 48, -3.0, cloud_tenths=10.0)
    assert clear["air"] < clouded["air"] - 0.5


def test_the_cable_lifts_the_bed_and_the_bed_the_air() -> None:
    """Days at -8 °C under cloud with 116 W/m²: the air well over the outside, bed and cable over the air."""
    places = run(stand_in(), 96, -8.0, heat_on=True, cloud_tenths=10.0)
    assert places["air"] > -8.0 + 9.0
    assert places["air"] < places["bed"] < places["cable"] < 45.0


def test_a_mat_keeps_a_heated_frame_warmer() -> None:
    """Under a clear sky a thick mat raises air and bed, the air by over a kelvin."""
    bare = run(stand_in(), 96, -8.0, heat_on=True)
    matted = run(stand_in(), 96, -8.0, heat_on=True, opening=MAT)
    assert matted["air"] > bare["air"] + 1.0
    assert matted["bed"] > bare["bed"] + 0.5


def warmed(opening: OpeningNow, hours: float = 2.0) -> float:
    """Air after so long in a February sun at 4 °C outside, from a cold start."""
    frame = stand_in()
    frame.advance(0.0, weather(1.0, utc=NOON), False, opening)
    frame.advance(36_000.0, weather(1.0, utc=NOON - timedelta(hours=6)), False, opening)
    for _ in range(round(hours * 60)):
        places = frame.advance(60.0, weather(4.0, utc=NOON, sun_w_m2=650.0), False, opening)
    return places["air"]


def test_each_wider_opening_is_cooler() -> None:
    """In a February sun: shut, hand, off; the last stays within a few kelvin of the outside."""
    shut, hand, off = warmed(SHUT), warmed(HAND), warmed(OFF)
    assert shut > hand + 4.0
    assert hand > off + 2.0
    assert off < 8.0


def test_a_mat_keeps_the_sun_out() -> None:
    """Left on by day it costs nearly all the gain."""
    assert warmed(MAT) < warmed(SHUT) - 10.0


def test_the_cable_is_slow() -> None:
    """A quarter of an hour of heat hardly shows in the air, four hours do."""
    frame = stand_in()
    before = run(frame, 48, 2.0)["air"]
    soon = run(frame, 0.25, 2.0, heat_on=True)["air"]
    later = run(frame, 3.75, 2.0, heat_on=True)["air"]
    assert soon - before < 0.2
    assert later - before > 0.7


def test_a_frozen_bed_takes_the_heat_for_itself() -> None:
    """Where soil and pots are freezing, four hours of heat hardly show in the air: they thaw first."""
    frozen, open_ground = stand_in(), stand_in()
    before = run(frozen, 72, -4.0)["air"]
    thawing = run(frozen, 4, -4.0, heat_on=True)["air"] - before
    before = run(open_ground, 48, 2.0)["air"]
    assert thawing < 0.5 * (run(open_ground, 4, 2.0, heat_on=True)["air"] - before)


def test_wind_costs_heat() -> None:
    """Chinks and the outer film: 8 m/s against calm, under cloud."""
    calm, windy = stand_in(), stand_in()
    for _ in range(576):
        still = calm.advance(300.0, weather(-3.0, cloud_tenths=10.0)._replace(wind_m_s=0.0), True, SHUT)
        blown = windy.advance(300.0, weather(-3.0, cloud_tenths=10.0)._replace(wind_m_s=8.0), True, SHUT)
    assert blown["air"] < still["air"] - 0.5


def test_long_steps_come_to_nearly_the_same_as_short_ones() -> None:
    """Inside, no step is longer than five minutes."""
    short, long = stand_in(), stand_in()
    for _ in range(360):
        few = short.advance(60.0, weather(-3.0), True, SHUT)
    for _ in range(6):
        many = long.advance(3600.0, weather(-3.0), True, SHUT)
    assert many == pytest.approx(few, abs=0.05)


def test_pots_stay_at_zero_while_they_freeze_and_while_they_thaw() -> None:
    """Unheated, hard frost and then a thaw: hours at 0 °C each time, and a frozen time between."""
    frame = stand_in(heat={})
    frame.advance(0.0, weather(3.0, cloud_tenths=10.0), False, OFF)
    pots = [run(frame, 1, -8.0, opening=OFF)["pots"] for _ in range(72)]
    assert sum(pot_c == 0.0 for pot_c in pots) >= 6
    assert pots[-1] < -2.0
    thawed = [run(frame, 1, 8.0, cloud_tenths=10.0, opening=OFF)["pots"] for _ in range(72)]
    assert sum(pot_c == 0.0 for pot_c in thawed) >= 6
    assert thawed[-1] > 2.0


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
    dt_s=st.floats(1.0, 3600.0),
    sun_w_m2=st.floats(0.0, 1100.0),
    wind_m_s=st.floats(0.0, 25.0),
    area_m2=st.floats(0.0, 3.0),
    seed=st.none() | st.integers(0, 1000),
    cover=st.sampled_from(["glass", "rigid_sheet", "twin_wall", "film"]),
    skins=st.sampled_from([1, 2]),
    wall=st.sampled_from(["brick", "timber", "none"]),
    covering_m2k_w=st.sampled_from([0.0, 0.02, 0.5]),
    heat_on=st.booleans(),
)
def test_no_weather_drives_it_astray(
    *,
    temp_c: float,
    dt_s: float,
    sun_w_m2: float,
    wind_m_s: float,
    area_m2: float,
    seed: int | None,
    cover: str,
    skins: int,
    wall: str,
    covering_m2k_w: float,
    heat_on: bool,
) -> None:
    """Neither colder than the start and the sky nor, without sun and cable, warmer than start and outside.

    Each W/m² of beam adds at most 0.06 K in these hours; the cable at most
    20 K, and 45 K to its own sheath (margins of a third over what 1500 drawn cases reached).
    """
    table = frame_table(cover=cover, skins=skins, wall=wall)
    frame = make_factory(LATITUDE_DEG, LONGITUDE_DEG, seed=seed)(table, START)
    assert isinstance(frame, SeasonedStandIn)
    opening = OpeningNow(name="some", area_m2=area_m2, height_m=0.3, covering_r_m2k_w=covering_m2k_w)
    point = weather(temp_c, utc=NOON, sun_w_m2=sun_w_m2)._replace(wind_m_s=wind_m_s)
    started_c = frame.advance(0.0, point, heat_on, opening).values()
    deep_c = season_ground_c(NOON, LATITUDE_DEG, DEEP_M) + frame.parts.nature.ground_shift_k
    outer = outer_of(frame.parts, point, deep_c)
    for _ in range(20):
        places = frame.advance(dt_s, point, heat_on, opening)
    lowest_c = min(*started_c, outer.sky_c)
    highest_c = max(*started_c, temp_c, deep_c) + 0.06 * sun_w_m2
    for place, place_c in places.items():
        heated_k = (45.0 if place == "cable" else 20.0) if heat_on else 0.0
        assert lowest_c - 0.1 <= place_c <= highest_c + heated_k + 0.5, place


def test_a_frame_without_heat_takes_none() -> None:
    """Heat on means nothing where no cable lies."""
    table = frame_table()
    del table["heat"]
    cold, colder = (SeasonedStandIn(build_parts(table), 52.0, 0.0) for _ in range(2))
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
    assert by_day > by_night + 3.0


def test_a_seed_makes_a_frame_of_its_own() -> None:
    """The same seed and table the same frame, any other another; without a seed the plain one."""
    table = frame_table()
    assert nature_of(table, None) == NOMINAL
    assert nature_of(table, 7) == nature_of(frame_table(), 7)
    assert nature_of(table, 7) != nature_of(table, 8)
    assert nature_of(table, 7) != nature_of(frame_table(length_m=2.5), 7)
    weaker = {**table["heat"], "power_w": 100}
    assert nature_of({**table, "heat": weaker, "probe": {}}, 7) == nature_of(table, 7), "a cable is no frame"
    ends = []
    for seed in range(12):
        frame = make_factory(LATITUDE_DEG, LONGITUDE_DEG, seed=seed)(table, START)
        assert isinstance(frame, SeasonedStandIn)
        ends.append(run(frame, 24, -6.0, heat_on=True)["air"])
    assert max(ends) - min(ends) > 0.8


@pytest.mark.parametrize("month", [1, 4, 7, 10])
def test_the_ground_follows_the_season_of_the_invented_winters(month: int) -> None:
    """At the surface it is the season's air; at depth it swings about the same mean, less and later."""
    utc = datetime(2027, month, 10, tzinfo=UTC)
    assert season_ground_c(utc, 52.0, 0.0) == pytest.approx(season_air_c(utc, 52.0))
    assert season_air_c(utc, 52.0) == season_c(int(utc.timestamp() // 86400.0), 52.0)
    year = [utc + timedelta(days=day) for day in range(365)]
    air_c, ground_c = ([each(day) for day in year] for each in (at_the_surface_c, at_depth_c))
    assert sum(ground_c) / 365 == pytest.approx(sum(air_c) / 365, abs=0.05)
    swing_frac = (max(ground_c) - min(ground_c)) / (max(air_c) - min(air_c))
    assert swing_frac == pytest.approx(math.exp(-1.0), abs=0.01)
    late_days = (ground_c.index(min(ground_c)) - air_c.index(min(air_c))) % 365
    assert late_days == pytest.approx(365.25 / (2.0 * math.pi), abs=3)


def at_the_surface_c(utc: datetime) -> float:
    return season_air_c(utc, 52.0)


def at_depth_c(utc: datetime) -> float:
    """One damping depth down."""
    return season_ground_c(utc, 52.0, ANNUAL_DEPTH_M)
