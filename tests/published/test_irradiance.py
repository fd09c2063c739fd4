"""The rehearsal's irradiance against published values.

Sources: the diffuse share of Erbs, Klein and Duffie (1982) and its split on 15 January with the sun 30°
high, as computed with pvlib 0.16.1; irradiance outside the atmosphere by Spencer (1971) as computed with
pvlib 0.16.1, and by NREL's sun-earth distance; air mass of Kasten and Young (1989).
"""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest

from controller.rehearse.irradiance import (
    beam_max_w_m2,
    diffuse_share,
    global_under_cloud_w_m2,
    irradiance_of,
    outside_w_m2,
)
from controller.rehearse.sunpath import Direction
from controller.weatherseries import WeatherPoint

JANUARY = datetime(2025, 1, 15, 12, tzinfo=UTC)
THIRTY_DEG_HIGH = Direction(0.5, math.sqrt(0.75), 0.0)


@pytest.mark.parametrize(
    ("clearness", "share"),
    [
        (0.1, 0.991),
        (0.2, 0.982),
        (0.3, 0.94860),
        (0.4, 0.83999),
        (0.5, 0.65915),
        (0.6, 0.43948),
        (0.7, 0.24398),
        (0.8, 0.16527),
        (0.85, 0.165),
    ],
)
def test_the_diffuse_share_of_erbs(clearness: float, share: float) -> None:
    """To 1e-5 over the three pieces of the correlation."""
    assert diffuse_share(clearness) == pytest.approx(share, abs=1e-5)


@pytest.mark.parametrize(
    ("ghi_w_m2", "dhi_w_m2", "dni_w_m2"), [(353.2462, 232.8423, 240.8080), (494.5447, 120.6588, 747.7718)]
)
def test_global_alone_is_split_as_published(ghi_w_m2: float, dhi_w_m2: float, dni_w_m2: float) -> None:
    """Clearness 0.5 and 0.7 on day 15 with the zenith at 60°, to 0.1 W/m² (rounded constants)."""
    weather = WeatherPoint(JANUARY, 0.0, -2.0, 1.0, ghi_w_m2, None, None, None)
    light = irradiance_of(weather, THIRTY_DEG_HIGH)
    assert light.ghi_w_m2 == ghi_w_m2
    assert light.dhi_w_m2 == pytest.approx(dhi_w_m2, abs=0.05)
    assert light.dni_w_m2 == pytest.approx(dni_w_m2, abs=0.1)


@pytest.mark.parametrize(
    ("month", "month_day", "spencer_w_m2", "nrel_w_m2"),
    [
        (1, 3, 1414.019, 1412.803),
        (3, 20, 1377.689, 1377.697),
        (6, 21, 1321.624, 1322.901),
        (12, 21, 1412.709, 1411.333),
    ],
)
def test_irradiance_outside_the_atmosphere(
    month: int, month_day: int, spencer_w_m2: float, nrel_w_m2: float
) -> None:
    """Spencer's series to 0.01 W/m², and within 0.15 % of NREL's ephemeris."""
    assert outside_w_m2(month, month_day) == pytest.approx(spencer_w_m2, abs=0.01)
    assert outside_w_m2(month, month_day) == pytest.approx(nrel_w_m2, rel=1.5e-3)


@pytest.mark.parametrize(
    ("zenith_deg", "air_mass"), [(0, 0.99971), (30, 1.15399), (60, 1.99429), (70, 2.90315), (80, 5.58604)]
)
def test_the_bound_of_the_beam_is_that_of_very_clean_air(zenith_deg: float, air_mass: float) -> None:
    """Kasten (1980), exp(-T m / (9.4 + 0.9 m)), from memory, at turbidity 2: within 5 % down to 10°."""
    expected_frac = math.exp(-2.0 * air_mass / (9.4 + 0.9 * air_mass))
    assert beam_max_w_m2(math.cos(math.radians(zenith_deg)), 1.0) == pytest.approx(expected_frac, rel=0.05)


@pytest.mark.parametrize(
    ("zenith_deg", "clear_beam_w_m2"), [(60, 816.11), (70, 692.95), (75, 588.28), (80, 427.53)]
)
def test_the_bound_of_the_beam_lies_above_a_usual_clear_sky(
    zenith_deg: float, clear_beam_w_m2: float
) -> None:
    """Ineichen's clear sky with turbidity 3 at sea level (pvlib 0.16.1) stays under it, by less than half."""
    bound_w_m2 = beam_max_w_m2(math.cos(math.radians(zenith_deg)), 1413.0)
    assert clear_beam_w_m2 < bound_w_m2 < 1.5 * clear_beam_w_m2


def test_cloud_dims_as_kasten_and_czeplak_found() -> None:
    """Overcast leaves a quarter of a clear sky's global, half cover 92.9 % (1980; formula from memory)."""
    clear_w_m2 = global_under_cloud_w_m2(0.5, 0.0)
    assert clear_w_m2 == pytest.approx(489.850, abs=1e-3)  # Haurwitz with 0.057 at a zenith of 60°
    assert global_under_cloud_w_m2(0.5, 10.0) == pytest.approx(0.25 * clear_w_m2)
    assert global_under_cloud_w_m2(0.5, 5.0) == pytest.approx((1.0 - 0.75 * 0.5**3.4) * clear_w_m2)
