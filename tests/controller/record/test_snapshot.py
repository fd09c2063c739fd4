from __future__ import annotations

import json
import math
import os
from pathlib import Path

import pytest

from controller.record.snapshot import (
    AGE_MAX_S,
    Snapshot,
    SnapshotWriter,
    Unusable,
    read_snapshot,
)
from controller.wire import SNAPSHOT_SCHEMA

BOOT = "boot-1"


def document(**changes: object) -> dict[str, object]:
    whole: dict[str, object] = {
        "schema": SNAPSHOT_SCHEMA,
        "boot_id": BOOT,
        "seq": 7,
        "mono_s": 1000.0,
        "utc": "2026-01-01T00:00:00Z",
        "utc_confirmed": True,
        "frames": {"south": {"air": {"value": 2.5, "age_s": 4.0}, "wall": {"rejected": "crc"}}},
    }
    return whole | changes


def read(path: Path, now_s: float = 1002.0) -> Snapshot | Unusable:
    return read_snapshot(path, boot_id_now=BOOT, mono_now_s=now_s)


def test_a_whole_document_comes_back_with_its_age(tmp_path: Path) -> None:
    path = tmp_path / "snapshot.json"
    writer = SnapshotWriter(path)
    writer.write(document())
    assert writer.healthy
    found = read(path)
    assert found == Snapshot(document=document(), age_s=2.0)


def test_cut_at_any_byte_it_is_never_taken_for_current(tmp_path: Path) -> None:
    """X19: torn."""
    path = tmp_path / "snapshot.json"
    SnapshotWriter(path).write(document())
    whole = path.read_bytes()
    for cut in range(len(whole)):
        path.write_bytes(whole[:cut])
        found = read(path)
        assert isinstance(found, Unusable), cut
        assert found.reason.endswith(".")


@pytest.mark.parametrize(
    ("changes", "now_s", "words"),
    [
        ({"boot_id": "boot-0"}, 1002.0, "since the board started"),
        ({"boot_id": None}, 1002.0, "since the board started"),
        ({"schema": SNAPSHOT_SCHEMA + 1}, 1002.0, "another version"),
        ({"schema": str(SNAPSHOT_SCHEMA)}, 1002.0, "another version"),
        ({"schema": True}, 1002.0, "another version"),
        ({}, 1000.0 + AGE_MAX_S + 0.5, "not running"),
        ({}, 1000.0 + 7200.0, "2 hours"),
        ({}, 1000.0 + 3 * 86400.0, "3 days"),
        ({}, 900.0, "still to come"),
        ({"mono_s": "1000"}, 1002.0, "does not say when"),
        ({"mono_s": True}, 1002.0, "does not say when"),
        ({"mono_s": None}, 1002.0, "does not say when"),
        ({"mono_s": 10**400}, 1002.0, "does not say when"),
    ],
)
def test_another_boot_version_or_time_is_never_taken_for_current(
    tmp_path: Path, changes: dict[str, object], now_s: float, words: str
) -> None:
    """X19: stale, of another version, of another boot."""
    path = tmp_path / "snapshot.json"
    path.write_text(json.dumps(document(**changes)))
    found = read(path, now_s)
    assert isinstance(found, Unusable)
    assert words in found.reason


def test_three_minutes_is_the_limit(tmp_path: Path) -> None:
    path = tmp_path / "snapshot.json"
    SnapshotWriter(path).write(document())
    assert isinstance(read(path, 1000.0 + AGE_MAX_S), Snapshot)
    assert isinstance(read(path, 1000.0 + AGE_MAX_S + 0.01), Unusable)


@pytest.mark.parametrize(
    "text",
    [b"", b"null", b"[1]", b"\xff", b'{"schema":1,"mono_s":NaN}', b"[" * 100_000, b"{}", b" " * 2_000_000],
)
def test_garbage_is_said_to_be_garbage(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "snapshot.json"
    path.write_bytes(text)
    assert isinstance(read(path), Unusable)


@pytest.mark.parametrize("number", ["1e309", "-1e309"])
def test_an_endless_instant_is_refused(tmp_path: Path, number: str) -> None:
    path = tmp_path / "snapshot.json"
    path.write_text(json.dumps(document()).replace("1000.0", number))
    assert isinstance(read(path), Unusable)


def test_no_file_a_pipe_or_a_folder_is_said_at_once(tmp_path: Path) -> None:
    missing = read(tmp_path / "missing")
    assert isinstance(missing, Unusable)
    assert "not running" in missing.reason
    os.mkfifo(tmp_path / "pipe")
    assert isinstance(read(tmp_path / "pipe"), Unusable)
    (tmp_path / "folder").mkdir()
    assert isinstance(read(tmp_path / "folder"), Unusable)


def test_trouble_in_writing_is_kept_and_not_raised(tmp_path: Path) -> None:
    """A folder that was swept away is made again; what cannot be one is said."""
    (tmp_path / "file").write_text("")
    writer = SnapshotWriter(tmp_path / "file" / "snapshot.json")
    writer.write(document())
    assert not writer.healthy
    assert "cannot be written" in writer.detail
    (tmp_path / "file").unlink()
    writer.write(document())
    assert writer.healthy


def test_a_document_with_nan_is_refused_and_the_last_one_stays(tmp_path: Path) -> None:
    path = tmp_path / "snapshot.json"
    writer = SnapshotWriter(path)
    writer.write(document())
    writer.write(document(mono_s=math.nan))
    assert "JSON" in writer.detail
    writer.write(document(frames={1, 2}))
    assert "JSON" in writer.detail
    assert read(path) == Snapshot(document=document(), age_s=2.0)


def test_a_gap_is_kept_and_a_clock_set_back_does_not_end_writing(tmp_path: Path) -> None:
    writer = SnapshotWriter(tmp_path / "snapshot.json", gap_s=60.0)
    assert writer.due(100.0)
    writer.write(document(), now_s=100.0)
    assert not writer.due(159.0)
    assert writer.due(160.0)
    assert writer.due(50.0)
