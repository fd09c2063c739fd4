"""Heat is neither made nor lost in the built-in stand-in, whatever is done to it."""

# ruff: noqa: FBT003  # the seam's arguments are positional

from __future__ import annotations

import gzip
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.rehearse.contract import OpeningNow
from controller.rehearse.standin import SeasonedStandIn, make_factory
from controller.rehearse.standinledger import Ledger, stored_wh
from controller.weatherfile import parse_weather
from tests.controller.rehearse.lab import SHUT, frame_table, weather

ROOT = Path(__file__).resolve().parents[2]
HAND = OpeningNow(name="hand", area_m2=0.2, height_m=0.09)
OFF = OpeningNow(name="off", area_m2=2.24, height_m=0.55)
MAT = OpeningNow(name="shut", area_m2=0.0, height_m=0.0, covering_r_m2k_w=0.3)
FLEECE = OpeningNow(name="hand", area_m2=0.2, height_m=0.09, covering_r_m2k_w=0.02)
WINTER = datetime(2002, 1, 1, tzinfo=UTC)


def opened(seed: int | None = None, **changes: object) -> SeasonedStandIn:
    made = make_factory(40.35, -79.92, seed=seed)(frame_table(**changes), WINTER)
    assert isinstance(made, SeasonedStandIn)
    return made


def held_wh(frame: SeasonedStandIn) -> float:
    assert frame.state is not None
    return stored_wh(frame.parts, frame.state)


def turned_over_wh(ledger: Ledger) -> float:
    """Everything that went in or out, however it went."""
    flows = [*ledger.gained_j.values(), *ledger.lost_j.values()]
    return sum(abs(each_j) for each_j in flows) / 3600.0


@pytest.mark.parametrize("cover", ["glass", "film"])
def test_a_week_of_a_real_january_closes(cover: str) -> None:
    """Pittsburgh with sun, heat, openings, mat, fleece and ice: to a millionth of what passed through."""
    packed = (ROOT / "data" / "pittsburgh_tmy3.csv.gz").read_bytes()
    series = parse_weather(gzip.decompress(packed).decode(), "pittsburgh")
    frame = opened(seed=3, cover=cover)
    frame.advance(0.0, series.at(WINTER), False, SHUT)
    before_wh = held_wh(frame)
    frame.ledger = Ledger()
    icy = False
    for step in range(7 * 288):
        point = series.mean_over(WINTER + timedelta(seconds=300 * step), 300.0)
        stood = (SHUT, HAND, SHUT, MAT, OFF, FLEECE)[step // 37 % 6]
        frame.advance(300.0, point, step % 100 < 35, stood)
        assert frame.state is not None
        icy = icy or 0.0 < frame.state.pot_ice_frac < 1.0 or 0.0 < frame.state.bed0_ice_frac < 1.0
    ledger = frame.ledger
    assert icy
    assert all(each_j != 0.0 for each_j in ledger.gained_j.values())
    assert {path for path, each_j in ledger.lost_j.items() if each_j == 0.0} == set()
    assert turned_over_wh(ledger) > 2000.0
    assert held_wh(frame) - before_wh == pytest.approx(
        ledger.net_j / 3600.0, abs=1e-6 * turned_over_wh(ledger)
    )


def test_over_a_repeated_day_gains_equal_losses() -> None:
    """The same day until nothing changes: over one more, in and out agree to 0.1 % and nothing is stored."""
    frame = opened()
    noon = datetime(2027, 3, 1, 12, tzinfo=UTC)
    frame.advance(0.0, weather(2.0, utc=noon), False, SHUT)
    for day in range(61):
        if day == 60:
            before_wh = held_wh(frame)
            frame.ledger = Ledger()
        for hour in range(24):
            sunny = 9 <= hour < 16
            point = weather(
                6.0 if sunny else 0.0,
                utc=noon.replace(hour=(hour + 5) % 24, minute=30),
                sun_w_m2=500.0 if sunny else 0.0,
            )
            frame.advance(3600.0, point, hour < 6, HAND if 11 <= hour < 14 else SHUT)
    ledger = frame.ledger
    assert ledger is not None
    gained_wh = sum(ledger.gained_j.values()) / 3600.0
    assert gained_wh > 2000.0
    assert sum(ledger.lost_j.values()) / 3600.0 == pytest.approx(gained_wh, rel=1e-3)
    assert held_wh(frame) - before_wh == pytest.approx(0.0, abs=1e-3 * gained_wh)


@settings(max_examples=25, deadline=None)
@given(
    start_c=st.floats(-10.0, 10.0),
    then_c=st.floats(-25.0, 25.0),
    dt_s=st.floats(1.0, 3600.0),
    sun_w_m2=st.floats(0.0, 900.0),
    stood=st.sampled_from([SHUT, HAND, OFF, MAT, FLEECE]),
    cover=st.sampled_from(["glass", "twin_wall", "film"]),
    seed=st.integers(0, 50),
)
def test_every_step_closes(
    *,
    start_c: float,
    then_c: float,
    dt_s: float,
    sun_w_m2: float,
    stood: OpeningNow,
    cover: str,
    seed: int,
) -> None:
    """Any weather, step and frame, through freezing and thawing."""
    frame = opened(seed, cover=cover)
    noon = datetime(2027, 3, 1, 17, tzinfo=UTC)
    frame.advance(0.0, weather(start_c, utc=noon), False, SHUT)
    before_wh = held_wh(frame)
    frame.ledger = Ledger()
    for step in range(30):
        frame.advance(dt_s, weather(then_c, utc=noon, sun_w_m2=sun_w_m2), step % 2 == 0, stood)
    turned_wh = turned_over_wh(frame.ledger)
    assert held_wh(frame) - before_wh == pytest.approx(
        frame.ledger.net_j / 3600.0, abs=1e-6 * max(turned_wh, 1.0)
    )


def test_a_copy_keeps_no_books() -> None:
    """What a copy does is not added to the ledger of the one it came from."""
    frame = opened()
    frame.advance(0.0, weather(2.0), False, SHUT)
    frame.ledger = Ledger()
    other = frame.__deepcopy__({})
    other.advance(3600.0, weather(2.0), True, SHUT)
    assert other.ledger is None
    assert frame.ledger.net_j == 0.0
