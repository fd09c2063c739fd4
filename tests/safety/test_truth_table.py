"""The judge, rule by rule: values dense round each limit, each with permission on and off."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import pytest

from controller.heat.interlock import Verdict, judge, refuse
from controller.heat.limits import HeatLimits
from controller.heat.memory import JudgeMemory, fresh_memory, note_off, note_on, owe_rest
from controller.heat.running import Past
from controller.vocabulary import HeatReason, Level, LockoutCause, Sample
from tests.safety.lab import evidence, limits, lost, sample

R = HeatReason
START_S = 1000.0
UNHEATED = Past(switch_ons=(), heated_at_s=None)
"""It is known that nothing was heated before."""
PLAIN = limits()
CABLE = limits(cable_max_c=60.0)
BLIND = limits(blind_duty_allowed=True)
SURFACE = limits(guard_required=True)


@dataclass(slots=True)
class Bench:
    """A judge with a relay that obeys it at once."""

    limits: HeatLimits
    now_s: float = START_S
    relay_on: bool = False
    locked: bool = False
    memory: JudgeMemory = field(default_factory=lambda: fresh_memory(START_S, UNHEATED))

    def tick(self, *, after_s: float = 10.0, **changes: Any) -> Verdict:
        """One tick later; the relay follows the verdict."""
        self.now_s += after_s
        self.memory, verdict = judge(
            self.limits,
            self.memory,
            evidence(self.now_s, **changes),
            relay_on=self.relay_on,
            locked=self.locked,
        )
        if verdict.heat_allowed is not self.relay_on and not self.memory.rest_owed:
            self.memory = (note_on if verdict.heat_allowed else note_off)(self.memory)
        self.relay_on = verdict.heat_allowed
        return verdict

    def ticks(self, count: int, **changes: Any) -> Verdict:
        """Several ticks alike; the last verdict."""
        verdict = self.tick(**changes)
        for _ in range(count - 1):
            verdict = self.tick(**changes)
        return verdict


def ready(frame: HeatLimits = PLAIN, **changes: Any) -> Bench:
    """Rested and earned, heat not wanted yet: the next sound wish is granted."""
    bench = Bench(frame)
    bench.ticks(18, heat_wanted=False, **changes)
    return bench


def heated(frame: HeatLimits = PLAIN, **changes: Any) -> Bench:
    """Heat is on since this tick."""
    bench = ready(frame, **changes)
    assert bench.tick(**changes).heat_allowed
    return bench


def both(
    frame: HeatLimits = PLAIN, usual: dict[str, Any] | None = None, **changes: Any
) -> tuple[Verdict, Verdict]:
    """The verdict on one tick's evidence with heat off before, and with heat on before."""
    return ready(frame, **(usual or {})).tick(**changes), heated(frame, **(usual or {})).tick(**changes)


def test_a_start_owes_a_full_rest_and_three_good_cycles() -> None:
    """I3, X09: refused for 180 s from the start, for two reasons at first."""
    bench = Bench(PLAIN)
    assert bench.tick() == Verdict(heat_allowed=False, level=Level.HEAT_OFF, reasons=(R.EARNING, R.RESTING))
    assert bench.tick().reasons == (R.EARNING, R.RESTING)
    assert bench.tick() == Verdict(heat_allowed=False, level=Level.NORMAL, reasons=(R.RESTING,))
    assert bench.ticks(14).reasons == (R.RESTING,)
    assert bench.tick() == Verdict(heat_allowed=True, level=Level.NORMAL, reasons=())
    assert bench.now_s == START_S + 180.0


def test_nothing_wanted_means_off() -> None:
    """Permission is not kept from one tick to the next."""
    for verdict in both(heat_wanted=False):
        assert verdict == Verdict(heat_allowed=False, level=Level.NORMAL, reasons=(R.NOTHING_WANTED,))


HARD = [
    ({"commissioned": False}, R.NOT_COMMISSIONED),
    ({"stop_pressed": True}, R.STOP_PRESSED),
    ({"supply_present": False}, R.SUPPLY_LOST),
    ({"cut_out_closed": False}, R.CUT_OUT_OPEN),
    ({"late": True}, R.LATE),
    ({"after_s": 30.1}, R.LATE),
    ({"air": (30.0,)}, R.AIR_TOO_WARM),
    ({"root": (25.0,)}, R.ROOT_TOO_WARM),
    ({"root": (None,)}, R.NO_ROOT_READING),
    ({"root": ()}, R.NO_ROOT_READING),
]


@pytest.mark.parametrize(("changes", "reason"), HARD)
def test_each_cause_alone_is_off_at_once_and_costs_three_good_cycles(
    changes: dict[str, Any], reason: HeatReason
) -> None:
    """R12 and the rows of each cause: MIN_ON delays nothing, and permission is earned anew."""
    for verdict in both(**changes):
        assert verdict == Verdict(heat_allowed=False, level=Level.HEAT_OFF, reasons=(reason,))
    bench = ready()
    bench.tick(**changes)
    cool: dict[str, Any] = {"air": (29.4,), "root": (24.4,)}
    assert bench.tick(**cool).reasons == (R.EARNING,)
    assert bench.tick(**cool) == Verdict(heat_allowed=False, level=Level.HEAT_OFF, reasons=(R.EARNING,))
    assert bench.tick(**cool).heat_allowed


