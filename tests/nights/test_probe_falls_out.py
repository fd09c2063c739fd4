"""Probes lost in a frosty night, one after another and all at once (fault matrix P01, P02, P04, P29)."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.rehearse.probes import FaultKind, ProbeFault
from controller.vocabulary import Kind, Level, Place, Urgency
from tests.nights.nightlab import Night, broken_rules, night_weather, probe_at, run_night

KEEP_ABOVE_C = 2.0


def lost(place: Place, from_h: float, until_h: float, kind: FaultKind = FaultKind.ABSENT) -> ProbeFault:
    return ProbeFault(probe=probe_at(place), kind=kind, from_s=from_h * 3600.0, until_s=until_h * 3600.0)


def frosty(folder: Path, *faults: ProbeFault, step_s: float = 60.0, hours: float = 24.0) -> Night:
    """One clear night down to -5 °C; hour 12 is midnight."""
    return run_night(
        folder,
        hours=hours,
        weather=night_weather(hours=hours, high_c=5.0, low_c=-5.0),
        faults=faults,
        step_s=step_s,
    )


def test_one_air_probe_lost_costs_nothing_but_a_notice(tmp_path: Path) -> None:
    """The other one rules, at a reduced level; told in the day, over when it is back; held all night."""
    night = frosty(tmp_path, lost(Place.AIR, 8, 16))
    assert broken_rules(night) == []
    assert night.coldest_c(4) >= KEEP_ABOVE_C - 0.5
    assert night.levels(8.1, 15.9) == {Level.REDUCED}
    assert night.levels(16.5, 24) == {Level.NORMAL}
    assert len(night.hours_of("probe_lost")) == len(night.hours_of("probe_lost", "cleared")) == 1
    notice = next(event for _, event in night.told if event.code == "probe_lost")
    assert (notice.kind, notice.urgency) == (Kind.FAULT, Urgency.DAY)


def test_both_air_probes_lost_leave_the_bed_to_rule_with_a_higher_aim(tmp_path: Path) -> None:
    """P02: the bed stands in with its aim raised by 1 K, and heat goes on under its limits."""
    night = frosty(tmp_path, lost(Place.AIR, 8, 20), lost(Place.AIR_SECOND, 8, 20))
    assert broken_rules(night) == []
    assert night.levels(8.2, 19.9) == {Level.REDUCED}
    raised = {night.aims_c[index] for index in night.between(8.2, 19.9)}
    assert raised == {KEEP_ABOVE_C + 1.0}
    before = {night.aims_c[index] for index in night.between(6, 7.9)}
    assert before == {KEEP_ABOVE_C}


def test_bed_and_cable_lost_leave_blind_heat_of_bounded_duty(tmp_path: Path) -> None:
    """P01: nothing near the cable is trusted, so no more than 30 % of any hour, though the air is cold."""
    night = frosty(tmp_path, lost(Place.BED, 10, 20), lost(Place.CABLE, 10, 20))
    assert broken_rules(night) == []
    assert night.levels(10.2, 19.9) == {Level.BLIND}
    for from_h in range(11, 19):
        assert night.on_frac(from_h, from_h + 1) <= 0.30 + 2 / 60
    assert night.levels(20.5, 24) == {Level.NORMAL}


@pytest.mark.parametrize("kind", [FaultKind.ABSENT, FaultKind.CRC, FaultKind.HUNG])
def test_a_dead_bus_is_one_urgent_fault_and_blind_heat(tmp_path: Path, kind: FaultKind) -> None:
    """P04: one notice for all probes, urgent; blind heat of bounded duty while the last state was cold."""
    every = [lost(place, 12, 18, kind) for place in Place if place not in (Place.WALL, Place.GUARD)]
    night = frosty(tmp_path, *every)
    assert broken_rules(night) == []
    dead = night.hours_of("bus_dead")
    assert len(dead) == 1
    assert 12.0 < dead[0] < 12.25
    assert night.hours_of("probe_lost") == []
    notice = next(event for _, event in night.told if event.code == "bus_dead")
    assert (notice.kind, notice.urgency) == (Kind.FAULT, Urgency.NOW)
    assert night.levels(12.2, 17.9) == {Level.BLIND}
    for from_h in range(13, 17):
        assert 0.1 < night.on_frac(from_h, from_h + 1) <= 0.30 + 2 / 60
    assert night.levels(19, 24) == {Level.NORMAL}


def test_a_dead_bus_stops_unbounded_heat_within_a_minute(tmp_path: Path) -> None:
    """At the board's own pace of 10 s: readings older than three periods decide nothing (I4)."""
    every = [lost(place, 11, 12) for place in Place if place not in (Place.WALL, Place.GUARD)]
    night = frosty(tmp_path, *every, step_s=10.0, hours=12)
    assert broken_rules(night) == []
    assert night.levels(11 + 60 / 3600, 11.99) == {Level.BLIND}


def test_probes_that_go_and_come_do_not_make_the_relay_chatter(tmp_path: Path) -> None:
    """P29: every probe drops out and returns in its own rhythm for hours; limits on switching hold."""
    faults = [
        lost(place, 8 + turn * (0.2 + 0.05 * rank), 8.1 + turn * (0.2 + 0.05 * rank))
        for rank, place in enumerate((Place.AIR, Place.AIR_SECOND, Place.BED, Place.CABLE, Place.OUTSIDE))
        for turn in range(30)
    ]
    night = frosty(tmp_path, *faults)
    assert broken_rules(night) == []
    assert night.coldest_c(4) > 0.0


def test_a_power_on_value_never_enters_a_decision(tmp_path: Path) -> None:
    """P07: an air probe that says 85 °C all night is not believed once; the frame is held by the other."""
    night = frosty(tmp_path, lost(Place.AIR, 6, 24, FaultKind.POWER_ON))
    assert broken_rules(night) == []
    assert night.coldest_c(4) >= KEEP_ABOVE_C - 0.5
    for readings in night.readings:
        reading = readings[Place.AIR]
        assert getattr(reading, "temp_c", 0.0) < 30.0
