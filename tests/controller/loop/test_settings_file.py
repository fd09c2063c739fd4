"""The settings file on disk: used, refused, fallen back from, watched."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from controller.durable import write_durably
from controller.errors import ConfigError
from controller.folders import Folders
from controller.loop import settings_file
from controller.loop.settings_file import SettingsWatch, load_settings
from tests.controller.config.texts import SMALL, read

BAD = SMALL.replace("latitude = 50", "latitude = 89")


@pytest.fixture
def folders(tmp_path: Path) -> Folders:
    return Folders(state=tmp_path / "state", run=tmp_path / "run")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "frameward.toml"


def test_a_file_that_passes_is_used_and_kept_as_the_last_good_copy(path: Path, folders: Folders) -> None:
    path.write_text(SMALL)
    loaded = load_settings(path, folders)
    assert loaded.source == "file"
    assert loaded.faults == ()
    assert loaded.settings == read(SMALL)
    assert folders.last_good_settings.read_text() == SMALL
    assert path.read_text() == SMALL


def test_a_bad_file_gives_way_to_the_last_good_copy_and_its_faults_are_carried_along(
    path: Path, folders: Folders
) -> None:
    """G02: used and said; the bad file becomes no copy."""
    path.write_text(SMALL)
    good = load_settings(path, folders)
    path.write_text(BAD)
    loaded = load_settings(path, folders)
    assert loaded.source == "last_good"
    assert loaded.settings == good.settings
    assert loaded.digest == good.digest
    assert [fault.key for fault in loaded.faults] == ["site.latitude"]
    assert folders.last_good_settings.read_text() == SMALL


def test_a_missing_file_gives_way_to_the_last_good_copy(path: Path, folders: Folders) -> None:
    """G01."""
    path.write_text(SMALL)
    load_settings(path, folders)
    path.unlink()
    loaded = load_settings(path, folders)
    assert loaded.source == "last_good"
    assert loaded.stamp is None
    assert "does not exist" in loaded.faults[0].problem


def test_without_any_good_copy_every_fault_is_raised(path: Path, folders: Folders) -> None:
    with pytest.raises(ConfigError) as caught:
        load_settings(path, folders)
    assert len(caught.value.faults) == 1
    path.write_text(BAD)
    folders.state.mkdir()
    folders.last_good_settings.write_text(SMALL.replace("wall", "walls"))
    with pytest.raises(ConfigError) as caught:
        load_settings(path, folders)
    told = {(Path(fault.file).name, fault.key) for fault in caught.value.faults}
    assert told == {
        ("frameward.toml", "site.latitude"),
        ("settings.last-good.toml", "frame.bed.wall"),
        ("settings.last-good.toml", "frame.bed.walls"),
    }


def test_a_copy_is_written_only_where_it_differs(
    path: Path, folders: Folders, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A start on a worn card writes nothing that is there already."""
    written: list[Path] = []

    def note(where: Path, data: bytes) -> None:
        written.append(where)
        write_durably(where, data)

    monkeypatch.setattr(settings_file, "write_durably", note)
    path.write_text(SMALL)
    load_settings(path, folders)
    load_settings(path, folders)
    assert written == [folders.last_good_settings]


def test_a_disk_that_takes_no_copy_is_told_and_costs_nothing_else(path: Path, folders: Folders) -> None:
    """S02: control goes on."""
    folders.state.write_text("a file where the folder should be")
    path.write_text(SMALL)
    loaded = load_settings(path, folders)
    assert loaded.source == "file"
    assert "no copy of these settings could be kept" in loaded.faults[0].problem


def test_asking_alone_keeps_no_copy(path: Path, folders: Folders) -> None:
    path.write_text(SMALL)
    load_settings(path, folders, keep_copy=False)
    assert not folders.state.exists()


def test_a_link_to_a_file_is_fine(path: Path, folders: Folders, tmp_path: Path) -> None:
    """G11 as amended here: a link to a regular file is how some people keep their settings."""
    real = tmp_path / "real.toml"
    real.write_text(SMALL)
    path.symlink_to(real)
    assert load_settings(path, folders).source == "file"


