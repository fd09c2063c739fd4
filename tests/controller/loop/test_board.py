"""The keeper process from inside: whatever breaks, and wherever, every relay is off afterwards."""

from __future__ import annotations

import json
import logging
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from controller.config.parse import parse_settings
from controller.errors import HardwareError, InvariantBroken
from controller.folders import FolderKind, Folders, claim_folders
from controller.heat.pins import GpioSwitch, PinRefused
from controller.heat.relays import PinStuck, RelayGate
from controller.loop import board
from controller.loop.board import run_board
from controller.loop.clock import LapseClock
from controller.loop.commission import record_commission
from controller.loop.keeper import Keeper
from controller.loop.opening import BoardOrder
from controller.loop.safety_list import POINTS
from controller.record.eventlog import EventLog, set_up_log
from controller.record.read import open_reader
from controller.record.snapshot import SnapshotWriter
from controller.sense.probes import BusReaders
from tests.fakes import W1Tree
from tests.processes.keeperlab import COLD, SETTINGS

LAPSE = 600.0


@pytest.fixture(autouse=True)
def _signals_come_back() -> Iterator[None]:
    numbers = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
    handlers = {number: signal.getsignal(number) for number in numbers}
    root_handlers = logging.getLogger().handlers[:]
    yield
    signal.set_wakeup_fd(-1)
    for number, handler in handlers.items():
        signal.signal(number, handler)
    logging.getLogger().handlers[:] = root_handlers
    logging.captureWarnings(capture=False)


@pytest.fixture
def order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> BoardOrder:
    """A commissioned cold frame; a tick of ten seconds takes a sixtieth of one."""
    tree = W1Tree(tmp_path)
    for probe, temp_c in COLD.items():
        tree.add(probe, temp_c)
    folders = Folders(state=tmp_path / "state", run=tmp_path / "run")
    claim_folders(folders, kind=FolderKind.REHEARSAL)
    config = tmp_path / "frameward.toml"
    config.write_text(SETTINGS)
    answers = {point.code: True for point in POINTS}
    for frame in parse_settings(SETTINGS, "test").frames.values():
        record_commission(folders, frame, answers=answers, checks={}, date_utc="2026-01-01T00:00:00+00:00")
    clock = LapseClock(lapse=LAPSE, step_file=folders.rehearsal_clock_step)
    monkeypatch.setattr("controller.loop.keeper.LATE_TICKS", 1e9)
    monkeypatch.setattr("controller.heat.limits.LATE_TICKS", 1e9)
    log: EventLog = set_up_log(mono_s=clock.mono_s, utc_s=clock.utc_s, environment={})
    return BoardOrder(
        config=config, folders=folders, w1=tree.folder, pins="rehearsal", clock=clock, log=log, environment={}
    )


def levels(order: BoardOrder) -> list[int]:
    lines = order.folders.rehearsal_pins.read_text().splitlines()
    return [each["level"] for each in map(json.loads, lines) if each["pin"] == 17]


def once_heating(
    monkeypatch: pytest.MonkeyPatch, owner: type, name: str, failure: Callable[[], object]
) -> None:
    """Replace a method so that it fails as soon as the frame is being heated."""
    heated = {"now": False}
    whole_tick, whole = Keeper.tick, getattr(owner, name)

    def tick(keeper: Keeper) -> object:
        result = whole_tick(keeper)
        heated["now"] = any(frame.report.relay_on for frame in result.frames.values())
        return result

    def failing(*arguments: object, **named: object) -> object:
        return failure() if heated["now"] else whole(*arguments, **named)

    monkeypatch.setattr(owner, name, failing)
    monkeypatch.setattr(Keeper, "tick", tick)


class PlantedError(Exception):
    """Not one that anything of ours expects."""


def plant() -> object:
    raise PlantedError


