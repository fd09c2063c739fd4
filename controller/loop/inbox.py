"""The command socket: read while the loop waits for its next tick, bounded in every direction.

One thread serves it, the keeper's own, so that a command can never interleave with a tick.
A sender that is slow, floods or babbles is cut off; the tick does not notice.
"""

from __future__ import annotations

import os
import select
import selectors
import socket
import struct
import time
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from controller.errors import CommandRejected, StorageError
from controller.wire import COMMAND_BYTES_MAX, Command, Order, answer, is_expired, parse_command

SENDERS_MAX = 8
SENDER_PATIENCE_S = 2.0
ANSWERED_KEPT = 256
COMMANDS_A_ROUND_MAX = 20

Handler = Callable[[Order, int], str]
"""Takes an order and the sender's uid, returns what was done, raises CommandRejected."""


@dataclass(slots=True)
class _Sender:
    channel: socket.socket
    uid: int
    since_s: float
    heard: bytearray = field(default_factory=bytearray)


class Inbox:
    """A listening Unix socket with a bounded number of short conversations."""

    fault = ""
    """Commands can be heard."""

    def __init__(self, path: Path, handler: Handler, *, wake_fd: int | None = None) -> None:
        """Listen at ``path``, replacing what a dead keeper left; owner and group may connect.

        A byte on ``wake_fd`` ends the wait at once; it is left there for its reader.
        Raises StorageError where no socket can be had.
        """
        self._path = path
        self._wake_fd = wake_fd
        self._handler = handler
        self._senders: dict[int, _Sender] = {}
        self._answered: OrderedDict[tuple[int, str], tuple[bytes, bytes]] = OrderedDict()
        self._left_this_round = 0
        self.refused = 0
        """Commands and senders turned away since the start."""
        self._listener = _listen(path)
        self._selector = selectors.DefaultSelector()
        self._selector.register(self._listener, selectors.EVENT_READ)
        if wake_fd is not None:
            self._selector.register(wake_fd, selectors.EVENT_READ)

    def serve(self, wait_s: float) -> None:
        """Answer commands for ``wait_s`` real seconds, then return; never longer."""
        until_s = time.monotonic() + wait_s
        self._left_this_round = COMMANDS_A_ROUND_MAX
        while True:
            left_s = until_s - time.monotonic()
            if left_s <= 0:
                return
            if self._left_this_round <= 0:
                _rest(left_s, self._wake_fd)
                return
            for key, _ in self._selector.select(min(left_s, SENDER_PATIENCE_S)):
                if key.fd == self._wake_fd:
                    return
                if key.fileobj is self._listener:
                    self._accept()
                else:
                    self._hear(self._senders[key.fd])
            self._drop_the_slow()

    def close(self) -> None:
        """Hang up on everybody and take the socket away."""
        for sender in list(self._senders.values()):
            self._hang_up(sender)
        self._selector.unregister(self._listener)
        self._listener.close()
        self._selector.close()
        with suppress(OSError):  # what lies there may be no socket any more; nobody listens at it
            self._path.unlink()

    def _accept(self) -> None:
        try:
            channel, _ = self._listener.accept()
        except OSError:
            return
        if len(self._senders) >= SENDERS_MAX:
            self.refused += 1
            channel.close()
            return
        channel.setblocking(False)  # noqa: FBT003  # the standard library's own signature
        sender = _Sender(channel=channel, uid=_peer_uid(channel), since_s=time.monotonic())
        self._senders[channel.fileno()] = sender
        self._selector.register(channel, selectors.EVENT_READ)

    def _hear(self, sender: _Sender) -> None:
        try:
            heard = sender.channel.recv(COMMAND_BYTES_MAX + 2)
        except BlockingIOError:
            return
        except OSError:
            heard = b""
        sender.heard += heard
        line, newline, _ = sender.heard.partition(b"\n")
        if newline or len(sender.heard) > COMMAND_BYTES_MAX:
            self._left_this_round -= 1
            self._reply(sender, self._answer(bytes(line), sender.uid))
        elif heard:
            return
        self._hang_up(sender)

    def _answer(self, line: bytes, uid: int) -> bytes:
        command: Command | None = None
        try:
            command, order = parse_command(line)
            key = (uid, command.id)
            if key in self._answered:
                return self._repeat(key, line)
            _refuse_expired(command)
            reply = answer(command.id, ok=True, reason=self._handler(order, uid))
        except CommandRejected as error:
            self.refused += 1
            reply = answer(command.id if command else "", ok=False, reason=str(error))
        if command is not None and (uid, command.id) not in self._answered:
            self._answered[uid, command.id] = (line, reply)
            if len(self._answered) > ANSWERED_KEPT:
                self._answered.popitem(last=False)
        return reply

    def _repeat(self, key: tuple[int, str], line: bytes) -> bytes:
        """The first answer again, if this is the first line again."""
        first_line, reply = self._answered[key]
        if line != first_line:
            raise CommandRejected(f"id {key[1]!r} was used for another command; choose a fresh one")
        return reply

    def _reply(self, sender: _Sender, reply: bytes) -> None:
        try:
            sender.channel.send(reply)
        except OSError:
            self.refused += 1

    def _drop_the_slow(self) -> None:
        now_s = time.monotonic()
        for sender in [each for each in self._senders.values() if now_s - each.since_s > SENDER_PATIENCE_S]:
            self.refused += 1
            self._hang_up(sender)

    def _hang_up(self, sender: _Sender) -> None:
        self._selector.unregister(sender.channel)
        del self._senders[sender.channel.fileno()]
        sender.channel.close()


