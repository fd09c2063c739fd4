"""A frame's sums."""

from __future__ import annotations

import math

import pytest

from controller.rehearse.tally import FrameTally


def fresh(keep_above_c: float | None = 2.0) -> FrameTally:
    return FrameTally(power_w=150.0, keep_above_c=keep_above_c, air_max_c=30.0)


def test_energy_is_relay_time_times_watts() -> None:
    """200 W for 7.5 h are 1.5 kWh (plain arithmetic); 150 W for 40 minutes are 100 Wh."""
    tally = FrameTally(power_w=200.0, keep_above_c=2.0, air_max_c=30.0)
    for _ in range(450):
        tally.add(60.0, 3.0, 0.0, 60.0)
    assert tally.energy_wh == pytest.approx(1500.0)
    other = fresh()
    for minute in range(60):
        other.add(60.0, 3.0, 0.0, 60.0 if minute < 40 else 0.0)
    assert other.document()["kwh"] == pytest.approx(0.1)


def test_frost_is_strictly_below_zero_and_counted_in_hours_and_kelvin_hours() -> None:
    """An hour at -2, one at 0, one at 1, one at 31: 1 h and 2 Kh of frost, 3 h below 2 °C, 1 h too warm."""
    tally = fresh()
    for air_c in (-2.0, 0.0, 1.0, 31.0):
        tally.add(3600.0, air_c, -5.0, 0.0)
    document = tally.document()
    assert (document["below_0_h"], document["below_0_kh"]) == (1.0, 2.0)
    assert (document["below_keep_h"], document["below_keep_kh"]) == (3.0, 4.0 + 2.0 + 1.0)
    assert (document["over_limit_h"], document["coldest_c"]) == (1.0, -2.0)


def test_the_limits_themselves_do_not_count() -> None:
    """Exactly at keep above is kept; exactly at the air limit is not over it."""
    tally = fresh()
    tally.add(3600.0, 2.0, 0.0, 0.0)
    tally.add(3600.0, 30.0, 0.0, 0.0)
    assert tally.document()["below_keep_h"] == 0.0
    assert tally.document()["over_limit_h"] == 0.0


def test_weak_is_a_cable_that_lets_the_air_fall_below_its_line_after_an_hour_of_heat() -> None:
    """Not within the first hour, not while the air rises again, and not with a pause in between."""
    late, rising, paused, weak = fresh(), fresh(), fresh(), fresh()
    for minute in range(120):
        falling_c = 2.5 - minute / 100
        late.add(60.0, falling_c if minute < 59 else 2.5, -5.0, 60.0)
        rising.add(60.0, 0.5 + minute / 100, -5.0, 60.0)
        paused.add(60.0, falling_c, -5.0, 0.0 if minute % 50 == 49 else 60.0)
        weak.add(60.0, falling_c, -5.0 - minute / 60, 60.0)
    assert late.weak_below_c == rising.weak_below_c == paused.weak_below_c == -math.inf
    assert weak.weak_below_c == pytest.approx(-6.0, abs=0.04)
    assert weak.heated_throughout
    assert not paused.began_below
    assert rising.began_below


def test_throughout_forgives_the_relays_own_rests_and_nothing_more() -> None:
    """Off for three minutes of two hours is throughout, for ten it is not."""
    rested, off = fresh(), fresh()
    for minute in range(120):
        rested.add(60.0, 1.0, -5.0, 60.0 if minute >= 3 else 0.0)
        off.add(60.0, 1.0, -5.0, 60.0 if minute >= 10 else 0.0)
    assert rested.heated_throughout
    assert not off.heated_throughout


def test_a_frame_without_heat_keeps_nothing() -> None:
    """Null, not zero, where there is no aim; nothing counted gives no coldest hour."""
    tally = fresh(keep_above_c=None)
    assert tally.document()["coldest_c"] is None
    tally.add(3600.0, -1.0, -1.0, 0.0)
    assert tally.document()["below_keep_h"] is None
    assert tally.document()["below_0_h"] == 1.0


def test_no_cable_is_weak_for_what_open_covers_let_in_nor_for_how_the_run_began() -> None:
    """The same cold hours: weak with the covers shut, not with them open, not from a start below the line."""
    shut, opened, begun = fresh(), fresh(), fresh()
    for minute in range(180):
        falling_c = 2.5 - minute / 100
        shut.add(60.0, falling_c, -5.0, 60.0)
        opened.add(60.0, falling_c, -5.0, 60.0, is_open=True)
        begun.add(60.0, falling_c - 1.0, -5.0, 60.0)
    assert shut.weak_below_c == -5.0
    assert opened.weak_below_c == begun.weak_below_c == -math.inf
    assert opened.open_below_keep_s == opened.below_keep_s > 0.0
    assert shut.open_below_keep_s == 0.0
    assert begun.below_keep_s == 180 * 60.0, "counted all the same"
