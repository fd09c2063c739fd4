"""The command socket: bounded, polite, and never in the tick's way."""

from __future__ import annotations

import errno
import json
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from controller.errors import CommandRejected
from controller.loop import inbox as inbox_module
from controller.loop.inbox import SENDERS_MAX, Deaf, Inbox, open_inbox, send_command
from controller.wire import Order, RestHeat


@contextmanager
def served(path: Path, handler: Callable[[Order, int], str]) -> Iterator[Inbox]:
    """An inbox served by a thread that plays the keeper's loop."""
    inbox = Inbox(path, handler)
    going = threading.Event()

    def serve() -> None:
        while not going.is_set():
            inbox.serve(0.02)

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield inbox
    finally:
        going.set()
        thread.join()
        inbox.close()


def line(command_id: str = "a1", **changes: object) -> bytes:
    document: dict[str, object] = {
        "v": 1,
        "id": command_id,
        "expires_s": 30.0,
        "cmd": "rest_heat",
        "args": {"frame": "south", "for_s": 600.0},
    }
    return json.dumps({**document, **changes}).encode()


def ask(path: Path, data: bytes) -> dict[str, object]:
    reply = json.loads(send_command(path, data))
    assert isinstance(reply, dict)
    return reply


def test_an_order_arrives_with_the_senders_uid_and_is_answered(tmp_path: Path) -> None:
    seen: list[tuple[Order, int]] = []

    def handler(order: Order, uid: int) -> str:
        seen.append((order, uid))
        return "done so"

    with served(tmp_path / "s", handler):
        assert ask(tmp_path / "s", line()) == {"id": "a1", "ok": True, "reason": "done so"}
    assert seen == [(RestHeat(frame="south", for_s=600.0), os.getuid())]


def test_the_same_id_twice_is_done_once(tmp_path: Path) -> None:
    """W08: a double click or replay gets the first answer again and changes nothing."""
    done: list[Order] = []

    def handler(order: Order, uid: int) -> str:  # the seam's form
        done.append(order)
        return f"number {len(done)}"

    with served(tmp_path / "s", handler):
        assert ask(tmp_path / "s", line())["reason"] == "number 1"
        assert ask(tmp_path / "s", line())["reason"] == "number 1"
        assert ask(tmp_path / "s", line("a2"))["reason"] == "number 2"
    assert len(done) == 2


def test_an_id_used_again_for_another_command_is_refused_and_not_taken_for_the_first(tmp_path: Path) -> None:
    done: list[Order] = []

    def handler(order: Order, uid: int) -> str:
        done.append(order)
        return "done"

    with served(tmp_path / "s", handler):
        ask(tmp_path / "s", line())
        reply = ask(tmp_path / "s", line(args={"frame": "north", "for_s": 60.0}))
        assert reply["ok"] is False
        assert "another command" in str(reply["reason"])
        assert ask(tmp_path / "s", line())["ok"] is True, "the first answer still stands"
    assert len(done) == 1


@pytest.mark.parametrize(("waited_s", "done"), [(0.0, True), (29.0, True), (31.0, False), (-60.0, False)])
def test_an_order_that_waited_too_long_is_refused(*, waited_s: float, done: bool, tmp_path: Path) -> None:
    """W08: an old order, or one from the future, changes nothing."""
    with served(tmp_path / "s", lambda order, uid: "done"):
        reply = ask(tmp_path / "s", line(sent_at_s=time.monotonic() - waited_s))
    assert reply["ok"] is done
    assert ("expired" in str(reply["reason"])) is not done


def test_a_refusal_carries_its_reason(tmp_path: Path) -> None:
    def handler(order: Order, uid: int) -> str:
        raise CommandRejected(f"no frame of {uid} for {order.cmd}")

    with served(tmp_path / "s", handler):
        reply = ask(tmp_path / "s", line())
    assert reply["ok"] is False
    assert "no frame" in str(reply["reason"])


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"nonsense",
        b"\xff\xfe",
        b"[1]",
        b"{}",
        line(v=2),
        line(cmd="clear_lockout", args={"frame": "south"}),
        line(cmd="heat_on"),
        line(args={"frame": "south", "for_s": 1e9}),
        line(args={"frame": "south", "for_s": -1}),
        line(args={"frame": "south", "for_s": True}),
        line(args={"frame": "south", "for_s": "600"}),
        line(args={"frame": "south", "for_s": 600.0, "pin": 17}),
        line().replace(b"600.0", b"NaN"),
        line().replace(b"600.0", b"1e999"),
        b'{"v":1,"v":1,"id":"x","expires_s":1,"cmd":"resume_heat","args":{"frame":"south"}}',
        b"[" * 3000,
        b"x" * 5000,
    ],
)
def test_bad_commands_are_refused_with_a_reason_and_reach_nobody(data: bytes, tmp_path: Path) -> None:
    """INV-5, X22, W06: nothing malformed or unknown gets past the edge."""
    with served(tmp_path / "s", lambda order, uid: pytest.fail(f"{order} {uid}")) as inbox:
        reply = ask(tmp_path / "s", data)
        assert reply["ok"] is False
        assert reply["reason"]
        assert inbox.refused >= 1