@pytest.mark.parametrize(
    "changes",
    [
        {"stop_pressed": False},
        {"supply_present": True},
        {"cut_out_closed": True},
        {"feedback_live": False},
        {"after_s": 30.0},
        {"air": (29.99,)},
        {"root": (24.99,)},
        {"air": (-20.0,), "root": (-5.0,), "coldest_c": None},
        {"frost_likely": False},
    ],
)
def test_each_input_in_order_lets_heat_pass(changes: dict[str, Any]) -> None:
    """The other side of each limit."""
    for verdict in both(**changes):
        assert verdict == Verdict(heat_allowed=True, level=Level.NORMAL, reasons=())


def test_several_causes_are_all_told_in_a_fixed_order() -> None:
    """The page shows the gravest first."""
    bench = ready(limits(guard_required=True, cable_max_c=60.0), guard=3.0)
    bench.locked = True
    verdict = bench.tick(
        heat_wanted=False,
        commissioned=False,
        stop_pressed=True,
        supply_present=False,
        cut_out_closed=False,
        late=True,
        air=(31.0,),
        root=(None,),
        guard=None,
    )
    assert verdict.reasons == (
        R.LOCKED,
        R.NOT_COMMISSIONED,
        R.STOP_PRESSED,
        R.SUPPLY_LOST,
        R.CUT_OUT_OPEN,
        R.LATE,
        R.NO_GUARD_READING,
        R.NO_ROOT_READING,
        R.NO_CABLE_READING,
        R.AIR_TOO_WARM,
        R.NOTHING_WANTED,
    )
    assert verdict.level is Level.LOCKED


def test_locked_is_refused_at_the_highest_level() -> None:
    """L4: whatever else is in order."""
    for bench in (ready(), heated()):
        bench.locked = True
        assert bench.tick() == Verdict(heat_allowed=False, level=Level.LOCKED, reasons=(R.LOCKED,))


ALL_LIMITS = [
    ("air", 30.0, R.AIR_TOO_WARM, PLAIN, {}),
    ("root", 25.0, R.ROOT_TOO_WARM, PLAIN, {}),
    ("guard", 25.0, R.ROOT_TOO_WARM, SURFACE, {"guard": 4.0}),
    ("cable", 60.0, R.CABLE_TOO_WARM, CABLE, {"cable": 20.0}),
]


def _at(place: str, reading_c: float) -> dict[str, Any]:
    return {place: (reading_c,) if place in ("air", "root") else reading_c}


@pytest.mark.parametrize(("place", "limit_c", "reason", "frame", "usual"), ALL_LIMITS)
@pytest.mark.parametrize("offset_k", [-0.51, -0.5, -0.49, -0.0625, -0.001, 0.0, 0.001, 0.0625, 4.99])
def test_heat_is_off_from_the_limit_on_and_back_half_a_kelvin_below(  # noqa: PLR0917  # one row of a table
    place: str, limit_c: float, reason: HeatReason, frame: HeatLimits, usual: dict[str, Any], offset_k: float
) -> None:
    """I1: dense round each limit, from below and from above."""
    changes = usual | _at(place, limit_c + offset_k)
    for verdict in both(frame, usual, **changes):
        assert verdict.heat_allowed is (offset_k < 0.0)
        assert (reason in verdict.reasons) is (offset_k >= 0.0)
        assert verdict.lockout_cause is None
    bench = ready(frame, **usual)
    bench.tick(**usual | _at(place, limit_c))
    assert (reason in bench.tick(**changes).reasons) is (offset_k >= -0.5)


def test_the_warmest_of_several_rules() -> None:
    """P26: the warmer of two rules for overheating, wherever it stands in the row."""
    for roots in ((4.0, 25.0), (25.0, 4.0), (4.0, 25.0, 3.0)):
        assert both(root=roots)[1].reasons == (R.ROOT_TOO_WARM,)
    for airs in ((1.0, 30.0), (30.0, 1.0)):
        assert both(air=airs)[1].reasons == (R.AIR_TOO_WARM,)
    assert both(SURFACE, {"guard": 4.0}, root=(25.0,), guard=4.0)[1].reasons == (R.ROOT_TOO_WARM,)
    assert both(root=(4.0,), guard=25.0)[1].reasons == (R.ROOT_TOO_WARM,)
    assert both(root=(), guard=4.0)[1].heat_allowed


REDUCED = [
    (PLAIN, {}, {"air": (1.0, None)}),
    (PLAIN, {}, {"air": (None,)}),
    (PLAIN, {}, {"air": ()}),
    (PLAIN, {}, {"root": (4.0, None)}),
    (PLAIN, {}, {"guard": None, "root": (4.0, None)}),
    (CABLE, {"cable": 20.0}, {"cable": None}),
    (CABLE, {"cable": 20.0}, {"cable": lost()}),
    (CABLE, {"cable": 20.0}, {"cable": 20.0, "root": (None,)}),
    (CABLE, {"cable": 20.0}, {"cable": 20.0, "root": ()}),
]


