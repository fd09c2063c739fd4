"""Lockouts on disk: two copies, and whatever cannot be read counts as locked."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from controller.errors import StorageError
from controller.record.lockouts import LockoutFiles
from controller.vocabulary import FrameName, Lockout, LockoutCause

SOUTH, NORTH = FrameName("south"), FrameName("north")
PINS = {SOUTH: 17, NORTH: 22}
WELD = Lockout(
    frame=SOUTH,
    cause=LockoutCause.LIVE_WHEN_OFF,
    detail="cable live for 20 s, relay off",
    raised_utc="2031-01-17T03:00:00+00:00",
)
COPIES = ("south.first.json", "south.second.json")


@pytest.fixture
def files(tmp_path: Path) -> LockoutFiles:
    """A folder that does not exist yet."""
    return LockoutFiles(tmp_path / "lockouts", PINS)


def test_nothing_kept_is_nothing_locked(files: LockoutFiles, tmp_path: Path) -> None:
    """And looking makes no folder."""
    assert files.find(SOUTH) is None
    assert files.all_names() == ()
    assert not files.clear(SOUTH)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("cause", list(LockoutCause))
def test_what_was_kept_is_found_whole_by_the_next_process(
    files: LockoutFiles, tmp_path: Path, cause: LockoutCause
) -> None:
    """I7: both copies are on disk when keep returns, with the pin that they belong to."""
    lockout = Lockout(frame=SOUTH, cause=cause, detail="25 °C „heiß“", raised_utc=WELD.raised_utc)
    files.keep(lockout)
    assert LockoutFiles(tmp_path / "lockouts", PINS).find(SOUTH) == lockout
    assert sorted(path.name for path in (tmp_path / "lockouts").iterdir()) == list(COPIES)
    for copy in COPIES:
        document = json.loads((tmp_path / "lockouts" / copy).read_text(encoding="utf-8"))
        assert (document["schema"], document["heat_pin"]) == (1, 17)


def test_one_copy_is_enough(files: LockoutFiles, tmp_path: Path) -> None:
    """S06: a power cut between the two writes, either way round."""
    for gone in COPIES:
        files.keep(WELD)
        (tmp_path / "lockouts" / gone).unlink()
        assert files.find(SOUTH) == WELD


def test_torn_at_every_byte_it_is_still_locked(files: LockoutFiles, tmp_path: Path) -> None:
    """S10, S13: one copy torn anywhere leaves the other's word; both torn count as locked."""
    files.keep(WELD)
    first, second = (tmp_path / "lockouts" / copy for copy in COPIES)
    whole = first.read_bytes()
    for length in range(len(whole) - 1):
        first.write_bytes(whole[:length])
        second.write_bytes(whole)
        assert files.find(SOUTH) == WELD
        second.write_bytes(whole[:length])
        found = files.find(SOUTH)
        assert found is not None
        assert (found.frame, found.cause) == (SOUTH, LockoutCause.UNREADABLE)
        assert str(first) in found.detail


@pytest.mark.parametrize(
    "text",
    [
        "",
        "null",
        "[]",
        "[" * 100_000,
        '"locked"',
        "\x00\x00\x00",
        '{"schema": 2, "frame": "south", "cause": "live_when_off", "detail": "", "raised_utc": ""}',
        '{"schema": 1, "frame": "north", "cause": "live_when_off", "detail": "", "raised_utc": ""}',
        '{"schema": 1, "frame": "south", "cause": "bad_luck", "detail": "", "raised_utc": ""}',
        '{"schema": 1, "frame": "south", "cause": ["live_when_off"], "detail": "", "raised_utc": ""}',
        '{"schema": 1, "frame": "south", "cause": "live_when_off", "detail": 3, "raised_utc": ""}',
        '{"schema": 1, "frame": "south", "cause": "live_when_off", "detail": ""}',
    ],
)
def test_anything_else_in_its_place_counts_as_locked(files: LockoutFiles, tmp_path: Path, text: str) -> None:
    """S13, and another version's schema."""
    (tmp_path / "lockouts").mkdir()
    (tmp_path / "lockouts" / COPIES[1]).write_text(text)
    found = files.find(SOUTH)
    assert found is not None
    assert found.cause is LockoutCause.UNREADABLE
    assert COPIES[1] in found.detail
    assert files.find(NORTH) is None


def test_bytes_that_are_no_text_a_folder_or_a_pipe_count_as_locked(
    files: LockoutFiles, tmp_path: Path
) -> None:
    """And a pipe is not waited for."""
    folder = tmp_path / "lockouts"
    folder.mkdir()
    (folder / COPIES[0]).write_bytes(b"\xff\xfe\x80")
    assert files.find(SOUTH) is not None
    (folder / COPIES[0]).unlink()
    (folder / COPIES[0]).mkdir()
    assert files.find(SOUTH) is not None
    (folder / COPIES[0]).rmdir()
    os.mkfifo(folder / COPIES[0])
    assert files.find(SOUTH) is not None


