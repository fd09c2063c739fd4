"""The gate. Signatures first; the rules follow."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from controller.heat.limits import HeatLimits
from controller.vocabulary import FrameName, HeatEvidence, HeatReport, Lockout


class PinStuck(Exception):  # noqa: N818  # named for what has happened
    """A heat relay could not be shown to be off: switch everything off and leave the process."""


class SwitchPin(Protocol):
    """One output; ``True`` is heat on (or the isolating relay closed), whatever the level."""

    def drive(self, on: bool) -> None:  # noqa: FBT001  # the one argument a switch has
        """Drive the pin; raises when the board will not."""

    def read(self) -> bool:
        """The pin as read back from the board."""

    def close(self) -> None:
        """Drive off, then let go of the pin."""


class LockoutStore(Protocol):
    """Lockouts that survive a power cut."""

    def find(self, frame: FrameName) -> Lockout | None:
        """The lockout of this frame, or None."""

    def keep(self, lockout: Lockout) -> None:
        """Return only after the lockout is on disk; raises when it is not."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GateFrame:
    """One frame's limits and pins."""

    limits: HeatLimits
    heat: SwitchPin
    isolating: SwitchPin | None
    power_w: float


class RelayGate:
    """The only way to a heat relay: ``apply`` and ``all_off``; there is no ``on``."""

    def __init__(
        self,
        frames: Mapping[FrameName, GateFrame],
        lockouts: LockoutStore,
        *,
        heat_power_max_w: float | None,
        now_s: float,
        utc_text: Callable[[], str],
    ) -> None:
        """Drive every relay off, open every isolating relay, read every lockout."""
        raise NotImplementedError

    def apply(self, evidence: Mapping[FrameName, HeatEvidence]) -> Mapping[FrameName, HeatReport]:
        """Judge every frame and drive its relay; a frame without evidence is driven off."""
        raise NotImplementedError

    def all_off(self) -> tuple[str, ...]:
        """Final: every relay off and isolated; this gate never switches on again.

        Returns what failed, in words; empty when every pin reads off.
        """
        raise NotImplementedError

    def close(self) -> tuple[str, ...]:
        """All off, then let go of every pin."""
        raise NotImplementedError