def test_a_half_line_and_a_crowd_do_not_hold_the_loop(tmp_path: Path) -> None:
    """X22: silent senders are dropped, too many turned away, and waiting stays bounded."""
    inbox = Inbox(tmp_path / "s", lambda order, uid: f"{order} {uid}")
    crowd = []
    try:
        for _ in range(SENDERS_MAX + 4):
            sender = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            sender.settimeout(0.0)
            try:
                sender.connect(str(tmp_path / "s"))
                sender.send(b'{"v":')
            except BlockingIOError:
                pass
            crowd.append(sender)
            inbox.serve(0.01)
        began_s = time.monotonic()
        inbox.serve(0.2)
        assert time.monotonic() - began_s < 0.3
        assert inbox.refused >= 4
    finally:
        for sender in crowd:
            sender.close()
        inbox.close()
    assert not (tmp_path / "s").exists()


def test_a_flood_is_served_no_more_than_its_share_of_one_wait(tmp_path: Path) -> None:
    inbox = Inbox(tmp_path / "s", lambda order, uid: "ok")  # the seam's form
    answered = []

    def flood() -> None:
        for index in range(60):
            try:
                answered.append(send_command(tmp_path / "s", line(f"f{index}"), patience_s=0.3))
            except CommandRejected:
                return

    thread = threading.Thread(target=flood)
    thread.start()
    inbox.serve(0.5)
    served_now = len(answered)
    thread.join()
    inbox.close()
    assert 0 < served_now <= 20


def test_a_socket_left_by_a_dead_keeper_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "s").write_text("left over")
    with served(tmp_path / "s", lambda order, uid: "alive"):  # the seam's form
        assert ask(tmp_path / "s", line())["ok"] is True


def _in_the_way(root: Path, kind: str) -> Path:
    """A socket's path at which none can be had."""
    path = root / "keeper.sock"
    match kind:
        case "folder":
            path.mkdir()
            (path / "letters").touch()
        case "long":
            path = root / ("x" * 120) / "keeper.sock"
            path.parent.mkdir()
        case "missing":
            path = root / "gone" / "keeper.sock"
        case "fresh":
            (root / ".keeper.sock.fresh").mkdir()
    return path


@pytest.mark.parametrize("kind", ["folder", "long", "missing", "fresh"])
def test_a_socket_that_cannot_be_had_leaves_the_keeper_without_commands(kind: str, tmp_path: Path) -> None:
    """INV-3: it waits as before, a wake ends the wait, and it says what is wrong with which path."""
    path = _in_the_way(tmp_path, kind)
    reading, writing = os.pipe()
    inbox = open_inbox(path, lambda order, uid: "ok", wake_fd=reading)
    try:
        assert isinstance(inbox, Deaf)
        assert str(path) in inbox.fault
        began_s = time.monotonic()
        inbox.serve(0.1)
        assert 0.1 <= time.monotonic() - began_s < 0.5
        os.write(writing, b"x")
        inbox.serve(5.0)
        assert time.monotonic() - began_s < 1.0
    finally:
        inbox.close()
        os.close(reading)
        os.close(writing)
    assert not (path.parent / ".keeper.sock.fresh").is_socket()


def test_without_descriptors_there_is_no_inbox_and_no_crash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none_left(*_args: object) -> None:
        raise OSError(errno.EMFILE, os.strerror(errno.EMFILE))

    monkeypatch.setattr(inbox_module.socket, "socket", none_left)
    inbox = open_inbox(tmp_path / "s", lambda order, uid: "ok")
    assert isinstance(inbox, Deaf)
    inbox.serve(0.0)


def test_once_the_path_is_free_the_inbox_opens_and_has_no_fault(tmp_path: Path) -> None:
    """So that a reload is enough to hear again."""
    path = _in_the_way(tmp_path, "folder")
    assert open_inbox(path, lambda order, uid: "ok").fault
    (path / "letters").unlink()
    path.rmdir()
    inbox = open_inbox(path, lambda order, uid: "ok")
    assert isinstance(inbox, Inbox)
    assert inbox.fault == ""
    inbox.close()


def test_closing_minds_nothing_that_has_taken_the_sockets_place(tmp_path: Path) -> None:
    inbox = Inbox(tmp_path / "s", lambda order, uid: "ok")
    (tmp_path / "s").unlink()
    (tmp_path / "s").mkdir()
    inbox.close()
    assert (tmp_path / "s").is_dir()


def test_a_wake_ends_the_wait_at_once(tmp_path: Path) -> None:
    """X14: a stop signal need not wait for the next tick."""
    reading, writing = os.pipe()
    inbox = Inbox(tmp_path / "s", lambda order, uid: "ok", wake_fd=reading)  # the seam's form
    try:
        os.write(writing, b"x")
        began_s = time.monotonic()
        inbox.serve(5.0)
        assert time.monotonic() - began_s < 1.0
    finally:
        inbox.close()
        os.close(reading)
        os.close(writing)