@pytest.mark.parametrize(("frame", "usual", "changes"), REDUCED[:-1])
def test_with_one_of_several_probes_lost_heat_goes_on_reduced(
    frame: HeatLimits, usual: dict[str, Any], changes: dict[str, Any]
) -> None:
    """L1: at least one of root zone and cable in sight, the air not at all if need be."""
    for verdict in both(frame, usual, **changes):
        assert verdict == Verdict(heat_allowed=True, level=Level.REDUCED, reasons=())


def test_a_frame_without_any_root_probe_goes_by_its_cable() -> None:
    """Nothing fitted is lost: not reduced."""
    for verdict in both(CABLE, {"cable": 20.0}, root=(), cable=20.0):
        assert verdict == Verdict(heat_allowed=True, level=Level.NORMAL, reasons=())


def test_a_cable_reading_without_a_limit_protects_nothing() -> None:
    """A cable probe whose limit nobody gave is not a root reading."""
    for verdict in both(root=(None,), cable=20.0):
        assert verdict.reasons == (R.NO_ROOT_READING,)
    for verdict in both(cable=99.0):
        assert verdict == Verdict(heat_allowed=True, level=Level.NORMAL, reasons=())


def test_a_lost_probe_tightens_every_limit_by_two_kelvin() -> None:
    """L1 controls on the rest with tighter limits."""
    for place, limit_c, reason, usual in (
        ("root", 23.0, R.ROOT_TOO_WARM, {"air": (1.0, None), "cable": 20.0}),
        ("air", 28.0, R.AIR_TOO_WARM, {"root": (4.0, None), "cable": 20.0}),
        ("cable", 58.0, R.CABLE_TOO_WARM, {"air": (1.0, None)}),
    ):
        lone = {"air": (limit_c, None)} if place == "air" and "root" not in usual else _at(place, limit_c)
        for verdict in both(CABLE, {"cable": 20.0}, **usual | lone):
            assert verdict.reasons == (reason,)
        just_below = _at(place, limit_c - 0.01)
        for verdict in both(CABLE, {"cable": 20.0}, **usual | just_below):
            assert verdict == Verdict(heat_allowed=True, level=Level.REDUCED, reasons=())


def test_on_the_surface_the_guard_is_the_price_of_heat() -> None:
    """Lay on the surface: with the guard lost or absent, off, blind duty or not."""
    frame = limits(guard_required=True, blind_duty_allowed=True)
    for changes in ({"guard": lost()}, {"guard": None}, {"guard": lost(), "root": (None,)}):
        for verdict in both(frame, {"guard": 4.0}, **changes):
            assert not verdict.heat_allowed
            assert verdict.reasons[0] is R.NO_GUARD_READING
            assert verdict.level is Level.HEAT_OFF


def test_a_hot_root_or_cable_stays_hot_until_seen_cool_and_hot_air_only_while_seen() -> None:
    """Rule 1: what cannot be shown to be safe is off; air is no hazard of its own."""
    frame = limits(cable_max_c=60.0, blind_duty_allowed=True)
    bench = ready(frame, cable=20.0)
    bench.tick(root=(25.0,), cable=20.0)
    assert R.ROOT_TOO_WARM in bench.ticks(5, root=(None,), cable=20.0).reasons
    assert R.ROOT_TOO_WARM not in bench.tick(root=(22.4,), cable=20.0).reasons
    bench.tick(cable=60.0)
    assert R.CABLE_TOO_WARM in bench.ticks(5, cable=None).reasons
    assert R.CABLE_TOO_WARM not in bench.tick(cable=50.0).reasons
    bench.tick(air=(30.0,), cable=20.0)
    assert R.AIR_TOO_WARM in bench.tick(air=(30.0,), cable=20.0).reasons
    assert R.AIR_TOO_WARM not in bench.tick(air=(None,), cable=20.0).reasons


# Blind duty.


def test_blind_needs_leave_and_frost() -> None:
    """P04, I1: L2 only where commissioning allowed it and frost is likely."""
    for verdict in both(root=(None,)):
        assert verdict == Verdict(heat_allowed=False, level=Level.HEAT_OFF, reasons=(R.NO_ROOT_READING,))
    for verdict in both(CABLE, {"cable": 20.0}, root=(None,), cable=None):
        assert verdict.reasons == (R.NO_ROOT_READING, R.NO_CABLE_READING)
    bench = ready(BLIND)
    assert bench.tick(root=(None,), frost_likely=False).reasons == (R.BLIND_WITHOUT_FROST, R.BLIND_DUTY_SPENT)


def test_after_a_start_the_blind_share_counts_as_spent() -> None:
    """A restart is never a way round a limit: 3600 - 1080 s pass before the first blind minute."""
    bench = Bench(BLIND)
    verdict = bench.ticks(251, root=(None,))
    assert verdict == Verdict(heat_allowed=False, level=Level.BLIND, reasons=(R.BLIND_DUTY_SPENT,))
    assert bench.tick(root=(None,)) == Verdict(heat_allowed=True, level=Level.BLIND, reasons=())
    assert bench.now_s == START_S + 3600.0 - 1080.0


def test_blind_heat_is_at_most_thirty_percent_of_any_hour() -> None:
    """DUTY_MAX, counted tick by tick over six hours of an unbroken wish."""
    bench = Bench(BLIND)
    on = [bench.tick(root=(None,)).heat_allowed for _ in range(6 * 360)]
    worst = max(sum(on[start : start + 360]) for start in range(len(on) - 360))
    assert worst == 108


