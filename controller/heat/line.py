"""One frame at the gate: from evidence, by way of the judge, to its contacts.

Off comes first: before a lockout is written, and before anything is remembered.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Protocol

from controller.heat.budget import Asking
from controller.heat.contacts import Contacts, SwitchPin
from controller.heat.interlock import Verdict, judge, refuse
from controller.heat.limits import HeatLimits
from controller.heat.memory import JudgeMemory, fresh_memory, note_off, note_on, owe_rest
from controller.heat.running import Past, unknown_past
from controller.vocabulary import (
    FrameName,
    HeatEvidence,
    HeatReason,
    HeatReport,
    Level,
    Lockout,
    LockoutCause,
)

KEEP_AGAIN_TICKS = 6
"""What could not be written is tried again after this many ticks."""
LIVE_LOCKOUTS = frozenset({LockoutCause.LIVE_WHEN_OFF, LockoutCause.UNREADABLE})
"""Locked for a cable that may be live though its relay is off."""


class LockoutStore(Protocol):
    """Lockouts that survive a power cut."""

    def prepare(self, frame: FrameName) -> None:
        """Make room for a lockout of this frame, so that a full disk cannot undo it; raises when it fails."""

    def find(self, frame: FrameName) -> Lockout | None:
        """The lockout of this frame; None only where it can be seen that there is none, raises otherwise."""

    def keep(self, lockout: Lockout) -> bool:
        """Return only once the lockout is on disk; raises when it is not.

        False: in fewer places than it should be, so it is to be kept again.
        """


class SwitchMemory(Protocol):
    """What the relays did of late, for the next process of the same boot."""

    def load(self, frame: FrameName, now_s: float) -> tuple[tuple[float, ...], float] | None:
        """The switch-ons, oldest first, and when heat was last on; None when that is not known."""

    def note(self, frame: FrameName, switch_ons: tuple[float, ...], heat_ended_at_s: float | None) -> None:
        """Remember the latest switch-ons and when heat ended; None: heat is on from now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GateFrame:
    """One frame's limits, pins and load."""

    limits: HeatLimits
    heat: SwitchPin
    isolating: SwitchPin | None
    power_w: float


class Line:
    """One frame at the gate, from evidence to contacts."""

    def __init__(
        self,
        name: FrameName,
        frame: GateFrame,
        lockouts: LockoutStore,
        switchings: SwitchMemory | None,
        now_s: float,
    ) -> None:
        """Contacts off first, then the lockout is looked for."""
        self.name = name
        self.contacts = Contacts(frame.heat, frame.isolating)
        self._frame = frame
        self._lockouts = lockouts
        self._switchings = switchings
        past = self._recall(now_s)
        self._memory = fresh_memory(now_s, past)
        if past is not None:
            self._remember(past.heated_at_s)
        self._verdict: Verdict
        self._wanted: bool
        self._coldest_c: float | None
        self._live: bool | None
        self._relay_on: bool
        self._live_noted = False
        """The next process would hear that the cable is live with its relay off."""
        self._switch_on_count = 0
        self._owed_ticks = 0
        """Until what could not be written is tried again; 0 where nothing is owed."""
        self._keep_fault = ""
        words = "the lockouts could not be read"
        self._lockout = self._find(
            Lockout(frame=name, cause=LockoutCause.UNREADABLE, detail=words, raised_utc="")
        )
        self._settle()

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
        if self._owed_ticks != 0:
            self._owed_ticks -= 1
            if self._owed_ticks == 0:
                self._settle()
        if self.contacts.off_fault or self.contacts.ended:
            self._memory = owe_rest(self._memory)
        self._relay_on = self.contacts.relay_on()
        self._memory, self._verdict = self._judge(heard)
        if self._verdict.level is Level.LOCKED:
            if self._relay_on or self.contacts.off_fault or self.contacts.must_isolate():
                self._off(self.contacts.part)
        elif not self.allowed and (self._relay_on or self.contacts.off_fault):
            self._off(self.contacts.off)
        if self.contacts.on_fault and not self._wanted and not self.contacts.off_fault:
            self._off(self.contacts.off_again)
        if self._verdict.lockout_cause is not None and self._lockout is None:
            self._lock(self._verdict.lockout_cause, self._verdict.lockout_detail, utc_text)
        self._note_live()

    def asking(self) -> Asking:
        """What this frame asks of a shared budget."""
        return Asking(frame=self.name, power_w=self._frame.power_w, coldest_c=self._coldest_c)

    def held_power_w(self) -> float:
        """Power that must be taken as flowing though heat is not allowed."""
        shown_dead = self._live is False or (self._live is None and self.contacts.isolated())
        locked_live = self._lockout is not None and self._lockout.cause in LIVE_LOCKOUTS
        suspected = self._relay_on or locked_live or self._live is True
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
        # Before the relay moves: a process that is killed here has switched as far as the next one knows.
        self._remember(None)
        self._relay_on = self.contacts.on()
        if self._relay_on:
            self._switch_on_count += 1
        else:
            self._memory = owe_rest(self._memory)
            self._remember(self._memory.seen_at_s)

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
            self._remember(self._memory.seen_at_s)
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
        self._owed_ticks = KEEP_AGAIN_TICKS
        try:
            if self._lockouts.keep(lockout):
                self._owed_ticks = 0
        except Exception as error:  # noqa: BLE001  # no disk trouble may undo a lockout
            self._keep_fault = f"{type(error).__name__}: {error}"
        else:
            self._keep_fault = ""

    def _follow(self, lockout: Lockout) -> None:
        """See whether a person has cleared it; one that is not on disk cannot have been."""
        if self._keep_fault != "":
            return
        self._lockout = self._find(lockout)
        if self._lockout is None:
            self._memory = owe_rest(self._memory)
            self._settle()

    def _settle(self) -> None:
        """Write what is still owed: the lockout as it is known, or the room for one."""
        if self._lockout is None:
            try:
                self._lockouts.prepare(self.name)
            except Exception:  # noqa: BLE001  # heat needs no disk; the full disk itself is told elsewhere
                self._owed_ticks = KEEP_AGAIN_TICKS
        elif self._lockout.cause is not LockoutCause.UNREADABLE:
            self._keep(self._lockout)

    def _find(self, if_unreadable: Lockout) -> Lockout | None:
        """The lockout on disk; a store that fails leaves the frame locked."""
        try:
            return self._lockouts.find(self.name)
        except Exception:  # noqa: BLE001  # no disk trouble may undo a lockout
            return if_unreadable

    def _note_live(self) -> None:
        """Heat that only feedback sees is noted when it begins and when it ends, as commanded heat is."""
        if not self._relay_on and self._live_noted is not (self._live is True):
            self._live_noted = not self._live_noted
            self._remember(None if self._live_noted else self._memory.heated_at_s)

    def _recall(self, now_s: float) -> Past | None:
        """What an earlier process did; None where there can have been none."""
        if self._switchings is None:
            return None
        try:
            found = self._switchings.load(self.name, now_s)
        except Exception:  # noqa: BLE001  # not known is an answer here, and the worse one is taken
            found = None
        if found is None:
            return unknown_past(now_s)
        switch_ons, heated_at_s = found
        return Past(switch_ons=switch_ons, heated_at_s=heated_at_s)

    def _remember(self, heat_ended_at_s: float | None) -> None:
        """Note the switch-ons and the end of heat for the next process; None: heat is on from now."""
        if self._switchings is None:
            return
        # Whatever goes wrong here, the next process then takes the worse.
        with suppress(Exception):
            self._switchings.note(self.name, self._memory.running.switch_ons, heat_ended_at_s)
