"""The rehearsal's sun: a unit vector that rises in the east, on both hemispheres and in polar night."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.rehearse.sunpath import clear_sky_w_m2, sun_at

MIDWINTER = datetime(2026, 12, 21, tzinfo=UTC)


@given(
    st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1)),  # noqa: DTZ001  # the zone is put on below
    st.floats(-90.0, 90.0),
    st.floats(-180.0, 180.0),
)
def test_the_sun_is_a_direction(naive: datetime, latitude_deg: float, longitude_deg: float) -> None:
    """Of length one, anywhere and at any time."""
    sun = sun_at(naive.replace(tzinfo=UTC), latitude_deg, longitude_deg)
    assert math.hypot(*sun) == pytest.approx(1.0)


@pytest.mark.parametrize("latitude_deg", [52.0, 40.0, -45.0])
def test_it_rises_in_the_east_and_stands_towards_the_equator_at_noon(latitude_deg: float) -> None:
    """West is negative in the morning; south is positive in the north and negative in the south."""
    day = [sun_at(MIDWINTER + timedelta(minutes=10 * each), latitude_deg, 0.0) for each in range(144)]
    risen = [sun for sun in day if sun.up_frac > 0.0]
    highest = max(day)
    assert risen[0].west_frac < 0.0 < risen[-1].west_frac
    assert highest.south_frac * latitude_deg > 0.0
    assert abs(highest.west_frac) < 0.05


def test_a_polar_night_stays_dark() -> None:
    """At 69.6° N in midwinter the sun never rises, and nothing fails."""
    day = [sun_at(MIDWINTER + timedelta(minutes=10 * each), 69.6492, 18.9553) for each in range(144)]
    assert max(day).up_frac < 0.0
    assert all(clear_sky_w_m2(sun.up_frac) == 0.0 for sun in day)


def test_the_clear_sky_fades_to_nothing_without_a_step() -> None:
    """Near the horizon, where its formula would divide by nothing, there is none."""
    assert clear_sky_w_m2(0.0) == 0.0
    assert clear_sky_w_m2(0.0101) < 0.1
