"""Sunlight of a weather point: what is given is kept, what is lacking is bounded and consistent."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.rehearse.irradiance import (
    CLOUD_UNKNOWN_TENTHS,
    Irradiance,
    beam_max_w_m2,
    cloud_by_day_tenths,
    global_under_cloud_w_m2,
    irradiance_of,
    outside_w_m2,
)
from controller.rehearse.sunpath import Direction
from controller.weatherseries import WeatherPoint

NOON = datetime(2027, 1, 20, 12, tzinfo=UTC)


def point(
    *,
    ghi: float | None = None,
    dni: float | None = None,
    dhi: float | None = None,
    cloud: float | None = None,
    dew: float | None = None,
    temp: float = 4.0,
) -> WeatherPoint:
    return WeatherPoint(NOON, temp, dew, 2.0, ghi, dni, dhi, cloud)


def sun(up_frac: float) -> Direction:
    return Direction(up_frac, math.sqrt(max(0.0, 1.0 - up_frac * up_frac)), 0.0)


def test_three_given_columns_are_taken_as_they_are() -> None:
    """Measured light needs no formula."""
    assert irradiance_of(point(ghi=300.0, dni=500.0, dhi=80.0), sun(0.4)) == Irradiance(300.0, 500.0, 80.0)


@pytest.mark.parametrize(
    ("ghi", "dni", "dhi", "expected"),
    [
        (200.0, None, 80.0, Irradiance(200.0, 300.0, 80.0)),
        (200.0, 300.0, None, Irradiance(200.0, 300.0, 80.0)),
        (None, 300.0, 80.0, Irradiance(200.0, 300.0, 80.0)),
    ],
)
def test_the_third_follows_from_two(
    ghi: float | None, dni: float | None, dhi: float | None, expected: Irradiance
) -> None:
    """Global is diffuse plus beam times the sine of its height, here 0.4."""
    light = irradiance_of(point(ghi=ghi, dni=dni, dhi=dhi), sun(0.4))
    assert tuple(light) == pytest.approx(tuple(expected))


def test_what_a_bounded_beam_loses_goes_to_the_diffuse() -> None:
    """With all three given, no more than global has; a diffuse that brings more already is kept."""
    most_w_m2 = beam_max_w_m2(0.05, outside_w_m2(1, 20))
    light = irradiance_of(point(ghi=60.0, dni=500.0, dhi=20.0), sun(0.05))
    assert light.dni_w_m2 == most_w_m2 < 300.0
    assert light.dhi_w_m2 == pytest.approx(60.0 - most_w_m2 * 0.05)
    assert irradiance_of(point(ghi=60.0, dni=500.0, dhi=55.0), sun(0.05)).dhi_w_m2 == 55.0


@pytest.mark.parametrize("up_frac", [0.02, 0.4])
def test_diffuse_or_beam_alone_outdoes_an_estimate_from_cloud(up_frac: float) -> None:
    """What was measured is kept, whatever the sky was thought to be."""
    assert irradiance_of(point(dhi=190.0, cloud=10.0), sun(up_frac)) == Irradiance(190.0, 0.0, 190.0)
    beam = irradiance_of(point(dni=100.0, cloud=10.0), sun(up_frac))
    assert beam.dni_w_m2 == pytest.approx(100.0)
    assert irradiance_of(point(dhi=90.0, cloud=0.0), sun(0.02)) == Irradiance(90.0, 0.0, 90.0)


def test_diffuse_alone_leaves_the_rest_of_the_estimate_to_the_beam() -> None:
    light = irradiance_of(point(dhi=60.0, cloud=0.0), sun(0.4))
    assert light.dhi_w_m2 == pytest.approx(60.0)
    assert light.ghi_w_m2 == pytest.approx(global_under_cloud_w_m2(0.4, 0.0))


def test_diffuse_above_global_leaves_no_beam() -> None:
    """Two meters that disagree at dawn make no negative beam; global is believed."""
    assert irradiance_of(point(ghi=20.0, dhi=25.0), sun(0.1)) == Irradiance(20.0, 0.0, 20.0)


@pytest.mark.parametrize("up_frac", [0.0, -0.01, -0.5])
def test_with_the_sun_down_all_light_is_diffuse(up_frac: float) -> None:
    """The hour of sunset has a mean above zero while the sun is already gone; otherwise it is dark."""
    assert irradiance_of(point(ghi=12.0, dni=90.0, dhi=10.0), sun(up_frac)) == Irradiance(12.0, 0.0, 12.0)
    assert irradiance_of(point(cloud=0.0), sun(up_frac)) == Irradiance(0.0, 0.0, 0.0)
    assert irradiance_of(point(ghi=-3.0), sun(up_frac)) == Irradiance(0.0, 0.0, 0.0)


def test_cloud_stands_in_for_irradiance() -> None:
    """Global follows cloud, and the beam all but goes under a closed sky."""
    clear, closed = (irradiance_of(point(cloud=cloud), sun(0.4)) for cloud in (0.0, 10.0))
    assert clear.ghi_w_m2 == pytest.approx(global_under_cloud_w_m2(0.4, 0.0))
    assert closed.ghi_w_m2 == pytest.approx(0.25 * clear.ghi_w_m2)
    assert closed.dni_w_m2 < 0.1 * clear.dni_w_m2


def test_without_cloud_dry_air_is_taken_for_a_clearer_sky() -> None:
    """The nearer the dew point, the more cloud; without a dew point a middling day."""
    depressions_k = (0.0, 3.0, 6.0, 12.0, 40.0)
    clouds_tenths = [cloud_by_day_tenths(8.0, 8.0 - each_k) for each_k in depressions_k]
    assert clouds_tenths == sorted(clouds_tenths, reverse=True)
    assert clouds_tenths[0] > 9.0
    assert clouds_tenths[-1] == 0.0
    assert cloud_by_day_tenths(8.0, None) == CLOUD_UNKNOWN_TENTHS
    estimated = irradiance_of(point(temp=8.0, dew=2.0), sun(0.4))
    assert estimated == irradiance_of(point(temp=8.0, cloud=clouds_tenths[2]), sun(0.4))


amounts = st.one_of(st.none(), st.floats(-10.0, 2000.0))


@given(
    ghi=amounts,
    dni=amounts,
    dhi=amounts,
    cloud=st.one_of(st.none(), st.floats(0.0, 10.0)),
    dew=st.one_of(st.none(), st.floats(-100.0, 40.0)),
    temp=st.floats(-90.0, 60.0),
    up_frac=st.floats(-1.0, 1.0),
)
def test_light_is_bounded_whatever_the_file_has(
    *,
    ghi: float | None,
    dni: float | None,
    dhi: float | None,
    cloud: float | None,
    dew: float | None,
    temp: float,
    up_frac: float,
) -> None:
    """Nothing negative; no beam above that of very clean air, which is nothing at the horizon."""
    weather = point(ghi=ghi, dni=dni, dhi=dhi, cloud=cloud, dew=dew, temp=temp)
    light = irradiance_of(weather, sun(up_frac))
    assert min(light) >= 0.0
    assert light.dni_w_m2 <= beam_max_w_m2(up_frac, outside_w_m2(1, 20))
    assert light.ghi_w_m2 <= 4000.0
    if None in (ghi, dni, dhi) and up_frac > 0.0:
        assert light.ghi_w_m2 == pytest.approx(light.dhi_w_m2 + light.dni_w_m2 * up_frac, abs=1e-6)
    if ghi is not None and dni is not None and dni > beam_max_w_m2(up_frac, outside_w_m2(1, 20)):
        assert light.dhi_w_m2 + light.dni_w_m2 * up_frac >= light.ghi_w_m2 - 1e-6


def test_every_day_of_a_leap_year_has_a_sun() -> None:
    """Between 1320 and 1415 W/m² outside the atmosphere on 29 February and 31 December too."""
    for month, month_day in ((1, 1), (2, 29), (6, 30), (12, 31)):
        assert 1320.0 < outside_w_m2(month, month_day) < 1415.0
