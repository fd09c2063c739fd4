"""A directed keeper goes on only in folders that its own director holds."""

from __future__ import annotations

import fcntl
import os
import subprocess
import sys
from pathlib import Path

import pytest

from controller.errors import HardwareError
from controller.folders import FolderKind, Folders, claim_folders
from controller.loop.supervisor import only_one
from controller.rehearse.paceddirector import beside_director, insist_directed

AS_A_CHILD = """
import sys
from pathlib import Path
from controller.folders import Folders
from controller.rehearse.paceddirector import insist_directed
insist_directed(Folders(state=Path(sys.argv[1]), run=Path(sys.argv[2])))
print("directed")
"""


@pytest.fixture
def folders(tmp_path: Path) -> Folders:
    folders = Folders(state=tmp_path / "state", run=tmp_path / "run")
    claim_folders(folders, kind=FolderKind.REHEARSAL)
    return folders


def child_says(folders: Folders) -> str:
    """What a process says that this one started."""
    done = subprocess.run(
        [sys.executable, "-c", AS_A_CHILD, str(folders.state), str(folders.run)],
        capture_output=True,
        text=True,
        timeout=20.0,
        check=False,
    )
    return done.stdout + done.stderr


def test_folders_that_the_starting_process_holds_are_shared(folders: Folders) -> None:
    with only_one(folders):
        assert child_says(folders) == "directed\n"


def test_folders_that_nobody_holds_are_refused(folders: Folders) -> None:
    """With no lock ever made, and with the one that an ended holder left with this very process's number."""
    with pytest.raises(HardwareError, match="holds no lock that can be read"):
        insist_directed(folders)
    with only_one(folders):
        pass
    assert "is held by nobody; only a rehearsal" in child_says(folders)


def test_folders_that_another_process_holds_are_refused(folders: Folders) -> None:
    """Here the process itself, which is not its own parent."""
    with (
        only_one(folders),
        pytest.raises(HardwareError, match=f"is held by process {os.getpid()}, which did not start this one"),
    ):
        insist_directed(folders)


def test_one_folder_of_two_is_not_enough(folders: Folders, tmp_path: Path) -> None:
    other = Folders(state=tmp_path / "other", run=folders.run)
    with only_one(other):
        assert "state holds no lock that can be read" in child_says(folders)


def test_shared_folders_are_seen_to_be_in_use(folders: Folders) -> None:
    """Until the keeper has left; another sharer, or a director with the folder to itself, does no harm."""

    def is_free(folder: Path) -> bool:
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        finally:
            os.close(descriptor)
        return True

    with beside_director(folders), beside_director(folders):
        assert not is_free(folders.state)
        assert not is_free(folders.run)
    assert is_free(folders.state)
    alone = os.open(folders.run, os.O_RDONLY)
    fcntl.flock(alone, fcntl.LOCK_EX)
    with beside_director(folders):
        assert not is_free(folders.state)
    os.close(alone)
