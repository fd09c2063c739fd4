"""The service manager's side: readiness, watchdog, one keeper at a time.

Speaks the notify protocol of systemd's sd_notify(3) and is silent where nobody listens.
"""

from __future__ import annotations

import errno
import fcntl
import os
import socket
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from controller.errors import HardwareError, StorageError
from controller.folders import Folders, make_folder, user_name

_DISK_TAKES_NOTHING = (errno.EROFS, errno.ENOSPC, errno.EDQUOT)


class Supervisor:
    """Tells the service manager how it goes."""

    def __init__(self, environment: Mapping[str, str]) -> None:
        """Read ``NOTIFY_SOCKET``, ``WATCHDOG_USEC`` and ``WATCHDOG_PID``."""
        address = environment.get("NOTIFY_SOCKET", "")
        self._address = "\0" + address[1:] if address.startswith("@") else address
        self._channel = _open_channel() if address else None
        meant = environment.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        self.guarded = self._channel is not None and meant and environment.get("WATCHDOG_USEC", "0") != "0"
        """True when a hang of this process would be noticed and ended from outside."""

    def ready(self) -> None:
        """The first complete tick is done."""
        self._say("READY=1")

    def feed(self) -> None:
        """A complete tick is done; the last line of a tick calls this and nothing else does."""
        self._say("WATCHDOG=1")

    def stopping(self) -> None:
        """The process is on its way out; nothing more is said after this."""
        self._say("STOPPING=1")
        if self._channel is not None:
            self._channel.close()
            self._channel = None

    def _say(self, message: str) -> None:
        """Send one datagram; a manager that does not take it must not hold up the tick.

        It goes out on the one socket opened at the start: a process that has run out of
        descriptors can still be fed.
        """
        if self._channel is None:
            return
        with suppress(OSError):
            self._channel.sendto(message.encode(), self._address)


def _open_channel() -> socket.socket | None:
    """None where no socket is to be had; the service manager then ends what it does not hear."""
    try:
        return socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK | socket.SOCK_CLOEXEC)
    except OSError:
        return None


@contextmanager
def only_one(folders: Folders) -> Iterator[None]:
    """Own these folders and their pins, or say who does; makes the folders where they are missing.

    Both are locked: one STATE cannot be kept through two RUNs, nor one RUN serve two STATEs. The
    kernel drops the locks when their holder dies, so a stale file never stands in the way.
    Raises HardwareError when another keeper, commissioning or rehearsal holds either.
    """
    locks = []
    for lock in (folders.state_lock, folders.lock):
        make_folder(lock.parent)
        locks.append(lock.resolve())
    with ExitStack() as stack:
        for lock in dict.fromkeys(locks):
            stack.enter_context(_held(lock))
        yield


@contextmanager
def _held(lock: Path) -> Iterator[None]:
    descriptor = _open_lock(lock)
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = _holder(descriptor)
            raise HardwareError(
                f"{lock.parent} is in use: another keeper, commissioning or rehearsal (process {holder}) "
                "owns these pins; stop it first"
            ) from None
        with suppress(OSError):  # the lock holds on a full or read-only disk too, only without a name
            os.ftruncate(descriptor, 0)
            os.write(descriptor, f"{os.getpid()}\n".encode())
        yield
    finally:
        os.close(descriptor)


def _holder(descriptor: int) -> str:
    """The process that wrote its number into the lock, where it could."""
    try:
        return os.read(descriptor, 32).decode("ascii", "replace").strip() or "unknown"
    except OSError:
        return "unknown"


def _open_lock(lock: Path) -> int:
    """The lock file, made where it is missing.

    One that can only be read locks as well, and so does its folder where the disk takes no new file.
    """
    try:
        return os.open(lock, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NONBLOCK, 0o640)
    except OSError as error:
        stand_ins = (lock, lock.parent) if error.errno in _DISK_TAKES_NOTHING else (lock,)
        for stand_in in stand_ins:
            with suppress(OSError):
                return os.open(stand_in, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK)
        raise StorageError(
            f"{lock}: cannot be opened ({error.strerror}) by the user {user_name(os.geteuid())}"
        ) from error
