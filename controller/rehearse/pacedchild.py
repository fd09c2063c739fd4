"""One real process of a paced rehearsal: started, given the time, ended; it never outlives its director.

The time goes to it through a pipe that nobody else holds open for writing. When the director is gone,
however it went, the pipe is at its end, and the process leaves as if it had been told to.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from controller.bounded_read import UnfitFile, read_bounded
from controller.errors import ControllerError, StorageError
from controller.loop.clock import set_instant

STOP_S = 5.0
"""A process that is told to stop leaves within this time, or is killed."""
_LAST_LINES = 3
_LOG_BYTES_MAX = 64 * 1024 * 1024
_OF_ANOTHER_MANAGER = ("WATCHDOG_PID", "WATCHDOG_USEC", "NOTIFY_SOCKET", "JOURNAL_STREAM")


class ChildLost(ControllerError):  # noqa: N818  # named for what has happened
    """A process of the rehearsal left or fell silent; the text says which, how, and its own last words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChildOrder:
    """What to start."""

    name: str
    """The sub-command, which also names its log."""
    options: Sequence[str]
    environment: Mapping[str, str]
    """On top of the director's own."""
    log: Path
    mono_s: float
    utc_s: float
    """The instant at which its clock stands when it starts."""
    stop_action: Sequence[str] = ()
    """A sub-command with its options that must follow when the process did not leave in order."""
    stop_needs: Path | None = None
    """Without this file there is nothing that the stop action could act on."""


class Child:
    """One running process."""

    def __init__(self, order: ChildOrder) -> None:
        """Start it; raises StorageError where its log cannot be written."""
        self.name = order.name
        self._log = order.log
        read_fd, self._time_fd = os.pipe2(os.O_CLOEXEC)
        try:
            set_instant(self._time_fd, mono_s=order.mono_s, utc_s=order.utc_s)
            with order.log.open("wb") as log:
                self._process = subprocess.Popen(  # noqa: S603  # this program itself, no shell
                    [
                        sys.executable,
                        "-m",
                        "controller.cli",
                        order.name,
                        "--director",
                        str(read_fd),
                        *order.options,
                    ],
                    stdin=subprocess.DEVNULL,
                    stdout=log,
                    stderr=log,
                    env=_environment(order.environment),
                    pass_fds=(read_fd,),
                    start_new_session=True,  # a Ctrl-C is the director's to hand on
                )
        except OSError as error:
            os.close(self._time_fd)
            raise StorageError(f"{order.log}: {order.name} cannot be started ({error.strerror})") from error
        finally:
            os.close(read_fd)

    @property
    def pid(self) -> int:
        """The process's number."""
        return self._process.pid

    def set_instant(self, *, mono_s: float, utc_s: float) -> None:
        """Let it be this instant; for a process that has left, ``insist_alive`` says so."""
        with suppress(BrokenPipeError):
            set_instant(self._time_fd, mono_s=mono_s, utc_s=utc_s)

    def insist_alive(self) -> None:
        """Raise ChildLost, with its last words, when it has left."""
        code = self._process.poll()
        if code is not None:
            raise ChildLost(f"the rehearsed {self.name} {_way(code)}{self._last_words()}")

    def silent(self, span_s: float) -> ChildLost:
        """The error for a process that is there and has not answered for ``span_s`` real seconds."""
        return ChildLost(
            f"the rehearsed {self.name} has not answered for {span_s:g} s; unless its words say why,"
            f" end what keeps this machine busy and rehearse again{self._last_words()}"
        )

    def stop(self) -> bool:
        """End it if it still runs; True when it left in order.

        Raises ChildLost when it was told to stop and left with a fault of its own.
        """
        asked = self._process.poll() is None
        if asked:
            self._process.terminate()
            try:
                self._process.wait(STOP_S)
            except subprocess.TimeoutExpired:
                self._process.kill()
        code = self._process.wait()
        os.close(self._time_fd)
        if asked and code > 0:
            raise ChildLost(f"the rehearsed {self.name} {_way(code)} when it was to stop{self._last_words()}")
        return code == 0

    def _last_words(self) -> str:
        try:
            text = read_bounded(self._log, _LOG_BYTES_MAX).data.decode("utf-8", "replace")
        except (FileNotFoundError, UnfitFile):
            return ""
        lines = [line for line in text.splitlines() if line.strip()][-_LAST_LINES:]
        return "; its last words:\n" + "\n".join(lines) if lines else ""


@contextmanager
def running(order: ChildOrder) -> Iterator[Child]:
    """A child for as long as the context lasts; its stop action follows when it did not leave in order.

    Raises ChildLost where it leaves with a fault when told to stop, or where the stop action fails.
    """
    child = Child(order)
    in_order = False
    try:
        yield child
    finally:
        try:
            in_order = child.stop()
        finally:
            if not in_order:
                _act(order)


def _act(order: ChildOrder) -> None:
    """Run the stop action, as a service manager would."""
    if not order.stop_action or (order.stop_needs is not None and not order.stop_needs.exists()):
        return
    name = order.stop_action[0]
    command = [sys.executable, "-m", "controller.cli", *order.stop_action]
    try:
        done = subprocess.run(command, capture_output=True, timeout=4 * STOP_S, check=False)  # noqa: S603  # this program
    except (OSError, subprocess.TimeoutExpired) as error:
        raise ChildLost(f"{name} could not be run ({error})") from error
    if done.returncode:
        raise ChildLost(f"{name} failed: {done.stderr.decode('utf-8', 'replace').strip()}")


def _environment(more: Mapping[str, str]) -> dict[str, str]:
    """The director's own, without what its own service manager told it."""
    kept = {name: words for name, words in os.environ.items() if name not in _OF_ANOTHER_MANAGER}
    return {**kept, **more}


def _way(code: int) -> str:
    return f"was ended by signal {-code}" if code < 0 else f"left with exit code {code}"
