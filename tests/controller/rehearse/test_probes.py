"""Simulated probes: truth in, a board's bytes out."""

from __future__ import annotations

import statistics
from collections.abc import Mapping
from typing import Any

import pytest

from controller.rehearse.probes import (
    FaultKind,
    ProbeFault,
    ProbeNature,
    SimulatedProbes,
    unmodelled_places,
)
from controller.sense.scratchpad import RawReading, ReadFailure, Scratchpad, examine
from controller.vocabulary import FrameName, Place, ProbeId, Rejection
from tests.controller.rehearse.lab import SOUTH, example

EXACT = ProbeNature(offset_k=0.0, noise_k=0.0, lag_s=0.0)
TRUE = {"air": 3.0, "bed": 6.5, "outside": -2.25, "wall": 4.0, "cable": 20.0}


def probe_at(place: Place) -> ProbeId:
    return example().frames[SOUTH].probes[place]


def probes(nature: ProbeNature = EXACT, seed: int = 1, *faults: ProbeFault) -> SimulatedProbes:
    frames = example().frames
    ids = frames[SOUTH].probes.values()
    return SimulatedProbes(frames, seed=seed, natures=dict.fromkeys(ids, nature), faults=faults)


def shown_c(reading: RawReading) -> float:
    assert isinstance(reading, Scratchpad)
    contents = examine(reading.data)
    assert contents.flaw is None
    return contents.sixteenths / 16


def take(
    simulated: SimulatedProbes, true: Mapping[str, float] | None = None, now_s: float = 1000.0
) -> Mapping[ProbeId, RawReading]:
    simulated.take({SOUTH: true or TRUE}, 60.0, now_s)
    return simulated.latest()


def test_each_probe_feels_its_place_and_the_bytes_are_sound() -> None:
    """A perfect probe shows the truth to a sixteenth, taken at the keeper's own instant."""
    readings = take(probes(), now_s=1234.5)
    assert {place: shown_c(readings[probe_at(place)]) for place in example().frames[SOUTH].probes} == {
        Place.AIR: 3.0,
        Place.AIR_SECOND: 3.0,
        Place.BED: 6.5,
        Place.CABLE: 20.0,
        Place.OUTSIDE: -2.25,
    }
    assert {reading.taken_at_s for reading in readings.values()} == {1234.5}


def test_readings_are_rounded_to_sixteenths() -> None:
    """2.04 °C shows as 2.0625 °C, the nearest step."""
    readings = take(probes(), {**TRUE, "air": 2.04})
    assert shown_c(readings[probe_at(Place.AIR)]) == 2.0625


def test_an_offset_shifts_every_reading() -> None:
    """A probe half a kelvin wrong is half a kelvin wrong."""
    readings = take(probes(ProbeNature(offset_k=-0.5, noise_k=0.0, lag_s=0.0)))
    assert shown_c(readings[probe_at(Place.AIR)]) == 2.5


def test_noise_comes_from_the_seed_and_has_its_width() -> None:
    """The same seed draws the same noise; another seed and another probe draw other noise."""
    nature = ProbeNature(noise_k=0.2, lag_s=0.0)

    def draw(seed: int, place: Place) -> list[float]:
        simulated = probes(nature, seed)
        return [shown_c(take(simulated)[probe_at(place)]) for _ in range(400)]

    air = draw(1, Place.AIR)
    assert air == draw(1, Place.AIR)
    assert air != draw(2, Place.AIR)
    assert air != draw(1, Place.AIR_SECOND)
    assert statistics.fmean(air) == pytest.approx(3.0, abs=0.05)
    assert statistics.stdev(air) == pytest.approx(0.2, abs=0.03)


def test_a_probe_follows_with_its_lag() -> None:
    """One time constant after a step of 10 K it shows 63 % of it (first-order step response)."""
    simulated = probes(ProbeNature(noise_k=0.0, lag_s=60.0))
    take(simulated, {**TRUE, "air": 0.0})
    readings = take(simulated, {**TRUE, "air": 10.0})
    assert shown_c(readings[probe_at(Place.AIR)]) == pytest.approx(6.321, abs=1 / 16)


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        (FaultKind.CRC, Rejection.CRC),
        (FaultKind.POWER_ON, Rejection.POWER_ON),
        (FaultKind.STARVED, Rejection.STARVED),
        (FaultKind.SHORTED, Rejection.SHORTED),
        (FaultKind.SILENT, Rejection.SILENT),
    ],
)
def test_spoilt_bytes_are_spoilt_as_a_chip_spoils_them(kind: FaultKind, expected: Rejection) -> None:
    """The keeper's own examination finds the flaw."""
    fault = ProbeFault(probe=probe_at(Place.AIR), kind=kind, from_s=0.0)
    reading = take(probes(EXACT, 1, fault))[probe_at(Place.AIR)]
    assert isinstance(reading, Scratchpad)
    assert examine(reading.data).flaw is expected


@pytest.mark.parametrize(
    ("kind", "expected"), [(FaultKind.ABSENT, Rejection.ABSENT), (FaultKind.HUNG, Rejection.HUNG)]
)
def test_a_probe_without_bytes_fails_as_the_boards_reader_would_say(
    kind: FaultKind, expected: Rejection
) -> None:
    """No reading, with the reason; the other probes are not touched."""
    fault = ProbeFault(probe=probe_at(Place.AIR), kind=kind, from_s=0.0)
    readings = take(probes(EXACT, 1, fault))
    failure = readings[probe_at(Place.AIR)]
    assert isinstance(failure, ReadFailure)
    assert failure.reason is expected
    assert shown_c(readings[probe_at(Place.AIR_SECOND)]) == 3.0


