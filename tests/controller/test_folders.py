"""Where things lie, and that a rehearsal and a live keeper never share a folder."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from controller.errors import StorageError
from controller.folders import KIND_FILE, FolderKind, Folders, boot_id, claim_folders, find_folders


def test_asked_for_beats_the_service_manager_beats_the_user() -> None:
    home = {"HOME": "/home/g"}
    service = {**home, "STATE_DIRECTORY": "/var/lib/frameward:/other", "RUNTIME_DIRECTORY": "/run/frameward"}
    asked = find_folders(Path("/a"), Path("/b"), service)
    assert (asked.state, asked.run) == (Path("/a"), Path("/b"))
    given = find_folders(None, None, service)
    assert (given.state, given.run) == (Path("/var/lib/frameward"), Path("/run/frameward"))
    own = find_folders(None, None, {**home, "XDG_RUNTIME_DIR": "/run/user/1000"})
    assert own.state == Path("/home/g/.local/state/frameward")
    assert own.run == Path("/run/user/1000/frameward")


def test_every_file_has_a_place_of_its_own() -> None:
    folders = Folders(state=Path("/s"), run=Path("/r"))
    names = [name for name, member in vars(Folders).items() if isinstance(member, property)]
    paths = [getattr(folders, name) for name in names]
    assert len(set(paths)) == len(paths) >= 12


@pytest.mark.parametrize(("first", "second"), [tuple(FolderKind), tuple(reversed(FolderKind))])
def test_a_folder_of_the_other_kind_is_refused(first: FolderKind, second: FolderKind, tmp_path: Path) -> None:
    mine = Folders(state=tmp_path / "s", run=tmp_path / "r")
    claim_folders(mine, kind=first)
    claim_folders(mine, kind=first)
    with pytest.raises(StorageError, match=f"belongs to a {first} keeper"):
        claim_folders(mine, kind=second)
    with pytest.raises(StorageError, match=f"belongs to a {first} keeper"):
        claim_folders(Folders(state=tmp_path / "new", run=tmp_path / "r"), kind=second)


def test_a_folder_that_cannot_be_made_says_which(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StorageError, match="file/s"):
        claim_folders(Folders(state=tmp_path / "file" / "s", run=tmp_path / "r"), kind=FolderKind.LIVE)


@pytest.mark.parametrize("kind", ["pipe", "folder", "huge"])
def test_a_mark_that_is_no_small_file_refuses_the_folder_at_once(kind: str, tmp_path: Path) -> None:
    mark = tmp_path / KIND_FILE
    if kind == "pipe":
        os.mkfifo(mark)
    elif kind == "folder":
        mark.mkdir()
    else:
        mark.write_bytes(b"live" + b" " * 100_000)
    with pytest.raises(StorageError, match="choose another folder"):
        claim_folders(Folders(state=tmp_path, run=tmp_path / "r"), kind=FolderKind.LIVE)


def test_the_boot_has_one_name_of_one_word() -> None:
    assert boot_id() == boot_id() != ""
    assert len(boot_id().split()) == 1
