"""Lockouts on disk: two copies, and whatever cannot be read counts as locked."""

from __future__ import annotations

import errno
import io
import json
import os
import subprocess
from pathlib import Path

import pytest

from controller.durable import write_durably
from controller.errors import StorageError
from controller.record import lockouts
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
    whole = first.read_bytes().rstrip()
    for length in range(len(whole)):
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


# Room that a full disk cannot take.


def plain_writes_fail(monkeypatch: pytest.MonkeyPatch, *words: str) -> None:
    """A disk on which no new file can be made, or none whose name has one of the words."""

    def full(path: Path, data: bytes, *, mode: int = 0o640) -> None:
        if not words or any(word in path.name for word in words):
            raise StorageError(f"{path}: cannot be written (No space left on device)")
        write_durably(path, data, mode=mode)

    monkeypatch.setattr(lockouts, "write_durably", full)


def test_room_is_made_once_and_is_no_lockout(files: LockoutFiles, tmp_path: Path) -> None:
    """S01: a block for each copy, in a folder that is made for it."""
    files.prepare(SOUTH)
    folder = tmp_path / "lockouts"
    made = {path.name: path.stat() for path in folder.iterdir()}
    assert sorted(made) == ["south.first.reserve", "south.second.reserve"]
    assert all(stat.st_size == 4096 for stat in made.values())
    assert files.find(SOUTH) is None
    assert files.all_names() == ()
    files.prepare(SOUTH)
    assert {path.name: path.stat().st_ino for path in folder.iterdir()} == {
        name: stat.st_ino for name, stat in made.items()
    }
    (folder / "south.first.reserve").write_bytes(b"short")
    files.prepare(SOUTH)
    assert (folder / "south.first.reserve").stat().st_size == 4096


def test_what_stands_in_a_reserve_is_never_read(files: LockoutFiles, tmp_path: Path) -> None:
    """A bad block in a file that waits for years must not cost a frosty night's heat."""
    files.prepare(SOUTH)
    for path in (tmp_path / "lockouts").iterdir():
        path.write_bytes(b"\xff{" * 3000)
    assert files.find(SOUTH) is None


