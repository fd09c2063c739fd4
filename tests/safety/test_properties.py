"""Properties of the judge over any evidence: what permission implies, and that no evidence breaks it."""

from __future__ import annotations

import math
from typing import Any

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from controller.heat.interlock import judge
from controller.heat.limits import HeatLimits
from controller.heat.memory import JudgeMemory, fresh_memory, note_on
from controller.vocabulary import HeatEvidence, HeatReason, Level, Rejected, Rejection, Sample
from tests.safety.lab import evidence, limits

NOW_S = 5000.0
TEMPERATURE_C = st.floats(-60.0, 130.0) | st.sampled_from(
    [math.nan, math.inf, 24.9, 25.0, 29.9, 30.0, 59.9, 60.0]
)
TAKEN_AT_S = st.floats(NOW_S - 60.0, NOW_S + 5.0) | st.just(NOW_S)
SAMPLE = st.builds(lambda sample_c, at_s: Sample(temp_c=sample_c, taken_at_s=at_s), TEMPERATURE_C, TAKEN_AT_S)
MILD = st.floats(-5.0, 22.0).map(lambda sample_c: Sample(temp_c=sample_c, taken_at_s=NOW_S))
REJECTED = st.sampled_from(Rejection).map(lambda reason: Rejected(reason=reason, since_at_s=0.0))
READING = st.one_of(MILD, MILD, SAMPLE, REJECTED)
INPUT = st.sampled_from([None, True, False])
LIKELY = st.sampled_from([True, True, True, False])
UNLIKELY = st.sampled_from([False, False, False, True])
EVIDENCE = st.builds(
    HeatEvidence,
    now_s=st.just(NOW_S),
    heat_wanted=LIKELY,
    air=st.lists(READING, max_size=2).map(tuple),
    root=st.lists(READING, max_size=2).map(tuple),
    guard=st.none() | READING,
    cable=st.none() | READING,
    frost_likely=st.booleans(),
    commissioned=LIKELY,
    late=UNLIKELY,
    coldest_c=st.none() | st.floats(-30.0, 30.0),
    feedback_live=INPUT,
    supply_present=st.sampled_from([None, True, False]),
    cut_out_closed=st.sampled_from([None, True, True, False]),
    stop_pressed=st.sampled_from([None, False, False, True]),
)
LIMITS = st.builds(
    limits,
    cable_max_c=st.sampled_from([None, 60.0]),
    guard_required=UNLIKELY,
    blind_duty_allowed=st.booleans(),
    root_max_c=st.sampled_from([20.0, 25.0]),
)


def earned(frame: HeatLimits, *, relay_on: bool) -> JudgeMemory:
    """A memory that has earned everything by the tick before ``NOW_S``."""
    memory = fresh_memory(0.0)
    usual: dict[str, Any] = {"heat_wanted": False, "guard": 4.0 if frame.guard_required else None}
    if frame.cable_max_c is not None:
        usual["cable"] = 20.0
    for tick in range(10):
        memory, _ = judge(
            frame, memory, evidence(NOW_S - 100.0 + 10.0 * tick, **usual), relay_on=False, locked=False
        )
    return note_on(memory) if relay_on else memory


def unsound(held: HeatEvidence, stale_s: float) -> bool:
    """Anything among the readings that no probe could have given now."""
    readings = [
        *held.air,
        *held.root,
        *(reading for reading in (held.guard, held.cable) if reading is not None),
    ]
    return any(
        isinstance(reading, Sample)
        and not (-55.0 <= reading.temp_c <= 125.0 and 0.0 <= held.now_s - reading.taken_at_s <= stale_s)
        for reading in readings
    )


def warmest(readings: list[Any]) -> float:
    """Of the samples; far below everything where there is none."""
    return max((reading.temp_c for reading in readings if isinstance(reading, Sample)), default=-99.0)


