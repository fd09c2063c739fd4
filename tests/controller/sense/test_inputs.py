"""Contacts read through gpiozero: what closed and open mean, and that a broken wire is the safe side."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import pytest
from gpiozero import Device
from gpiozero.pins.mock import MockFactory, MockPin

from controller.config.parse import parse_settings
from controller.config.records import Settings
from controller.errors import HardwareError
from controller.sense.inputs import BoardContacts, BoardState, FrameContacts
from controller.vocabulary import FrameName

SOUTH = FrameName("south")
STOP, FEEDBACK, SUPPLY, CUT_OUT, COVER = 21, 22, 23, 24, 20
EXAMPLE = Path(str(resources.files("controller"))) / "data" / "example.toml"


def wired_settings() -> Settings:
    """The example with every optional input fitted."""
    text = EXAMPLE.read_text(encoding="utf-8")
    for key in ("stop_button_pin", "feedback_pin", "supply_pin", "cut_out_pin", "cover_switch_pin"):
        assert f"#{key} =" in text
        text = text.replace(f"#{key} =", f"{key} =")
    return parse_settings(text, "example.toml")


@pytest.fixture
def factory() -> Iterator[MockFactory]:
    """A fresh set of pretend pins."""
    factory = MockFactory()
    yield factory
    factory.close()
    assert Device.pin_factory is None, "nothing here may set the library's own default"


def drive(factory: MockFactory, number: int, *, closed: bool) -> None:
    """Close a contact to ground, or open it and let the pull-up win."""
    pin: MockPin = factory.pin(number)
    if closed:
        pin.drive_low()
    else:
        pin.drive_high()


def test_unfitted_inputs_are_none_and_claim_nothing(factory: MockFactory) -> None:
    """None means not fitted, never unknown."""
    board = BoardContacts(parse_settings(EXAMPLE.read_text(encoding="utf-8"), "example.toml"), factory)
    assert board.read() == BoardState(stop_pressed=None, frames={SOUTH: FrameContacts()})
    assert not factory.pins
    board.close()


def test_broken_wires_read_as_the_safe_side(factory: MockFactory) -> None:
    """Every input pulled up and every contact open: pressed, opened, no supply, not live, covers open."""
    board = BoardContacts(wired_settings(), factory)
    assert {number: pin.pull for number, pin in _claimed(factory).items()} == dict.fromkeys(
        (STOP, FEEDBACK, SUPPLY, CUT_OUT, COVER), "up"
    )
    assert board.read() == BoardState(
        stop_pressed=True,
        frames={
            SOUTH: FrameContacts(
                feedback_live=False, supply_present=False, cut_out_closed=False, covers_shut=False
            )
        },
    )
    board.close()


def _claimed(factory: MockFactory) -> dict[int, MockPin]:
    """Pins in use by their number."""
    return {int(pin.info.name.removeprefix("GPIO")): pin for pin in factory.pins.values()}


@pytest.mark.parametrize(
    ("pin", "change"),
    [
        (FEEDBACK, {"feedback_live": True}),
        (SUPPLY, {"supply_present": True}),
        (CUT_OUT, {"cut_out_closed": True}),
        (COVER, {"covers_shut": True}),
    ],
)
def test_each_contact_closed_says_one_thing_only(
    factory: MockFactory, pin: int, change: dict[str, bool]
) -> None:
    """Closed to ground means live, present, closed, shut; and back again when it opens."""
    board = BoardContacts(wired_settings(), factory)
    open_state = board.read().frames[SOUTH]
    drive(factory, pin, closed=True)
    fields = {name: getattr(open_state, name) for name in FrameContacts.__dataclass_fields__}
    assert board.read().frames[SOUTH] == FrameContacts(**(fields | change))
    assert board.read().stop_pressed is True
    drive(factory, pin, closed=False)
    assert board.read().frames[SOUTH] == open_state
    board.close()


def test_the_stop_button_is_a_normally_closed_loop(factory: MockFactory) -> None:
    """Closed is released, open is pressed."""
    board = BoardContacts(wired_settings(), factory)
    drive(factory, STOP, closed=True)
    assert board.read().stop_pressed is False
    drive(factory, STOP, closed=False)
    assert board.read().stop_pressed is True
    board.close()


def test_inputs_are_never_driven(factory: MockFactory) -> None:
    """From claim to close every pin stays an input, and is free again afterwards."""
    board = BoardContacts(wired_settings(), factory)
    board.read()
    pins = _claimed(factory)
    assert {pin.function for pin in pins.values()} == {"input"}
    board.close()
    assert {pin.function for pin in pins.values()} == {"input"}
    again = BoardContacts(wired_settings(), factory)
    again.close()


def test_a_pin_in_use_is_refused_with_its_name_and_nothing_stays_claimed(factory: MockFactory) -> None:
    """R08 for inputs: named, and the others are let go."""
    taken = BoardContacts(wired_settings(), factory)
    with pytest.raises(HardwareError, match=r"stop button on GPIO 21"):
        BoardContacts(wired_settings(), factory)
    taken.close()
    BoardContacts(wired_settings(), factory).close()


def test_a_line_that_cannot_be_read_counts_as_a_broken_wire_and_is_said(
    factory: MockFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One failed look is tried again; two are the open side, and the rest is read all the same."""
    board = BoardContacts(wired_settings(), factory)
    for pin in (STOP, FEEDBACK, SUPPLY, CUT_OUT, COVER):
        drive(factory, pin, closed=True)
    failures = [1]
    read_state = MockPin._get_state

    def fail_sometimes(pin: MockPin) -> bool:
        if pin is factory.pin(CUT_OUT) and failures and failures.pop():
            raise OSError("line lost")
        return bool(read_state(pin))

    monkeypatch.setattr(MockPin, "_get_state", fail_sometimes)
    state = board.read()
    assert state.faults == ()
    assert state.frames[SOUTH].cut_out_closed is True
    failures.extend([1, 1])
    state = board.read()
    assert state.frames[SOUTH].cut_out_closed is False
    assert state.frames[SOUTH].supply_present is True
    assert state.stop_pressed is False
    assert state.faults == ("south: cut-out: cannot be read (line lost); taken as a broken wire",)
    board.close()