def test_heat_before_the_sight_was_lost_counts_into_the_hour() -> None:
    """Twenty heated minutes, then blind: off at once."""
    bench = heated(BLIND)
    bench.ticks(110)
    verdict = bench.tick(root=(None,))
    assert verdict == Verdict(heat_allowed=False, level=Level.BLIND, reasons=(R.BLIND_DUTY_SPENT,))


def test_a_run_goes_on_blind_for_what_the_hour_still_holds() -> None:
    """Off exactly when one more tick would be too much."""
    bench = Bench(BLIND)
    bench.ticks(400, heat_wanted=False)
    assert bench.tick(root=(4.0,)).heat_allowed
    assert bench.ticks(107, root=(None,)).heat_allowed
    assert bench.tick(root=(None,)).reasons == (R.BLIND_DUTY_SPENT,)


@pytest.mark.parametrize("min_on_s", [180.0, 1200.0, 1800.0])
def test_blind_heat_does_not_wait_for_room_for_the_minimum_on_time(min_on_s: float) -> None:
    """A shortest on time beyond the hour's whole share would refuse blind heat for ever."""
    bench = Bench(limits(blind_duty_allowed=True, min_on_s=min_on_s))
    bench.ticks(400, heat_wanted=False)
    assert bench.tick(root=(None,)).heat_allowed


def test_blind_heat_does_not_start_for_less_than_three_minutes() -> None:
    """With room for 170 s no, for 180 s yes."""
    bench = Bench(BLIND)
    bench.ticks(400, heat_wanted=False)
    assert bench.tick().heat_allowed
    bench.ticks(90)  # on for 910 s when it ends, so 170 s are left
    bench.ticks(18, heat_wanted=False)
    assert bench.tick(root=(None,)).reasons == (R.BLIND_DUTY_SPENT,)
    bench = Bench(BLIND)
    bench.ticks(400, heat_wanted=False)
    assert bench.tick().heat_allowed
    bench.ticks(89)
    bench.ticks(18, heat_wanted=False)
    assert bench.tick(root=(None,)).heat_allowed


def test_a_long_tick_asks_blind_for_a_whole_tick_ahead() -> None:
    """With steps of five minutes a blind run of 18 min lasts three steps."""
    frame = limits(tick_s=300.0, blind_duty_allowed=True)
    bench = Bench(frame)
    bench.memory = fresh_memory(START_S)
    for _ in range(13):
        bench.tick(after_s=300.0, heat_wanted=False)
    on = [bench.tick(after_s=300.0, root=(None,)).heat_allowed for _ in range(5)]
    assert on == [True, True, True, False, False]


# What was hot when its probe died.


@pytest.mark.parametrize(
    ("frame", "usual", "hot", "unseen", "reason"),
    [
        (CABLE, {"cable": 20.0}, {"cable": 60.0}, {"cable": None}, R.CABLE_TOO_WARM),
        (CABLE, {"cable": 20.0}, {"root": (25.0,)}, {"root": (None,)}, R.ROOT_TOO_WARM),
        (BLIND, {}, {"root": (25.0,)}, {"root": (None,)}, R.ROOT_TOO_WARM),
    ],
)
def test_hot_and_out_of_sight_ends_after_an_hour_without_heat(
    frame: HeatLimits,
    usual: dict[str, Any],
    hot: dict[str, Any],
    unseen: dict[str, Any],
    reason: HeatReason,
) -> None:
    """P01: it has cooled for an hour; a latch that nothing can open is a night of frost."""
    lost_now = {name: lost() if name == "cable" else gone for name, gone in unseen.items()}
    bench = heated(frame, **usual)
    bench.tick(**usual | hot)
    hot_at_s = bench.now_s
    while reason in bench.tick(**usual | lost_now).reasons:
        assert bench.now_s < hot_at_s + 3600.0
    assert bench.now_s == hot_at_s + 3600.0
    bench.ticks(2, **usual | lost_now)
    assert bench.tick(**usual | lost_now).heat_allowed


@pytest.mark.parametrize("place", ["cable", "root"])
def test_hot_and_out_of_sight_stays_while_the_cable_is_live(place: str) -> None:
    """The hour without heat counts from its last sign; a cable live with its relay off is one."""
    usual: dict[str, Any] = {"cable": 20.0}
    gone: dict[str, Any] = {"cable": lost()} if place == "cable" else {"root": (None,)}
    reason = R.CABLE_TOO_WARM if place == "cable" else R.ROOT_TOO_WARM
    bench = ready(CABLE, **usual)
    bench.tick(**usual | ({"cable": 60.0} if place == "cable" else {"root": (25.0,)}))
    bench.ticks(100, **usual | gone)
    bench.tick(**usual | gone | {"feedback_live": True})
    live_at_s = bench.now_s
    while reason in bench.tick(**usual | gone).reasons:
        assert bench.now_s < live_at_s + 3600.0
    assert bench.now_s == live_at_s + 3600.0


