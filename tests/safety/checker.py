"""The invariants, checked from outside: what went into the gate against what the pin did.

Shares no code with the judge; a tick that breaks an invariant raises ``Broken``.
"""

from __future__ import annotations

import math

from controller.heat.limits import HeatLimits
from controller.vocabulary import HeatEvidence, HeatReason, HeatReport, Lockout, Reading, Sample


class Broken(AssertionError):  # noqa: N818  # named for what has happened
    """An invariant did not hold."""


def demand(holds: bool, words: str) -> None:  # noqa: FBT001  # reads as a sentence
    """Raise when it does not hold; works under ``-O`` as well."""
    if not holds:
        raise Broken(words)


class Watchman:
    """Watches one frame of one process from its start."""

    def __init__(self, limits: HeatLimits, start_s: float, *, heated_at_s: float | None = None) -> None:
        self.limits = limits
        self.start_s = start_s
        self.before_s = start_s
        self.on_since_s: float | None = None
        self.off_since_s = start_s
        self.switch_ons: list[float] = []
        self.runs: list[tuple[float, float]] = []
        self.sound_ticks = 0
        self.heated_at_s = heated_at_s
        self.dead_since_s: float | None = None
        self.live_ticks: list[float] = []
        self.lockout: Lockout | None = None

    def step(
        self, evidence: HeatEvidence, report: HeatReport, *, pin_on: bool, free_wish: bool = False
    ) -> None:
        """One tick: the evidence given, the report returned, the pin's level afterwards.

        ``free_wish``: the wish came from nobody who keeps to a minimum on time.
        """
        now_s = evidence.now_s
        demand(report.relay_on is pin_on, "the report says what the pin reads")
        demand(pin_on or bool(report.reasons), "every refusal carries a reason")
        sound = self._sound(evidence)
        good = sound and not evidence.late and now_s - self.before_s <= 3 * self.limits.tick_s
        self.sound_ticks = self.sound_ticks + 1 if good else 0
        if sound and evidence.feedback_live is True:
            self.heated_at_s = now_s
        was_on = self.on_since_s is not None
        if was_on and sound:
            self.heated_at_s = now_s
        self._lockouts(evidence, report, sound=sound, was_on=was_on)
        if pin_on and not was_on:
            self._switched_on(now_s)
        if pin_on:
            demand(good, "heat only on sound, punctual evidence (I3, I4)")
            self._while_on(evidence, report)
        elif was_on:
            self._switched_off(now_s, report, free_wish=free_wish)
        if sound:
            self.before_s = now_s

    def restarted(self, now_s: float, *, pin_on: bool) -> None:
        """Another process of the same boot: runs, switch-ons and heat of the hour go on counting."""
        if self.on_since_s is not None:
            self.heated_at_s = now_s
        self.missed(now_s, pin_on=pin_on)
        self.start_s = self.before_s = now_s

    def heated_s(self, from_s: float, until_s: float) -> float:
        """Seconds of heat between two instants, the present run included."""
        runs = [*self.runs, *([] if self.on_since_s is None else [(self.on_since_s, until_s)])]
        return sum(max(0.0, min(end_s, until_s) - max(begin_s, from_s)) for begin_s, end_s in runs)

    def missed(self, now_s: float, *, pin_on: bool) -> None:
        """A tick without evidence for this frame."""
        demand(not pin_on, "no evidence means off")
        if self.on_since_s is not None:
            self.runs.append((self.on_since_s, now_s))
        self.on_since_s, self.off_since_s, self.sound_ticks = None, now_s, 0
        self.live_ticks, self.dead_since_s = [], None

    def _sound(self, evidence: HeatEvidence) -> bool:
        readings: list[Reading] = [*evidence.air, *evidence.root]
        readings += [reading for reading in (evidence.guard, evidence.cable) if reading is not None]
        fresh = all(
            math.isfinite(reading.temp_c)
            and -55.0 <= reading.temp_c <= 125.0
            and 0.0 <= reading.taken_at_s <= evidence.now_s
            and evidence.now_s - reading.taken_at_s <= self.limits.stale_s
            for reading in readings
            if isinstance(reading, Sample)
        )
        return fresh and evidence.now_s >= self.before_s

    def _switched_on(self, now_s: float) -> None:
        limits = self.limits
        demand(now_s - self.off_since_s >= limits.min_off_s, "rests last MIN_OFF (I10, I3 at start)")
        self.switch_ons = [at_s for at_s in self.switch_ons if now_s - at_s < 3600.0] + [now_s]
        demand(len(self.switch_ons) <= 6, "six switch-ons in any hour (I10)")
        demand(self.sound_ticks >= 3, "three good cycles first (I3)")
        self.on_since_s = now_s

    def _switched_off(self, now_s: float, report: HeatReport, *, free_wish: bool) -> None:
        since_s = self.on_since_s
        demand(since_s is not None, "a run has a start")
        if since_s is not None:
            if report.reasons == (HeatReason.NOTHING_WANTED,) and not free_wish:
                demand(now_s - since_s >= self.limits.min_on_s, "a wish that ends keeps MIN_ON (I10)")
            self.runs.append((since_s, now_s))
        self.on_since_s, self.off_since_s = None, now_s
        self.dead_since_s = None

    def _while_on(self, evidence: HeatEvidence, report: HeatReport) -> None:
        limits, now_s = self.limits, evidence.now_s
        root = _trusted([*evidence.root, *([] if evidence.guard is None else [evidence.guard])])
        cable = _trusted([] if evidence.cable is None else [evidence.cable])
        demand(evidence.heat_wanted, "nothing wanted means off")
        demand(report.lockout is None, "a lockout means off")
        demand(max(root, default=-99.0) < limits.root_max_c, "root zone below its limit (I1)")
        demand(max(_trusted(evidence.air), default=-99.0) < limits.air_max_c, "air below its limit")
        if limits.cable_max_c is not None:
            demand(max(cable, default=-99.0) < limits.cable_max_c, "cable below its limit")
        demand(evidence.commissioned, "no heat before commissioning")
        demand(evidence.stop_pressed is not True, "the stop button means off")
        demand(evidence.supply_present is not False, "no supply means off")
        demand(evidence.cut_out_closed is not False, "an open cut-out means off")
        if limits.guard_required:
            demand(isinstance(evidence.guard, Sample), "on the surface, no guard means off")
        since_s = now_s if self.on_since_s is None else self.on_since_s
        demand(now_s + limits.tick_s - since_s <= limits.on_proof_s + 1e-9, "off proof in time (I2)")
        if not root and not (cable and limits.cable_max_c is not None):
            demand(limits.blind_duty_allowed and evidence.frost_likely, "blind heat only where allowed (I1)")
            self._blind_share(now_s + limits.tick_s, since_s)
        if evidence.feedback_live is False:
            self.dead_since_s = since_s if self.dead_since_s is None else self.dead_since_s
            demand(
                now_s - self.dead_since_s < limits.feedback_on_s,
                "a cable that gives no answer goes off (R02)",
            )
        elif evidence.feedback_live is True:
            self.dead_since_s = now_s

    def _blind_share(self, until_s: float, since_s: float) -> None:
        from_s = until_s - 3600.0
        spent_s = until_s - max(since_s, from_s)
        spent_s += sum(max(0.0, end_s - max(begin_s, from_s)) for begin_s, end_s in self.runs)
        demand(spent_s <= 0.3 * 3600.0 + 1e-6, "blind heat keeps its share of any hour")

    def _lockouts(self, evidence: HeatEvidence, report: HeatReport, *, sound: bool, was_on: bool) -> None:
        limits, now_s = self.limits, evidence.now_s
        self.lockout = report.lockout or self.lockout
        demand(report.lockout is not None or self.lockout is None, "a lockout stays until a person clears it")
        if not sound:
            return
        heated = self.heated_at_s is not None and now_s - self.heated_at_s <= 3600.0
        root = max(
            _trusted([*evidence.root, *([] if evidence.guard is None else [evidence.guard])]), default=-99.0
        )
        cable = max(_trusted([] if evidence.cable is None else [evidence.cable]), default=-99.0)
        too_hot = root >= limits.root_max_c + 5.0
        if limits.cable_max_c is not None:
            too_hot = too_hot or cable >= limits.cable_max_c + 5.0
        if too_hot and heated:
            demand(report.lockout is not None, "5 K past a limit, with heat within the hour, locks")
        live_off = evidence.feedback_live is True and not was_on
        self.live_ticks = [*self.live_ticks, now_s] if live_off else []
        if self.live_ticks and now_s - self.live_ticks[0] >= limits.feedback_lag_s:
            demand(report.lockout is not None, "a cable live with its relay off locks (R01)")


def _trusted(readings: tuple[Reading, ...] | list[Reading]) -> list[float]:
    return [reading.temp_c for reading in readings if isinstance(reading, Sample)]
