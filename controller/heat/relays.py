"""The gate: the only road to a heat relay.

There is no way to order heat on. ``apply`` hands each frame's evidence to the judge and drives the
relay as the verdict says. Off comes first: before any relay goes on, and before a lockout is written.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from controller.heat.budget import Turns, share_power
from controller.heat.contacts import SwitchPin
from controller.heat.line import GateFrame, Line, LockoutStore, SwitchMemory
from controller.vocabulary import FrameName, HeatEvidence, HeatReport

__all__ = ["GateFrame", "LockoutStore", "PinStuck", "RelayGate", "SwitchMemory", "SwitchPin"]


class PinStuck(Exception):  # noqa: N818  # named for what has happened
    """A relay could not be shown to be off by any path: all off, leave, and let the line go."""


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
        switchings: SwitchMemory | None = None,
    ) -> None:
        """Drive every relay off, open every isolating relay, look for every lockout.

        ``heat_power_max_w`` bounds the sum of all heat; None means no bound.
        ``utc_text`` gives the date that a lockout is filed under.
        ``switchings`` tells what an earlier process did; None, as in a rehearsal, means that there was none.
        Raises PinStuck when a relay does not read off.
        """
        self._heat_power_max_w = heat_power_max_w
        self._utc_text = utc_text
        self._turns = Turns()
        self._lines = tuple(Line(name, frame, lockouts, switchings, now_s) for name, frame in frames.items())
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

    def _share(self, allowed: list[Line]) -> frozenset[FrameName]:
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