@pytest.mark.parametrize(
    ("again", "reason"), [({"cable": 59.6}, R.CABLE_TOO_WARM), ({"root": (24.6,)}, R.ROOT_TOO_WARM)]
)
def test_hot_and_seen_stays_hot_however_long(again: dict[str, Any], reason: HeatReason) -> None:
    """Between its limit and the return margin, in sight for two hours."""
    usual: dict[str, Any] = {"cable": 20.0}
    bench = ready(CABLE, **usual)
    bench.tick(**usual | ({"cable": 60.0} if "cable" in again else {"root": (25.0,)}))
    assert all(reason in bench.tick(**usual | again).reasons for _ in range(720))


# Rests, switchings, proofs.


def test_a_rest_lasts_its_full_time() -> None:
    """MIN_OFF from the tick that ended the run."""
    bench = Bench(limits(min_off_s=240.0))
    assert bench.ticks(24).heat_allowed
    bench.tick(heat_wanted=False)
    assert bench.ticks(23) == Verdict(heat_allowed=False, level=Level.NORMAL, reasons=(R.RESTING,))
    assert bench.tick().heat_allowed


def test_six_switchings_in_any_hour() -> None:
    """CYC_H: the seventh waits until the first is an hour old."""
    bench = ready()
    first_at_s = bench.now_s + 10.0
    for _ in range(6):
        assert bench.tick().heat_allowed
        bench.ticks(18, heat_wanted=False)
    while (verdict := bench.tick()).reasons == (R.SWITCH_LIMIT,):
        assert bench.now_s < first_at_s + 3600.0
        assert verdict.level is Level.NORMAL
    assert verdict.heat_allowed
    assert bench.now_s == first_at_s + 3600.0


@pytest.mark.parametrize("on_proof_s", [600.0, 21600.0])
def test_a_long_run_ends_in_an_off_proof(on_proof_s: float) -> None:
    """I2, R15: off in time, for the rest; then heat may go on again."""
    bench = heated(limits(on_proof_s=on_proof_s))
    on_at_s = bench.now_s
    while (verdict := bench.tick()).heat_allowed:
        pass
    assert verdict == Verdict(heat_allowed=False, level=Level.NORMAL, reasons=(R.OFF_PROOF,))
    assert bench.now_s == on_at_s + on_proof_s
    assert bench.ticks(17).reasons == (R.RESTING,)
    assert bench.tick().heat_allowed


def test_with_feedback_the_cable_must_be_seen_dead_before_it_goes_on() -> None:
    """R15: the off proof is a proof; a live cable is no rest."""
    bench = ready(PLAIN)
    verdict = bench.tick(feedback_live=True)
    assert verdict.reasons == (R.OFF_PROOF,)
    assert verdict.lockout_cause is None
    assert bench.tick(feedback_live=False).heat_allowed


def test_a_relay_that_is_not_where_it_was_left_rests_from_now() -> None:
    """Neither a relay found on nor one found off goes on without a full rest."""
    for bench in (ready(), heated()):
        bench.relay_on = not bench.relay_on
        assert bench.tick().reasons == (R.RESTING,)
        assert bench.ticks(17).reasons == (R.RESTING,)
        assert bench.tick().heat_allowed


# Evidence that is not sound.


def _stale(now_s: float) -> Sample:
    return sample(4.0, now_s - 30.01)


UNSOUND: list[dict[str, Any]] = [
    {"now_s": math.nan},
    {"now_s": math.inf},
    {"now_s": -1.0},
    {"now_s": "soon"},
    {"now_s": True},
    {"now_s": None},
    {"heat_wanted": 1},
    {"heat_wanted": None},
    {"frost_likely": 1},
    {"commissioned": 1},
    {"late": 0},
    {"late": None},
    {"coldest_c": math.nan},
    {"coldest_c": -math.inf},
    {"coldest_c": "cold"},
    {"coldest_c": True},
    {"feedback_live": 0},
    {"supply_present": 1},
    {"cut_out_closed": "yes"},
    {"stop_pressed": 0},
    {"air": (math.nan,)},
    {"air": (1.0, math.inf)},
    {"air": (-55.01,)},
    {"air": (125.01,)},
    {"root": (math.nan,)},
    {"root": (4.0, -math.inf)},
    {"root": (125.01,)},
    {"guard": math.nan},
    {"cable": math.nan},
    {"cable": 125.01},
    {"cable": -55.01},
]


@pytest.mark.parametrize("changes", UNSOUND)
@pytest.mark.parametrize("frame", [PLAIN, CABLE])
def test_unsound_evidence_is_off_and_owes_everything(changes: dict[str, Any], frame: HeatLimits) -> None:
    """I4: NaN, infinity, a wrong type or a number no probe can give."""
    for bench in (ready(frame), heated(frame)):
        bad = evidence(bench.now_s + 10.0)._replace(**_as_evidence(changes, bench.now_s + 10.0))
        memory, verdict = judge(frame, bench.memory, bad, relay_on=bench.relay_on, locked=False)
        assert verdict == Verdict(heat_allowed=False, level=Level.HEAT_OFF, reasons=(R.BAD_EVIDENCE,))
        assert memory == owe_rest(bench.memory)
        _, verdict = judge(frame, bench.memory, bad, relay_on=bench.relay_on, locked=True)
        assert verdict == Verdict(heat_allowed=False, level=Level.LOCKED, reasons=(R.LOCKED, R.BAD_EVIDENCE))


