"""``frameward relays-off``: every relay off, from the last good pins alone.

Meant for the service manager's stop action and for a person in a hurry, so it reads no settings
and loads little.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import click

from controller.commands.options import run_option, state_option
from controller.commands.whose import insist_readable
from controller.errors import CommandRejected
from controller.folders import Folders, find_folders
from controller.heat.pins import BOARD, REHEARSAL, GpioSwitch, PinRefused, open_factory
from controller.record.pins_file import StoredPin, read_pins


@dataclass(frozen=True, slots=True, kw_only=True)
class _Outcome:
    """What became of one relay."""

    words: str
    fault: str
    """Why it could not be shown to be off; empty when it was."""


@click.command(
    "relays-off",
    epilog="Example: frameward relays-off\n\nExit codes: 0 every relay reads off, 1 at least one does not.",
)
@click.option(
    "--pins",
    type=click.Choice([BOARD, REHEARSAL]),
    default=BOARD,
    show_default=True,
    help="The board's own pins, or pretended ones.",
)
@state_option
@run_option
def command(*, pins: str, state: Path | None, run: Path | None) -> None:
    """Drive every relay that the keeper last used to its off level; needs no settings.

    This is no emergency stop: in danger, pull the plug or throw the breaker first.
    """
    folders = find_folders(state, run, os.environ)
    insist_readable(folders.state)
    stored = read_pins(folders.pins)
    if not stored:
        click.echo(f"There are no relays to switch off, says {folders.pins}.")
        return
    try:
        factory = open_factory(pins, record=folders.rehearsal_pins)
    except PinRefused as error:
        raise CommandRejected(f"no relay was switched: {error}") from error
    switches: list[GpioSwitch] = []
    outcomes = [_drive_off(pin, factory, switches) for pin in stored]
    faults = [outcome.fault for outcome in outcomes if outcome.fault]
    unheard = _tell(outcomes, folders)  # only now: no terminal, pipe or disk comes before the last relay
    if pins == BOARD:
        # Letting go would make the pins inputs that float where they were; a driven low level outlives us.
        leave(1 if faults or unheard else 0)
    for switch in switches:
        switch.close()
    factory.close()
    if faults:
        raise CommandRejected("not every relay could be shown to be off: pull the plug of the cable")
    if unheard:
        raise CommandRejected("every relay is off, but that could not be printed")


def _tell(outcomes: list[_Outcome], folders: Folders) -> bool:
    """One line per relay; True when nobody could be told."""
    try:
        click.echo(f"The relays are those of {folders.pins}.")
        for outcome in outcomes:
            click.echo(outcome.fault or outcome.words, err=bool(outcome.fault))
        sys.stdout.flush()
    except OSError:
        return True
    return False


def leave(exit_code: int) -> None:
    """Leave at once, the pins as they are driven."""
    with suppress(OSError):
        sys.stderr.flush()
    os._exit(exit_code)


def _drive_off(stored: StoredPin, factory: object, switches: list[GpioSwitch]) -> _Outcome:
    """Drive one pin off; whatever goes wrong is in the outcome."""
    level = "low" if stored.active_high else "high"
    try:
        switch = GpioSwitch(stored.pin, active_high=stored.active_high, factory=factory)
        switches.append(switch)
        switch.drive(on=False)
        fault = f"GPIO{stored.pin} was driven {level} and reads on" if switch.read() else ""
    except Exception as error:  # noqa: BLE001  # every other pin must still be tried
        fault = str(error) or type(error).__name__
    return _Outcome(words=f"GPIO{stored.pin} is {level}: off", fault=fault)
