"""Where a rehearsal's keeper lives and what it leaves: never where a real keeper or another rehearsal is."""

from __future__ import annotations

import fcntl
import os
import shutil
from contextlib import ExitStack
from pathlib import Path

from controller.errors import StorageError
from controller.folders import (
    KIND_FILE,
    FolderKind,
    Folders,
    claim_folders,
    make_folder,
    refuse_other_kind,
)
from controller.loop.supervisor import only_one
from controller.rehearse.outputs import OUTPUT_BEGINS
from controller.rehearse.passing import keeper_folders, passing_folder

_KEEPER = "keeper"
"""The lasting folder of the rehearsal's keeper under ``--out``."""


def rehearsal_folders(stack: ExitStack, *, state: Path | None, run: Path | None, out: Path | None) -> Folders:
    """The keeper's folders for this rehearsal: as asked, under ``--out``, else gone afterwards.

    Raises StorageError or HardwareError, before any file is changed, where a folder is a real
    keeper's, is in use, or holds files that no rehearsal left. All stay locked until ``stack`` closes.
    """
    passing = keeper_folders(passing_folder(stack))
    afresh = state is None and out is not None
    if out is not None:
        refuse_other_kind(Folders(state=out, run=out), kind=FolderKind.REHEARSAL)
        make_folder(out)
        _lock(out, stack)
        _refuse_foreign_outputs(out)
        state = state or out / _KEEPER
    folders = Folders(state=state or passing.state, run=run or passing.run)
    refuse_other_kind(folders, kind=FolderKind.REHEARSAL)
    if afresh:
        _refuse_foreign_state(folders)
    stack.enter_context(only_one(folders))
    claim_folders(folders, kind=FolderKind.REHEARSAL)
    if afresh:
        _empty(folders)
    return folders


def _lock(out: Path, stack: ExitStack) -> None:
    """The kernel's own lock on the folder: it leaves no file and ends with whoever holds it."""
    try:
        descriptor = os.open(out, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        stack.callback(os.close, descriptor)
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        raise StorageError(
            f"{out}: is in use by another rehearsal; let that end or choose another --out"
        ) from error
    except OSError as error:
        raise StorageError(f"{out}: cannot be used ({error.strerror}); choose another --out") from error


def _refuse_foreign_outputs(out: Path) -> None:
    for name, begins in OUTPUT_BEGINS.items():
        refuse_foreign_file(out / name, begins, remedy="move it or choose another --out")


def refuse_foreign_file(path: Path, begins: bytes, *, remedy: str) -> None:
    """A file under one of our names that does not begin as ours is somebody's own: raises StorageError."""
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except FileNotFoundError:
        return
    except OSError as error:
        raise StorageError(f"{path}: cannot be read ({error.strerror}); {remedy}") from error
    try:
        ours = os.read(descriptor, len(begins)) == begins
    except OSError:  # a folder or a pipe
        ours = False
    finally:
        os.close(descriptor)
    if not ours:
        raise StorageError(f"{path}: was not left by a rehearsal; {remedy}")


def _refuse_foreign_state(folders: Folders) -> None:
    """What is there must be an earlier rehearsal's and hold nothing else, since it will be emptied."""
    state = folders.state
    if not state.exists():
        return
    if not (state / KIND_FILE).is_file():
        raise StorageError(f"{state}: is not a rehearsal's folder; remove it or choose another --out")
    foreign = sorted(path.name for path in state.iterdir() if not _is_keepers(path.name, folders))
    if foreign:
        raise StorageError(
            f"{state}: holds {foreign[0]}, which no rehearsal left; move it or choose another --out"
        )


def _empty(folders: Folders) -> None:
    """Begin afresh, so that the same seed gives the same run; the mark and the lock stay."""
    try:
        for path in folders.state.iterdir():
            if path.name in (KIND_FILE, folders.state_lock.name):
                continue
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            else:
                path.unlink()
        folders.pending.unlink(missing_ok=True)  # rows that a killed run had still to store
    except OSError as error:
        raise StorageError(f"{folders.state}: cannot be emptied ({error.strerror}); remove it") from error


def _is_keepers(name: str, folders: Folders) -> bool:
    """Whether a keeper leaves such a name in its lasting folder: a file, its side files, one set aside."""
    own = (
        folders.state / KIND_FILE,
        folders.state_lock,
        folders.last_good_settings,
        folders.overlay,
        folders.calibration,
        folders.commission,
        folders.lockouts,
        folders.pins,
        folders.starts,
        folders.history,
    )
    return any(name.removeprefix(".").startswith(path.name) for path in own)
