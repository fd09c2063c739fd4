"""``frameward relays-off``: every stored pin to its off level, with nothing but the stored pins."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from controller.commands import relays_off
from controller.errors import CommandRejected, StorageError
from controller.heat.pins import BOARD, REHEARSAL, open_factory
from controller.record.pins_file import write_pins


def off(folder: Path, *, pins: str = REHEARSAL) -> Result:
    """The command, its own errors let through."""
    return CliRunner().invoke(
        relays_off.command, ["--pins", pins, "--state", str(folder / "state"), "--run", str(folder / "run")]
    )


def test_every_stored_relay_is_driven_to_its_off_level(tmp_path: Path) -> None:
    """Active-high low, active-low high; the record shows it, and no settings are read."""
    write_pins(tmp_path / "state/pins.json", [(17, True), (22, False)])
    done = off(tmp_path)
    assert done.exit_code == 0, done.output
    pins = tmp_path / "state/pins.json"
    assert done.output == f"The relays are those of {pins}.\nGPIO17 is low: off\nGPIO22 is high: off\n"
    lines = (tmp_path / "run/rehearsal-pins.jsonl").read_text().splitlines()
    assert {(line["pin"], line["level"]) for line in map(json.loads, lines)} == {(17, 0), (22, 1)}


def test_no_stored_relay_is_said(tmp_path: Path) -> None:
    """A site without heat."""
    write_pins(tmp_path / "state/pins.json", [])
    assert off(tmp_path).output.startswith("There are no relays to switch off, says ")


def test_missing_or_damaged_pins_are_an_error_that_says_so(tmp_path: Path) -> None:
    """Exit 1 by way of the error tree; nothing is guessed."""
    assert isinstance(off(tmp_path).exception, StorageError)
    (tmp_path / "state").mkdir()
    (tmp_path / "state/pins.json").write_text("{")
    assert isinstance(off(tmp_path).exception, StorageError)


def test_a_board_whose_pins_cannot_be_opened_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """R08: no relay was switched, and that is said."""
    monkeypatch.setitem(sys.modules, "lgpio", None)
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    write_pins(tmp_path / "state/pins.json", [(17, True)])
    error = off(tmp_path, pins=BOARD).exception
    assert isinstance(error, CommandRejected)
    assert str(error).startswith("no relay was switched: the board's pins cannot be opened")


def test_one_relay_that_will_not_is_told_and_the_others_are_driven(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A pin held by another program keeps none of the rest on."""
    write_pins(tmp_path / "state/pins.json", [(17, True), (22, True)])
    factory = open_factory(REHEARSAL, record=None, environment={})
    held = relays_off.GpioSwitch(17, active_high=True, factory=factory)
    monkeypatch.setattr(relays_off, "open_factory", lambda *_args, **_named: factory)
    done = off(tmp_path)
    assert isinstance(done.exception, CommandRejected)
    assert str(done.exception) == "not every relay could be shown to be off: pull the plug of the cable"
    assert "GPIO17 cannot be claimed" in done.output
    assert "GPIO22 is low: off" in done.output
    assert held.pin == 17


def test_a_relay_that_reads_on_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Read back, not assumed."""
    write_pins(tmp_path / "state/pins.json", [(17, True)])
    monkeypatch.setattr(relays_off.GpioSwitch, "read", lambda _self: True)
    done = off(tmp_path)
    assert isinstance(done.exception, CommandRejected)
    assert "GPIO17 was driven low and reads on" in done.output


@pytest.mark.parametrize(("reads_on", "exit_code"), [(False, 0), (True, 1)])
def test_on_a_board_it_leaves_with_the_pins_driven_not_let_go(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    reads_on: bool,  # noqa: FBT001
    exit_code: int,
) -> None:
    """Letting go would make them float; a driven level outlives the process."""
    write_pins(tmp_path / "state/pins.json", [(17, True)])
    seen: list[Any] = []

    class Left(Exception):  # noqa: N818  # not an error
        """The process would be gone."""

    def leave(code: int) -> None:
        seen.append(code)
        raise Left

    monkeypatch.setattr(
        relays_off,
        "open_factory",
        lambda *_args, **_named: open_factory(REHEARSAL, record=None, environment={}),
    )
    monkeypatch.setattr(relays_off, "leave", leave)
    monkeypatch.setattr(relays_off.GpioSwitch, "read", lambda _self: reads_on)
    monkeypatch.setattr(relays_off.GpioSwitch, "close", lambda _self: seen.append("let go"))
    assert isinstance(off(tmp_path, pins=BOARD).exception, Left)
    assert seen == [exit_code]


@pytest.mark.process
def test_the_shipped_command_works_without_settings_and_loads_little(tmp_path: Path) -> None:
    """No pydantic, no scheduler, no database: a stop action must not wait for them."""
    write_pins(tmp_path / "state/pins.json", [(17, True)])
    look = (
        "import sys; from controller.cli import main_group; "
        f"main_group(['relays-off', '--pins', 'rehearsal', '--state', {str(tmp_path / 'state')!r}, "
        f"'--run', {str(tmp_path / 'run')!r}], standalone_mode=False); "
        "print(sorted({'pydantic', 'apscheduler', 'sqlite3', 'w1thermsensor', 'astral'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", look], check=True, capture_output=True, text=True, timeout=60
    )
    assert done.stdout.splitlines()[1:] == ["GPIO17 is low: off", "[]"]


@pytest.mark.process
def test_every_relay_is_off_even_where_nobody_can_be_told(tmp_path: Path) -> None:
    """A full disk or a closed pipe under the output comes after the last relay, and is told by the code."""
    write_pins(tmp_path / "state/pins.json", [(17, True), (22, False)])
    command = [sys.executable, "-m", "controller.cli", "relays-off", "--pins", REHEARSAL]
    command += ["--state", str(tmp_path / "state"), "--run", str(tmp_path / "run")]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(command, stdout=full, stderr=full, check=False)
    assert done.returncode == 1
    lines = (tmp_path / "run/rehearsal-pins.jsonl").read_text().splitlines()
    assert {(line["pin"], line["level"]) for line in map(json.loads, lines)} == {(17, 0), (22, 1)}
