"""A rehearsal's own folder in memory: there while it is used, swept when a killed one left it."""

from __future__ import annotations

import fcntl
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from controller.errors import StorageError
from controller.loop.supervisor import only_one
from controller.rehearse import passing
from controller.rehearse.paceddirector import beside_director
from controller.rehearse.passing import PREFIX, keeper_folders, passing_folder

PATIENCE_S = 20.0
ELSEWHERE = """
import sys
from pathlib import Path
from controller.rehearse import passing
passing.IN_MEMORY = Path(sys.argv.pop(1))
from controller.cli import main
main()
"""
"""The whole command, its folders not where other rehearsals of this machine have theirs."""


@pytest.fixture(autouse=True)
def memory(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """An empty folder in place of the machine's memory, its name short enough for a socket in it."""
    with tempfile.TemporaryDirectory() as folder:
        monkeypatch.setattr(passing, "IN_MEMORY", Path(folder))
        yield Path(folder)


def sweep() -> None:
    """What a rehearsal that starts and ends does."""
    with ExitStack() as stack:
        passing_folder(stack)


def left(memory: Path, name: str = "left") -> Path:
    """A folder as a killed rehearsal leaves it."""
    folder = memory / (PREFIX + name)
    keeper = keeper_folders(folder)
    with only_one(keeper):
        (keeper.run / "rehearsal-w1" / "devices").mkdir(parents=True)
        keeper.history.write_text("rows")
    return folder


def until(truth: Callable[[], object]) -> None:
    until_s = time.monotonic() + PATIENCE_S
    while not truth():
        assert time.monotonic() < until_s, "never came true"
        time.sleep(0.02)


def is_running(pid: int) -> bool:
    """False for one that has ended, collected or not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(") ")[2][0] != "Z"
    except FileNotFoundError:
        return False


def test_a_folder_is_there_while_it_is_used_and_others_start_and_end(memory: Path) -> None:
    """Even with nothing in it yet."""
    with ExitStack() as stack:
        folder = passing_folder(stack)
        assert folder.parent == memory
        sweep()
        assert folder.is_dir()
    assert list(memory.iterdir()) == []


def test_what_killed_rehearsals_left_is_swept(memory: Path) -> None:
    """Whole or begun."""
    left(memory, "one")
    (memory / (PREFIX + "two")).mkdir()
    sweep()
    assert list(memory.iterdir()) == []


@pytest.mark.parametrize("inner", ["", "state", "run", "state/keeper.lock", "run/keeper.lock"])
def test_a_folder_of_which_any_lock_is_held_stays_whole(memory: Path, inner: str) -> None:
    """The rehearsal's own, its keeper's, and those of a keeper that was pointed there."""
    folder = left(memory)
    descriptor = os.open(folder / inner, os.O_RDONLY)
    fcntl.flock(descriptor, fcntl.LOCK_SH)
    before = sorted(folder.rglob("*"))
    sweep()
    assert sorted(folder.rglob("*")) == before
    os.close(descriptor)
    sweep()
    assert not folder.exists()


def test_a_keeper_that_is_still_leaving_keeps_its_folder(memory: Path) -> None:
    folder = left(memory)
    with beside_director(keeper_folders(folder)):
        sweep()
        assert folder.exists()
    sweep()
    assert not folder.exists()


def test_what_is_not_a_rehearsals_folder_stays(memory: Path, tmp_path: Path) -> None:
    """Another name, a file or a link under the name, what a link leads to, another user's."""
    kept = tmp_path / "kept"
    kept.mkdir()
    (kept / "letter").write_text("dear")
    (memory / f"{PREFIX}link").symlink_to(kept)
    (memory / f"{PREFIX}file").write_text("mine")
    (memory / "frameward").mkdir()
    (memory / f"{PREFIX}holds-a-link").mkdir()
    (memory / f"{PREFIX}holds-a-link" / "w1").symlink_to(kept)
    sweep()
    assert {path.name for path in memory.iterdir()} == {f"{PREFIX}link", f"{PREFIX}file", "frameward"}
    assert (kept / "letter").read_text() == "dear"


def test_another_users_folder_stays(memory: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = left(memory)
    monkeypatch.setattr(os, "geteuid", lambda: folder.stat().st_uid + 1)
    sweep()
    assert folder.exists()


def test_a_folder_that_was_swept_before_it_was_locked_is_made_again(
    memory: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two rehearsals may start at once: the slower one just begins anew, a limited number of times."""
    lock, losses = passing._locked, 2

    def late(place: Path) -> int | None:
        nonlocal losses
        if losses:
            losses -= 1
            shutil.rmtree(place)
        return lock(place)

    monkeypatch.setattr(passing, "_locked", late)
    with ExitStack() as stack:
        folder = passing_folder(stack)
        assert list(memory.iterdir()) == [folder]
    losses = 1000
    with ExitStack() as stack, pytest.raises(StorageError, match="no folder can be held there"):
        passing_folder(stack)


@pytest.mark.process
def test_a_killed_rehearsals_folder_goes_when_the_next_one_starts(memory: Path) -> None:
    """Not before its keeper, which outlives it by a moment, has left as well."""
    director = subprocess.Popen(
        [sys.executable, "-c", ELSEWHERE, str(memory), "rehearse", "--lapse", "60", "--step-s", "6"],
        stdout=subprocess.DEVNULL,
    )
    keeper_pid = 0
    try:
        until(lambda: list(memory.glob(f"{PREFIX}*/run/rehearsal-pins*")))
        (folder,) = memory.iterdir()
        children = Path(f"/proc/{director.pid}/task/{director.pid}/children").read_text().split()
        (keeper_pid,) = map(int, children)
        sweep()
        assert folder.exists(), "it is in use"
        os.kill(keeper_pid, signal.SIGSTOP)
        director.kill()
        director.wait(PATIENCE_S)
        sweep()
        assert folder.exists(), "its keeper is still there"
        os.kill(keeper_pid, signal.SIGCONT)
        until(lambda: not is_running(keeper_pid))
        assert folder.exists(), "nobody was there to remove it"
        sweep()
        assert list(memory.iterdir()) == []
    finally:
        director.kill()
        director.wait(PATIENCE_S)
        if keeper_pid and is_running(keeper_pid):
            os.kill(keeper_pid, signal.SIGKILL)