def _as_evidence(changes: dict[str, Any], now_s: float) -> dict[str, Any]:
    """Numbers among readings become fresh samples; the rest stays as wrong as it is."""
    made = dict(changes)
    for name in ("air", "root"):
        if name in made:
            made[name] = tuple(sample(entry, now_s) for entry in made[name])
    for name in ("guard", "cable"):
        if name in made:
            made[name] = sample(made[name], now_s)
    return made


@pytest.mark.parametrize("place", ["air", "root", "guard", "cable"])
def test_a_sample_counts_from_no_older_than_the_limit_to_now(place: str) -> None:
    """I4: T_STALE and no earlier, this instant and no later, and nothing from before the clock."""
    bench = ready(CABLE)
    now_s = bench.now_s + 10.0
    for taken_at_s, sound in (
        (now_s - 30.01, False),
        (now_s - 30.0, True),
        (now_s, True),
        (now_s + 0.001, False),
        (math.nan, False),
        ("now", False),
        (True, False),
    ):
        reading = Sample(temp_c=4.0, taken_at_s=taken_at_s)  # type: ignore[arg-type]
        held = {place: (reading,) if place in ("air", "root") else reading}
        _, verdict = judge(CABLE, bench.memory, evidence(now_s, **held), relay_on=False, locked=False)
        assert (R.BAD_EVIDENCE not in verdict.reasons) is sound, taken_at_s
    for wrong in ("4.0", True, None):
        reading = Sample(temp_c=wrong, taken_at_s=now_s)  # type: ignore[arg-type]
        held = {place: (reading,) if place in ("air", "root") else reading}
        _, verdict = judge(CABLE, bench.memory, evidence(now_s, **held), relay_on=False, locked=False)
        assert verdict.reasons == (R.BAD_EVIDENCE,)


def test_a_sample_from_before_the_clock_began_is_unsound() -> None:
    """Near zero of the monotonic clock an age alone would pass."""
    memory = fresh_memory(0.0)
    for taken_at_s, sound in ((-0.001, False), (0.0, True)):
        held = evidence(10.0, root=(Sample(temp_c=4.0, taken_at_s=taken_at_s),))
        _, verdict = judge(PLAIN, memory, held, relay_on=False, locked=False)
        assert (R.BAD_EVIDENCE not in verdict.reasons) is sound
    _, verdict = judge(PLAIN, memory, evidence(0.0), relay_on=False, locked=False)
    assert R.BAD_EVIDENCE not in verdict.reasons


def test_whole_numbers_and_the_edges_of_the_probe_are_sound() -> None:
    """An int is a number; -55 and 125 °C are within the data sheet."""
    for reading_c in (4, -55.0, 24):
        for verdict in both(root=(reading_c,), air=(-55.0,)):
            assert verdict.heat_allowed
    for verdict in both(CABLE, {"cable": 20.0}, cable=125.0):
        assert R.CABLE_TOO_WARM in verdict.reasons
        assert R.BAD_EVIDENCE not in verdict.reasons


@pytest.mark.parametrize("name", ["air", "root"])
def test_readings_that_are_no_tuple_or_hold_a_stranger_are_unsound(name: str) -> None:
    """A list could change under the judge's eyes; a bare number has no age."""
    bench = ready()
    now_s = bench.now_s + 10.0
    for wrong in ([sample(4.0, now_s)], (4.0,), (None,), None, 4.0):
        held = evidence(now_s)._replace(**{name: wrong})  # type: ignore[arg-type]
        _, verdict = judge(PLAIN, bench.memory, held, relay_on=False, locked=False)
        assert verdict.reasons == (R.BAD_EVIDENCE,)


def test_time_that_runs_backwards_is_unsound_and_time_that_stands_is_not() -> None:
    """The monotonic clock of a board cannot do it; a caller's mistake can."""
    bench = heated()
    _, verdict = judge(PLAIN, bench.memory, evidence(bench.now_s - 0.001), relay_on=True, locked=False)
    assert verdict.reasons == (R.BAD_EVIDENCE,)
    _, verdict = judge(PLAIN, bench.memory, evidence(bench.now_s), relay_on=True, locked=False)
    assert verdict.heat_allowed


def test_after_unsound_evidence_a_rest_starts_at_the_next_sound_tick() -> None:
    """However long it lasted, and three good cycles with it."""
    for bench in (ready(), heated()):
        bench.tick(air=(math.nan,))
        bench.ticks(3, air=(math.nan,))
        assert bench.tick(after_s=10.0).reasons == (R.LATE, R.RESTING)
        assert bench.ticks(2).reasons == (R.EARNING, R.RESTING)
        assert bench.tick().reasons == (R.RESTING,)
        assert bench.ticks(14).reasons == (R.RESTING,)
        assert bench.tick().heat_allowed


def test_refusing_outright_gives_the_same_verdict_as_unsound_evidence() -> None:
    """For the gate, when there is no evidence at all."""
    memory = fresh_memory(START_S)
    owed, verdict = refuse(memory, locked=False)
    assert owed == owe_rest(memory)
    assert owed.rest_owed
    assert verdict == Verdict(heat_allowed=False, level=Level.HEAT_OFF, reasons=(R.BAD_EVIDENCE,))
    _, verdict = refuse(memory, locked=True)
    assert verdict == Verdict(heat_allowed=False, level=Level.LOCKED, reasons=(R.LOCKED, R.BAD_EVIDENCE))


