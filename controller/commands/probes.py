"""``frameward probes``: which probes there are, which is which, and their correction in melting ice."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import click

from controller.commands.assigned import Assigned, read_assigned
from controller.commands.look import first_readings, judge_alone, read_once
from controller.commands.options import NumberRange, config_option, run_option, state_option, w1_option
from controller.commands.probe_table import ProbeTable, WarmthWatch
from controller.commands.whose import insist_readable, insist_writable
from controller.errors import CommandRejected, HardwareError, StorageError
from controller.folders import Folders, find_folders
from controller.loop.calibration_file import Calibration, Correction, load_calibration, save_correction
from controller.sense.calibrate import IceFlaw, IcePoint, find_ice_point
from controller.sense.probes import READ_DEADLINE_S, BusReaders, list_probes
from controller.vocabulary import Place, ProbeId, Sample

_ICE_WORDS = """\
The ice bath: crush clean ice made from tap or distilled water, fill a vacuum flask with it, add just
enough cold water to fill the gaps, stir. The ice must reach the bottom; no salt. Hang the probe in
the middle with its lead, not touching the wall, and wait ten minutes. Melting ice is 0.0 °C."""

_every_option = click.option(
    "--every-s",
    type=NumberRange(min=0.02, max=60.0),
    default=2.0,
    show_default=True,
    metavar="SECONDS",
    help="Pause between readings.",
)


@click.group(
    name="probes",
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Example: frameward probes watch",
)
def command() -> None:
    """List probes, watch them live, correct them in melting ice."""


@command.command(
    "list",
    short_help="Show every probe, its place and its reading.",
    epilog="Example: frameward probes list --w1 /sys/bus/w1/devices",
)
@config_option
@state_option
@run_option
@w1_option
def list_command(*, config: Path, state: Path | None, run: Path | None, w1: Path) -> None:
    """Show every probe found or assigned: its place, its reading or why there is none, its resolution."""
    assigned = read_assigned(config)
    calibration = _corrections(find_folders(state, run, os.environ))
    table = _make_table(assigned, calibration, w1)
    _say_remarks(assigned, calibration)
    raws = read_once(table.probes, w1)
    readings = {
        probe: judge_alone(raws.get(probe), table.place_of(probe), calibration.offset_k(probe))
        for probe in table.probes
    }
    for line in table.list_lines(readings):
        click.echo(line)


@command.command(
    "watch",
    short_help="Show all probes live; the one that warms is marked.",
    epilog="Example: frameward probes watch   (Ctrl-C ends it)",
)
@config_option
@state_option
@run_option
@w1_option
@_every_option
@click.option("--rounds", type=click.IntRange(min=1), default=None, help="End after so many looks.")
def watch_command(
    *,
    config: Path,
    state: Path | None,
    run: Path | None,
    w1: Path,
    every_s: float,
    rounds: int | None,
) -> None:
    """Show all probes live, corrected; take one in the hand, and the line of the one that warms is marked."""
    assigned = read_assigned(config)
    calibration = _corrections(find_folders(state, run, os.environ))
    table = _make_table(assigned, calibration, w1)
    _say_remarks(assigned, calibration)
    watch = WarmthWatch(table)
    readers = BusReaders(table.probes, w1, every_s, READ_DEADLINE_S, time.monotonic)
    click.echo("Take one probe in the hand for half a minute. Ctrl-C ends.")
    overwrite = _can_overwrite()
    drawn = 0
    try:
        first_readings(readers, len(table.probes))
        for _ in _looks(every_s, rounds):
            raws, now_s = readers.latest(), time.monotonic()
            readings = {
                probe: judge_alone(raws.get(probe), table.place_of(probe), calibration.offset_k(probe))
                for probe in table.probes
            }
            if drawn:
                click.echo(f"\x1b[{drawn}A\x1b[J" if overwrite else "\n", nl=False)
            lines = watch.lines(readings, now_s)
            drawn = len(lines)
            click.echo("\n".join(lines))
    except KeyboardInterrupt:
        click.echo()
    finally:
        readers.close()


@command.command(
    "ice",
    short_help="Correct one probe in melting ice.",
    epilog="Example: frameward probes ice --probe 28-000007a1c0e5",
)
@click.option("--probe", "probe_name", required=True, metavar="ID", help="The probe in the ice bath.")
@state_option
@run_option
@w1_option
@_every_option
@click.option(
    "--rounds",
    type=click.IntRange(min=1),
    default=90,
    show_default=True,
    help="Give up after so many readings.",
)
@click.option("--yes", is_flag=True, help="The bath is ready; do not ask.")
def ice_command(
    *,
    probe_name: str,
    state: Path | None,
    run: Path | None,
    w1: Path,
    every_s: float,
    rounds: int,
    yes: bool,
) -> None:
    """Correct one probe at 0 °C: guided, steady readings only, at most what the data sheet allows."""
    folders = find_folders(state, run, os.environ)
    insist_writable(folders.state)
    probe = _find_named(probe_name, w1)
    click.echo(_ICE_WORDS)
    if not yes:
        click.confirm("Is the probe in the bath, for ten minutes already?", abort=True)
    readers = BusReaders([probe], w1, every_s, READ_DEADLINE_S, time.monotonic)
    try:
        point = _settle(_distinct_raw_c(readers, probe, every_s, rounds))
    finally:
        readers.close()
    path = folders.calibration
    date_utc = datetime.now(UTC).date().isoformat()
    save_correction(
        path, probe, Correction(offset_k=point.offset_k, residual_k=point.residual_k, date_utc=date_utc)
    )
    click.echo(
        f"{probe}: corrected by {point.offset_k:+.3f} K, readings within ±{point.residual_k:.3f} K, "
        f"{date_utc}.\nStored in {path}; the keeper applies it when it next starts."
    )


def _corrections(folders: Folders) -> Calibration:
    """The stored corrections; none, and why, where this user may not read them."""
    try:
        insist_readable(folders.state, folders.calibration)
    except StorageError as error:
        return Calibration(corrections={}, faults=(f"Readings are shown uncorrected: {error}",))
    return load_calibration(folders.calibration)


def _say_remarks(assigned: Assigned, calibration: Calibration) -> None:
    """What of settings and corrections could not be used, beside the readings."""
    for remark in (assigned.remark, *calibration.faults):
        if remark:
            click.echo(remark, err=True)


def _settle(raw_c: Iterator[float]) -> IcePoint:
    """The first steady ice point in the stream; CommandRejected with what to do when there is none."""
    seen: list[float] = []
    result = find_ice_point(seen)
    for reading_c in raw_c:
        seen.append(reading_c)
        click.echo(f"  {len(seen):3d}  {reading_c:+.4f} °C")
        result = find_ice_point(seen)
        if isinstance(result, IcePoint):
            return result
        if result.flaw is IceFlaw.TOO_FAR_OFF:
            break
    if isinstance(result, IcePoint):
        return result
    raise CommandRejected(f"no correction stored: {result.remedy}")


def _distinct_raw_c(readers: BusReaders, probe: ProbeId, every_s: float, rounds: int) -> Iterator[float]:
    """Each new sound reading once, uncorrected; ends after ``rounds`` looks."""
    judged_at_s = -1.0
    first_readings(readers, 1)
    for _ in _looks(every_s, rounds):
        raw = readers.latest().get(probe)
        if raw is None or raw.taken_at_s <= judged_at_s:
            continue
        judged_at_s = raw.taken_at_s
        reading = judge_alone(raw, Place.AIR, 0.0)
        if isinstance(reading, Sample):
            yield reading.temp_c
        else:
            click.echo(f"       no reading: {reading.reason.value} ({reading.detail})")


def _looks(every_s: float, rounds: int | None) -> Iterator[int]:
    """Count looks, pausing between them; for ever without ``rounds``."""
    count = 0
    while rounds is None or count < rounds:
        if count:
            time.sleep(every_s)
        yield count
        count += 1


def _make_table(assigned: Assigned, calibration: Calibration, w1: Path) -> ProbeTable:
    """Lay out every probe that is found or assigned; HardwareError when there is none."""
    found = list_probes(w1)
    places = assigned.places()
    probes = tuple(sorted({*(entry.probe for entry in found if entry.usable), *places}))
    unusable = tuple(entry.probe for entry in found if not entry.usable)
    if not probes:
        others = f" ({', '.join(unusable)}: not usable here)" if unusable else ""
        raise HardwareError(
            f"{w1}: no probe found{others}; check the wiring, the 4.7 kΩ pull-up and the lead"
        )
    return ProbeTable(
        probes=probes,
        places=places,
        unusable=unusable,
        corrected=frozenset(calibration.corrections),
        units=assigned.units(),
    )


def _find_named(name: str, w1: Path) -> ProbeId:
    """The probe of that id, if the kernel shows it."""
    found = [entry.probe for entry in list_probes(w1) if entry.usable]
    if name not in found:
        raise CommandRejected(f"{name}: no such probe; found: {', '.join(found) or 'none'}")
    return ProbeId(name)


def _can_overwrite() -> bool:
    """A terminal that moves its cursor; anything else gets one block after another."""
    return sys.stdout.isatty() and os.environ.get("TERM", "dumb") != "dumb"
