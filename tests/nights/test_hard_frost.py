"""Hard frost: a cable that is strong enough, and one that is not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from controller.rehearse.files import read_settings
from controller.vocabulary import Kind, Urgency
from tests.nights.nightlab import SOUTH, Night, broken_rules, night_weather, run_night

KEEP_ABOVE_C = 2.0


@pytest.fixture(scope="module")
def held(tmp_path_factory: pytest.TempPathFactory) -> Night:
    """Three clear nights down to -5 °C."""
    return run_night(
        tmp_path_factory.mktemp("held"), hours=72, weather=night_weather(hours=72, high_c=5.0, low_c=-5.0)
    )


@pytest.fixture(scope="module")
def overrun(tmp_path_factory: pytest.TempPathFactory) -> Night:
    """Two clear nights down to -20 °C: beyond the example's cable."""
    return run_night(
        tmp_path_factory.mktemp("overrun"),
        hours=48,
        weather=night_weather(hours=48, high_c=3.0, low_c=-20.0),
    )


def test_every_rule_of_all_nights_holds(held: Night, overrun: Night) -> None:
    """I1, I2, I3, I10 in every step, also with the relay on for most of two days."""
    assert broken_rules(held) == []
    assert broken_rules(overrun) == []


def test_an_adequate_cable_keeps_the_frame_at_its_line(held: Night) -> None:
    """True air never more than 0.5 K below keep above, on any of the three nights."""
    assert held.coldest_c() >= KEEP_ABOVE_C - 0.5
    assert min(held.outside_c) == pytest.approx(-5.0, abs=0.1)


def test_heat_is_not_wasted_either(held: Night) -> None:
    """Heat is needed (on for more than a twentieth of the time) and rests by day."""
    assert held.on_frac(24, 72) > 0.05
    assert held.on_frac(24 + 2, 24 + 5) == 0.0


def test_an_overrun_cable_goes_on_heating_with_its_rests(overrun: Night) -> None:
    """R15, R16: on for nearly all of the second night, with a rest of minutes at least every six hours."""
    assert overrun.on_frac(30, 44) > 0.95
    assert overrun.on_frac(30, 44) < 1.0


def test_frost_is_told_at_once_and_once_a_night(overrun: Night) -> None:
    """FROST, urgent, before the true air falls below 0 °C in either night; not repeated while it lasts."""
    for from_h, until_h in ((6.0, 22.0), (30.0, 46.0)):
        told_h = [hour for hour in overrun.hours_of("below_keep") if from_h < hour <= until_h]
        frost_h = [
            overrun.hours[index] for index in overrun.between(from_h, until_h) if overrun.air_c[index] < 0.0
        ]
        assert len(told_h) == 1
        assert told_h[0] < frost_h[0]
    notice = next(event for _, event in overrun.told if event.code == "below_keep")
    assert (notice.kind, notice.urgency) == (Kind.FROST, Urgency.NOW)


def test_even_then_the_heat_helps(overrun: Night) -> None:
    """The frame stays more than 7 K above the outside at the coldest hour."""
    coldest = min(range(len(overrun.hours)), key=overrun.outside_c.__getitem__)
    assert overrun.air_c[coldest] - overrun.outside_c[coldest] > 7.0


def test_a_frame_without_heat_is_told_as_one(tmp_path: Path) -> None:
    """Nobody says that it should hold a line."""
    settings = read_settings(None)
    cold = replace(settings.frames[SOUTH], heat=None)
    night = run_night(
        tmp_path,
        hours=20,
        weather=night_weather(hours=20, high_c=3.0, low_c=-9.0),
        settings=replace(settings, frames={SOUTH: cold}),
    )
    [told] = [event.text for _, event in night.told if event.code == "below_keep" and event.event == "raised"]
    assert "and has no heat" in told
    assert "should hold" not in told
