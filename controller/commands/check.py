"""``frameward check``: the settings as understood, what the hardware answers, what would happen next."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping
from importlib import resources
from pathlib import Path

import click

from controller.commands.check_hardware import Findings, board_lines, probe_lines
from controller.commands.check_words import frame_lines, site_lines
from controller.commands.look import ProbeLook, look_at_probes
from controller.commands.options import config_option, run_option, state_option, w1_option
from controller.commands.whose import insist_readable, say_folders
from controller.config.records import FrameSettings, HeatSettings, Settings
from controller.errors import ConfigError, HardwareError, StorageError
from controller.folders import Folders, find_folders
from controller.loop.calibration_file import load_calibration
from controller.loop.commission import CommissionState, commission_states
from controller.loop.overlay import apply_overlay, misfits
from controller.loop.overlay_file import load_overlay
from controller.loop.secrets_file import read_secrets
from controller.loop.settings_file import LoadedSettings, load_settings
from controller.record.lockouts import LockoutFiles
from controller.units import temperature_text
from controller.vocabulary import AIR_PLACES, ROOT_PLACES, FrameName, Lockout, LockoutCause, Place, Sample


@click.command(
    name="check",
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Example: frameward check --config /etc/frameward/frameward.toml\n\n"
    "Exit codes: 0 fit to keep, 1 hardware does not allow it, 78 settings to mend.",
)
@click.option("--example", is_flag=True, help="Print the commented example settings, to copy and change.")
@config_option
@state_option
@run_option
@w1_option
def command(*, config: Path, state: Path | None, run: Path | None, w1: Path, example: bool) -> None:
    """Print the settings as understood, what the hardware answers, and what would happen next.

    Reads only: it drives no relay and changes no file.
    """
    if example:
        click.echo(resources.files("controller").joinpath("data/example.toml").read_text("utf-8"), nl=False)
        return
    folders = find_folders(state, run, os.environ)
    insist_readable(config, folders.state)
    loaded = load_settings(config, folders, keep_copy=False)
    if loaded.source != "file":
        _refuse_settings(loaded, folders)
    stored = load_overlay(folders.overlay, set_aside=False)
    settings = apply_overlay(loaded.settings, stored.overlay)
    click.echo(f"Settings: {config} passes every check.")
    say_folders(folders)
    click.echo()
    _echo(site_lines(settings))
    for remark in (*stored.remarks, *misfits(stored.overlay, settings), *_secret_remarks(settings)):
        click.echo(f"  note: {remark}")
    findings = Findings()
    calibration = load_calibration(folders.calibration)
    looks: dict[FrameName, Mapping[Place, ProbeLook]] = {}
    states = commission_states(settings, folders)
    for name, frame in settings.frames.items():
        click.echo()
        _echo(frame_lines(frame, settings.site.units))
        _echo(_changed_lines(loaded.settings.frames[name], frame, settings.site.units))
        if name in states:
            click.echo(f"  commissioning: {_commission_words(states[name])}")
        looks[name] = look_at_probes(frame.probes, w1, calibration)
        _echo(probe_lines(frame, looks[name], calibration, settings.site.units, findings))
    click.echo("\nBoard")
    _echo(board_lines(findings))
    _echo(f"  note: {fault}" for fault in calibration.faults)
    click.echo("\nIf the keeper started now")
    _echo(_next_lines(settings, folders, states, looks, findings))
    if findings.blocking:
        sys.exit(HardwareError.exit_code)


def _refuse_settings(loaded: LoadedSettings, folders: Folders) -> None:
    """Every fault, and what the keeper would do meanwhile; exits."""
    click.echo(
        f"The settings cannot be used ({len(loaded.faults)} to mend):\n{ConfigError(loaded.faults)}\n"
        f"Until they are mended, the keeper runs on its last good copy, {folders.last_good_settings}.",
        err=True,
    )
    sys.exit(ConfigError.exit_code)


def _secret_remarks(settings: Settings) -> tuple[str, ...]:
    """Faults of the secrets file, which keep messages from being sent but no frame from being kept."""
    if settings.site.secrets_file is None:
        return ()
    try:
        read_secrets(Path(settings.site.secrets_file))
    except ConfigError as error:
        return tuple(str(fault) for fault in error.faults)
    return ()


def _changed_lines(in_file: FrameSettings, frame: FrameSettings, units: str) -> Iterator[str]:
    """What a command has changed since the file was written."""
    if in_file.heat is None or frame.heat is None or in_file.heat.keep_above_c == frame.heat.keep_above_c:
        return
    file_words = temperature_text(in_file.heat.keep_above_c, units)
    yield f"  note: that was changed by a command; the settings file says {file_words}"


def _next_lines(
    settings: Settings,
    folders: Folders,
    states: Mapping[FrameName, CommissionState],
    looks: Mapping[FrameName, Mapping[Place, ProbeLook]],
    findings: Findings,
) -> Iterator[str]:
    """For each frame what the keeper would do first."""
    for blocking in findings.blocking:
        yield f"  {blocking}"
    lockouts = LockoutFiles(folders.lockouts, settings.heat_pins, run=folders.run)
    for name, frame in settings.frames.items():
        if frame.heat is None:
            yield f"  {name}: watched and told about; it has no heat"
            continue
        lockout = _find_lockout(lockouts, name)
        stands_under = "" if lockout is None else " and ".join(lockouts.stored_as(name)) or name
        words = _held_back(name, states[name], lockout, stands_under)
        words = words or _heat_words(frame.heat, states[name], looks[name], settings.site.units)
        yield f"  {name}: {words}"


def _find_lockout(lockouts: LockoutFiles, name: FrameName) -> Lockout | None:
    """A folder that cannot be read locks, as it does in the keeper."""
    try:
        return lockouts.find(name)
    except StorageError as error:
        return Lockout(frame=name, cause=LockoutCause.UNREADABLE, detail=str(error), raised_utc="")


def _commission_words(state: CommissionState) -> str:
    """Done and when, or what is missing."""
    if not state.done:
        return state.gap
    blind = "allowed" if state.blind_duty else "not allowed"
    return f"done {state.date_utc[:10]}; bounded heat with no probe to watch it: {blind}"


def _held_back(name: FrameName, state: CommissionState, lockout: Lockout | None, stands_under: str) -> str:
    """What a person has to do before heat can be had at all; empty when nothing."""
    if lockout is not None:
        return (
            f"heat is locked: {lockout.detail}. Once the cause is found and gone: "
            f"frameward clear-lockout {stands_under}"
        )
    if not state.done:
        done_by = (
            "" if "frameward commission" in state.gap else f". Next: frameward commission --frame {name}"
        )
        return f"heat is refused: {state.gap}{done_by}"
    return ""


def _heat_words(
    heat: HeatSettings, state: CommissionState, looks: Mapping[Place, ProbeLook], units: str
) -> str:
    """Whether heat would be wanted, by this one look."""
    trusted = {place: look.reading for place, look in looks.items() if isinstance(look.reading, Sample)}
    if not trusted.keys() & {*ROOT_PLACES, Place.CABLE}:
        blind = "in bounded spells while frost is likely" if state.blind_duty else "not at all"
        return f"no probe watches bed or cable, so it would heat {blind}"
    air_c = min((reading.temp_c for place, reading in trusted.items() if place in AIR_PLACES), default=None)
    rest = f"after some good readings and a rest of {heat.min_off_s:g} s"
    if air_c is None:
        return f"no air probe answers; it would heat by the bed {rest}"
    aim_c = heat.keep_above_c + heat.leaf_allowance_k
    side = "below" if air_c < aim_c else "not below"
    verdict = f"it would heat {rest}" if air_c < aim_c else "heat would stay off"
    return f"air {temperature_text(air_c, units)} is {side} {temperature_text(aim_c, units)}: {verdict}"


def _echo(lines: Iterator[str]) -> None:
    for line in lines:
        click.echo(line)
