"""Pins over gpiozero: pretended ones with their whole history, real ones through a stub of lgpio."""

from __future__ import annotations

import json
import os
import sys
import types
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import gpiozero.pins.local
import pytest

from controller.heat.pins import BOARD, REHEARSAL, GpioSwitch, PinRefused, open_factory

Calls = list[tuple[Any, ...]]


class Chip(types.ModuleType):
    """A stand-in for lgpio that writes down each call; it shows what is asked for, not what a kernel does."""

    SET_PULL_NONE, SET_PULL_UP, SET_PULL_DOWN = 128, 32, 64
    BOTH_EDGES, RISING_EDGE, FALLING_EDGE = 3, 1, 2

    class error(Exception):  # noqa: N801, N818  # the library's own name
        """What the library raises."""

    def __init__(self) -> None:
        super().__init__("lgpio")
        self.calls: Calls = []
        self.levels: dict[int, int] = {}
        self.outputs: set[int] = set()
        self.busy: set[int] = set()
        self.stuck: set[int] = set()

    def gpiochip_open(self, chip: int) -> int:
        """A handle."""
        self.calls.append(("open", chip))
        return 0

    def gpiochip_close(self, _handle: int) -> None:
        """Let go of all."""
        self.calls.append(("close",))

    def gpio_claim_input(self, _handle: int, pin: int, _flags: int = 0) -> None:
        """The pin floats."""
        self.calls.append(("input", pin))
        self.outputs.discard(pin)

    def gpio_claim_output(self, _handle: int, pin: int, level: int = 0) -> None:
        """The pin is driven at this level from here on."""
        if pin in self.busy:
            raise self.error("GPIO busy")
        self.calls.append(("output", pin, level))
        self.outputs.add(pin)
        self.levels[pin] = level

    def gpio_write(self, _handle: int, pin: int, level: bool) -> None:  # noqa: FBT001  # the library's form
        """Drive it."""
        self.calls.append(("write", pin, int(level)))
        if pin in self.stuck:
            raise self.error("I/O error")
        self.levels[pin] = int(level)

    def gpio_read(self, _handle: int, pin: int) -> int:
        """The level that was driven last."""
        return self.levels.get(pin, 0)

    def gpio_get_mode(self, _handle: int, pin: int) -> int:
        """Output or not."""
        return 2 if pin in self.outputs else 0


@pytest.fixture
def chip(monkeypatch: pytest.MonkeyPatch) -> Iterator[Chip]:
    """A board of its own for one test."""
    stub = Chip()
    monkeypatch.setenv("LG_WD", "/nowhere")
    monkeypatch.setitem(sys.modules, "lgpio", stub)
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    monkeypatch.setattr(gpiozero.pins.local, "get_pi_revision", lambda: 0xA02082)
    gpiozero.pins.local.LocalPiFactory.pins.clear()
    gpiozero.pins.local.LocalPiFactory._reservations.clear()
    yield stub
    sys.modules.pop("gpiozero.pins.lgpio", None)
    gpiozero.pins.local.LocalPiFactory.pins.clear()
    gpiozero.pins.local.LocalPiFactory._reservations.clear()


@pytest.mark.parametrize(("active_high", "off"), [(True, 0), (False, 1)])
def test_a_relay_is_claimed_once_at_its_off_level_and_never_blips(
    chip: Chip,
    active_high: bool,  # noqa: FBT001
    off: int,
) -> None:
    """Active-low boards pass through low, which is on, in the library's own claim; ours does not."""
    factory = open_factory(BOARD, record=None, environment={})
    switch = GpioSwitch(17, active_high=active_high, factory=factory)
    driven = [call for call in chip.calls if call[0] in ("output", "write")]
    assert driven == [("output", 17, off)]
    assert switch.read() is False


@pytest.mark.parametrize(("active_high", "off"), [(True, 0), (False, 1)])
def test_off_is_driven_before_the_pin_is_let_go(chip: Chip, active_high: bool, off: int) -> None:  # noqa: FBT001
    """A pin that is let go floats where it was."""
    factory = open_factory(BOARD, record=None, environment={})
    switch = GpioSwitch(17, active_high=active_high, factory=factory)
    switch.drive(True)  # noqa: FBT003  # the form of the seam
    assert switch.read() is True
    chip.calls.clear()
    switch.close()
    assert chip.calls == [("write", 17, off), ("input", 17)]
    switch.close()
    assert chip.calls == [("write", 17, off), ("input", 17)]


def test_the_pin_is_let_go_even_when_off_cannot_be_driven(chip: Chip) -> None:
    """An input falls to its pull-down; an output that will not obey does not."""
    switch = GpioSwitch(17, active_high=True, factory=open_factory(BOARD, record=None, environment={}))
    switch.drive(True)  # noqa: FBT003  # the form of the seam
    chip.stuck.add(17)
    chip.calls.clear()
    with pytest.raises(chip.error):
        switch.close()
    assert chip.calls == [("write", 17, 0), ("input", 17)]