@settings(max_examples=400, deadline=None)
@given(frame=LIMITS, held=EVIDENCE, relay_on=st.booleans(), locked=UNLIKELY)
def test_permission_implies_every_condition(
    frame: HeatLimits,
    held: HeatEvidence,
    relay_on: bool,  # noqa: FBT001
    locked: bool,  # noqa: FBT001
) -> None:
    """I1, I4, I10 and every cause of the rows, whatever else is in the evidence."""
    after, verdict = judge(frame, earned(frame, relay_on=relay_on), held, relay_on=relay_on, locked=locked)
    root = [*held.root, held.guard]
    seen = any(isinstance(reading, Sample) for reading in root) or (
        frame.cable_max_c is not None and isinstance(held.cable, Sample)
    )
    if verdict.heat_allowed:
        assert held.heat_wanted
        assert held.commissioned
        assert not locked
        assert not held.late
        assert not unsound(held, frame.stale_s)
        assert warmest(list(held.air)) < 30.0
        assert warmest(root) < frame.root_max_c
        assert frame.cable_max_c is None or warmest([held.cable]) < frame.cable_max_c
        assert not held.stop_pressed
        assert held.supply_present is not False
        assert held.cut_out_closed is not False
        assert seen or (frame.blind_duty_allowed and held.frost_likely)
        assert not frame.guard_required or isinstance(held.guard, Sample)
        assert relay_on or not held.feedback_live
        assert verdict.lockout_cause is None
        assert verdict.level <= Level.BLIND
        assert after.good_cycles == 3
    else:
        assert verdict.reasons
        assert verdict.level is not Level.LOCKED or verdict.reasons[0] is HeatReason.LOCKED


@settings(max_examples=200, deadline=None)
@given(frame=LIMITS, held=EVIDENCE, relay_on=st.booleans())
def test_any_unsound_reading_means_off(frame: HeatLimits, held: HeatEvidence, relay_on: bool) -> None:  # noqa: FBT001
    """I4: one is enough, wherever it stands, and a full rest is owed."""
    assume(unsound(held, frame.stale_s))
    after, verdict = judge(frame, earned(frame, relay_on=relay_on), held, relay_on=relay_on, locked=False)
    assert not verdict.heat_allowed
    assert verdict.reasons == (HeatReason.BAD_EVIDENCE,)
    assert after.rest_owed


@settings(max_examples=200, deadline=None)
@given(frame=LIMITS, held=EVIDENCE, relay_on=st.booleans(), warmer_k=st.floats(0.0, 60.0))
def test_a_warmer_reading_never_turns_a_refusal_into_a_permission(
    frame: HeatLimits,
    held: HeatEvidence,
    relay_on: bool,  # noqa: FBT001
    warmer_k: float,
) -> None:
    """Monotone in every temperature."""
    assume(not unsound(held, frame.stale_s))

    def raised(readings: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(
            reading._replace(temp_c=min(125.0, reading.temp_c + warmer_k))
            if isinstance(reading, Sample)
            else reading
            for reading in readings
        )

    warm = held._replace(
        air=raised(held.air),
        root=raised(held.root),
        guard=raised((held.guard,))[0],
        cable=raised((held.cable,))[0],
    )
    memory = earned(frame, relay_on=relay_on)
    _, cool_verdict = judge(frame, memory, held, relay_on=relay_on, locked=False)
    _, warm_verdict = judge(frame, memory, warm, relay_on=relay_on, locked=False)
    assert cool_verdict.heat_allowed or not warm_verdict.heat_allowed


@settings(max_examples=100, deadline=None)
@given(frame=LIMITS, held=EVIDENCE, relay_on=st.booleans())
def test_the_same_question_has_the_same_answer(frame: HeatLimits, held: HeatEvidence, relay_on: bool) -> None:  # noqa: FBT001
    """Pure: nothing is kept but what is handed back."""
    memory = earned(frame, relay_on=relay_on)
    first = judge(frame, memory, held, relay_on=relay_on, locked=False)
    assert judge(frame, memory, held, relay_on=relay_on, locked=False) == first
