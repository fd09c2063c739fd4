"""The service manager's side: readiness, watchdog, one keeper at a time.

Speaks the notify protocol of systemd's sd_notify(3) and is silent where nobody listens.
"""

from __future__ import annotations

import fcntl
import os
import socket
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from controller.errors import HardwareError, StorageError


class Supervisor:
    """Tells the service manager how it goes."""

    def __init__(self, environment: Mapping[str, str]) -> None:
        """Read ``NOTIFY_SOCKET``, ``WATCHDOG_USEC`` and ``WATCHDOG_PID``."""
        address = environment.get("NOTIFY_SOCKET", "")
        self._address = "\0" + address[1:] if address.startswith("@") else address
        meant = environment.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        self.guarded = bool(self._address) and meant and environment.get("WATCHDOG_USEC", "0") != "0"
        """True when a hang of this process would be noticed and ended from outside."""

    def ready(self) -> None:
        """The first complete tick is done."""
        self._say("READY=1")

    def feed(self) -> None:
        """A complete tick is done; the last line of a tick calls this and nothing else does."""
        self._say("WATCHDOG=1")

    def stopping(self) -> None:
        """The process is on its way out."""
        self._say("STOPPING=1")

    def _say(self, message: str) -> None:
        """Send one datagram; a manager that does not take it must not hold up the tick."""
        if not self._address:
            return
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK) as channel:
                channel.sendto(message.encode(), self._address)
        except OSError:
            return


@contextmanager
def only_one(lock: Path) -> Iterator[None]:
    """Own the pins of these folders, or say who does.

    The kernel drops the lock when its holder dies, so a stale file never stands in the way.
    Raises HardwareError when another keeper or commissioning holds it.
    """
    try:
        descriptor = os.open(lock, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    except OSError as error:
        raise StorageError(f"{lock}: cannot be opened ({error.strerror})") from error
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.read(descriptor, 32).decode("ascii", "replace").strip() or "unknown"
            raise HardwareError(
                f"another keeper or commissioning (process {holder}) owns these pins; stop it first ({lock})"
            ) from None
        os.ftruncate(descriptor, 0)
        os.write(descriptor, f"{os.getpid()}\n".encode())
        yield
    finally:
        os.close(descriptor)
