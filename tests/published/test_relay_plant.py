"""A relay-controlled first-order plant against its closed forms, with our thermostat as the relay.

Source of the forms: any text on on-off control of a first-order lag, for example Åström and
Hägglund, "PID Controllers: Theory, Design, and Tuning" (1995), section 2 (named from memory). Time on is
tau ln((T_on - lo) / (T_on - hi)), time off tau ln((hi - T_off) / (lo - T_off)); with dead time L the
air goes on past each switching point along the same exponentials. The numbers below were worked
out from these forms apart from our code.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import pytest

from controller.heat.thermostat import (
    ON_MARGIN_K,
    ThermostatInput,
    ThermostatSettings,
    fresh_thermostat,
    step_thermostat,
)

STEP_S = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """Means over whole cycles of the settled plant."""

    on_h: float
    off_h: float
    mean_c: float
    highest_c: float
    lowest_c: float


def run(  # noqa: PLR0917  # the plant's own numbers
    tau_h: float, on_c: float, off_c: float, low_c: float, high_c: float, dead_h: float, hours: float
) -> tuple[list[float], list[bool]]:
    """Air and relay, step by step; the plant is advanced exactly over each step."""
    thermostat = ThermostatSettings(
        keep_above_c=low_c - ON_MARGIN_K,
        differential_k=high_c - low_c + ON_MARGIN_K,
        min_on_s=0.0,
        min_off_s=0.0,
        lead_s=0.0,
        leaf_allowance_k=0.0,
    )
    memory = fresh_thermostat(0.0)
    air_c, relay_on = low_c, False
    decay = math.exp(-STEP_S / 3600.0 / tau_h)
    pending = deque([False] * round(dead_h * 3600.0 / STEP_S))
    airs, relays = [], []
    for step in range(int(hours * 3600.0 / STEP_S)):
        memory, wish = step_thermostat(
            thermostat,
            memory,
            ThermostatInput(
                now_s=step * STEP_S,
                frost_c=air_c,
                bed_c=None,
                raise_k=0.0,
                blind=False,
                frost_likely=True,
                relay_on=relay_on,
            ),
        )
        relay_on = wish.heat_wanted
        pending.append(relay_on)
        aim_c = on_c if pending.popleft() else off_c
        air_c = aim_c + (air_c - aim_c) * decay
        airs.append(air_c)
        relays.append(relay_on)
    return airs, relays


def measure(airs: list[float], relays: list[bool]) -> Cycle:
    """Whole cycles of the second half, from switch-on to switch-on."""
    half = len(relays) // 2
    starts = [at for at in range(half, len(relays)) if relays[at] and not relays[at - 1]]
    first, last, cycles = starts[0], starts[-1], len(starts) - 1
    assert cycles >= 3
    span = relays[first:last]
    hours = STEP_S / 3600.0 / cycles
    return Cycle(
        on_h=sum(span) * hours,
        off_h=(len(span) - sum(span)) * hours,
        mean_c=sum(airs[first:last]) / len(span),
        highest_c=max(airs[first:last]),
        lowest_c=min(airs[first:last]),
    )


CASES = [
    ("K-1", (2.0, 14.0, -6.0, 2.0, 4.0), 0.364643, 0.446287, 0.810930, 0.449660, 2.993206, 29.596),
    ("K-2", (1.0, 10.0, -5.0, 2.0, 3.0), 0.133531, 0.133531, 0.267063, 0.500000, 2.500000, 89.866),
    ("K-3", (5.0, 12.0, -3.0, 1.0, 2.0), 0.476551, 1.115718, 1.592269, 0.299291, 1.489358, 15.073),
    ("K-4", (3.0, 20.0, 0.0, 5.0, 7.0), 0.429303, 1.009417, 1.438719, 0.298392, 5.967843, 16.682),
]


@pytest.mark.parametrize(("name", "plant", "on_h", "off_h", "period_h", "duty", "mean_c", "per_day"), CASES)
def test_period_duty_and_mean_are_those_of_the_closed_form(  # noqa: PLR0917  # one row of the table
    name: str,
    plant: tuple[float, float, float, float, float],
    on_h: float,
    off_h: float,
    period_h: float,
    duty: float,
    mean_c: float,
    per_day: float,
) -> None:
    """Each switching is at most one step of 2 s late: 1.5 steps of tolerance a time, 1 % on the rest."""
    tau_h, top_c, bottom_c, low_c, high_c = plant
    assert tau_h * math.log((top_c - low_c) / (top_c - high_c)) == pytest.approx(on_h, abs=1e-6), name
    assert tau_h * math.log((high_c - bottom_c) / (low_c - bottom_c)) == pytest.approx(off_h, abs=1e-6)
    found = measure(*run(*plant, 0.0, 12.0 * period_h))
    step_h = 1.5 * STEP_S / 3600.0
    assert found.on_h == pytest.approx(on_h, abs=2 * step_h)
    assert found.off_h == pytest.approx(off_h, abs=2 * step_h)
    assert found.on_h / (found.on_h + found.off_h) == pytest.approx(duty, rel=0.01)
    assert found.mean_c == pytest.approx(mean_c, abs=0.01)
    assert 24.0 / (found.on_h + found.off_h) == pytest.approx(per_day, rel=0.02)
    identity = (found.mean_c - bottom_c) / (top_c - bottom_c)
    assert identity == pytest.approx(found.on_h / (found.on_h + found.off_h), rel=0.003)


def test_dead_time_widens_the_swing_as_the_closed_form_says() -> None:
    """K-1 with 0.1 h of transport lag; a step of 2 s moves the peak by 0.006 K at most.

    Peak 4.487706, trough 1.609835, heating 0.528636 h, cooling 0.641524 h, period 1.170160 h.
    """
    found = measure(*run(2.0, 14.0, -6.0, 2.0, 4.0, 0.1, 14.0))
    assert found.highest_c == pytest.approx(4.487706, abs=0.008)
    assert found.lowest_c == pytest.approx(1.609835, abs=0.008)
    assert found.on_h == pytest.approx(0.528636, abs=0.003)
    assert found.off_h == pytest.approx(0.641524, abs=0.003)
    assert found.on_h / (found.on_h + found.off_h) == pytest.approx(0.451764, abs=0.002)


def test_a_heater_that_cannot_reach_the_differential_never_goes_off() -> None:
    """Not reaching: T_on at or below hi keeps the relay closed for good."""
    _, relays = run(2.0, 3.9, -6.0, 2.0, 4.0, 0.0, 60.0)
    assert all(relays)


def test_a_frame_that_never_falls_to_the_aim_never_goes_on() -> None:
    """Not reaching: T_off above lo opens the relay once and for good."""
    airs, relays = run(2.0, 14.0, 2.2, 2.0, 4.0, 0.0, 60.0)
    assert relays[0]
    off_at = relays.index(False)
    assert not any(relays[off_at:])
    assert airs[-1] == pytest.approx(2.2, abs=1e-6)


def test_a_narrow_band_has_the_duty_of_its_middle() -> None:
    """As the band narrows D tends to (T_mid - T_off) / (T_on - T_off): 0.45 for K-1."""
    found = measure(*run(2.0, 14.0, -6.0, 2.9, 3.1, 0.0, 4.0))
    assert found.on_h / (found.on_h + found.off_h) == pytest.approx(0.45, abs=0.004)


def test_a_switching_floor_keeps_the_relay_within_its_yearly_count() -> None:
    """29.6 cycles a day for 150 days are 4439 operations."""
    found = measure(*run(2.0, 14.0, -6.0, 2.0, 4.0, 0.0, 12.0))
    assert 150.0 * 24.0 / (found.on_h + found.off_h) == pytest.approx(4439.0, rel=0.02)
