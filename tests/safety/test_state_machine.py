"""A state machine over the real gate, biased to long cold spells, so that heat is really earned."""

from __future__ import annotations

from random import Random
from typing import Any

import pytest
from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    precondition,
    rule,
    run_state_machine_as_test,
)

from controller.heat.limits import HeatLimits
from controller.heat.thermostat import ThermostatInput, ThermostatSettings, fresh_thermostat, step_thermostat
from controller.vocabulary import HeatReport
from tests.safety.checker import Broken, Watchman
from tests.safety.lab import SOUTH, FakePin, FakeSwitchings, GateLab, evidence, limits, lost, sample
from tests.safety.test_planted_faults import PLANTS

FRAMES = {
    "plain": limits(on_proof_s=1800.0),
    "cable": limits(cable_max_c=60.0, on_proof_s=2400.0, blind_duty_allowed=True),
    "blind": limits(blind_duty_allowed=True, min_off_s=240.0),
    "surface": limits(guard_required=True, on_proof_s=3600.0, blind_duty_allowed=True),
}
USUAL: dict[str, dict[str, Any]] = {
    "plain": {},
    "cable": {"cable": 20.0},
    "blind": {},
    "surface": {"guard": 4.0},
}

THERMOSTAT = ThermostatSettings(
    keep_above_c=2.0,
    differential_k=1.0,
    min_on_s=180.0,
    min_off_s=180.0,
    lead_s=1800.0,
    leaf_allowance_k=0.0,
)

ROOT_C = st.sampled_from([-2.0, 4.0, 22.9, 23.0, 24.4, 24.5, 24.9999, 25.0, 25.1, 29.9, 30.0, 31.0])
AIR_C = st.sampled_from([-8.0, 1.0, 27.9, 28.0, 29.5, 29.9999, 30.0, 35.0, 40.0])
CABLE_C = st.sampled_from([10.0, 57.9, 58.0, 59.4, 59.9999, 60.0, 64.9, 65.0])
LOST = st.just(None)
ODD = st.sampled_from([float("nan"), float("inf"), -60.0, 130.0])


