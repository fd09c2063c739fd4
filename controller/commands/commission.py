"""``frameward commission``: goes through the safety list that heat waits for, at the board."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from controller.commands.commission_form import Form, refuse_silent
from controller.commands.look import look_at_probes
from controller.commands.options import config_option, run_option, state_option, w1_option
from controller.commands.relay_trial import pulse_relay
from controller.commands.whose import insist_readable, insist_writable, say_folders
from controller.config.records import FrameSettings, Settings
from controller.errors import CommandRejected, ConfigError, HardwareError
from controller.folders import FolderKind, Folders, claim_folders, find_folders, refuse_other_kind
from controller.heat.pins import BOARD, REHEARSAL, PinRefused, open_factory
from controller.loop.calibration_file import load_calibration
from controller.loop.commission import (
    CommissionUnreadable,
    commission_states,
    record_commission,
    stored_records,
    wiring_of,
    withdraw_commission,
)
from controller.loop.safety_list import BLIND_DUTY_CODES, POINTS
from controller.loop.settings_file import load_settings
from controller.loop.supervisor import only_one
from controller.record.lockouts import LockoutFiles


@click.command(
    name="commission",
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Example: frameward commission --frame south   (needs a person at the frame, about ten minutes)",
)
@config_option
@state_option
@run_option
@w1_option
@click.option("--frame", "frame_name", metavar="NAME", help="The frame, where several have heat.")
@click.option("--rehearsal", is_flag=True, help="Drive recorded, pretended pins in place of the board's.")
@click.option("--show", is_flag=True, help="Print what is recorded and ask nothing.")
def command(
    *,
    config: Path,
    state: Path | None,
    run: Path | None,
    w1: Path,
    frame_name: str | None,
    rehearsal: bool,
    show: bool,
) -> None:
    """Go through the safety list that heat waits for: cautions, protection, relays, probes.

    Nothing is recorded unless every essential point is answered with yes.
    A change of pins, polarity, probes, lay or power makes it necessary again.
    A no to an essential point withdraws what was recorded earlier.
    Before you begin, restart the board once with the mains plug out and watch the relays' lights.
    """
    if rehearsal and (state is None or run is None):
        raise click.UsageError("--rehearsal needs --state and --run, so that it cannot meet a live keeper's")
    folders = find_folders(state, run, os.environ)
    insist_readable(config, folders.state)
    say_folders(folders)
    loaded = load_settings(config, folders, keep_copy=False)
    if loaded.source != "file":
        raise ConfigError(loaded.faults)
    if show:
        for line in _show_lines(loaded.settings, folders):
            click.echo(line)
        return
    frame = _choose(loaded.settings, frame_name)
    insist_writable(folders.state)
    kind = FolderKind.REHEARSAL if rehearsal else FolderKind.LIVE
    refuse_other_kind(folders, kind=kind)
    with only_one(folders), _safe_last_words():
        _commission(loaded.settings, frame, folders, w1, kind=kind)


@contextmanager
def _safe_last_words() -> Iterator[None]:
    """Whoever stops the form reads how things stand."""
    try:
        yield
    except (click.Abort, KeyboardInterrupt):
        click.echo("\nStopped. Nothing new is recorded. The relay is off.")
        raise click.Abort from None


def _commission(
    settings: Settings, frame: FrameSettings, folders: Folders, w1: Path, *, kind: FolderKind
) -> None:
    """Look, ask, try, look again, and record only at the very end."""
    heat = frame.heat
    if heat is None:
        raise CommandRejected(f"{frame.name} has no heat, so there is nothing to commission")
    lockouts = LockoutFiles(folders.lockouts, settings.heat_pins, run=folders.run)
    lockout = lockouts.find(frame.name)
    if lockout is not None:
        stands_under = " and ".join(lockouts.stored_as(frame.name)) or frame.name
        raise CommandRejected(
            f"{frame.name} is locked ({lockout.detail}); "
            f"find the cause, then run frameward clear-lockout {stands_under}"
        )
    pins = REHEARSAL if kind is FolderKind.REHEARSAL else BOARD
    calibration = load_calibration(folders.calibration)
    _open_pins(pins, record=None).close()
    refuse_silent(look_at_probes(frame.probes, w1, calibration))
    click.echo(f"Commissioning the heat of {frame.name}: {heat.power_w:g} W, lay {heat.lay.value}.\n")
    form = Form(
        frame=frame,
        heat=heat,
        units=settings.site.units,
        withdraw=lambda: withdraw_commission(folders, frame.name),
    )
    form.ask_safety_list()
    factory = _open_pins(pins, record=folders.rehearsal_pins)
    try:
        form.check_relays(
            lambda pin, active_high: pulse_relay(settings, frame, factory, pin=pin, active_high=active_high)
        )
    finally:
        factory.close()
    form.check_probes(look_at_probes(frame.probes, w1, calibration))
    claim_folders(folders, kind=kind)
    date_utc = datetime.now(UTC).isoformat(timespec="seconds")
    record_commission(folders, frame, answers=form.answers, checks=form.checks, date_utc=date_utc)
    click.echo(f"\nRecorded in {folders.commission}.")
    if not all(form.answers[code] for code in BLIND_DUTY_CODES):
        click.echo("Whenever no probe watches bed or cable, heat stays off, in frost too.")
    click.echo(
        "Plug the cable in and start the keeper. Heat has to be earned: some good readings and a full rest."
    )


def _open_pins(pins: str, *, record: Path | None) -> Any:
    """The pin factory; HardwareError where it cannot be had."""
    try:
        return open_factory(pins, record=record)
    except PinRefused as error:
        raise HardwareError(str(error)) from error


def _choose(settings: Settings, frame_name: str | None) -> FrameSettings:
    """The frame asked for, or the only one with heat."""
    heated = [frame for frame in settings.frames.values() if frame.heat is not None]
    names = ", ".join(frame.name for frame in heated) or "none"
    if frame_name is None:
        if len(heated) == 1:
            return heated[0]
        raise CommandRejected(f"say which frame with --frame; frames with heat: {names}")
    for frame in heated:
        if frame.name == frame_name:
            return frame
    raise CommandRejected(f"there is no frame {frame_name!r} with heat; frames with heat: {names}")


def _show_lines(settings: Settings, folders: Folders) -> list[str]:
    """What is recorded, frame by frame, against the settings of today."""
    try:
        records = stored_records(folders)
    except CommissionUnreadable as error:
        raise CommandRejected(f"{folders.commission}: {error}; commission again") from error
    lines = []
    states = commission_states(settings, folders)
    questions = {point.code: point.question for point in POINTS}
    for name, state in states.items():
        lines.append(f"{name}: {'commissioned' if state.done else f'heat is refused: {state.gap}'}")
        record = records.get(name)
        if record is None:
            continue
        lines.append(f"  recorded {record.date_utc}")
        lay = record.wiring.get("lay", "")
        for code, question in questions.items():
            answer = "yes" if record.answers.get(code) else "no "
            lines.append(f"  {answer}  {question.format(lay=lay)}")
        lines += [f"  seen {check}: {words}" for check, words in record.checks.items()]
        frame = settings.frames[name]
        now = wiring_of(frame.heat, frame) if frame.heat is not None else {}
        lines += [f"  {key}: was {record.wiring.get(key)}, is {now.get(key)}" for key in state.changed]
    lines += [
        f"{name}: recorded, but the settings have no such frame" for name in records if name not in states
    ]
    return lines or ["No frame has heat, so there is nothing to commission."]
