"""A frosty night and then a bright day with nobody there: too warm, but no fault (fault matrix R17)."""

from __future__ import annotations

import pytest

from tests.nights.nightlab import Night, broken_rules, night_weather, run_night


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Night:
    """Heat at dawn, then a high sun on shut covers, twice."""
    return run_night(
        tmp_path_factory.mktemp("dawn"),
        hours=52,
        weather=night_weather(hours=52, high_c=6.0, low_c=-13.0, sun_w_m2=950.0),
    )


def test_the_sun_really_cooks_the_frame(night: Night) -> None:
    """Otherwise there is nothing to see here: above 30 °C inside, after heat in the night before."""
    assert max(night.air_c[index] for index in night.between(20, 28)) > 30.0
    assert night.on_frac(14, 20) > 0.1


def test_no_heat_is_on_in_the_sun(night: Night) -> None:
    """From two hours after sunrise to sunset."""
    assert night.on_frac(22, 28) == 0.0
    assert broken_rules(night) == []


def test_sun_never_locks(night: Night) -> None:
    """Not even within the hour after heat; and the next night is heated again."""
    assert all(report.lockout is None for report in night.reports)
    assert night.hours_of("lockout") == []
    assert night.on_frac(38, 44) > 0.1
