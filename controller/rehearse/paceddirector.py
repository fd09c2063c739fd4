"""What a directed keeper insists on: that its folders are held, and by the very process that directs it."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from controller.errors import HardwareError
from controller.folders import Folders

_PID_BYTES_MAX = 32


def insist_directed(folders: Folders) -> None:
    """Both folders must be held by the process that started this one; changes nothing.

    Raises HardwareError where either lock is free or another process's: the director holds the folders for
    its keeper, which takes no lock of its own that would keep a second keeper out.
    """
    for lock in (folders.state_lock, folders.lock):
        _insist_held(lock, os.getppid())


@contextmanager
def beside_director(folders: Folders) -> Iterator[None]:
    """Lock both folders for sharing, besides the director's own locks.

    So they are seen to be in use even when the director was killed and this process is still leaving.
    """
    with ExitStack() as stack:
        for folder in (folders.state, folders.run):
            descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
            stack.callback(os.close, descriptor)
            with suppress(BlockingIOError):  # where the results go too, the director has it alone
                fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
        yield


def _insist_held(lock: Path, director: int) -> None:
    """The lock must be taken, and the number that its holder wrote into it must be the director's."""
    try:
        descriptor = os.open(lock, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError as error:
        raise _refusal(lock, f"holds no lock that can be read ({error.strerror})") from error
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = os.read(descriptor, _PID_BYTES_MAX).decode("ascii", "replace").strip()
    else:
        raise _refusal(lock, "is held by nobody")
    finally:
        os.close(descriptor)
    if holder != str(director):
        raise _refusal(lock, f"is held by process {holder or 'unknown'}, which did not start this one")


def _refusal(lock: Path, words: str) -> HardwareError:
    return HardwareError(
        f"{lock.parent} {words}; only a rehearsal that holds its folders may direct a keeper in them"
    )
