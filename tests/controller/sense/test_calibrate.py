"""An ice bath gives a correction only when it deserves one."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.sense.calibrate import (
    OFFSET_MAX_K,
    READINGS_NEEDED,
    SPREAD_MAX_K,
    IceFlaw,
    IcePoint,
    IceRefusal,
    find_ice_point,
)


def flaw_of(readings: list[float]) -> IceFlaw:
    result = find_ice_point(readings)
    assert isinstance(result, IceRefusal)
    assert result.remedy
    return result.flaw


def test_steady_readings_give_their_negative_mean_and_their_scatter() -> None:
    """Half the readings one step up: mean 0.28125, standard deviation half a step."""
    point = find_ice_point([0.25, 0.3125] * 10)
    assert point == IcePoint(offset_k=-0.28125, residual_k=0.03125, count=20)


def test_only_the_last_twenty_readings_count() -> None:
    """The way down from room warmth does not spoil the end."""
    assert find_ice_point([18.0, 9.0, 4.0, 1.0] + [0.125] * 20) == IcePoint(
        offset_k=-0.125, residual_k=0.0, count=20
    )


@pytest.mark.parametrize(
    ("readings", "flaw"),
    [
        ([], IceFlaw.TOO_FEW),
        ([0.0] * (READINGS_NEEDED - 1), IceFlaw.TOO_FEW),
        ([0.0, 0.1875] * 10, IceFlaw.UNSTEADY),
        ([0.125 - step * 0.0125 / 2 for step in range(20)], IceFlaw.DRIFTING),
        ([18.0 - step for step in range(20)], IceFlaw.DRIFTING),
        ([0.5625] * 20, IceFlaw.TOO_FAR_OFF),
        ([-0.5625] * 20, IceFlaw.TOO_FAR_OFF),
        ([18.5] * 20, IceFlaw.TOO_FAR_OFF),
        ([math.nan] * 20, IceFlaw.DRIFTING),
        ([0.0] * 19 + [math.inf], IceFlaw.DRIFTING),
    ],
)
def test_a_bad_bath_is_refused_with_its_reason(readings: list[float], flaw: IceFlaw) -> None:
    """Too few, scattered, still moving, or beyond the data sheet."""
    assert flaw_of(readings) is flaw


def test_the_limits_themselves_are_allowed() -> None:
    """Exactly two steps of spread, and exactly 0.5 K of offset."""
    assert isinstance(find_ice_point([0.0, SPREAD_MAX_K] * 10), IcePoint)
    assert isinstance(find_ice_point([OFFSET_MAX_K] * 20), IcePoint)
    assert isinstance(find_ice_point([-OFFSET_MAX_K] * 20), IcePoint)


def test_the_older_half_is_held_against_the_newer() -> None:
    """One step down after exactly ten of twenty is a move of a whole step."""
    assert flaw_of([0.0625] * 10 + [0.0] * 10) is IceFlaw.DRIFTING
    assert isinstance(find_ice_point([0.0625] * 2 + [0.0] * 18), IcePoint)
    assert (READINGS_NEEDED, SPREAD_MAX_K, OFFSET_MAX_K) == (20, 0.125, 0.5)


@settings(max_examples=100, deadline=None)
@given(readings=st.lists(st.integers(-12, 12).map(lambda code: code / 16), max_size=40))
def test_a_correction_never_exceeds_the_data_sheet(readings: list[float]) -> None:
    """Whatever is read, no more than 0.5 K is ever corrected, and only from steady readings."""
    point = find_ice_point(readings)
    if isinstance(point, IcePoint):
        assert abs(point.offset_k) <= OFFSET_MAX_K
        assert max(readings[-20:]) - min(readings[-20:]) <= SPREAD_MAX_K
        assert point.residual_k <= SPREAD_MAX_K / 2
