"""The gate: the only road to a heat relay.

There is no way to order heat on. ``apply`` hands each frame's evidence to the judge and drives the
relay as the verdict says. Off comes first: before any relay goes on, and before a lockout is written.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Protocol

from controller.heat.budget import Asking, Turns, share_power
from controller.heat.contacts import Contacts, SwitchPin
from controller.heat.interlock import (
    JudgeMemory,
    Verdict,
    fresh_memory,
    judge,
    note_off,
    note_on,
    owe_rest,
    refuse,
)
from controller.heat.limits import HeatLimits
from controller.vocabulary import (
    FrameName,
    HeatEvidence,
    HeatReason,
    HeatReport,
    Level,
    Lockout,
    LockoutCause,
)

__all__ = ["GateFrame", "LockoutStore", "PinStuck", "RelayGate", "SwitchPin"]

KEEP_AGAIN_TICKS = 6
"""A lockout that could not be written is tried again after this many ticks."""


class PinStuck(Exception):  # noqa: N818  # named for what has happened
    """A relay could not be shown to be off by any path: all off, leave, and let the line go."""


class LockoutStore(Protocol):
    """Lockouts that survive a power cut."""

    def find(self, frame: FrameName) -> Lockout | None:
        """The lockout of this frame, or None."""

    def keep(self, lockout: Lockout) -> None:
        """Return only once the lockout is on disk; raises when it is not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GateFrame:
    """One frame's limits, pins and load."""

    limits: HeatLimits
    heat: SwitchPin
    isolating: SwitchPin | None
    power_w: float


class _Line:
    """One frame at the gate, from evidence to contacts."""

    def __init__(self, name: FrameName, frame: GateFrame, lockouts: LockoutStore, now_s: float) -> None:
        """Contacts off first, then the lockout is looked for."""
        self.name = name
        self.contacts = Contacts(frame.heat, frame.isolating)
        self._frame = frame
        self._lockouts = lockouts
        self._memory = fresh_memory(now_s)
        self._verdict: Verdict
        self._wanted: bool
        self._coldest_c: float | None
        self._live: bool | None
        self._relay_on: bool
        self._switch_on_count = 0
        self._unkept_ticks: int
        self._keep_fault = ""
        words = "the lockouts could not be read"
        self._lockout = self._find(
            Lockout(frame=name, cause=LockoutCause.UNREADABLE, detail=words, raised_utc="")
        )

    @property
    def allowed(self) -> bool:
        """The judge allows heat in this tick."""
        return self._verdict.heat_allowed

    @property
    def judged_at_s(self) -> float:
        """The last sound tick."""
        return self._memory.seen_at_s

    def hear(self, evidence: HeatEvidence | None, utc_text: Callable[[], str]) -> None:
        """Judge this tick's evidence; what must be off is off on return."""
        heard = evidence if isinstance(evidence, HeatEvidence) else None
        self._wanted = heard is not None and heard.heat_wanted is True
        self._coldest_c = None if heard is None else heard.coldest_c
        self._live = None if heard is None else heard.feedback_live
        if self._lockout is not None:
            self._follow(self._lockout)
        if self.contacts.off_fault or self.contacts.ended:
            self._memory = owe_rest(self._memory)
        self._relay_on = self.contacts.relay_on()
        self._memory, self._verdict = self._judge(heard)
        if self._verdict.level is Level.LOCKED:
            if self._relay_on or self.contacts.off_fault or self.contacts.must_isolate():
                self._off(self.contacts.part)
        elif not self.allowed and (self._relay_on or self.contacts.off_fault):
            self._off(self.contacts.off)
        if self._verdict.lockout_cause is not None and self._lockout is None:
            self._lock(self._verdict.lockout_cause, self._verdict.lockout_detail, utc_text)

    def asking(self) -> Asking:
        """What this frame asks of a shared budget."""
        return Asking(frame=self.name, power_w=self._frame.power_w, coldest_c=self._coldest_c)

    def held_power_w(self) -> float:
        """Power that must be taken as flowing though heat is not allowed."""
        shown_dead = self._live is False or (self._live is None and self.contacts.isolated())
        suspected = self._relay_on or self._lockout is not None or self._live is True
        return self._frame.power_w if suspected and not self.allowed and not shown_dead else 0.0

    def give_way(self) -> None:
        """No power is left for this frame."""
        if self._relay_on:
            self._off(self.contacts.off)

    def serve(self) -> None:
        """The judge allows it and there is power: on, unless it is."""
        if self._relay_on:
            return
        self._memory = note_on(self._memory)
        self._relay_on = self.contacts.on()
        if self._relay_on:
            self._switch_on_count += 1
        else:
            self._memory = owe_rest(self._memory)

    def report(self, *, over_budget: bool) -> HeatReport:
        """What was done in this tick."""
        verdict, lockout = self._verdict, self._lockout
        pin_fault = "; ".join(fault for fault in (self.contacts.off_fault, self.contacts.on_fault) if fault)
        reasons = verdict.reasons
        if over_budget:
            reasons = (*reasons, HeatReason.OVER_BUDGET)
        if pin_fault:
            reasons = (*reasons, HeatReason.PIN_FAULT)
        if lockout is not None and self._keep_fault != "":
            lockout = replace(lockout, detail=f"{lockout.detail}; not on disk yet: {self._keep_fault}")
        return HeatReport(
            heat_wanted=self._wanted,
            heat_allowed=self.allowed and not over_budget and not pin_fault,
            relay_on=self._relay_on,
            level=max(verdict.level, Level.HEAT_OFF) if pin_fault else verdict.level,
            reasons=reasons,
            lockout=lockout,
            switch_on_count=self._switch_on_count,
            isolated=self.contacts.isolated(),
            pin_fault=pin_fault,
        )

    def _judge(self, evidence: HeatEvidence | None) -> tuple[JudgeMemory, Verdict]:
        """The judge's verdict; missing evidence, or a judge that fails on it, means refused."""
        locked = self._lockout is not None
        if evidence is None:
            return refuse(self._memory, locked=locked)
        try:
            return judge(self._frame.limits, self._memory, evidence, relay_on=self._relay_on, locked=locked)
        except Exception:  # noqa: BLE001  # no verdict is a refusal, whatever went wrong
            return refuse(self._memory, locked=locked)

    def _off(self, way: Callable[[], None]) -> None:
        """Contacts off; the judge is told when that ended a run it can date."""
        way()
        if self._relay_on and not self._memory.rest_owed:
            self._memory = note_off(self._memory)
        self._relay_on = self.contacts.relay_on()

    def _lock(self, cause: LockoutCause, detail: str, utc_text: Callable[[], str]) -> None:
        """Lock in memory at once and on disk before anybody is told; the contacts are off already."""
        try:
            raised_utc = utc_text()
        except Exception:  # noqa: BLE001  # a lockout without a date is still a lockout
            raised_utc = ""
        self._lockout = Lockout(frame=self.name, cause=cause, detail=detail, raised_utc=raised_utc)
        self._keep(self._lockout)

    def _keep(self, lockout: Lockout) -> None:
        """Write the lockout; what went wrong is remembered and tried again."""
        self._unkept_ticks = 0
        try:
            self._lockouts.keep(lockout)
        except Exception as error:  # noqa: BLE001  # no disk trouble may undo a lockout
            self._keep_fault = f"{type(error).__name__}: {error}"
        else:
            self._keep_fault = ""

    def _follow(self, lockout: Lockout) -> None:
        """See whether a person has cleared it; one that is not on disk cannot have been."""
        if self._keep_fault != "":
            self._unkept_ticks += 1
            if self._unkept_ticks >= KEEP_AGAIN_TICKS:
                self._keep(lockout)
            return
        self._lockout = self._find(lockout)
        if self._lockout is None:
            self._memory = owe_rest(self._memory)

    def _find(self, if_unreadable: Lockout) -> Lockout | None:
        """The lockout on disk; a store that fails leaves the frame locked."""
        try:
            return self._lockouts.find(self.name)
        except Exception:  # noqa: BLE001  # no disk trouble may undo a lockout
            return if_unreadable


