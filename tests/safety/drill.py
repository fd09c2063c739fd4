"""A fixed drill over the real gate under the watchman's eyes; any broken invariant raises Broken.

It is the checker that planted faults must turn red, so it is kept short and without chance.
"""

from __future__ import annotations

from typing import Any

from controller.heat.limits import HeatLimits
from controller.heat.thermostat import ThermostatInput, ThermostatSettings, fresh_thermostat, step_thermostat
from controller.vocabulary import HeatReport, Lockout, LockoutCause
from tests.safety.checker import Watchman, demand
from tests.safety.lab import NORTH, SOUTH, FakeSwitchings, GateLab, evidence, limits, lost, sample


class Watched:
    """One frame's gate and the watchman beside it."""

    def __init__(self, frame: HeatLimits, *, isolating: bool = False, **usual: Any) -> None:
        self.lab = GateLab({SOUTH: frame}, isolating=isolating, switchings=FakeSwitchings())
        self.usual = usual
        self.watchman = Watchman(frame, self.lab.now_s)

    def ticks(self, count: int, *, after_s: float = 10.0, **changes: Any) -> HeatReport:
        """Several ticks alike; the last report."""
        report: HeatReport | None = None
        for _ in range(count):
            self.lab.now_s += after_s
            held = evidence(self.lab.now_s, **{**self.usual, **changes})
            report = self.lab.gate.apply({SOUTH: held})[SOUTH]
            self.watchman.step(held, report, pin_on=self.lab.heat[SOUTH].level, free_wish=True)
        if report is None:
            raise ValueError("no ticks asked for")
        return report

    def restart(self) -> None:
        """The process is killed and another one starts over the same pins and files."""
        self.lab.now_s += 1.0
        self.lab.start()
        self.watchman.restarted(self.lab.now_s, pin_on=self.lab.heat[SOUTH].level)

    def share(self, hours: float, **changes: Any) -> float:
        """The share of so many hours that was heated."""
        from_s = self.lab.now_s
        self.ticks(int(hours * 360.0), **changes)
        return self.watchman.heated_s(from_s, self.lab.now_s) / (self.lab.now_s - from_s)

    def heat_up(self, **changes: Any) -> None:
        """On, or the drill has drilled nothing."""
        report = self.ticks(25, **changes)
        demand(report.relay_on, "in a cold night with everything in order heat is on")


def drill() -> None:
    """All of it, within a fraction of a second."""
    _good_cycles()
    _long_cold_night()
    _chatter()
    _limits()
    _inputs()
    _blind()
    _blind_for_hours()
    _lost_and_heated()
    _restarts()
    _unsound()
    _lockouts()
    _forgotten()
    _budget()
    _isolating()
    _ending()


def _good_cycles() -> None:
    watched = Watched(limits())
    watched.ticks(30, heat_wanted=False)
    watched.ticks(1, late=True)
    demand(watched.ticks(5).relay_on, "three good cycles after a late tick are enough")


def _long_cold_night() -> None:
    watched = Watched(limits(on_proof_s=1800.0))
    watched.heat_up()
    watched.ticks(400)


def _chatter() -> None:
    watched = Watched(limits())
    for _ in range(200):
        watched.ticks(1)
        watched.ticks(1, heat_wanted=False)


def _limits() -> None:
    for changes in (
        {"root": (25.0,)},
        {"air": (30.0,)},
        {"cable": 60.0},
        {"root": (4.0, 26.0)},
        {"air": (1.0, 31.0)},
        {"guard": 25.0},
    ):
        watched = Watched(limits(cable_max_c=60.0), cable=20.0)
        watched.heat_up()
        watched.ticks(2, **changes)
    surface = Watched(limits(guard_required=True), guard=4.0)
    surface.heat_up()
    surface.ticks(2, guard=lost())


def _inputs() -> None:
    for changes in (
        {"commissioned": False},
        {"stop_pressed": True},
        {"supply_present": False},
        {"cut_out_closed": False},
        {"late": True},
        {"root": (None,)},
    ):
        watched = Watched(limits())
        watched.heat_up()
        watched.ticks(1, **changes)
    watched = Watched(limits())
    watched.heat_up()
    watched.ticks(1, after_s=31.0)
    dead = Watched(limits())
    dead.ticks(400, feedback_live=False)


def _blind() -> None:
    watched = Watched(limits(blind_duty_allowed=True))
    watched.heat_up()
    watched.ticks(800, root=(None,))
    demand(
        any(until_s > 3000.0 for _, until_s in watched.watchman.runs), "blind heat was earned in the drill"
    )
    watched.ticks(400, heat_wanted=False)
    watched.ticks(3, root=(None,))
    watched.ticks(2, root=(None,), frost_likely=False)