@pytest.mark.parametrize(
    ("owner", "name"),
    [
        (BusReaders, "latest"),
        (RelayGate, "apply"),
        (SnapshotWriter, "due"),
        (board.SettingsWatch, "changed"),
        (board.Inbox, "serve"),
    ],
    ids=lambda each: getattr(each, "__name__", each),
)
def test_a_bug_anywhere_in_the_loop_ends_with_the_relay_off(
    owner: type, name: str, order: BoardOrder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """X01, I3: an unexpected exception leaves the process, and leaves it with heat off."""
    once_heating(monkeypatch, owner, name, plant)
    with pytest.raises(PlantedError):
        run_board(order)
    assert 1 in levels(order), "the relay had been on"
    assert levels(order)[-1] == 0
    assert not order.folders.socket.exists()


def test_a_relay_that_does_not_go_off_is_recorded_and_ends_the_process(
    order: BoardOrder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """R07: off cannot be confirmed: recorded, told in the last words, and out, so that the line lets go."""

    def stuck() -> object:
        raise PinStuck("GPIO17 reads on")

    once_heating(monkeypatch, RelayGate, "apply", stuck)
    with pytest.raises(InvariantBroken, match="unplug the cable"):
        run_board(order)
    assert levels(order)[-1] == 0
    with open_reader(order.folders.history) as reader:
        assert [event.detail["detail"] for event in reader.events(what="pin_stuck")] == ["GPIO17 reads on"]


def test_a_pin_that_another_program_holds_is_refused_before_any_tick(
    order: BoardOrder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """R08: no control starts on a line that is not ours."""

    def busy(switch: GpioSwitch, *arguments: object, **named: object) -> None:
        raise PinRefused("GPIO17 cannot be claimed; another program may hold it")

    monkeypatch.setattr(GpioSwitch, "__init__", busy)
    with pytest.raises(HardwareError, match="another program"):
        run_board(order)
    assert not order.folders.snapshot.exists()


def test_the_stop_actions_pins_are_stored_before_any_is_claimed(
    order: BoardOrder, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[bool] = []

    def look(switch: GpioSwitch, *arguments: object, **named: object) -> None:
        seen.append(order.folders.pins.exists())
        raise PinRefused("enough")

    monkeypatch.setattr(GpioSwitch, "__init__", look)
    with pytest.raises(HardwareError):
        run_board(order)
    assert seen == [True]


def test_changed_settings_that_the_hardware_refuses_give_way_to_those_before(
    order: BoardOrder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A pin that is not to be had must not end a frame's protection: the settings before go on."""
    whole_claim, whole_tick = GpioSwitch.__init__, Keeper.tick
    told: set[str] = set()

    def claim(switch: GpioSwitch, pin: int, **named: object) -> None:
        if pin == 22:
            raise PinRefused("GPIO22 cannot be claimed; another program may hold it")
        whole_claim(switch, pin, **named)  # type: ignore[arg-type]

    def tick(keeper: Keeper) -> object:
        result = whole_tick(keeper)
        if "relay_pin = 17" in order.config.read_text():
            order.config.write_text(SETTINGS.replace("relay_pin = 17", "relay_pin = 22"))
        told.update(event.text for event in keeper.open_notices if event.code == "settings_refused")
        if told:
            signal.raise_signal(signal.SIGTERM)
        return result

    monkeypatch.setattr(GpioSwitch, "__init__", claim)
    monkeypatch.setattr(Keeper, "tick", tick)
    run_board(order)
    assert "GPIO22" in told.pop()


def test_without_a_command_socket_the_keeper_keeps(
    order: BoardOrder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """INV-3: nobody can ask anything of it, and the frame is held all the same."""
    order.folders.socket.mkdir()
    codes: set[str] = set()
    whole_tick = Keeper.tick

    def tick(keeper: Keeper) -> object:
        result = whole_tick(keeper)
        codes.update(event.code for event in keeper.open_notices)
        if any(frame.report.relay_on for frame in result.frames.values()):
            signal.raise_signal(signal.SIGTERM)
        return result

    monkeypatch.setattr(Keeper, "tick", tick)
    run_board(order)
    assert 1 in levels(order)
    assert "not_listening" in codes


def test_a_stop_action_that_misses_a_pin_is_told(order: BoardOrder, monkeypatch: pytest.MonkeyPatch) -> None:
    """An older list of pins had to serve: somebody must hear of it."""
    monkeypatch.setattr(
        "controller.loop.opening.write_pins", lambda path, pins: "pins.json: an older list serves"
    )
    texts: set[str] = set()
    whole_tick = Keeper.tick

    def tick(keeper: Keeper) -> object:
        result = whole_tick(keeper)
        texts.update(event.text for event in keeper.open_notices if event.code == "stored_state_lost")
        if texts:
            signal.raise_signal(signal.SIGTERM)
        return result

    monkeypatch.setattr(Keeper, "tick", tick)
    run_board(order)
    assert "an older list serves" in texts.pop()
