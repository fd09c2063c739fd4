"""The service manager hears what it must, and only one keeper owns the pins."""

from __future__ import annotations

import errno
import os
import socket
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import NoReturn

import pytest

from controller.errors import HardwareError, StorageError
from controller.folders import Folders, user_name
from controller.loop import supervisor as supervisor_module
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
    supervisor.stopping()


def test_a_manager_that_does_not_read_holds_nothing_up(tmp_path: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        supervisor = Supervisor({"NOTIFY_SOCKET": str(tmp_path / "notify")})
        for _ in range(5000):
            supervisor.feed()
        supervisor.stopping()


def test_a_keeper_without_descriptors_can_still_be_fed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The socket is opened at the start and kept; a tick needs no new one."""

    def none_left(*_args: object) -> NoReturn:
        raise OSError(errno.EMFILE, os.strerror(errno.EMFILE))

    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(2)
        supervisor = Supervisor({"NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "30000000"})
        monkeypatch.setattr(supervisor_module.socket, "socket", none_left)
        supervisor.feed()
        monkeypatch.undo()
        assert manager.recv(100) == b"WATCHDOG=1"
        supervisor.stopping()
        supervisor.feed()
        assert manager.recv(100) == b"STOPPING=1"


def test_a_start_without_a_single_descriptor_left_is_unguarded(monkeypatch: pytest.MonkeyPatch) -> None:
    def none_left(*_args: object) -> NoReturn:
        raise OSError(errno.EMFILE, os.strerror(errno.EMFILE))

    monkeypatch.setattr(supervisor_module.socket, "socket", none_left)
    supervisor = Supervisor({"NOTIFY_SOCKET": "/nowhere", "WATCHDOG_USEC": "30000000"})
    assert not supervisor.guarded
    supervisor.feed()


@pytest.fixture
def folders(tmp_path: Path) -> Folders:
    return Folders(state=tmp_path / "state", run=tmp_path / "run")


def test_a_second_keeper_is_refused_and_told_who_is_first(folders: Folders) -> None:
    """X07: the second refuses, the first is unharmed."""
    with only_one(folders), pytest.raises(HardwareError, match=str(os.getpid())), only_one(folders):
        pass
    with only_one(folders):
        pass


@pytest.mark.parametrize("shared", ["state", "run"])
def test_one_folder_of_two_shared_is_enough_to_refuse(shared: str, folders: Folders, tmp_path: Path) -> None:
    """X07: neither one STATE through two RUNs nor one RUN for two STATEs."""
    other = replace(folders, **{"run" if shared == "state" else "state": tmp_path / "other"})
    with only_one(folders), pytest.raises(HardwareError, match=f"{shared} is in use"), only_one(other):
        pass
    with only_one(other):
        pass


def test_one_folder_for_both_is_locked_once(tmp_path: Path) -> None:
    """Also where a link hides that it is one."""
    (tmp_path / "linked").symlink_to(tmp_path)
    with only_one(Folders(state=tmp_path, run=tmp_path / "linked")):
        assert (tmp_path / "keeper.lock").read_text() == f"{os.getpid()}\n"


def test_the_locks_of_a_dead_owner_are_taken_over(folders: Folders) -> None:
    code = (
        "import os, pathlib, sys\n"
        "from controller.folders import Folders\n"
        "from controller.loop.supervisor import only_one\n"
        "with only_one(Folders(state=pathlib.Path(sys.argv[1]), run=pathlib.Path(sys.argv[2]))):\n"
        "    os._exit(9)\n"
    )
    child = [sys.executable, "-c", code, str(folders.state), str(folders.run)]
    assert subprocess.run(child, check=False).returncode == 9
    with only_one(folders):
        assert folders.lock.read_text() == folders.state_lock.read_text() == f"{os.getpid()}\n"


@pytest.mark.parametrize("number", [errno.EROFS, errno.ENOSPC])
@pytest.mark.parametrize("there", [True, False])
def test_a_disk_that_takes_nothing_is_locked_all_the_same(
    *, number: int, there: bool, folders: Folders, monkeypatch: pytest.MonkeyPatch
) -> None:
    """S01, S02: a full or read-only card bars no keeper, and lets no second one in."""
    folders.state.mkdir()
    if there:
        folders.state_lock.touch()
    system_open = os.open

    def refusing(path: Path, flags: int, *mode: int) -> int:
        if flags & os.O_CREAT and Path(path).parent == folders.state:
            raise OSError(number, os.strerror(number))
        return system_open(path, flags, *mode)

    monkeypatch.setattr(supervisor_module.os, "open", refusing)
    with only_one(folders), pytest.raises(HardwareError, match="in use"), only_one(folders):
        pass


def test_a_lock_that_may_not_be_opened_names_the_user(
    folders: Folders, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refusing(*_args: object) -> NoReturn:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(supervisor_module.os, "open", refusing)
    with (
        pytest.raises(StorageError, match=f"Permission denied.*{user_name(os.geteuid())}"),
        only_one(folders),
    ):
        pass