def _blind_for_hours() -> None:
    for times in ({}, {"min_on_s": 1800.0}, {"min_off_s": 1800.0}, {"min_on_s": 1800.0, "min_off_s": 1800.0}):
        frame = limits(blind_duty_allowed=True, cable_max_c=60.0, **times)
        watched = Watched(frame, cable=20.0)
        watched.ticks(25)
        thermostat = fresh_thermostat(watched.lab.now_s)
        settings = ThermostatSettings(
            keep_above_c=2.0,
            differential_k=1.0,
            min_on_s=frame.min_on_s,
            min_off_s=frame.min_off_s,
            lead_s=0.0,
            leaf_allowance_k=0.0,
        )
        from_s = watched.lab.now_s
        for _ in range(6 * 360):
            seen = ThermostatInput(
                now_s=watched.lab.now_s + 10.0,
                frost_c=None,
                bed_c=None,
                raise_k=0.0,
                blind=True,
                frost_likely=True,
                relay_on=watched.lab.heat[SOUTH].level,
            )
            thermostat, wish = step_thermostat(settings, thermostat, seen)
            watched.ticks(1, air=(None,), root=(None,), cable=lost(), heat_wanted=wish.heat_wanted)
        share = watched.watchman.heated_s(from_s, watched.lab.now_s) / (watched.lab.now_s - from_s)
        demand(share >= 0.15, "blind heat is given, not only allowed (L2)")


def _lost_and_heated() -> None:
    watched = Watched(limits(blind_duty_allowed=True, cable_max_c=60.0), cable=20.0)
    watched.heat_up()
    gone: dict[str, Any] = {"root": (None,), "cable": lost()}
    demand(watched.share(6.0, **gone) >= 0.15, "bed and cable lost: bounded heat goes on (P01, P04)")
    watched = Watched(limits())
    watched.heat_up()
    demand(watched.share(3.0, air=(None, None)) >= 0.9, "both air probes lost: heat goes on (P02)")
    watched = Watched(limits(cable_max_c=60.0), cable=20.0)
    watched.heat_up()
    watched.ticks(1, cable=60.0)
    demand(watched.share(3.0, cable=lost()) >= 0.5, "a probe that died hot ends no winter's heat")


def _restarts() -> None:
    watched = Watched(limits())
    for _ in range(60):
        for _ in range(24):
            if watched.ticks(1).relay_on:
                break
        watched.restart()
    coasting = Watched(limits())
    coasting.heat_up()
    coasting.restart()
    coasting.ticks(400, root=(30.0,))
    demand(SOUTH in coasting.lab.store.kept, "a restart does not undo that it was heated")


def _unsound() -> None:
    for changes in (
        {"root": (float("nan"),)},
        {"air": (130.0,)},
        {"root": (sample(4.0, 0.0),)},
        {"root": (sample(4.0, 1e9),)},
    ):
        watched = Watched(limits())
        watched.heat_up()
        watched.ticks(30, **changes)
    watched = Watched(limits())
    watched.heat_up()
    watched.ticks(1, after_s=-5.0)
    watched.ticks(30)


def _lockouts() -> None:
    for changes in ({"root": (31.0,)}, {"cable": 66.0}):
        watched = Watched(limits(cable_max_c=60.0), cable=20.0)
        watched.heat_up()
        watched.ticks(1, **changes)
        watched.ticks(400)
    welded = Watched(limits())
    welded.heat_up()
    welded.ticks(5, heat_wanted=False, feedback_live=True)
    demand(SOUTH in welded.lab.store.kept, "a lockout is on disk")
    welded.restart()
    demand(welded.ticks(60).lockout is not None, "a lockout outlives the process")


def _forgotten() -> None:
    watched = Watched(limits())
    watched.heat_up()
    watched.lab.now_s += 10.0
    watched.lab.gate.apply({})
    watched.watchman.missed(watched.lab.now_s, pin_on=watched.lab.heat[SOUTH].level)
    watched.ticks(30)


def _budget() -> None:
    lab = GateLab({SOUTH: limits(), NORTH: limits()}, heat_power_max_w=200.0)
    for _ in range(100):
        reports = lab.frame_ticks(1, {SOUTH: {}, NORTH: {}})
        demand(sum(report.relay_on for report in reports.values()) <= 1, "never above the budget (F04)")
    demand(any(report.relay_on for report in reports.values()), "the budget is used")
    lab = GateLab({SOUTH: limits(), NORTH: limits()}, heat_power_max_w=200.0)
    lab.store.kept[SOUTH] = Lockout(frame=SOUTH, cause=LockoutCause.CUT_OUT_OPENED, detail="", raised_utc="")
    lab.start()
    reports = lab.frame_ticks(30, {SOUTH: {"feedback_live": True}, NORTH: {}})
    demand(not reports[NORTH].relay_on, "a locked live frame uses the budget (F06)")


def _isolating() -> None:
    watched = Watched(limits(), isolating=True)
    watched.lab.journal.clear()
    watched.heat_up()
    demand(
        watched.lab.journal == [("south isolating", "on"), ("south heat", "on")],
        "the isolating relay closes before the heat relay",
    )
    watched.lab.journal.clear()
    watched.ticks(1, root=(31.0,))
    demand(
        watched.lab.journal[:2] == [("south heat", "off"), ("south isolating", "off")],
        "off and isolated before the lockout is written",
    )
    demand(not watched.lab.isolating[SOUTH].level, "a lockout isolates")


def _ending() -> None:
    watched = Watched(limits())
    watched.heat_up()
    watched.lab.gate.all_off()
    demand(not watched.lab.heat[SOUTH].level, "all off is off")
    watched.watchman.missed(watched.lab.now_s, pin_on=watched.lab.heat[SOUTH].level)
    demand(not watched.ticks(60).relay_on, "all off is final")
