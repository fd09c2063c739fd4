"""The rehearsal's sun against published positions.

Source: NREL SPA as in pvlib 0.16.1 (computed), elevation and azimuth at Greenwich (51.4779 N, 0 E) on
15 January 2025, refracted. The formula here is simpler and without refraction: 0.5° is asked of it.
Clear sky: Haurwitz (1945) with 0.057, as tabulated from pvlib's form of it.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest

from controller.rehearse.sunpath import clear_sky_w_m2, sun_at


@pytest.mark.parametrize(
    ("hour", "elevation_deg", "azimuth_deg"),
    [(9, 6.60, 136.29), (10, 12.20, 149.27), (12, 17.52, 177.68), (14, 13.64, 206.44), (15, 8.58, 219.73)],
)
def test_the_sun_over_greenwich(hour: int, elevation_deg: float, azimuth_deg: float) -> None:
    """Within half a degree, refraction included, at five hours of a January day."""
    sun = sun_at(datetime(2025, 1, 15, hour, tzinfo=UTC), 51.4779, 0.0)
    assert math.degrees(math.asin(sun.up_frac)) == pytest.approx(elevation_deg, abs=0.5)
    bearing_deg = math.degrees(math.atan2(-sun.west_frac, -sun.south_frac)) % 360
    assert bearing_deg == pytest.approx(azimuth_deg, abs=0.5)
    assert math.hypot(sun.up_frac, sun.south_frac, sun.west_frac) == pytest.approx(1.0)


def test_the_sun_over_denver() -> None:
    """Reda and Andreas (2004) table A5.1: unrefracted zenith 50.128°, azimuth 194.340°."""
    sun = sun_at(datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC), 39.742476, -105.1786)
    assert 90.0 - math.degrees(math.asin(sun.up_frac)) == pytest.approx(50.128, abs=0.3)
    assert math.degrees(math.atan2(-sun.west_frac, -sun.south_frac)) % 360 == pytest.approx(194.340, abs=0.3)


@pytest.mark.parametrize(
    ("zenith_deg", "expected_w_m2"),
    [(0, 1037.164), (30, 890.325), (60, 489.850), (75, 228.010), (85, 49.759)],
)
def test_clear_sky_by_haurwitz(zenith_deg: float, expected_w_m2: float) -> None:
    """To 0.001 W/m²; nothing below the horizon."""
    assert clear_sky_w_m2(math.cos(math.radians(zenith_deg))) == pytest.approx(expected_w_m2, abs=1e-3)
    assert clear_sky_w_m2(-0.1) == 0.0
