"""Tries a relay for two seconds with the mains plug out, to learn whether on and off are the right way round.

This is the one place beside the gate that drives a relay. It holds the keeper's lock, the relay is
never left on while a person is asked, and every way out drives it off.
"""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

from controller.config.records import FrameSettings, Settings
from controller.errors import CommandRejected, HardwareError
from controller.heat.pins import GpioSwitch, PinRefused
from controller.sense.inputs import BoardContacts

PULSE_S = 2.0
_LOOK_S = 0.05
SIGNAL_EXIT = 128
_ENDING = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


def pulse_relay(
    settings: Settings,
    frame: FrameSettings,
    factory: Any,
    *,
    pin: int,
    active_high: bool,
    sleep: Callable[[float], None] = time.sleep,
) -> None:
    """Drive one relay off, on for two seconds, and off again.

    Ends at once, with the relay off, when a fitted contact shows mains supply or a live cable, and
    on a signal: that one is obeyed only after the relay has been driven off and let go of.
    Raises CommandRejected for that and HardwareError for a pin that cannot be used.
    """
    with _signals_noted() as noted:
        board = BoardContacts(settings, factory)
        try:
            _refuse_mains(board, frame)
            with _switch(pin, active_high, factory) as switch:
                switch.drive(on=True)
                for _ in range(round(PULSE_S / _LOOK_S)):
                    sleep(_LOOK_S)
                    if noted:
                        break
                    _refuse_mains(board, frame)
                if not noted and not switch.read():
                    raise HardwareError(
                        f"GPIO {pin} was driven on but reads off; look for a short on that line"
                    )
        finally:
            board.close()
    if noted:
        _leave(noted[0])


@contextmanager
def _switch(pin: int, active_high: bool, factory: Any) -> Iterator[GpioSwitch]:  # noqa: FBT001  # a setting
    """The relay's switch, off before it is let go of, whatever happens."""
    try:
        switch = GpioSwitch(pin, active_high=active_high, factory=factory)
    except PinRefused as error:
        raise HardwareError(str(error)) from error
    try:
        yield switch
    finally:
        switch.close()  # which drives off first


@contextmanager
def _signals_noted() -> Iterator[list[int]]:
    """Signals that would end the process are only noted, however many come, until all is off and closed."""
    noted: list[int] = []

    def note(number: int, _frame: FrameType | None) -> None:
        noted.append(number)

    before = {number: signal.signal(number, note) for number in _ENDING}
    try:
        yield noted
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _leave(number: int) -> None:
    """End as the signal asked, now that it is safe to."""
    if number == signal.SIGINT:
        raise KeyboardInterrupt
    sys.exit(SIGNAL_EXIT + number)


def _refuse_mains(board: BoardContacts, frame: FrameSettings) -> None:
    contacts = board.read().frames[frame.name]
    if contacts.supply_present:
        raise CommandRejected(
            "the supply contact shows mains; pull the plug that feeds relay and cable, then begin again"
        )
    if contacts.feedback_live:
        raise CommandRejected("the feedback contact shows a live cable; pull the plug, then begin again")
