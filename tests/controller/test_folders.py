"""Where things lie, and that a rehearsal and a live keeper never share a folder."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller import folders as folders_module
from controller.errors import StorageError
from controller.folders import (
    KIND_FILE,
    FolderKind,
    Folders,
    boot_id,
    claim_folders,
    find_folders,
    refuse_other_kind,
    user_name,
)


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


def test_where_the_service_keeps_frames_a_person_means_those(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing asked for, nothing managed, and the service's folder is there: that is the one meant."""
    monkeypatch.setattr(folders_module, "SERVICE_STATE", tmp_path / "lib")
    monkeypatch.setattr(folders_module, "SERVICE_RUN", tmp_path / "run")
    person = {"HOME": "/home/g", "XDG_RUNTIME_DIR": "/run/user/1000", "XDG_STATE_HOME": "/home/g/state"}
    assert find_folders(None, None, person).state == Path("/home/g/state/frameward")
    (tmp_path / "lib").mkdir()
    assert find_folders(None, None, person) == Folders(state=tmp_path / "lib", run=tmp_path / "run")
    managed = find_folders(None, None, {**person, "STATE_DIRECTORY": "/s", "RUNTIME_DIRECTORY": "/r"})
    assert managed == Folders(state=Path("/s"), run=Path("/r"))
    assert find_folders(Path("/a"), None, person).run == Path("/run/user/1000/frameward")


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


@pytest.mark.parametrize("data", [b"", b"\n", b"\0" * 5])
def test_a_mark_that_a_power_cut_left_empty_is_no_mark(data: bytes, tmp_path: Path) -> None:
    mine = Folders(state=tmp_path / "s", run=tmp_path / "r")
    mine.state.mkdir()
    (mine.state / KIND_FILE).write_bytes(data)
    claim_folders(mine, kind=FolderKind.LIVE)
    assert (mine.state / KIND_FILE).read_text() == "live\n"


@pytest.mark.parametrize("data", [b"\xff\xfe\x80", b"lively", b"live\nrehearsal\n", "frühbeet".encode()])
def test_a_mark_that_says_no_kind_refuses_in_words(data: bytes, tmp_path: Path) -> None:
    """Whose folder it is cannot be guessed."""
    (tmp_path / KIND_FILE).write_bytes(data)
    for kind in FolderKind:
        with pytest.raises(StorageError, match="does not say whose folder"):
            claim_folders(Folders(state=tmp_path, run=tmp_path / "r"), kind=kind)
    assert (tmp_path / KIND_FILE).read_bytes() == data


def test_a_full_disk_keeps_no_real_keeper_from_its_folder_but_a_rehearsal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """INV-3: the mark is a guard, not a condition of heat."""

    def full(path: Path, data: bytes) -> None:
        raise StorageError(f"{path}: no room for {len(data)} bytes")

    monkeypatch.setattr(folders_module, "write_durably", full)
    claim_folders(Folders(state=tmp_path / "s", run=tmp_path / "r"), kind=FolderKind.LIVE)
    with pytest.raises(StorageError, match="no room"):
        claim_folders(Folders(state=tmp_path / "s", run=tmp_path / "r"), kind=FolderKind.REHEARSAL)


def test_asking_whose_folders_they_are_makes_and_marks_nothing(tmp_path: Path) -> None:
    mine = Folders(state=tmp_path / "s", run=tmp_path / "r")
    refuse_other_kind(mine, kind=FolderKind.LIVE)
    assert not list(tmp_path.iterdir())
    claim_folders(mine, kind=FolderKind.REHEARSAL)
    with pytest.raises(StorageError, match="belongs to a rehearsal keeper"):
        refuse_other_kind(mine, kind=FolderKind.LIVE)


def test_a_user_without_a_name_is_called_by_number() -> None:
    assert user_name(0) == "root"
    assert user_name(4_000_000_001) == "4000000001"


@pytest.fixture
def fresh_boot_id() -> Iterator[None]:
    """Asks anew, and leaves nothing behind."""
    boot_id.cache_clear()
    yield
    boot_id.cache_clear()


@pytest.mark.usefixtures("fresh_boot_id")
@pytest.mark.parametrize("data", [None, b"", b"\xff"])
def test_where_the_kernel_does_not_tell_the_process_has_a_name_of_its_own(
    data: bytes | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A hidden /proc ends no keeper; two processes then never take each other's run for their own."""
    monkeypatch.setattr(folders_module, "_BOOT_ID_FILE", tmp_path / "boot_id")
    if data is not None:
        (tmp_path / "boot_id").write_bytes(data)
    first = boot_id()
    assert first == boot_id()
    boot_id.cache_clear()
    assert boot_id() != first


def test_the_boot_has_one_name_of_one_word() -> None:
    assert boot_id() == boot_id() != ""
    assert len(boot_id().split()) == 1
