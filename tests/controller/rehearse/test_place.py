"""A rehearsal's folders: its own, fresh, and never a real keeper's."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path

import pytest

from controller.errors import StorageError
from controller.folders import KIND_FILE, FolderKind, Folders, claim_folders
from controller.rehearse.place import rehearsal_folders


def test_nothing_is_left_when_nothing_was_asked_for() -> None:
    """Both folders exist during the run and are gone afterwards."""
    with ExitStack() as stack:
        folders = rehearsal_folders(stack, state=None, run=None, out=None)
        assert folders.state.is_dir()
        assert folders.run.is_dir()
    assert not folders.state.exists()
    assert not folders.run.exists()


def test_with_an_output_folder_the_keepers_folder_stays_and_begins_afresh(tmp_path: Path) -> None:
    """A second run does not go on from the first one's history or lockouts."""
    for _ in range(2):
        with ExitStack() as stack:
            folders = rehearsal_folders(stack, state=None, run=None, out=tmp_path)
            assert not folders.history.exists()
            assert (folders.state / KIND_FILE).read_text() == "rehearsal\n"
            folders.history.write_text("rows")
    assert (tmp_path / "keeper" / "history.sqlite3").read_text() == "rows"


def test_a_folder_that_was_asked_for_is_kept_as_it_is(tmp_path: Path) -> None:
    """``--state`` goes on where it was left."""
    for _ in range(2):
        with ExitStack() as stack:
            folders = rehearsal_folders(stack, state=tmp_path / "s", run=tmp_path / "r", out=tmp_path / "o")
            folders.history.touch()
    assert folders == Folders(state=tmp_path / "s", run=tmp_path / "r")
    assert folders.history.exists()


def test_a_real_keepers_folder_is_refused_and_not_touched(tmp_path: Path) -> None:
    """Neither as ``--state`` nor under the output folder."""
    live = Folders(state=tmp_path / "keeper", run=tmp_path / "run")
    claim_folders(live, kind=FolderKind.LIVE)
    live.history.write_text("a winter")
    for state, out in ((live.state, None), (None, tmp_path)):
        with ExitStack() as stack, pytest.raises(StorageError, match="belongs to a live keeper"):
            rehearsal_folders(stack, state=state, run=None, out=out)
    assert live.history.read_text() == "a winter"


def test_a_folder_that_nobody_marked_is_not_emptied(tmp_path: Path) -> None:
    """Somebody's own files under the name that we would use stay where they are."""
    (tmp_path / "keeper").mkdir()
    (tmp_path / "keeper" / "letters.txt").write_text("dear")
    with ExitStack() as stack, pytest.raises(StorageError, match="is not a rehearsal's folder"):
        rehearsal_folders(stack, state=None, run=None, out=tmp_path)
    assert (tmp_path / "keeper" / "letters.txt").read_text() == "dear"