def test_owing_a_rest_forgets_nothing_else() -> None:
    """What locks must survive a bad tick."""
    bench = heated(CABLE, cable=20.0)
    bench.ticks(3, cable=20.0, feedback_live=True, supply_present=False)
    memory = bench.memory
    assert owe_rest(memory) == memory._replace(good_cycles=0, rest_owed=True)


# Lockouts.


@pytest.mark.parametrize(
    ("place", "frame", "usual", "limit_c", "cause", "detail"),
    [
        ("root", PLAIN, {}, 25.0, LockoutCause.OVERHEATED_ROOT, "root zone at 30.0 °C, limit 25.0 °C"),
        (
            "guard",
            SURFACE,
            {"guard": 4.0},
            25.0,
            LockoutCause.OVERHEATED_ROOT,
            "root zone at 30.0 °C, limit 25.0 °C",
        ),
        (
            "cable",
            CABLE,
            {"cable": 20.0},
            60.0,
            LockoutCause.OVERHEATED_CABLE,
            "cable at 65.0 °C, limit 60.0 °C",
        ),
    ],
)
def test_five_kelvin_past_its_limit_root_and_cable_lock_if_heated_within_the_hour(  # noqa: PLR0917  # one row of a table
    place: str, frame: HeatLimits, usual: dict[str, Any], limit_c: float, cause: LockoutCause, detail: str
) -> None:
    """Amendments, SOIL_MAX + 5; R17: sun alone never locks."""
    hot = usual | _at(place, limit_c + 5.0)
    bench = heated(frame, **usual)
    verdict = bench.tick(**hot)
    assert (verdict.lockout_cause, verdict.lockout_detail) == (cause, detail)
    assert verdict.level is Level.LOCKED
    assert verdict.reasons[0] is R.LOCKED
    assert heated(frame, **usual).tick(**usual | _at(place, limit_c + 4.99)).lockout_cause is None
    assert ready(frame, **usual).tick(**hot).lockout_cause is None
    for rest_s, locks in ((3600.0, True), (3600.1, False)):
        bench = heated(frame, **usual)
        bench.tick(heat_wanted=False, **usual)
        assert (bench.tick(after_s=rest_s, **hot).lockout_cause is cause) is locks
    lone = ready(frame, **usual)
    assert lone.tick(**usual | {"feedback_live": True}).lockout_cause is None
    assert lone.tick(**hot).lockout_cause is cause


def test_a_tightened_limit_does_not_lock_sooner() -> None:
    """A lost second air probe is no sign of heat."""
    assert heated().tick(root=(29.9,), air=(1.0, None)).lockout_cause is None
    assert heated().tick(root=(30.0,), air=(1.0, None)).lockout_cause is LockoutCause.OVERHEATED_ROOT


def test_air_never_locks() -> None:
    """A shut frame in morning sun after a heated night."""
    verdict = heated().tick(air=(60.0,))
    assert verdict == Verdict(heat_allowed=False, level=Level.HEAT_OFF, reasons=(R.AIR_TOO_WARM,))


def test_a_cable_live_with_its_relay_off_locks_after_the_lag() -> None:
    """R01, R21: one reading is a spike or a slow relay, a second one is a weld."""
    bench = heated(feedback_live=False)
    bench.tick(feedback_live=True)
    assert bench.tick(heat_wanted=False, feedback_live=True).lockout_cause is None
    assert bench.tick(heat_wanted=False, feedback_live=True).lockout_cause is None
    verdict = bench.tick(heat_wanted=False, feedback_live=True)
    assert verdict.lockout_cause is LockoutCause.LIVE_WHEN_OFF
    assert verdict.lockout_detail == "cable live for 10 s, relay off"
    assert verdict.reasons == (R.LOCKED, R.RESTING, R.OFF_PROOF, R.NOTHING_WANTED)


def test_spikes_apart_never_add_up_to_a_weld() -> None:
    """The count starts anew when the cable reads dead."""
    bench = ready()
    for _ in range(5):
        assert bench.tick(heat_wanted=False, feedback_live=True).lockout_cause is None
        assert bench.tick(heat_wanted=False, feedback_live=False).lockout_cause is None


def test_wrong_polarity_is_found_at_the_start() -> None:
    """R09: live though never commanded."""
    bench = Bench(PLAIN)
    assert bench.tick(feedback_live=True).lockout_cause is None
    assert bench.tick(feedback_live=True).lockout_cause is LockoutCause.LIVE_WHEN_OFF


def test_a_long_tick_gives_the_relay_two_ticks() -> None:
    """Loop-derived limits scale in rehearsal."""
    bench = Bench(limits(tick_s=60.0))
    for _ in range(2):
        assert bench.tick(after_s=60.0, feedback_live=True).lockout_cause is None
    assert bench.tick(after_s=60.0, feedback_live=True).lockout_cause is LockoutCause.LIVE_WHEN_OFF


