from __future__ import annotations

import os
from pathlib import Path

from controller.record.mirror import Mirror
from tests.controller.record.lab import event, sample


def test_rows_come_back_in_their_order(tmp_path: Path) -> None:
    mirror = Mirror(tmp_path / "pending.jsonl")
    rows = [sample(1), event(2), sample(3)]
    for row in rows:
        mirror.append(row)
    assert Mirror(tmp_path / "pending.jsonl").load() == rows


def test_a_file_cut_at_any_byte_gives_every_whole_row_before_the_cut(tmp_path: Path) -> None:
    path = tmp_path / "pending.jsonl"
    mirror = Mirror(path)
    rows = [sample(1), event(2), sample(3)]
    ends = []
    for row in rows:
        mirror.append(row)
        ends.append(path.stat().st_size)
    whole = path.read_bytes()
    for cut in range(len(whole) + 1):
        path.write_bytes(whole[:cut])
        loaded = Mirror(path).load()
        # a line that lacks nothing but its line break is whole
        assert loaded == rows[: sum(end - 1 <= cut for end in ends)]


def test_a_torn_end_costs_no_row_that_is_added_after_it(tmp_path: Path) -> None:
    path = tmp_path / "pending.jsonl"
    Mirror(path).append(sample(1))
    whole = path.read_bytes()
    path.write_bytes(whole + whole[: len(whole) // 2])
    mirror = Mirror(path)
    assert mirror.load() == [sample(1)]
    mirror.append(sample(2))
    assert Mirror(path).load() == [sample(1), sample(2)]


def test_clearing_leaves_an_empty_file(tmp_path: Path) -> None:
    mirror = Mirror(tmp_path / "pending.jsonl")
    mirror.append(sample(1))
    mirror.clear()
    assert mirror.lines == 0
    mirror.append(sample(2))
    assert Mirror(tmp_path / "pending.jsonl").load() == [sample(2)]


def test_rewriting_replaces_all(tmp_path: Path) -> None:
    mirror = Mirror(tmp_path / "pending.jsonl")
    mirror.append(sample(1))
    mirror.rewrite([sample(2), sample(3)])
    mirror.append(sample(4))
    assert Mirror(tmp_path / "pending.jsonl").load() == [sample(2), sample(3), sample(4)]


def test_a_folder_that_is_gone_is_said_and_not_raised(tmp_path: Path) -> None:
    (tmp_path / "blocked").write_text("a file where a folder should be")
    mirror = Mirror(tmp_path / "blocked" / "pending.jsonl")
    assert mirror.load() == []
    mirror.append(sample(1))
    assert "pending.jsonl" in mirror.detail
    mirror.clear()
    mirror.rewrite([sample(1)])
    assert "pending.jsonl" in mirror.detail
    (tmp_path / "blocked").unlink()
    mirror.append(sample(1))
    assert mirror.detail == ""
    assert Mirror(tmp_path / "blocked" / "pending.jsonl").load() == [sample(1)]


def test_a_pipe_or_folder_in_its_place_is_never_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    pipe = Mirror(tmp_path / "pipe")
    assert pipe.load() == []
    assert "not a regular file" in pipe.detail
    pipe.append(sample(1))
    assert pipe.detail
    (tmp_path / "folder").mkdir()
    folder = Mirror(tmp_path / "folder")
    assert folder.load() == []
    folder.append(sample(1))
    assert folder.detail
