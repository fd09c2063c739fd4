"""The service manager hears what it must, and only one keeper owns the pins."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from controller.errors import HardwareError
from controller.loop.supervisor import Supervisor, only_one


def test_readiness_food_and_leaving_are_told(tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(2)
        supervisor = Supervisor({"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "30000000"})
        assert supervisor.guarded
        supervisor.ready()
        supervisor.feed()
        supervisor.stopping()
        heard = [manager.recv(100) for _ in range(3)]
    assert heard == [b"READY=1", b"WATCHDOG=1", b"STOPPING=1"]


@pytest.mark.parametrize(
    "environment",
    [
        {},
        {"NOTIFY_SOCKET": "/nowhere"},
        {"NOTIFY_SOCKET": "/nowhere", "WATCHDOG_USEC": "0"},
        {"NOTIFY_SOCKET": "/nowhere", "WATCHDOG_USEC": "1", "WATCHDOG_PID": "1"},
        {"WATCHDOG_USEC": "30000000"},
    ],
)
def test_without_a_watchdog_the_keeper_knows_that_it_is_unguarded(environment: dict[str, str]) -> None:
    """X08: a missing or refused watchdog channel is known, and speaking into it harms nothing."""
    supervisor = Supervisor(environment)
    assert not supervisor.guarded
    supervisor.feed()


def test_a_manager_that_does_not_read_holds_nothing_up(tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        supervisor = Supervisor({"NOTIFY_SOCKET": str(tmp_path / "notify")})
        for _ in range(5000):
            supervisor.feed()


def test_a_second_keeper_is_refused_and_told_who_is_first(tmp_path: Path) -> None:
    """X07: the second refuses, the first is unharmed."""
    lock = tmp_path / "keeper.lock"
    with only_one(lock), pytest.raises(HardwareError, match=str(os.getpid())), only_one(lock):
        pass
    with only_one(lock):
        pass


def test_the_lock_of_a_dead_owner_is_taken_over(tmp_path: Path) -> None:
    lock = tmp_path / "keeper.lock"
    code = (
        "import os, pathlib, sys\nfrom controller.loop.supervisor import only_one\n"
        "with only_one(pathlib.Path(sys.argv[1])):\n    os._exit(9)\n"
    )
    assert subprocess.run([sys.executable, "-c", code, str(lock)], check=False).returncode == 9
    with only_one(lock):
        assert lock.read_text().strip() == str(os.getpid())
