"""Contacts wired to the board: stop button, cut-out, supply, feedback, cover switches.

Every input is a dry contact to ground against the board's own pull-up, so a broken wire, a loose
terminal and an unplugged connector all read as an open contact. What an open contact means:

========== ==================== ==================== ==========================================
input      closed to ground     open, or wire broken why that side is safe
========== ==================== ==================== ==========================================
stop       not pressed          pressed              normally-closed button: heat off
cut-out    closed               opened               auxiliary contact: heat off and locked
supply     present              absent               detector closes while mains is there: heat off
feedback   cable live           cable not live       heat that does not show itself is not repeated
cover      covers shut          covers open          open covers are asked about, shut ones are not
========== ==================== ==================== ==========================================

Contacts on mains parts must be volt-free and isolated by their maker's design; a licensed
electrician connects them. A read that fails twice gives the open side and is said.
"""

from __future__ import annotations

from typing import Any

from gpiozero import InputDevice

from controller.config.records import Settings
from controller.errors import HardwareError
from controller.sense.contacts import BoardState, FrameContacts
from controller.vocabulary import FrameName

_TRIES = 2


class BoardContacts:
    """Owns the input pins of one board.

    Plain InputDevice and no edge detection: a contact is looked at once a tick, so neither
    callbacks nor the library's own threads are wanted, nor is debouncing.
    """

    def __init__(self, settings: Settings, pin_factory: Any) -> None:
        """Claim every fitted input; raises HardwareError naming the input and pin that fails."""
        self._factory = pin_factory
        self._devices: list[InputDevice] = []
        self._faults: list[str] = []
        try:
            self._stop = self._claim("stop button", settings.site.stop_button_pin)
            self._frames = {name: self._claim_frame(name, settings) for name in settings.frames}
            self._unfitted = None if self._devices else self._look()
        except HardwareError:
            self.close()
            raise

    def _claim_frame(self, name: FrameName, settings: Settings) -> dict[str, InputDevice | None]:
        """Claim one frame's four inputs; without heat none is known."""
        heat = settings.frames[name].heat
        if heat is None:
            return dict.fromkeys(("feedback", "supply", "cut_out", "cover"))
        pins = heat.pins
        return {
            "feedback": self._claim(f"{name}: feedback", pins.feedback),
            "supply": self._claim(f"{name}: supply", pins.supply),
            "cut_out": self._claim(f"{name}: cut-out", pins.cut_out),
            "cover": self._claim(f"{name}: cover switch", pins.cover_switch),
        }

    def _claim(self, label: str, pin: int | None) -> InputDevice | None:
        """One input with its pull-up, or None where none is fitted."""
        if pin is None:
            return None
        try:
            device = InputDevice(pin, pull_up=True, pin_factory=self._factory)
        except Exception as error:
            raise HardwareError(
                f"{label} on GPIO {pin}: cannot be read ({error}); another program may hold it"
            ) from error
        self._devices.append(device)
        return device

    def read(self) -> BoardState:
        """Look at every contact once; never raises."""
        return self._look() if self._unfitted is None else self._unfitted

    def _look(self) -> BoardState:
        self._faults = []
        stop_closed = self._is_closed("stop button", self._stop)
        frames = {
            name: FrameContacts(
                feedback_live=self._is_closed(f"{name}: feedback", devices["feedback"]),
                supply_present=self._is_closed(f"{name}: supply", devices["supply"]),
                cut_out_closed=self._is_closed(f"{name}: cut-out", devices["cut_out"]),
                covers_shut=self._is_closed(f"{name}: cover switch", devices["cover"]),
            )
            for name, devices in self._frames.items()
        }
        return BoardState(
            stop_pressed=None if stop_closed is None else not stop_closed,
            frames=frames,
            faults=tuple(self._faults),
        )

    def _is_closed(self, label: str, device: InputDevice | None) -> bool | None:
        """Whether the contact is closed; one more try, then open, which is the safe side."""
        if device is None:
            return None
        problem = ""
        for _ in range(_TRIES):
            try:
                return bool(device.is_active)
            except Exception as error:  # noqa: BLE001  # any failure of the line counts as a broken wire
                problem = str(error) or type(error).__name__
        self._faults.append(f"{label}: cannot be read ({problem}); taken as a broken wire")
        return False

    def close(self) -> None:
        """Let go of every pin; inputs stay inputs."""
        for device in self._devices:
            device.close()
        self._devices.clear()
