"""Whole files only, whatever happens in between."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from controller import durable
from controller.durable import remove_durably, replace_quickly, write_durably
from controller.errors import StorageError


@pytest.mark.parametrize("write", [write_durably, replace_quickly])
def test_the_new_file_is_whole_and_nothing_is_left_beside_it(write: type[object], tmp_path: Path) -> None:
    target = tmp_path / "deep" / "file"
    target.parent.mkdir()
    for data in (b"first", b"second " * 10_000, b""):
        write(target, data)
        assert target.read_bytes() == data
    assert [path.name for path in target.parent.iterdir()] == ["file"]


@pytest.mark.parametrize("failing", ["write", "fsync"])
def test_when_the_disk_fails_at_any_step_the_old_file_stays(
    failing: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """M06: the old or the new one, never a mixture."""
    target = tmp_path / "file"
    write_durably(target, b"old")

    def fail(*arguments: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(durable.os, failing, fail)
    with pytest.raises(StorageError, match="No space left"):
        write_durably(target, b"new")
    monkeypatch.undo()
    assert target.read_bytes() == b"old"


def test_short_writes_are_carried_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole_write = os.write
    monkeypatch.setattr(durable.os, "write", lambda fd, data: whole_write(fd, bytes(data[:3])))
    write_durably(tmp_path / "file", b"0123456789")
    assert (tmp_path / "file").read_bytes() == b"0123456789"


def test_removing_what_is_not_there_is_no_trouble(tmp_path: Path) -> None:
    write_durably(tmp_path / "file", b"x")
    remove_durably(tmp_path / "file")
    remove_durably(tmp_path / "file")
    assert not (tmp_path / "file").exists()
    with pytest.raises(StorageError, match="cannot be removed"):
        remove_durably(tmp_path / "none" / "file")