class GateMachine(RuleBasedStateMachine):
    """Every step is one or many ticks, each seen by the watchman."""

    @initialize(kind=st.sampled_from(sorted(FRAMES)), isolating=st.booleans())
    def start(self, kind: str, isolating: bool) -> None:  # noqa: FBT001  # drawn
        """One frame of some kind."""
        self.kind = kind
        self.lab = GateLab({SOUTH: FRAMES[kind]}, isolating=isolating, switchings=FakeSwitchings())
        self.limits: HeatLimits = FRAMES[kind]
        self.watchman = Watchman(self.limits, self.lab.now_s)
        self.report: HeatReport | None = None

    def tick(self, *, after_s: float = 10.0, free_wish: bool = True, **changes: Any) -> None:
        """One tick; only a wish of the thermostat's is no free one."""
        self.lab.now_s += after_s
        held = evidence(self.lab.now_s, **{**USUAL[self.kind], **changes})
        self.report = self.lab.gate.apply({SOUTH: held})[SOUTH]
        self.watchman.step(held, self.report, pin_on=self.pin.level, free_wish=free_wish)

    @property
    def pin(self) -> FakePin:
        """The frame's heat relay."""
        return self.lab.heat[SOUTH]

    @rule(count=st.integers(20, 400))
    def long_cold_spell(self, count: int) -> None:
        """Hours in which everything is in order and heat is wanted."""
        for _ in range(count):
            self.tick()

    @rule(count=st.integers(1, 40))
    def mild_spell(self, count: int) -> None:
        """Nothing wanted."""
        for _ in range(count):
            self.tick(heat_wanted=False)

    @rule(count=st.integers(20, 400), frost=st.booleans())
    def blind_spell(self, count: int, frost: bool) -> None:  # noqa: FBT001  # drawn
        """Root zone and cable out of sight."""
        cable = None if self.kind != "cable" else lost()
        for _ in range(count):
            self.tick(root=(None,), cable=cable, frost_likely=frost)

    @rule(period=st.integers(1, 40), rounds=st.integers(1, 12))
    def flickering_wish(self, period: int, rounds: int) -> None:
        """R11: chatter asked for."""
        for _ in range(rounds):
            for _ in range(period):
                self.tick()
            self.tick(heat_wanted=False)

    @rule(seed=st.integers(0, 999), jumps=st.integers(5, 80), held=st.integers(1, 10))
    def kept_by_the_thermostat(self, seed: int, jumps: int, held: int) -> None:
        """Air that jumps about: the thermostat's own wish keeps the minimum on time."""
        chance = Random(seed)  # noqa: S311  # weather, not a secret
        thermostat = fresh_thermostat(self.lab.now_s)
        for _ in range(jumps):
            air_c = chance.uniform(-3.0, 8.0)
            for _ in range(held):
                thermostat, wish = step_thermostat(
                    THERMOSTAT,
                    thermostat,
                    ThermostatInput(
                        now_s=self.lab.now_s + 10.0,
                        frost_c=air_c,
                        bed_c=None,
                        raise_k=0.0,
                        blind=False,
                        frost_likely=True,
                        relay_on=self.pin.level,
                    ),
                )
                self.tick(air=(air_c,), heat_wanted=wish.heat_wanted, free_wish=False)

    @rule(
        root=st.tuples(ROOT_C | LOST), air=st.tuples(AIR_C | LOST), guard=ROOT_C | LOST, cable=CABLE_C | LOST
    )
    def warm(self, root: tuple[Any], air: tuple[Any], guard: Any, cable: Any) -> None:
        """Readings round the limits, in one tick."""
        changes: dict[str, Any] = {"root": root, "air": air}
        if self.kind == "surface":
            changes["guard"] = lost() if guard is None else guard
        if self.kind == "cable":
            changes["cable"] = lost() if cable is None else cable
        self.tick(**changes)

    @rule(
        feedback_live=st.sampled_from([None, True, False]),
        supply_present=st.sampled_from([None, True, False]),
        cut_out_closed=st.sampled_from([None, True]),
        stop_pressed=st.sampled_from([None, True, False]),
        count=st.integers(1, 30),
    )
    def inputs(self, count: int, **inputs: Any) -> None:
        """Optional inputs in any state, for a while; the relay follows by feedback unless it is welded."""
        for _ in range(count):
            self.tick(**inputs)

    @rule()
    def faithful_feedback(self) -> None:
        """An hour with feedback that shows what the relay does."""
        for _ in range(360):
            self.tick(feedback_live=self.pin.level)

    @rule(flag=st.sampled_from(["commissioned", "late"]))
    def refused(self, flag: str) -> None:
        """Not commissioned, or late."""
        changes: dict[str, Any] = {flag: flag == "late"}
        self.tick(**changes)

    @rule(rest=st.integers(18, 30), late=st.integers(1, 3))
    def late_after_a_rest(self, rest: int, late: int) -> None:
        """Rested already, so that only the good cycles are owed."""
        for _ in range(rest):
            self.tick(heat_wanted=False)
        for _ in range(late):
            self.tick(late=True)
        for _ in range(5):
            self.tick()

    @rule(place=st.sampled_from(["air", "root"]), odd=ODD)
    def unsound(self, place: str, odd: float) -> None:
        """A number that no probe gives."""
        changes: dict[str, Any] = {place: (odd,)}
        self.tick(**changes)

    @rule(age_s=st.sampled_from([-1.0, 0.0, 29.9, 30.0, 30.1, 3600.0]))
    def aged(self, age_s: float) -> None:
        """Samples of every age, from the future to an hour old."""
        self.tick(root=(sample(4.0, self.lab.now_s + 10.0 - age_s),))

    @rule(after_s=st.sampled_from([-5.0, 0.0, 30.0, 31.0, 300.0, 3600.0]))
    def jump(self, after_s: float) -> None:
        """The process was stopped for a while, or its time is handed in wrong."""
        self.tick(after_s=after_s)
        if after_s < 0:
            self.lab.now_s -= after_s

    @rule()
    def forgotten(self) -> None:
        """A tick without evidence for this frame."""
        self.lab.now_s += 10.0
        self.report = self.lab.gate.apply({})[SOUTH]
        assert not self.report.relay_on
        self.watchman.missed(self.lab.now_s, pin_on=self.pin.level)

    @rule()
    def restart(self) -> None:
        """The process ends and another one starts: lockout, runs and switch-ons stay, the rest is owed."""
        self.lab.gate.all_off()
        assert not self.pin.level
        self.lab.now_s += 1.0
        self.lab.start()
        self.watchman.restarted(self.lab.now_s, pin_on=self.pin.level)

    @rule(rounds=st.integers(2, 12), mild=st.integers(0, 6))
    def crash_loop(self, rounds: int, mild: int) -> None:
        """M04, R13: killed as soon as heat is on, again and again."""
        for _ in range(rounds):
            for _ in range(24):
                self.tick()
                if self.pin.level:
                    break
            self.restart()
        for _ in range(mild):
            self.tick(heat_wanted=False)

    @precondition(lambda self: self.report is not None and self.report.lockout is not None)
    @rule()
    def cleared(self) -> None:
        """A person at the board clears the lockout."""
        self.lab.store.kept.clear()
        self.lab.now_s += 10.0
        report = self.lab.gate.apply({SOUTH: evidence(self.lab.now_s, **USUAL[self.kind])})[SOUTH]
        assert not report.relay_on
        self.report = report
        self.watchman.missed(self.lab.now_s, pin_on=self.pin.level)
        self.watchman.before_s = self.lab.now_s
        self.watchman.lockout = report.lockout


GateMachine.TestCase.settings = settings(max_examples=40, stateful_step_count=20, deadline=None)
TestGateMachine = GateMachine.TestCase


@pytest.mark.parametrize(
    "name",
    [
        "the off proof comes a tick late",
        "no rest",
        "no switching limit",
        "no blind share",
        "two good cycles",
        "a restart forgets switch-ons",
    ],
)
def test_the_machine_finds_a_planted_fault_by_itself(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Uniform random ticks once missed a weakened on-time limit; long cold spells find it."""
    PLANTS[name](monkeypatch)
    search = settings(
        max_examples=60,
        stateful_step_count=20,
        deadline=None,
        phases=[Phase.generate],
        derandomize=True,
        database=None,
        print_blob=False,
    )
    with pytest.raises(Broken):
        run_state_machine_as_test(GateMachine, settings=search)