class RelayGate:
    """All frames of one board; owns every heat relay and isolating relay."""

    def __init__(
        self,
        frames: Mapping[FrameName, GateFrame],
        lockouts: LockoutStore,
        *,
        heat_power_max_w: float | None,
        now_s: float,
        utc_text: Callable[[], str],
    ) -> None:
        """Drive every relay off, open every isolating relay, look for every lockout.

        ``heat_power_max_w`` bounds the sum of all heat; None means no bound.
        ``utc_text`` gives the date that a lockout is filed under.
        Raises PinStuck when a relay does not read off.
        """
        self._heat_power_max_w = heat_power_max_w
        self._utc_text = utc_text
        self._turns = Turns()
        self._lines = tuple(_Line(name, frame, lockouts, now_s) for name, frame in frames.items())
        self._leave_if_stuck()

    def apply(self, evidence: Mapping[FrameName, HeatEvidence]) -> Mapping[FrameName, HeatReport]:
        """Judge every frame and drive its relay; a frame without evidence is driven off.

        Raises PinStuck, with all relays ordered off, when one cannot be shown to be off.
        """
        for line in self._lines:
            line.hear(evidence.get(line.name), self._utc_text)
        self._leave_if_stuck()
        served = self._share([line for line in self._lines if line.allowed])
        over_budget = {line.name for line in self._lines if line.allowed and line.name not in served}
        for line in self._lines:
            if line.name in over_budget:
                line.give_way()
        for line in self._lines:
            if line.name in served:
                line.serve()
        self._leave_if_stuck()
        return {line.name: line.report(over_budget=line.name in over_budget) for line in self._lines}

    def all_off(self) -> tuple[str, ...]:
        """Every relay off and isolated, for good: this gate never switches on again.

        Every pin is tried; safe in a signal handler. Returns what failed, in words, or nothing.
        """
        for line in self._lines:
            line.contacts.ended = True
        for line in self._lines:
            line.contacts.part()
        return tuple(
            f"{line.name}: {line.contacts.off_fault}" for line in self._lines if line.contacts.off_fault
        )

    def close(self) -> tuple[str, ...]:
        """All off, then let go of every pin; returns what failed, in words."""
        faults = list(self.all_off())
        for line in self._lines:
            faults += (f"{line.name}: {fault}" for fault in line.contacts.close())
        return tuple(faults)

    def _share(self, allowed: list[_Line]) -> frozenset[FrameName]:
        """Those that may have power now."""
        if self._heat_power_max_w is None or not allowed:
            return frozenset(line.name for line in allowed)
        room_w = self._heat_power_max_w - sum(line.held_power_w() for line in self._lines)
        now_s = max(line.judged_at_s for line in allowed)
        self._turns, served = share_power(self._turns, now_s, [line.asking() for line in allowed], room_w)
        return served

    def _leave_if_stuck(self) -> None:
        """End everything when a relay cannot be shown to be off."""
        stuck = [f"{line.name}: {line.contacts.off_fault}" for line in self._lines if line.contacts.stuck]
        if stuck:
            self.all_off()
            raise PinStuck("; ".join(stuck))
