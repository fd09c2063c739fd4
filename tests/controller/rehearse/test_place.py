"""A rehearsal's folders: its own, fresh, and never a real keeper's."""

from __future__ import annotations

import os
from contextlib import ExitStack
from pathlib import Path

import pytest

from controller.errors import ControllerError, HardwareError, StorageError
from controller.folders import KIND_FILE, FolderKind, Folders, claim_folders
from controller.loop.supervisor import only_one
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


def test_rows_that_a_killed_run_left_in_its_passing_folder_are_not_stored_by_the_next(tmp_path: Path) -> None:
    """An output folder begins afresh, a passing folder that was asked for included."""
    run = tmp_path / "run"
    for _ in range(2):
        with ExitStack() as stack:
            folders = rehearsal_folders(stack, state=None, run=run, out=tmp_path / "out")
            assert not folders.pending.exists()
            folders.pending.write_text("{}\n", encoding="utf-8")


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


def test_a_real_keepers_own_folder_takes_no_output(tmp_path: Path) -> None:
    """Given as ``--out`` itself, with or without another place for the keeper; nothing is left in it."""
    claim_folders(Folders(state=tmp_path / "live", run=tmp_path / "run"), kind=FolderKind.LIVE)
    for state in (None, tmp_path / "s"):
        with ExitStack() as stack, pytest.raises(StorageError, match="belongs to a live keeper"):
            rehearsal_folders(stack, state=state, run=None, out=tmp_path / "live")
    assert [path.name for path in (tmp_path / "live").iterdir()] == [KIND_FILE]


def test_a_folder_in_use_is_refused_and_said_to_be(tmp_path: Path) -> None:
    """As output, as lasting and as passing folder; the history of whoever is there stays."""
    out, other = tmp_path / "o", tmp_path / "p"
    with ExitStack() as first:
        folders = rehearsal_folders(first, state=None, run=tmp_path / "r", out=out)
        folders.history.write_text("rows")
        for state, run, to in (
            (None, None, out),
            (tmp_path / "s", None, out),
            (out / "keeper", None, other),
            (None, tmp_path / "r", other),
        ):
            with ExitStack() as stack, pytest.raises(ControllerError, match="in use"):
                rehearsal_folders(stack, state=state, run=run, out=to)
        assert folders.history.read_text() == "rows"
    with ExitStack() as stack:
        rehearsal_folders(stack, state=None, run=tmp_path / "r", out=out)


def test_a_keeper_in_the_folder_that_would_be_emptied_is_noticed(tmp_path: Path) -> None:
    """A ``keep --rehearsal`` holds its folders by the same locks."""
    held = Folders(state=tmp_path / "keeper", run=tmp_path / "run")
    claim_folders(held, kind=FolderKind.REHEARSAL)
    held.history.write_text("rows")
    with only_one(held), ExitStack() as stack, pytest.raises(HardwareError, match="in use"):
        rehearsal_folders(stack, state=None, run=None, out=tmp_path)
    assert held.history.read_text() == "rows"


def test_one_folder_may_serve_as_output_and_for_the_keeper(tmp_path: Path) -> None:
    """It does not stand in its own way."""
    with ExitStack() as stack:
        folders = rehearsal_folders(stack, state=tmp_path, run=tmp_path, out=tmp_path)
    assert folders.state == folders.run == tmp_path


@pytest.mark.parametrize("name", ["trace.csv", "notices.csv", "summary.json"])
def test_somebodys_own_file_under_one_of_our_names_is_not_written_over(tmp_path: Path, name: str) -> None:
    """A file that begins otherwise, an empty one, a folder, a pipe: refused by name, and nothing is begun."""
    path = tmp_path / name

    def refused() -> None:
        with ExitStack() as stack, pytest.raises(StorageError, match=rf"{name}: was not left by a rehearsal"):
            rehearsal_folders(stack, state=None, run=None, out=tmp_path)
        assert [each.name for each in tmp_path.iterdir()] == [name]

    for text in ("", '{"my": "sums"}', "date,rain\n"):
        path.write_text(text)
        refused()
        assert path.read_text() == text
    path.unlink()
    path.mkdir()
    refused()
    path.rmdir()
    os.mkfifo(path)
    refused()


def test_a_keepers_folder_with_something_else_in_it_is_not_emptied(tmp_path: Path) -> None:
    """One letter among an earlier rehearsal's files keeps all of them."""
    with ExitStack() as stack:
        folders = rehearsal_folders(stack, state=None, run=None, out=tmp_path)
        folders.history.write_text("rows")
        folders.lockouts.mkdir()
        (folders.state / "history.sqlite3.damaged-20270201T000000Z").write_text("old rows")
        (folders.state / "letter.txt").write_text("dear")
    with ExitStack() as stack, pytest.raises(StorageError, match=r"holds letter\.txt"):
        rehearsal_folders(stack, state=None, run=None, out=tmp_path)
    assert folders.history.read_text() == "rows"
    (folders.state / "letter.txt").unlink()
    with ExitStack() as stack:
        rehearsal_folders(stack, state=None, run=None, out=tmp_path)
        assert {path.name for path in folders.state.iterdir()} == {KIND_FILE, folders.state_lock.name}


def test_a_folder_that_nobody_marked_is_not_emptied(tmp_path: Path) -> None:
    """Somebody's own files under the name that we would use stay where they are."""
    (tmp_path / "keeper").mkdir()
    (tmp_path / "keeper" / "letters.txt").write_text("dear")
    with ExitStack() as stack, pytest.raises(StorageError, match="is not a rehearsal's folder"):
        rehearsal_folders(stack, state=None, run=None, out=tmp_path)
    assert (tmp_path / "keeper" / "letters.txt").read_text() == "dear"
