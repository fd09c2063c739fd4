"""``frameward clear-lockout``: a person at the board ends a lockout whose cause is gone.

Nothing here switches anything on: the running keeper sees that the lockout is gone, and the frame
owes it a full rest before heat is allowed again.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Mapping
from pathlib import Path

import click

from controller.commands.options import config_option, run_option, state_option
from controller.commands.whose import insist_readable, insist_writable, say_folders
from controller.errors import CommandRejected, ConfigError
from controller.folders import Folders, boot_id, find_folders
from controller.loop.settings_file import load_settings
from controller.notices.words import LOCKOUT_WORDS
from controller.record.lockouts import LockoutFiles
from controller.record.snapshot import Unusable, read_snapshot
from controller.vocabulary import FrameName, HeatReason, LockoutCause, Place

_STILL_THERE = {
    HeatReason.CABLE_TOO_WARM: "the cable is still too warm",
    HeatReason.ROOT_TOO_WARM: "the root zone is still too warm",
    HeatReason.CUT_OUT_OPEN: "the cut-out is still open",
    HeatReason.OFF_PROOF: "the cable is still live with its relay off: unplug it, the relay may be welded",
}
_UNSEEN = {
    LockoutCause.UNREADABLE: "What had locked it cannot be read",
    LockoutCause.LIVE_WHEN_OFF: (
        "A weld cannot be seen while the cable is unplugged or cut, nor without its feedback contact"
    ),
}
_PLACES = {
    LockoutCause.OVERHEATED_ROOT: (Place.BED, Place.GUARD),
    LockoutCause.OVERHEATED_CABLE: (Place.CABLE,),
}


@click.command(
    "clear-lockout",
    epilog="Example: frameward clear-lockout south\n\nExit codes: 0 cleared, 1 refused or nothing to clear.",
)
@click.argument("frame")
@click.option(
    "--cause-gone",
    is_flag=True,
    help="You have looked and the cause is gone; needed where no running keeper can see it.",
)
@config_option
@state_option
@run_option
def command(*, frame: str, cause_gone: bool, config: Path, state: Path | None, run: Path | None) -> None:
    """End the lockout of FRAME, here at the board, once its cause is gone.

    Before you do: unplug the cable and look at it, its relay and its cut-out. A lockout is evidence
    that something overheated or that a relay would not let go; if you do not know why, leave it
    locked and have a licensed electrician look. Heat does not come on at once: the frame first rests.
    """
    folders = find_folders(state, run, os.environ)
    insist_readable(config, folders.state)
    insist_writable(folders.state)
    say_folders(folders)
    name = FrameName(frame)
    files = LockoutFiles(folders.lockouts, _heat_pins(config, folders), run=folders.run)
    known = {*files.frames, *files.all_names()}
    if name not in known:
        raise CommandRejected(f"no frame {frame!r}; there are: {', '.join(sorted(known)) or 'none'}")
    lockout = files.find(name)
    if lockout is None:
        raise CommandRejected(f"{frame} is not locked; nothing was changed")
    click.echo(f"{frame} is locked: {LOCKOUT_WORDS[lockout.cause]}.")
    click.echo(f"  {lockout.detail}" + (f"  (raised {lockout.raised_utc})" if lockout.raised_utc else ""))
    _refuse_elsewhere(files, name)
    concerned = dict.fromkeys((name, *files.locked_by(name)))
    doubt = next(filter(None, [_doubt(folders, each, lockout.cause) for each in concerned]), "")
    if doubt and not cause_gone:
        raise CommandRejected(
            f"{doubt}. Look at cable, relay and cut-out yourself; "
            f"if the cause is gone: frameward clear-lockout {frame} --cause-gone"
        )
    if not click.confirm(f"Is the cause gone, and shall {frame} be heated again when it is cold?"):
        raise CommandRejected(f"{frame} stays locked")
    files.clear(name)
    left = files.find(name)
    if left is not None:
        raise CommandRejected(
            f"{frame} is still locked by what stands under another name ({left.detail}); "
            f"clear that too: {_commands(files.stored_as(name))}"
        )
    click.echo(f"{frame} is no longer locked. It rests a few minutes before heat is allowed again.")


def _refuse_elsewhere(files: LockoutFiles, name: FrameName) -> None:
    """Raise CommandRejected where this name is not the one to clear, or cannot be cleared yet."""
    stored = files.stored_as(name)
    if name not in stored and all(other in files.frames for other in stored):
        raise CommandRejected(
            f"{name} is locked because its relay is the one of a lockout that stands under another name; "
            f"to clear it: {_commands(stored)}"
        )
    if files.only_in_run(name):
        raise CommandRejected(
            f"the disk has not taken this lockout yet, so the keeper still holds it; free space on the disk, "
            f"wait a minute with the keeper running, then again: frameward clear-lockout {name}"
        )


def _commands(names: Iterable[FrameName]) -> str:
    """One command for each name."""
    return ", ".join(f"frameward clear-lockout {name}" for name in names)


def _doubt(folders: Folders, name: FrameName, cause: LockoutCause) -> str:
    """Empty when a running keeper sees that the cause is gone, else why that is not known.

    Raises CommandRejected when it sees that the cause remains.
    """
    snapshot = read_snapshot(
        folders.snapshot,
        boot_id_now=boot_id(),
        mono_now_s=time.monotonic(),
    )
    if isinstance(snapshot, Unusable):
        return f"No running keeper can tell whether the cause is gone ({snapshot.reason})"
    shown = _table(_table(snapshot.document.get("frames")).get(name))
    reasons = _table(shown.get("heat")).get("reasons")
    if not isinstance(reasons, list) or HeatReason.BAD_EVIDENCE in reasons:
        return f"The running keeper knows nothing certain of {name}"
    for reason, words in _STILL_THERE.items():
        if reason in reasons:
            raise CommandRejected(f"{name} stays locked: {words}")
    readings = _table(shown.get("readings"))
    places = _PLACES.get(cause, ())
    if places and not any("value" in _table(readings.get(place)) for place in places):
        return "No probe shows how warm it is where it overheated"
    contacts = _table(shown.get("contacts"))
    if cause is LockoutCause.CUT_OUT_OPENED and contacts.get("cut_out_closed") is not True:
        return "No contact shows that the cut-out is closed"
    return _UNSEEN.get(cause, "")


def _heat_pins(config: Path, folders: Folders) -> Mapping[FrameName, int]:
    """The heat pins of the present settings; none where there are no usable settings."""
    try:
        return load_settings(config, folders, keep_copy=False).settings.heat_pins
    except ConfigError:
        click.echo("The settings cannot be used; going by the names on the lockouts alone.", err=True)
        return {}


def _table(document: object) -> Mapping[str, object]:
    """A JSON object, or an empty one where there is something else."""
    return document if isinstance(document, dict) else {}