@pytest.mark.parametrize("kind", ["pipe", "folder", "device", "loop", "huge", "socket path too long"])
def test_what_is_no_plain_file_is_refused_without_hanging(kind: str, path: Path, folders: Folders) -> None:
    """G11: the test's own time limit is the proof that nothing hangs."""
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    elif kind == "device":
        path.symlink_to("/dev/zero")
    elif kind == "loop":
        path.symlink_to(path)
    elif kind == "huge":
        path.write_bytes(b"#" * (256 * 1024 + 1))
    else:
        path = path.with_name("x" * 300)
    with pytest.raises(ConfigError) as caught:
        load_settings(path, folders)
    assert len(caught.value.faults) == 1
    assert caught.value.faults[0].remedy


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read_is_said(path: Path, folders: Folders) -> None:
    path.write_text(SMALL)
    path.chmod(0)
    with pytest.raises(ConfigError, match="cannot be opened"):
        load_settings(path, folders)


def _watch(path: Path, folders: Folders) -> SettingsWatch:
    path.write_text(SMALL)
    return SettingsWatch(path, load_settings(path, folders).stamp, poll_s=5.0)


def test_a_change_is_reported_once_and_only_after_two_polls_found_it_alike(
    path: Path, folders: Folders
) -> None:
    """G08."""
    watch = _watch(path, folders)
    assert not watch.changed(0.0)
    path.write_text(BAD)
    assert not watch.changed(5.0)
    assert watch.changed(10.0)
    assert not watch.changed(15.0)
    assert not watch.changed(20.0)


def test_a_file_written_in_pieces_is_not_taken_half(path: Path, folders: Folders) -> None:
    """G08: each piece starts the waiting anew."""
    watch = _watch(path, folders)
    now_s = 0.0
    for end in range(10, len(BAD), 100):
        path.write_text(BAD[:end])
        now_s += 5.0
        assert not watch.changed(now_s)
    path.write_text(BAD)
    assert not watch.changed(now_s + 5.0)
    assert watch.changed(now_s + 10.0)


def test_between_polls_the_system_is_not_asked(
    path: Path, folders: Folders, monkeypatch: pytest.MonkeyPatch
) -> None:
    watch = _watch(path, folders)
    asked: list[Path] = []
    monkeypatch.setattr(settings_file, "stamp_of", asked.append)
    for tenth in range(100):
        watch.changed(tenth / 10)
    assert len(asked) == 2


def test_a_file_put_in_place_by_renaming_is_seen_even_at_the_same_size_and_instant(
    path: Path, folders: Folders
) -> None:
    """The inode tells them apart."""
    watch = _watch(path, folders)
    before = path.stat()
    fresh = path.with_name("fresh")
    fresh.write_text(SMALL.replace("latitude = 50", "latitude = 51"))
    os.utime(fresh, ns=(before.st_atime_ns, before.st_mtime_ns))
    fresh.replace(path)
    assert [watch.changed(t) for t in (0.0, 5.0, 10.0)] == [False, True, False]


def test_a_lost_file_and_its_return_are_each_a_change(path: Path, folders: Folders) -> None:
    watch = _watch(path, folders)
    path.unlink()
    assert [watch.changed(t) for t in (0.0, 5.0, 10.0)] == [False, True, False]
    path.write_text(SMALL)
    assert [watch.changed(t) for t in (15.0, 20.0, 25.0)] == [False, True, False]


def test_a_change_between_reading_and_watching_is_not_missed(path: Path, folders: Folders) -> None:
    """The watch starts from what was read, not from what lies there when it starts."""
    path.write_text(SMALL)
    stamp = load_settings(path, folders).stamp
    path.write_text(BAD)
    watch = SettingsWatch(path, stamp)
    assert [watch.changed(t) for t in (0.0, 5.0)] == [False, True]
