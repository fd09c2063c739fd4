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
            owner = user_name(status.st_uid)
            raise _refused(path, f"it belongs to {owner}; try: sudo -u {owner} frameward ...")


def insist_writable(folder: Path) -> None:
    """StorageError where what is to be stored there could not be, or could not be used afterwards.

    Said before a person has answered a form or waited for an ice bath. The superuser is refused in
    a folder of somebody else's, who could not read what root leaves there.
    """
    try:
        owner_uid = folder.stat().st_uid
    except (OSError, ValueError):
        return  # nothing there yet, or nothing that can be used; whoever needs it will say so
    me_uid, owner = os.geteuid(), user_name(owner_uid)
    if (me_uid == 0 and owner_uid != 0) or not os.access(folder, os.W_OK | os.X_OK):
        raise StorageError(
            f"{folder}: belongs to {owner}, and {user_name(me_uid)} should not or may not write there; "
            f"run this as its owner: sudo -u {owner} frameward ..."
        )


def _refused(path: Path, remedy: str) -> StorageError:
    return StorageError(f"{path}: the user {user_name(os.geteuid())} has no permission to read it; {remedy}")
