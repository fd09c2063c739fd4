"""Whose files a command meets: says where it looks, and who may look or write there."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import click

from controller.errors import StorageError
from controller.folders import Folders, user_name


def say_folders(folders: Folders) -> None:
    """Name the folders that are looked in, so that nobody mistakes whose frames are meant."""
    click.echo(f"Looking in {folders.state} and {folders.run}.")


def insist_readable(*paths: Path) -> None:
    """StorageError, with user and owner, for the first that is there and may not be read."""
    for path in paths:
        try:
            status = path.stat()
        except PermissionError as error:
            raise _refused(path, "run this as the user whose files they are") from error
        except (OSError, ValueError):
            continue  # whoever needs it will say what is wrong with it
        wanted = os.R_OK | (os.X_OK if stat.S_ISDIR(status.st_mode) else 0)
        if not os.access(path, wanted):
            raise _refused(path, _way_in(path, status))


def refuse_root(folder: Path) -> None:
    """StorageError where the superuser would leave files that the folder's owner cannot read."""
    owner_uid = _owner_of(folder)
    if os.geteuid() == 0 and owner_uid:
        owner = user_name(owner_uid)
        raise StorageError(
            f"{folder}: belongs to {owner}, who could not read what root leaves there; "
            f"run this as its owner: sudo -u {owner} frameward ..."
        )


def insist_writable(folder: Path) -> None:
    """StorageError, before a person has answered a form, where nothing could be stored in the end."""
    refuse_root(folder)
    owner_uid = _owner_of(folder)
    if owner_uid is None or os.access(folder, os.W_OK | os.X_OK):
        return
    if owner_uid == os.geteuid():
        raise StorageError(f"{folder}: nothing can be written there; look at its disk and its permissions")
    me, owner = user_name(os.geteuid()), user_name(owner_uid)
    raise StorageError(
        f"{folder}: the user {me} has no permission to write there; "
        f"it belongs to {owner}; try: sudo -u {owner} frameward ..."
    )


def _owner_of(folder: Path) -> int | None:
    """None where there is nothing, or nothing that can be used; whoever needs it will say so."""
    try:
        return folder.stat().st_uid
    except (OSError, ValueError):
        return None


def _way_in(path: Path, status: os.stat_result) -> str:
    """What would let this user read it."""
    owner = user_name(status.st_uid)
    if stat.S_ISDIR(status.st_mode) and status.st_uid != 0:
        return f"it belongs to {owner}; try: sudo -u {owner} frameward ..."
    return f"it belongs to {owner}; let this user read it: sudo chmod a+rX {path}"


def _refused(path: Path, remedy: str) -> StorageError:
    return StorageError(f"{path}: the user {user_name(os.geteuid())} has no permission to read it; {remedy}")
