"""The passing folder that a rehearsal makes for itself, and the sweeping of those that killed ones left.

It lies in memory where it can, and memory is scarce on a small board. Whoever uses such a folder holds a
kernel lock on it or on what is in it, which ends with its holder; what nobody holds is swept.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import stat
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from pathlib import Path

from controller.errors import StorageError
from controller.folders import Folders

IN_MEMORY = Path("/dev/shm")  # noqa: S108  # a folder of our own is made in it
"""A rehearsal's passing files are replaced at every step, which a disk would make slow."""
PREFIX = "frameward-rehearsal-"
_TRIES = 10


def passing_folder(stack: ExitStack) -> Path:
    """A new folder, locked and there until ``stack`` closes; left ones are swept first.

    Raises StorageError where none can be made.
    """
    parent = IN_MEMORY if os.access(IN_MEMORY, os.W_OK | os.X_OK) else Path(tempfile.gettempdir())
    _sweep(parent)
    try:
        for _ in range(_TRIES):
            made = tempfile.TemporaryDirectory(prefix=PREFIX, dir=parent)
            folder = Path(made.name)
            descriptor = _locked(folder)
            if descriptor is not None:
                stack.callback(os.close, descriptor)
                stack.enter_context(made)
                return folder
            # another rehearsal that starts just now swept it before it was locked
            made.cleanup()
    except OSError as error:
        raise StorageError(f"{parent}: no folder can be made there ({error.strerror})") from error
    raise StorageError(f"{parent}: no folder can be held there; rehearse again")


def keeper_folders(passing: Path) -> Folders:
    """Where the rehearsal's keeper lives in it, unless it was asked to live elsewhere."""
    return Folders(state=passing / "state", run=passing / "run")


def _sweep(parent: Path) -> None:
    """Remove every folder of this user's rehearsals that nobody holds; what cannot be is left."""
    for folder in sorted(parent.glob(f"{PREFIX}*")):
        with suppress(OSError):  # another sweeps as well
            found = folder.lstat()
            if found.st_uid == os.geteuid() and stat.S_ISDIR(found.st_mode):
                _sweep_one(folder)


def _sweep_one(folder: Path) -> None:
    """Remove it while holding every lock by which it could be in use, so that nobody takes it up meanwhile.

    A keeper that outlives its killed rehearsal by a moment holds the inner ones.
    """
    with ExitStack() as stack:
        for place in _lockable(folder):
            descriptor = _locked(place)
            if descriptor is None:
                return
            stack.callback(os.close, descriptor)
        shutil.rmtree(folder, ignore_errors=True)


def _lockable(folder: Path) -> Iterator[Path]:
    """The folder, then what is in it; a link is none of ours."""
    yield folder
    keeper = keeper_folders(folder)
    for place in (keeper.state, keeper.run, keeper.state_lock, keeper.lock):
        if place.exists():
            yield place


def _locked(place: Path) -> int | None:
    """A descriptor that holds the kernel's lock; None where another has it, or where it is gone by then."""
    try:
        descriptor = os.open(place, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError:
        return None
    with suppress(OSError):
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        found = os.fstat(descriptor)
        if os.path.samestat(found, place.lstat()):
            return descriptor
    os.close(descriptor)
    return None