def test_a_fault_holds_within_its_window_only() -> None:
    """From the second minute to before the fourth."""
    fault = ProbeFault(probe=probe_at(Place.BED), kind=FaultKind.ABSENT, from_s=120.0, until_s=240.0)
    simulated = probes(EXACT, 1, fault)
    lost = [isinstance(take(simulated)[probe_at(Place.BED)], ReadFailure) for _ in range(5)]
    assert lost == [False, True, True, False, False]


def test_a_stuck_probe_shows_what_it_showed_last_with_fresh_instants() -> None:
    """The number stands still while its conversions go on."""
    fault = ProbeFault(probe=probe_at(Place.AIR), kind=FaultKind.STUCK, from_s=120.0)
    simulated = probes(EXACT, 1, fault)
    shown = []
    for minute, air_c in enumerate((5.0, 4.0, 3.0)):
        reading = take(simulated, {**TRUE, "air": air_c}, now_s=60.0 * minute)[probe_at(Place.AIR)]
        shown.append((shown_c(reading), reading.taken_at_s))
    assert shown == [(5.0, 0.0), (5.0, 60.0), (5.0, 120.0)]


def test_a_place_that_is_not_modelled_reads_its_neighbour_and_is_named() -> None:
    """Cable reads bed; the list of such places is for people to be told."""
    frames = example().frames
    bare: dict[str, Any] = {"air": 3.0, "bed": 6.5, "outside": -2.25}
    assert shown_c(take(probes(), bare)[probe_at(Place.CABLE)]) == 6.5
    assert unmodelled_places(frames, bare) == (Place.CABLE,)
    assert unmodelled_places(frames, TRUE) == ()


def test_a_shared_outside_probe_is_read_once() -> None:
    """Two frames that share an outside probe see the same bytes, those of the first frame's outside."""
    south = example().frames[SOUTH]
    frames = {SOUTH: south, FrameName("north"): south}
    simulated = SimulatedProbes(frames, seed=1, natures=dict.fromkeys(south.probes.values(), EXACT))
    simulated.take({SOUTH: TRUE, FrameName("north"): {**TRUE, "outside": 9.0}}, 60.0, 0.0)
    assert shown_c(simulated.latest()[probe_at(Place.OUTSIDE)]) == -2.25


@pytest.mark.parametrize(
    ("bits", "step_k", "config"),
    [(9, 0.5, 0x1F), (10, 0.25, 0x3F), (11, 0.125, 0x5F), (12, 0.0625, 0x7F)],
)
def test_a_coarser_chip_shows_steps_of_its_own_and_says_so_in_its_bytes(
    bits: int, step_k: float, config: int
) -> None:
    """Steps and config byte by resolution as the DS18B20 data sheet has them (table of resolutions)."""
    nature = ProbeNature(noise_k=0.0, lag_s=0.0, resolution_bits=bits)
    for sixteenths in range(-100, 100, 7):
        true_c = sixteenths / 16 + 0.01
        reading = take(probes(nature), {**TRUE, "air": true_c})[probe_at(Place.AIR)]
        assert isinstance(reading, Scratchpad)
        assert reading.data[4] == config
        assert examine(reading.data).resolution_bits == bits
        number = int.from_bytes(reading.data[:2], "little", signed=True) / 16
        assert number == shown_c(reading)
        assert number % step_k == 0.0
        assert abs(number - true_c) <= step_k / 2


def test_a_probe_drifts_from_the_first_day_on() -> None:
    """Half a kelvin a day is a quarter of a kelvin after twelve hours."""
    simulated = probes(ProbeNature(noise_k=0.0, lag_s=0.0, drift_k_per_day=0.5))
    for _ in range(12 * 60):
        readings = take(simulated)
    assert shown_c(readings[probe_at(Place.AIR)]) == 3.25


def test_a_jump_holds_for_its_window_and_no_longer() -> None:
    """Two and a half kelvins up in the second minute, back in the fourth."""
    jump = ProbeFault(probe=probe_at(Place.AIR), kind=FaultKind.JUMP, from_s=120.0, until_s=240.0, jump_k=2.5)
    simulated = probes(EXACT, 1, jump)
    shown = [shown_c(take(simulated)[probe_at(Place.AIR)]) for _ in range(5)]
    assert shown == [3.0, 5.5, 5.5, 3.0, 3.0]


def test_a_drift_begins_at_nothing_with_its_window() -> None:
    """Six kelvins a day are a quarter of a kelvin in the hour after its start."""
    drift = ProbeFault(probe=probe_at(Place.AIR), kind=FaultKind.DRIFT, from_s=3600.0, drift_k_per_day=-6.0)
    simulated = probes(EXACT, 1, drift)
    shown = [shown_c(take(simulated)[probe_at(Place.AIR)]) for _ in range(120)]
    assert shown[:60] == [3.0] * 60
    assert shown[119] == 2.75


def test_a_stuck_probe_whose_window_is_over_follows_the_truth_again() -> None:
    """What held it lets go of it, and no shift is left behind."""
    fault = ProbeFault(probe=probe_at(Place.AIR), kind=FaultKind.STUCK, from_s=120.0, until_s=180.0)
    simulated = probes(EXACT, 1, fault)
    shown = [
        shown_c(take(simulated, {**TRUE, "air": air_c})[probe_at(Place.AIR)]) for air_c in (5.0, 4.0, 3.0)
    ]
    assert shown == [5.0, 5.0, 3.0]