def test_a_full_disk_takes_the_lockout_into_the_reserves(
    files: LockoutFiles, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """S01: both copies, whole, for the next process too; and a second lockout after the first."""
    files.prepare(SOUTH)
    plain_writes_fail(monkeypatch)
    for _ in range(2):
        assert files.keep(WELD)
        assert LockoutFiles(tmp_path / "lockouts", PINS).find(SOUTH) == WELD
        assert sorted(path.name for path in (tmp_path / "lockouts").iterdir()) == list(COPIES)
        assert files.clear(SOUTH)
        assert files.find(SOUTH) is None
        assert len(list((tmp_path / "lockouts").iterdir())) == 2


@pytest.mark.parametrize("broken", ["first", "second"])
def test_one_copy_that_fails_does_not_skip_the_other(
    files: LockoutFiles, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, broken: str
) -> None:
    """S03: kept, but to be kept again."""
    with monkeypatch.context() as patch:
        plain_writes_fail(patch, broken)
        assert not files.keep(WELD)
        assert not files.keep(WELD)
        assert LockoutFiles(tmp_path / "lockouts", PINS).find(SOUTH) == WELD
    assert files.keep(WELD)
    assert sorted(path.name for path in (tmp_path / "lockouts").iterdir()) == list(COPIES)


def test_a_lockout_that_stands_is_not_written_again(
    files: LockoutFiles, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A start on a disk that has become read-only finds it kept."""
    files.keep(WELD)
    plain_writes_fail(monkeypatch)
    assert files.keep(WELD)
    with pytest.raises(StorageError):
        files.keep(Lockout(frame=SOUTH, cause=LockoutCause.CUT_OUT_OPENED, detail="", raised_utc=""))
    assert files.find(SOUTH) == WELD


def test_a_detail_too_long_for_its_block_is_cut(files: LockoutFiles, tmp_path: Path) -> None:
    """Whatever its letters take."""
    long = Lockout(frame=SOUTH, cause=WELD.cause, detail="\U0001f525\x00" * 5000, raised_utc="")
    files.keep(long)
    assert all((tmp_path / "lockouts" / copy).stat().st_size == 4096 for copy in COPIES)
    found = files.find(SOUTH)
    assert found is not None
    assert long.detail.startswith(found.detail)


def test_without_room_it_stands_in_run_until_the_disk_takes_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """S02: a reload or a kill does not undo it; keep never says that it is on disk."""
    run = tmp_path / "run"
    files = LockoutFiles(tmp_path / "lockouts", PINS, run=run)
    with monkeypatch.context() as patch:
        plain_writes_fail(patch)
        with pytest.raises(StorageError, match=r"south\.first\.json.*south\.second\.json"):
            files.keep(WELD)
    later = LockoutFiles(tmp_path / "lockouts", {FrameName("sunny"): 17}, run=run)
    assert later.all_names() == (SOUTH,)
    assert later.find(FrameName("sunny")) is not None
    assert files.only_in_run(SOUTH)
    assert files.find(SOUTH) == WELD
    assert files.keep(WELD)
    assert list((run / "lockouts").iterdir()) == []
    assert not files.only_in_run(SOUTH)
    assert files.find(SOUTH) == WELD


def test_a_lockout_in_run_is_cleared_with_the_others(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And without a RUN none is looked for."""
    files = LockoutFiles(tmp_path / "lockouts", PINS, run=tmp_path / "run")
    with monkeypatch.context() as patch:
        plain_writes_fail(patch)
        with pytest.raises(StorageError):
            files.keep(WELD)
    without = LockoutFiles(tmp_path / "lockouts", PINS)
    assert without.find(SOUTH) is None
    assert not without.only_in_run(SOUTH)
    assert files.clear(SOUTH)
    assert files.find(SOUTH) is None
    assert files.find(SOUTH) is None


@pytest.mark.skipif(os.geteuid() != 0, reason="mounting a small disk needs root")
def test_a_real_disk_filled_to_its_last_byte_takes_the_lockout(tmp_path: Path) -> None:
    """S01 on a real file system: prepared, filled, locked, found, cleared and locked again."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=128k", "tmpfs", disk], check=False, capture_output=True
    )
    if mounted.returncode != 0:
        pytest.skip("this system mounts nothing")
    try:
        files = LockoutFiles(disk / "lockouts", PINS)
        files.prepare(SOUTH)
        fill(disk / "filler")
        with pytest.raises(StorageError):
            files.prepare(NORTH)
        for _ in range(2):
            assert files.keep(WELD)
            assert LockoutFiles(disk / "lockouts", PINS).find(SOUTH) == WELD
            assert files.clear(SOUTH)
            assert files.find(SOUTH) is None
            fill(disk / "filler")
    finally:
        subprocess.run(["umount", disk], check=True)


def fill(path: Path) -> None:
    """Write until nothing more fits, down to single bytes."""
    for size in (4096, 1):
        with path.open("ab", buffering=0) as file, pytest.raises(OSError, match="No space left"):
            write_for_ever(file, bytes(size))


def write_for_ever(file: io.FileIO, data: bytes) -> None:
    """Until the disk refuses."""
    while True:
        file.write(data)


# Gone is not cleared.


@pytest.mark.parametrize("kept", [True, False])
def test_a_folder_that_vanished_is_no_clearing(files: LockoutFiles, tmp_path: Path, kept: bool) -> None:  # noqa: FBT001
    """STATE unmounted, renamed, replaced by an empty one: an error, never "not locked"."""
    if kept:
        files.keep(WELD)
    else:
        files.prepare(SOUTH)
    (tmp_path / "lockouts").rename(tmp_path / "away")
    with pytest.raises(StorageError, match="is gone"):
        files.find(SOUTH)
    (tmp_path / "lockouts").mkdir()
    with pytest.raises(StorageError, match="is gone"):
        files.find(SOUTH)
    (tmp_path / "lockouts").rmdir()
    (tmp_path / "away").rename(tmp_path / "lockouts")
    assert files.find(SOUTH) == (WELD if kept else None)


def test_a_clearing_by_another_process_is_seen(files: LockoutFiles, tmp_path: Path) -> None:
    """The command at the board has its own object, with or without the settings."""
    files.prepare(SOUTH)
    for pins in (PINS, {}):
        files.keep(WELD)
        assert LockoutFiles(tmp_path / "lockouts", pins).clear(SOUTH)
        assert files.find(SOUTH) is None


def test_a_pipe_or_a_link_in_place_of_a_copy_is_cleared_too(files: LockoutFiles, tmp_path: Path) -> None:
    """Neither becomes a reserve."""
    files.prepare(SOUTH)
    os.mkfifo(tmp_path / "lockouts" / COPIES[0])
    (tmp_path / "lockouts" / COPIES[1]).symlink_to(tmp_path / "nowhere")
    assert files.find(SOUTH) is not None
    assert files.clear(SOUTH)
    assert files.find(SOUTH) is None
    assert all(path.is_file() and not path.is_symlink() for path in (tmp_path / "lockouts").iterdir())


def test_what_cannot_be_cleared_or_looked_at_is_an_error(
    files: LockoutFiles, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Never told as done."""
    files.keep(WELD)

    def refuse(*_: object) -> None:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", refuse)
        with pytest.raises(StorageError, match="cannot be cleared"):
            files.clear(SOUTH)
    with monkeypatch.context() as patch:
        patch.setattr(Path, "lstat", refuse)
        with pytest.raises(StorageError, match="cannot be looked at"):
            files.clear(SOUTH)
    assert files.find(SOUTH) == WELD


# The wire.


def test_a_lockout_follows_its_wire_to_another_frame_of_the_settings(
    files: LockoutFiles, tmp_path: Path
) -> None:
    """F07: two frames swap relays; the weld is on the wire, the name is where a person looks."""
    files.keep(WELD)
    swapped = LockoutFiles(tmp_path / "lockouts", {SOUTH: 22, NORTH: 17})
    for frame in (SOUTH, NORTH):
        found = swapped.find(frame)
        assert found is not None
        assert (found.frame, found.cause) == (frame, WELD.cause)
        assert swapped.stored_as(frame) == (SOUTH,)
    assert swapped.locked_by(SOUTH) == (SOUTH, NORTH)
    assert swapped.locked_by(NORTH) == ()
    assert not swapped.clear(NORTH)
    assert swapped.find(SOUTH) is not None
    assert swapped.clear(SOUTH)
    assert swapped.find(NORTH) is None


def test_the_names_of_a_renamed_and_of_a_plain_lockout(files: LockoutFiles, tmp_path: Path) -> None:
    """What a person has to type."""
    assert files.stored_as(SOUTH) == ()
    files.keep(WELD)
    assert files.stored_as(SOUTH) == (SOUTH,)
    assert files.stored_as(NORTH) == ()
    renamed = LockoutFiles(tmp_path / "lockouts", {FrameName("sunny"): 17, NORTH: 22})
    assert renamed.stored_as(FrameName("sunny")) == (SOUTH,)
