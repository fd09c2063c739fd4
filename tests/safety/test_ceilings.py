"""The hard ceilings, pinned number by number: loosening one must be a decision, seen in a test."""

from __future__ import annotations

import math

import pytest

from controller.heat import limits as ceilings
from controller.heat.limits import HeatLimits, make_limits
from controller.heat.line import KEEP_AGAIN_TICKS
from controller.heat.relays import RelayGate

PINNED = {
    "AIR_CEILING_C": 30.0,
    "ROOT_CEILING_C": 25.0,
    "CABLE_CEILING_C": 80.0,
    "COOLER_BY_K": 0.5,
    "TIGHTER_K": 2.0,
    "LOCK_ABOVE_K": 5.0,
    "HEAT_MEMORY_S": 3600.0,
    "MIN_ON_FLOOR_S": 180.0,
    "MIN_OFF_FLOOR_S": 180.0,
    "HOUR_S": 3600.0,
    "SWITCHES_PER_H": 6,
    "ON_PROOF_CEILING_S": 21600.0,
    "BLIND_DUTY": 0.30,
    "BLIND_HOUR_S": 1080.0,
    "BLIND_RUN_S": 180.0,
    "GOOD_CYCLES": 3,
    "STALE_INTERVALS": 3.0,
    "LATE_TICKS": 3.0,
    "FEEDBACK_LAG_S": 10.0,
    "FEEDBACK_ON_S": 60.0,
    "RESPONSE_TRIES": 3,
    "RESPONSE_WAIT_S": 3600.0,
    "TICK_CEILING_S": 300.0,
    "PROBE_COLDEST_C": -55.0,
    "PROBE_WARMEST_C": 125.0,
}


def test_every_ceiling_is_pinned_and_stands_at_its_number() -> None:
    """Fault-matrix limits; DS18B20 data sheet for the probe's range."""
    found = {name: number for name, number in vars(ceilings).items() if name.isupper() and name[0] != "_"}
    assert found == PINNED


def test_an_unwritten_lockout_is_tried_again_within_a_minute() -> None:
    """Six ticks of ten seconds."""
    assert KEEP_AGAIN_TICKS == 6


def test_defaults_are_the_ceilings_themselves() -> None:
    """Whoever says nothing gets the loosest that is allowed, and a ten-second loop's timings."""
    assert make_limits(tick_s=10.0) == HeatLimits(
        tick_s=10.0,
        air_max_c=30.0,
        root_max_c=25.0,
        cable_max_c=None,
        min_on_s=180.0,
        min_off_s=180.0,
        on_proof_s=21600.0,
        stale_s=30.0,
        feedback_lag_s=10.0,
        feedback_on_s=60.0,
        guard_required=False,
        blind_duty_allowed=False,
    )
    assert make_limits(tick_s=10.0).late_s == 30.0


@pytest.mark.parametrize(
    ("tick_s", "stale_s", "lag_s", "on_s"),
    [
        (2.0, 6.0, 10.0, 60.0),
        (10.0, 30.0, 10.0, 60.0),
        (20.0, 60.0, 40.0, 60.0),
        (60.0, 180.0, 120.0, 120.0),
    ],
)
def test_only_what_counts_ticks_grows_with_a_long_tick(
    tick_s: float, stale_s: float, lag_s: float, on_s: float
) -> None:
    """A rehearsal's step stretches staleness and feedback, and no temperature or rest."""
    made = make_limits(tick_s=tick_s)
    assert (made.stale_s, made.feedback_lag_s, made.feedback_on_s) == (stale_s, lag_s, on_s)
    assert (made.min_off_s, made.root_max_c, made.on_proof_s) == (180.0, 25.0, 21600.0)


def test_there_is_no_way_to_order_heat_on() -> None:
    """The whole way to a pin is apply and all_off; close ends it."""
    public = {name for name in dir(RelayGate) if not name.startswith("_")}
    assert public == {"apply", "all_off", "close"}


JUST_BEYOND = [
    ("tick_s", 0.09),
    ("tick_s", 300.1),
    ("air_max_c", 30.01),
    ("air_max_c", -0.01),
    ("root_max_c", 25.01),
    ("root_max_c", -0.01),
    ("cable_max_c", 80.01),
    ("cable_max_c", -0.01),
    ("min_on_s", 179.9),
    ("min_on_s", 3600.1),
    ("min_off_s", 179.9),
    ("min_off_s", 3600.1),
    ("on_proof_s", 21600.1),
    ("on_proof_s", 179.9),
    ("stale_s", 9.9),
    ("stale_s", 900.1),
    ("feedback_lag_s", 9.9),
    ("feedback_lag_s", 600.1),
    ("feedback_on_s", 59.9),
    ("feedback_on_s", 600.1),
]


def _fields(**changes: object) -> dict[str, object]:
    plain = make_limits(tick_s=10.0)
    return {name: getattr(plain, name) for name in HeatLimits.__dataclass_fields__} | changes


@pytest.mark.parametrize(("name", "number"), JUST_BEYOND)
def test_a_looser_limit_is_refused_not_clamped(name: str, number: float) -> None:
    """G13: clamping is not enough; NaN, infinity, text and bools are outside every bound."""
    for wrong in (number, math.nan, math.inf, -math.inf, "80", True):
        with pytest.raises(ValueError, match=f"^{name}: "):
            HeatLimits(**_fields(**{name: wrong}))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("name", "number"),
    [
        ("tick_s", 0.1),
        ("air_max_c", 30.0),
        ("air_max_c", 0),
        ("root_max_c", 25.0),
        ("root_max_c", 0),
        ("cable_max_c", 80.0),
        ("cable_max_c", 0.0),
        ("min_on_s", 180.0),
        ("min_on_s", 3600.0),
        ("min_off_s", 3600.0),
        ("on_proof_s", 180.0),
        ("on_proof_s", 21600.0),
        ("stale_s", 10.0),
        ("stale_s", 900.0),
        ("feedback_lag_s", 600.0),
        ("feedback_on_s", 600.0),
    ],
)
def test_a_limit_at_its_bound_is_taken(name: str, number: float) -> None:
    """Bounds belong to what is allowed."""
    assert getattr(HeatLimits(**_fields(**{name: number})), name) == number  # type: ignore[arg-type]


def test_the_longest_tick_still_makes_limits() -> None:
    """Five minutes a step is the coarsest rehearsal."""
    assert make_limits(tick_s=300.0).stale_s == 900.0


@pytest.mark.parametrize("name", ["guard_required", "blind_duty_allowed"])
def test_a_flag_must_be_a_bool(name: str) -> None:
    """``1`` and ``None`` say nothing certain."""
    for wrong in (1, None, "yes"):
        with pytest.raises(ValueError, match=f"^{name}: must be true or false$"):
            HeatLimits(**_fields(**{name: wrong}))  # type: ignore[arg-type]


def test_the_refusal_says_what_would_be_right() -> None:
    """The text names the limit, what was asked and the bounds."""
    with pytest.raises(ValueError, match=r"^root_max_c: 26\.0 is outside 0 to 25$"):
        make_limits(tick_s=10.0, root_max_c=26.0)