def test_a_cut_out_that_stays_open_locks() -> None:
    """R06: off at first sight, locked at the second."""
    for bench in (ready(), heated()):
        verdict = bench.tick(cut_out_closed=False)
        assert verdict == Verdict(heat_allowed=False, level=Level.HEAT_OFF, reasons=(R.CUT_OUT_OPEN,))
        bench.tick(cut_out_closed=True)
        assert bench.tick(cut_out_closed=False).lockout_cause is None
        verdict = bench.tick(cut_out_closed=False)
        assert verdict.lockout_cause is LockoutCause.CUT_OUT_OPENED
        assert verdict.lockout_detail == "cut-out open for 10 s"
        assert verdict.level is Level.LOCKED


def test_the_gravest_of_several_lockouts_is_told() -> None:
    """Live when off, then cable, then root zone, then cut-out."""
    everything: dict[str, Any] = {"cable": 70.0, "root": (31.0,), "cut_out_closed": False}
    bench = ready(CABLE, cable=20.0)
    bench.tick(feedback_live=True, **everything)
    assert bench.tick(feedback_live=True, **everything).lockout_cause is LockoutCause.LIVE_WHEN_OFF
    assert bench.tick(feedback_live=False, **everything).lockout_cause is LockoutCause.OVERHEATED_CABLE
    everything["cable"] = 20.0
    assert bench.tick(feedback_live=False, **everything).lockout_cause is LockoutCause.OVERHEATED_ROOT
    everything["root"] = (20.0,)
    assert bench.tick(feedback_live=False, **everything).lockout_cause is LockoutCause.CUT_OUT_OPENED


# No answer from the cable.


def test_three_spaced_tries_then_one_each_hour() -> None:
    """R02, R03, R05: never a lockout, told all the while."""
    bench = ready(feedback_live=False)
    for _ in range(3):
        assert bench.tick(feedback_live=False).heat_allowed
        assert bench.ticks(5, feedback_live=False).heat_allowed
        verdict = bench.tick(feedback_live=False)
        assert verdict == Verdict(heat_allowed=False, level=Level.HEAT_OFF, reasons=(R.NO_RESPONSE,))
        bench.ticks(17, feedback_live=False)
    given_up_at_s = bench.now_s - 170.0
    assert bench.tick(feedback_live=False).reasons == (R.NO_RESPONSE,)
    while (verdict := bench.tick(feedback_live=False)).reasons == (R.NO_RESPONSE,):
        assert bench.now_s <= given_up_at_s + 3600.0
    assert bench.now_s == given_up_at_s + 3610.0
    assert verdict.reasons == (R.EARNING, R.NO_RESPONSE)
    bench.tick(feedback_live=False)
    verdict = bench.tick(feedback_live=False)
    assert verdict == Verdict(heat_allowed=True, level=Level.REDUCED, reasons=(R.NO_RESPONSE,))
    bench.ticks(5, feedback_live=False)
    assert bench.tick(feedback_live=False).reasons == (R.NO_RESPONSE,)
    assert bench.ticks(300, feedback_live=False).reasons == (R.NO_RESPONSE,)


def test_between_the_first_tries_the_rest_is_told_with_the_missing_answer() -> None:
    """The notice must not come and go."""
    bench = heated(feedback_live=False)
    bench.ticks(6, feedback_live=False)
    assert bench.tick(feedback_live=False).reasons == (R.EARNING, R.RESTING, R.NO_RESPONSE)
    assert bench.ticks(16, feedback_live=False) == Verdict(
        heat_allowed=False, level=Level.REDUCED, reasons=(R.RESTING, R.NO_RESPONSE)
    )
    assert bench.tick(feedback_live=False) == Verdict(
        heat_allowed=True, level=Level.REDUCED, reasons=(R.NO_RESPONSE,)
    )
    assert bench.tick(feedback_live=True) == Verdict(heat_allowed=True, level=Level.NORMAL, reasons=())


def test_an_answer_in_time_is_no_try() -> None:
    """Feedback live at the last moment, and once lost again the time starts anew."""
    bench = heated(feedback_live=False)
    bench.ticks(5, feedback_live=False)
    assert bench.tick(feedback_live=True).heat_allowed
    assert bench.ticks(5, feedback_live=False).heat_allowed
    verdict = bench.tick(feedback_live=False)
    assert verdict.reasons == (R.NO_RESPONSE,)
    assert bench.memory.watch.tries == 1


def test_supply_that_comes_back_ends_the_long_wait() -> None:
    """R05: one breaker thrown is one new chance; a supply that was never lost is none."""
    bench = ready(feedback_live=False)
    for _ in range(3):
        bench.ticks(25, feedback_live=False)
    assert bench.tick(feedback_live=False, supply_present=True).reasons == (R.NO_RESPONSE,)
    assert bench.tick(feedback_live=False, supply_present=False).reasons == (R.SUPPLY_LOST, R.NO_RESPONSE)
    assert bench.tick(feedback_live=False).reasons == (R.NO_RESPONSE,)
    bench.tick(feedback_live=False, supply_present=False)
    assert bench.tick(feedback_live=False, supply_present=True).reasons == (R.EARNING,)
    assert bench.ticks(2, feedback_live=False, supply_present=True).heat_allowed


def test_without_feedback_there_is_no_answer_to_miss() -> None:
    """None means not fitted."""
    assert heated().ticks(100).heat_allowed
