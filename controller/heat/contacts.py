"""One frame's heat relay and, where fitted, the isolating relay in series with it.

Every movement is read back. Off is tried by every path before it is given up.
"""

from __future__ import annotations

from typing import Protocol


class SwitchPin(Protocol):
    """One output; ``True`` means that current may flow, whatever the pin's level."""

    def drive(self, on: bool) -> None:  # noqa: FBT001  # the one argument that a switch has
        """Drive the pin; raises when the board will not."""

    def read(self) -> bool:
        """The pin as read back from the board; raises when it cannot be read."""

    def close(self) -> None:
        """Drive off, then let go of the pin."""


class Contacts:
    """The contacts between the mains and one cable; nothing but the gate may hold one."""

    def __init__(self, heat: SwitchPin, isolating: SwitchPin | None) -> None:
        """Drive both off at once."""
        self._heat = heat
        self._isolating = isolating
        self.ended = False
        """Set once, when the gate ends: never on again."""
        self.stuck: bool
        """The heat relay could not be shown to be off, nor the isolating relay open."""
        self.off_fault: str
        """What went wrong the last time that off was ordered; heat is refused while it stands."""
        self.on_fault = ""
        """What went wrong the last time that on was ordered."""
        self.part()

    def relay_on(self) -> bool:
        """The heat relay as read back; one that cannot be read counts as on."""
        return _reads(self._heat, if_unreadable=True)

    def isolated(self) -> bool:
        """The isolating relay is fitted and reads open; one that cannot be read counts as shut."""
        return self._isolating is not None and not _reads(self._isolating, if_unreadable=True)

    def must_isolate(self) -> bool:
        """The isolating relay is fitted and does not read open."""
        return self._isolating is not None and not self.isolated()

    def off(self) -> None:
        """Drive the heat relay off; where that fails, open the isolating relay as well."""
        self.off_fault = _force(self._heat, "heat relay", on=False)
        self.stuck = False
        if self.off_fault:
            self._isolate()

    def off_again(self) -> None:
        """Drive off once more; a pin that obeys and reads off has no fault of its last "on" left."""
        self.off()
        if not self.off_fault:
            self.on_fault = ""

    def part(self) -> None:
        """Drive the heat relay off and open the isolating relay."""
        self.off_fault = _force(self._heat, "heat relay", on=False)
        self._isolate()

    def _isolate(self) -> None:
        """Open the isolating relay, where fitted, after the heat relay was driven off."""
        faults = [self.off_fault]
        if self._isolating is not None:
            faults.append(_force(self._isolating, "isolating relay", on=False))
        self.stuck = bool(self.off_fault) and self.relay_on() and not self.isolated()
        self.off_fault = "; ".join(fault for fault in faults if fault)

    def on(self) -> bool:
        """Close the isolating relay, then the heat relay; True when both read so.

        Anything else ends with both off.
        """
        if self.ended:
            return False
        fault = "" if self._isolating is None else _force(self._isolating, "isolating relay", on=True)
        self.on_fault = fault or _force(self._heat, "heat relay", on=True)
        # A stop signal may have ended the gate while the pin was being driven.
        if self.on_fault or self.ended:
            self.part()
            return False
        return True

    def close(self) -> tuple[str, ...]:
        """Let go of both pins; returns what failed, in words."""
        faults = [_let_go(self._heat, "heat relay")]
        if self._isolating is not None:
            faults.append(_let_go(self._isolating, "isolating relay"))
        return tuple(fault for fault in faults if fault)


def _force(pin: SwitchPin, name: str, *, on: bool) -> str:
    """Drive and read back; returns the fault in words, or an empty text."""
    aim = "on" if on else "off"
    try:
        pin.drive(on)
        found = pin.read()
    except Exception as error:  # noqa: BLE001  # whatever a board throws, the other paths must be tried
        return f"{name} could not be driven {aim}: {type(error).__name__}: {error}"
    return "" if found is on else f"{name} was driven {aim} and does not read {aim}"


def _reads(pin: SwitchPin, *, if_unreadable: bool) -> bool:
    """The pin as read back."""
    try:
        return pin.read() is not False
    except Exception:  # noqa: BLE001  # unreadable is an answer here, and the worse one is taken
        return if_unreadable


def _let_go(pin: SwitchPin, name: str) -> str:
    """Close one pin; returns the fault in words, or an empty text."""
    try:
        pin.close()
    except Exception as error:  # noqa: BLE001  # every pin must be tried
        return f"{name} could not be let go: {type(error).__name__}: {error}"
    return ""
