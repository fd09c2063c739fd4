"""Real pins and rehearsed ones, over gpiozero; the one file of this room that touches a board.

The pin factory is built by the name that was asked for and by no other: a board without its
library is an error, never a reason to go on with pretended pins.
"""

from __future__ import annotations

import json
import os
import tempfile
import time
from collections.abc import Mapping
from pathlib import Path
from typing import IO, Any

from gpiozero import OutputDevice
from gpiozero.pins.mock import MockFactory, MockPin

BOARD = "lgpio"
REHEARSAL = "rehearsal"
_MOCK_REVISION = "a02082"
"""A board with the usual 40 pins, so that pin numbers are checked in rehearsal as well."""


class PinRefused(Exception):  # noqa: N818  # reads as the answer that the person gets
    """The pins cannot or may not be used; the text says why and what to do."""


class RecordedPin(MockPin):  # type: ignore[misc]  # gpiozero has no types
    """A pretended pin that writes down every level it is driven to."""

    def output_with_state(self, state: bool) -> None:  # noqa: FBT001  # the library's own form
        """Become an output at this level in one step, as the real pins here do."""
        self._function = "output"
        MockPin._change_state(self, bool(state))  # noqa: SLF001  # noted once, below
        self.factory.note(self._number, level=bool(state))

    def _change_state(self, state: bool) -> bool:  # noqa: FBT001  # the library's own form
        changed = bool(super()._change_state(state))
        if changed and self._function == "output":
            self.factory.note(self._number, level=state)
        return changed


class RehearsalFactory(MockFactory):  # type: ignore[misc]  # gpiozero has no types
    """Pretended pins; with a record, each level driven is appended to it as one JSON line."""

    def __init__(self, record: Path | None) -> None:
        """Open the record, if there is to be one."""
        super().__init__(revision=_MOCK_REVISION, pin_class=RecordedPin)
        self._record: IO[str] | None = None
        if record is not None:
            record.parent.mkdir(parents=True, exist_ok=True)
            self._record = record.open("a", encoding="ascii", buffering=1)

    def note(self, pin: int, *, level: bool) -> None:
        """One level, with the monotonic instant of the real clock."""
        if self._record is not None:
            line = {"pin": pin, "level": int(level), "mono": round(time.monotonic(), 6)}
            self._record.write(json.dumps(line) + "\n")

    def close(self) -> None:
        """Close pins and record."""
        super().close()
        if self._record is not None:
            self._record.close()
            self._record = None


def open_factory(name: str, *, record: Path | None, environment: Mapping[str, str] = os.environ) -> Any:
    """The pin factory of that name: ``lgpio`` for a board, ``rehearsal`` for pretended pins.

    ``record`` takes every level of pretended pins and is not used on a board.
    Raises PinRefused where it cannot be had; there is no second choice.
    """
    if name == REHEARSAL:
        return RehearsalFactory(record)
    if name != BOARD:
        raise PinRefused(f"{name!r} is no kind of pins; there are {BOARD!r} and {REHEARSAL!r}")
    asked = environment.get("GPIOZERO_PIN_FACTORY", BOARD)
    if asked != BOARD:
        raise PinRefused(
            f"GPIOZERO_PIN_FACTORY asks for {asked!r} pins, which drive no relay here; "
            "unset it, or ask for a rehearsal by name"
        )
    return _open_board()


def _open_board() -> Any:
    """The board's own pins, claimed at their off level in one step."""
    # Importing lgpio makes a FIFO in its working folder, which a service often cannot write to.
    os.environ.setdefault("LG_WD", os.environ.get("RUNTIME_DIRECTORY", tempfile.gettempdir()).split(":")[0])
    try:
        import lgpio  # noqa: PLC0415  # only on a board, and only after LG_WD is set
        from gpiozero.pins.lgpio import LGPIOFactory, LGPIOPin  # noqa: PLC0415

        class NoBlipPin(LGPIOPin):  # type: ignore[misc]  # gpiozero has no types
            """Claims an output at the level it is to have, where the library would pass through low."""

            def output_with_state(self, state: bool) -> None:  # noqa: FBT001  # the library's own form
                lgpio.gpio_claim_output(self.factory._handle, self._number, int(bool(state)))  # noqa: SLF001

        factory = LGPIOFactory()
    except ModuleNotFoundError as error:
        raise PinRefused(
            "the board's pins cannot be opened: the library lgpio is not installed for this Python; "
            "on Raspberry Pi OS: sudo apt install python3-lgpio. Elsewhere rehearse on pretended pins"
        ) from error
    except Exception as error:
        raise PinRefused(
            f"the board's pins cannot be opened ({type(error).__name__}: {error}); "
            "let this user into the group gpio, or rehearse on pretended pins"
        ) from error
    factory.pin_class = NoBlipPin
    return factory


class GpioSwitch:
    """One relay's pin; on means energised, whichever level that takes."""

    def __init__(self, pin: int, *, active_high: bool, factory: Any) -> None:
        """Claim the pin at its off level; raises PinRefused when another program holds it."""
        self.pin = pin
        self.active_high = active_high
        try:
            self._device = OutputDevice(
                pin, active_high=active_high, initial_value=False, pin_factory=factory
            )
        except Exception as error:
            raise PinRefused(
                f"GPIO{pin} cannot be claimed ({type(error).__name__}: {error}); another program may hold it"
            ) from error

    def drive(self, on: bool) -> None:  # noqa: FBT001  # the one argument that a switch has
        """Drive the pin to the level that means this."""
        if on:
            self._device.on()
        else:
            self._device.off()

    def read(self) -> bool:
        """The pin as the board reads it back."""
        return bool(self._device.value)

    def close(self) -> None:
        """Drive off first: a pin that is let go floats where it was. Closing twice does nothing."""
        if self._device.closed:
            return
        try:
            self._device.off()
        finally:
            self._device.close()