def test_a_pin_that_another_program_holds_is_refused_in_words(chip: Chip) -> None:
    """R08: nothing is driven."""
    chip.busy.add(17)
    with pytest.raises(PinRefused, match=r"^GPIO17 cannot be claimed \(error: GPIO busy\)"):
        GpioSwitch(17, active_high=True, factory=open_factory(BOARD, record=None, environment={}))
    assert not [call for call in chip.calls if call[0] in ("output", "write")]


def test_a_board_without_its_library_is_refused_and_never_pretended(monkeypatch: pytest.MonkeyPatch) -> None:
    """X12, X23: no fall-back of any kind."""
    monkeypatch.setitem(sys.modules, "lgpio", None)
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    with pytest.raises(PinRefused, match="the board's pins cannot be opened"):
        open_factory(BOARD, record=None, environment={})


def test_an_empty_library_of_that_name_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A package index once served an lgpio with nothing in it."""
    monkeypatch.setitem(sys.modules, "lgpio", types.ModuleType("lgpio"))
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    with pytest.raises(PinRefused, match="AttributeError"):
        open_factory(BOARD, record=None, environment={})


def test_pins_named_in_the_environment_are_refused_unless_they_are_the_boards(chip: Chip) -> None:
    """X23: pretended pins only when a rehearsal was asked for by name."""
    for wrong in ("mock", "native", "pigpio"):
        with pytest.raises(PinRefused, match=f"GPIOZERO_PIN_FACTORY asks for '{wrong}' pins"):
            open_factory(BOARD, record=None, environment={"GPIOZERO_PIN_FACTORY": wrong})
    assert chip.calls == []
    open_factory(BOARD, record=None, environment={"GPIOZERO_PIN_FACTORY": "lgpio"})
    assert chip.calls == [("open", 0)]


def test_an_unknown_kind_of_pins_is_refused() -> None:
    """The two there are, are named."""
    with pytest.raises(PinRefused, match="'mock' is no kind of pins; there are 'lgpio' and 'rehearsal'"):
        open_factory("mock", record=None, environment={})


def test_lgpio_gets_a_folder_that_it_can_write_to(chip: Chip, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its import makes a FIFO; a service's own folder is the place for it."""
    assert chip.calls == []
    monkeypatch.delenv("LG_WD", raising=False)
    monkeypatch.setenv("RUNTIME_DIRECTORY", "/run/one:/run/two")
    open_factory(BOARD, record=None, environment={})
    assert os.environ["LG_WD"] == "/run/one"


@pytest.mark.parametrize(("active_high", "on", "off"), [(True, 1, 0), (False, 0, 1)])
def test_a_rehearsal_records_every_level_from_the_claim_to_the_end(
    tmp_path: Path,
    active_high: bool,  # noqa: FBT001
    on: int,
    off: int,
) -> None:
    """The record is what a test asserts: off from the first line, and off before the pin is let go."""
    record = tmp_path / "run" / "pins.jsonl"
    factory = open_factory(REHEARSAL, record=record, environment={"GPIOZERO_PIN_FACTORY": "mock"})
    switch = GpioSwitch(17, active_high=active_high, factory=factory)
    for wanted in (True, True, False, True):
        switch.drive(wanted)
        assert switch.read() is wanted
    switch.close()
    factory.close()
    lines = [json.loads(line) for line in record.read_text().splitlines()]
    assert [(line["pin"], line["level"]) for line in lines] == [
        (17, level) for level in (off, on, off, on, off)
    ]
    assert all(earlier["mono"] <= later["mono"] for earlier, later in pairwise(lines))


def test_a_rehearsal_without_a_record_writes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Full-speed rehearsals need none."""
    monkeypatch.chdir(tmp_path)
    factory = open_factory(REHEARSAL, record=None, environment={})
    switch = GpioSwitch(22, active_high=True, factory=factory)
    switch.drive(True)  # noqa: FBT003  # the form of the seam
    assert switch.read() is True
    switch.close()
    factory.close()
    assert list(tmp_path.iterdir()) == []


def test_two_relays_cannot_share_a_pin_nor_use_one_that_is_not_there() -> None:
    """F09, on pretended pins as on real ones."""
    factory = open_factory(REHEARSAL, record=None, environment={})
    first = GpioSwitch(17, active_high=True, factory=factory)
    with pytest.raises(PinRefused, match="GPIO17 cannot be claimed"):
        GpioSwitch(17, active_high=True, factory=factory)
    with pytest.raises(PinRefused, match="GPIO99 cannot be claimed"):
        GpioSwitch(99, active_high=True, factory=factory)
    assert (first.pin, first.active_high) == (17, True)
    first.close()