def test_a_copy_far_larger_than_any_lockout_counts_as_locked(files: LockoutFiles, tmp_path: Path) -> None:
    """Nothing fills memory, and what follows a plausible beginning is not passed over."""
    files.keep(WELD)
    for copy in COPIES:
        path = tmp_path / "lockouts" / copy
        path.write_bytes(path.read_bytes() + b" " * 200_000)
    found = files.find(SOUTH)
    assert found is not None
    assert found.cause is LockoutCause.UNREADABLE
    assert "larger" in found.detail


def test_a_half_written_partial_file_is_no_lockout(files: LockoutFiles, tmp_path: Path) -> None:
    """Keep had not returned, so nobody was told; the next tick raises it again."""
    (tmp_path / "lockouts").mkdir()
    (tmp_path / "lockouts" / f".{COPIES[0]}.partial").write_text('{"schema"')
    assert files.find(SOUTH) is None
    assert files.all_names() == ()


def test_clearing_one_leaves_the_other(files: LockoutFiles) -> None:
    """F10: a reset meant for A leaves B locked; a torn one is cleared as well."""
    files.keep(WELD)
    other = Lockout(frame=NORTH, cause=LockoutCause.CUT_OUT_OPENED, detail="", raised_utc="")
    files.keep(other)
    assert files.clear(SOUTH)
    assert files.find(SOUTH) is None
    assert files.find(NORTH) == other
    assert not files.clear(SOUTH)


def test_names_alike_are_kept_apart(tmp_path: Path) -> None:
    """``south`` and ``south-2`` share no file."""
    files = LockoutFiles(tmp_path, {SOUTH: 17, FrameName("south-2"): 27})
    files.keep(WELD)
    assert files.find(FrameName("south-2")) is None


def test_a_renamed_frame_on_the_same_pin_stays_locked(files: LockoutFiles, tmp_path: Path) -> None:
    """F07: the wires are the same; the lockout is told under the new name and cleared under it."""
    files.keep(WELD)
    renamed = LockoutFiles(tmp_path / "lockouts", {FrameName("sunny"): 17, NORTH: 22})
    found = renamed.find(FrameName("sunny"))
    assert found == Lockout(
        frame=FrameName("sunny"), cause=WELD.cause, detail=WELD.detail, raised_utc=WELD.raised_utc
    )
    assert renamed.find(NORTH) is None
    assert renamed.clear(FrameName("sunny"))
    assert renamed.all_names() == ()


def test_a_renamed_frame_whose_lockout_tells_no_pin_stays_locked_whoever_it_was(
    files: LockoutFiles, tmp_path: Path
) -> None:
    """With both copies torn the pin is unknown, so every frame may be the one."""
    files.keep(WELD)
    for copy in COPIES:
        (tmp_path / "lockouts" / copy).write_text("{")
    renamed = LockoutFiles(tmp_path / "lockouts", {FrameName("sunny"): 17, NORTH: 22})
    assert renamed.find(FrameName("sunny")) is not None
    assert renamed.find(NORTH) is not None
    assert not renamed.clear(FrameName("sunny"))
    assert renamed.find(NORTH) is not None
    assert renamed.clear(SOUTH)
    assert renamed.find(FrameName("sunny")) is None


def test_without_settings_each_name_stands_for_itself(tmp_path: Path) -> None:
    """F10: lockouts that tell no pin are not each other's."""
    files = LockoutFiles(tmp_path, {})
    files.keep(WELD)
    files.keep(Lockout(frame=NORTH, cause=LockoutCause.CUT_OUT_OPENED, detail="", raised_utc=""))
    assert files.clear(SOUTH)
    assert files.find(SOUTH) is None
    assert files.find(NORTH) is not None


def test_one_torn_copy_does_not_hide_the_pin_of_the_other(files: LockoutFiles, tmp_path: Path) -> None:
    """F07: a renamed frame, one copy torn."""
    files.keep(WELD)
    (tmp_path / "lockouts" / COPIES[0]).write_text("{")
    renamed = LockoutFiles(tmp_path / "lockouts", {FrameName("sunny"): 17, NORTH: 22})
    assert renamed.find(NORTH) is None
    assert renamed.clear(FrameName("sunny"))
    assert renamed.find(FrameName("sunny")) is None


def test_a_removed_frame_keeps_its_lockout_and_a_new_one_inherits_none(
    files: LockoutFiles, tmp_path: Path
) -> None:
    """F07: no lock lost, none inherited by another pin."""
    files.keep(WELD)
    without = LockoutFiles(tmp_path / "lockouts", {NORTH: 22, FrameName("new"): 23})
    assert without.find(NORTH) is None
    assert without.find(FrameName("new")) is None
    assert without.all_names() == (SOUTH,)
    assert files.find(SOUTH) == WELD


def test_a_disk_that_does_not_take_it_is_an_error(tmp_path: Path) -> None:
    """S01 to S03: keep never returns as if it had kept."""
    (tmp_path / "lockouts").write_text("a file where the folder belongs")
    files = LockoutFiles(tmp_path / "lockouts", PINS)
    with pytest.raises(StorageError):
        files.keep(WELD)
    with pytest.raises(StorageError):
        files.all_names()


def test_frames_are_those_of_the_settings(files: LockoutFiles) -> None:
    """In their order."""
    assert files.frames == (SOUTH, NORTH)
