"""The rehearsal's sun against published positions.

Source: NREL SPA as in pvlib 0.16.1 (computed), elevation and azimuth at Greenwich (51.4779 N, 0 E) on
15 January 2025, refracted. The formula here is simpler and without refraction.
Clear sky: Haurwitz (1945) with 0.057, as tabulated from pvlib's form of it.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import pytest

from controller.rehearse.sunpath import clear_sky_w_m2, sun_at


@pytest.mark.parametrize(
    ("hour", "elevation_deg", "azimuth_deg"),
    [(9, 6.60, 136.29), (10, 12.20, 149.27), (12, 17.52, 177.68), (14, 13.64, 206.44), (15, 8.58, 219.73)],
)
def test_the_sun_over_greenwich(hour: int, elevation_deg: float, azimuth_deg: float) -> None:
    """Azimuth to 0.02°, elevation to what refraction lifts it, at five hours of a January day."""
    sun = sun_at(datetime(2025, 1, 15, hour, tzinfo=UTC), 51.4779, 0.0)
    assert math.degrees(math.asin(sun.up_frac)) == pytest.approx(elevation_deg, abs=0.15)
    bearing_deg = math.degrees(math.atan2(-sun.west_frac, -sun.south_frac)) % 360
    assert bearing_deg == pytest.approx(azimuth_deg, abs=0.02)
    assert math.hypot(sun.up_frac, sun.south_frac, sun.west_frac) == pytest.approx(1.0)


def test_the_sun_over_denver() -> None:
    """Reda and Andreas (2004) table A5.1: unrefracted zenith 50.128°, azimuth 194.340°."""
    sun = sun_at(datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC), 39.742476, -105.1786)
    assert 90.0 - math.degrees(math.asin(sun.up_frac)) == pytest.approx(50.127954, abs=0.02)
    assert math.degrees(math.atan2(-sun.west_frac, -sun.south_frac)) % 360 == pytest.approx(
        194.340241, abs=0.02
    )


@pytest.mark.parametrize(
    ("zenith_deg", "expected_w_m2"),
    [(0, 1037.164), (30, 890.325), (60, 489.850), (75, 228.010), (85, 49.759)],
)
def test_clear_sky_by_haurwitz(zenith_deg: float, expected_w_m2: float) -> None:
    """To 0.001 W/m²; nothing below the horizon."""
    assert clear_sky_w_m2(math.cos(math.radians(zenith_deg))) == pytest.approx(expected_w_m2, abs=1e-3)
    assert clear_sky_w_m2(-0.1) == 0.0


@pytest.mark.parametrize(
    ("month", "month_day", "sunrise_h", "sunset_h"),
    [
        (1, 15, 7 + 58 / 60 + 35 / 3600, 16 + 20 / 60 + 47 / 3600),
        (2, 15, 7 + 13 / 60 + 24 / 3600, 17 + 15 / 60 + 30 / 3600),
        (3, 20, 6 + 2 / 60 + 19 / 3600, 18 + 13 / 60 + 23 / 3600),
        (11, 15, 7 + 18 / 60 + 13 / 3600, 16 + 10 / 60 + 27 / 3600),
        (12, 21, 8 + 3 / 60 + 11 / 3600, 15 + 53 / 60 + 9 / 3600),
    ],
)
def test_sunrise_and_sunset_at_greenwich(
    month: int, month_day: int, sunrise_h: float, sunset_h: float
) -> None:
    """Upper limb with refraction (-0.8333°) by NREL SPA in pvlib 0.16.1, 2025: within two minutes."""
    day = datetime(2025, month, month_day, tzinfo=UTC)
    up_frac = math.sin(math.radians(-0.8333))
    light = [
        minute
        for minute in range(1440)
        if sun_at(day + timedelta(minutes=minute), 51.4779, 0.0).up_frac >= up_frac
    ]
    assert light[0] / 60.0 == pytest.approx(sunrise_h, abs=2 / 60)
    assert light[-1] / 60.0 == pytest.approx(sunset_h, abs=2 / 60)


@pytest.mark.parametrize(
    ("month", "month_day", "expected_wh_m2"), [(1, 15, 1345.6), (12, 21, 1048.8), (3, 20, 4558.0)]
)
def test_a_clear_day_s_sum_at_greenwich(month: int, month_day: int, expected_wh_m2: float) -> None:
    """Haurwitz over a day by the minute, refracted and with 0.059, by pvlib 0.16.1, 2025: within 3 %."""
    day = datetime(2025, month, month_day, tzinfo=UTC)
    sum_wh_m2 = sum(
        clear_sky_w_m2(sun_at(day + timedelta(minutes=minute), 51.4779, 0.0).up_frac) / 60.0
        for minute in range(1440)
    )
    assert sum_wh_m2 == pytest.approx(expected_wh_m2, rel=0.03)
