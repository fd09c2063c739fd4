"""Who may look where, said with user and owner."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from controller.commands import whose
from controller.errors import StorageError
from controller.folders import user_name

ME = user_name(os.geteuid())


def test_what_may_be_read_or_is_not_there_is_no_trouble(tmp_path: Path) -> None:
    """A missing file is for whoever needs it to tell."""
    (tmp_path / "file").touch()
    whose.insist_readable(tmp_path, tmp_path / "file", tmp_path / "none", tmp_path / "file" / "in a file")


def test_what_may_not_be_read_is_said_with_user_owner_and_way_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(whose.os, "access", lambda path, _mode: path != tmp_path)
    with pytest.raises(StorageError) as refused:
        whose.insist_readable(tmp_path / "none", tmp_path)
    assert str(refused.value).startswith(
        f"{tmp_path}: the user {ME} has no permission to read it; it belongs"
    )


@pytest.mark.parametrize(
    ("mode", "owner_uid", "way"),
    [
        (0o40700, 7, f"it belongs to {user_name(7)}; try: sudo -u {user_name(7)} frameward ..."),
        (0o40700, 0, "it belongs to root; let this user read it: sudo chmod a+rX"),
        (0o100600, 7, f"it belongs to {user_name(7)}; let this user read it: sudo chmod a+rX"),
    ],
    ids=["the service's folder", "root's folder", "a file"],
)
def test_the_way_in_fits_what_is_closed(
    mode: int, owner_uid: int, way: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The owner's folder is looked at as its owner; a settings file is only made readable."""
    status = os.stat_result((mode, 0, 0, 1, owner_uid, owner_uid, 0, 0, 0, 0))
    monkeypatch.setattr(whose.Path, "stat", lambda _path: status)
    monkeypatch.setattr(whose.os, "access", lambda _path, _mode: False)
    with pytest.raises(StorageError, match=re.escape(way)):
        whose.insist_readable(tmp_path)


def test_what_lies_in_a_closed_folder_is_said_without_its_owner(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def closed(_path: Path) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(whose.Path, "stat", closed)
    with pytest.raises(
        StorageError, match=f"the user {ME} has no permission to read it; run this as the user"
    ):
        whose.insist_readable(tmp_path)


@pytest.mark.parametrize(("me_uid", "owner_uid", "refused"), [(0, 7, True), (0, 0, False), (7, 7, False)])
def test_root_writes_nothing_into_a_folder_of_somebody_else(
    me_uid: int, owner_uid: int, *, refused: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The service could not read it afterwards, and heat would be refused."""
    status = os.stat_result((0o40750, 0, 0, 1, owner_uid, owner_uid, 0, 0, 0, 0))
    monkeypatch.setattr(whose.Path, "stat", lambda _path: status)
    monkeypatch.setattr(whose.os, "geteuid", lambda: me_uid)
    monkeypatch.setattr(whose.os, "access", lambda _path, _mode: True)
    if refused:
        with pytest.raises(StorageError, match=f"sudo -u {user_name(owner_uid)} frameward"):
            whose.insist_writable(tmp_path)
    else:
        whose.insist_writable(tmp_path)


def test_a_folder_that_is_not_there_has_no_owner(tmp_path: Path) -> None:
    whose.insist_writable(tmp_path / "none")


@pytest.mark.parametrize(
    ("owner_uid", "words"),
    [(8, f"no permission to write there; it belongs to {user_name(8)}"), (7, "look at its disk")],
)
def test_a_folder_that_cannot_be_written_to_is_said_beforehand(
    owner_uid: int, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether it is another user's or lies on a disk that takes nothing."""
    status = os.stat_result((0o40750, 0, 0, 1, owner_uid, owner_uid, 0, 0, 0, 0))
    monkeypatch.setattr(whose.Path, "stat", lambda _path: status)
    monkeypatch.setattr(whose.os, "geteuid", lambda: 7)
    monkeypatch.setattr(whose.os, "access", lambda _path, mode: not mode & os.W_OK)
    with pytest.raises(StorageError, match=words):
        whose.insist_writable(tmp_path)