class Deaf:
    """Stands in for an inbox that could not be opened: waits as it would, and hears nothing."""

    def __init__(self, fault: str, *, wake_fd: int | None = None) -> None:
        """Keep why; a byte on ``wake_fd`` ends each wait at once."""
        self.fault = fault
        """Why no command can be heard, and what to do."""
        self._wake_fd = wake_fd

    def serve(self, wait_s: float) -> None:
        """Wait ``wait_s`` real seconds, or until the wake."""
        _rest(max(0.0, wait_s), self._wake_fd)

    def close(self) -> None:
        """There is nothing to close."""


def open_inbox(path: Path, handler: Handler, *, wake_fd: int | None = None) -> Inbox | Deaf:
    """An inbox at ``path``, or one that hears nothing and says why: frames are kept without commands.

    INV-3: a folder in the socket's place, a name too long or a full disk never reaches the control.
    """
    try:
        return Inbox(path, handler, wake_fd=wake_fd)
    except (StorageError, OSError, ValueError) as error:
        return Deaf(str(error), wake_fd=wake_fd)


def _rest(wait_s: float, wake_fd: int | None) -> None:
    """Sit out a wait, deaf to all but the wake."""
    if wake_fd is None:
        time.sleep(wait_s)
    else:
        select.select([wake_fd], [], [], wait_s)


def _refuse_expired(command: Command) -> None:
    """Raise for an order that waited longer than its sender allowed."""
    if is_expired(command, time.monotonic()):
        raise CommandRejected("expired before it could be done; send it again if it still holds")


def _listen(path: Path) -> socket.socket:
    """Bind under a name of our own, then rename, so that no connection meets a half-made socket."""
    fresh = path.with_name(f".{path.name}.fresh")
    try:
        listener = socket.socket(
            socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_NONBLOCK | socket.SOCK_CLOEXEC
        )
        try:
            fresh.unlink(missing_ok=True)
            listener.bind(str(fresh))
            fresh.chmod(0o660)
            listener.listen(SENDERS_MAX)
            fresh.replace(path)
        except BaseException:
            listener.close()
            with suppress(OSError):
                fresh.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise StorageError(f"{path}: no command socket ({error}); check the folder") from error
    return listener


def _peer_uid(channel: socket.socket) -> int:
    """The uid at the other end, by the kernel's word."""
    credentials = channel.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i"))
    return int(struct.unpack("3i", credentials)[1])


def send_command(path: Path, line: bytes, *, patience_s: float = 5.0) -> bytes:
    """Send one line to a keeper and return its answer; raises CommandRejected when none comes."""
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC) as channel:
            channel.settimeout(patience_s)
            channel.connect(os.fspath(path))
            channel.sendall(line.rstrip(b"\n") + b"\n")
            reply = b""
            while not reply.endswith(b"\n"):
                part = channel.recv(COMMAND_BYTES_MAX)
                if not part:
                    break
                reply += part
    except OSError as error:
        raise CommandRejected(f"the keeper does not answer at {path} ({error})") from error
    return reply
