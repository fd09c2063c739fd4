"""The list of starts is small, and whatever lies in its place never holds up a start."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from controller.loop.starts import StartCount, StartLog

CLEAN = StartCount(last_was_unclean=False, unclean_in_hour=0, unclean_in_day=0)


@pytest.mark.parametrize("kind", ["pipe", "folder", "huge"])
def test_what_is_no_small_file_counts_as_no_starts_at_once(tmp_path: Path, kind: str) -> None:
    """A start waits for no pipe and reads no gigabyte; where it can, it begins a new list."""
    path = tmp_path / "starts.json"
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    else:
        entry = {"utc_s": 1.0, "clean": False}
        path.write_bytes(json.dumps({"schema": 1, "starts": [entry]}).encode() + b" " * 200_000)
    assert StartLog(path).note_start(2.0) == CLEAN
    assert path.is_dir() if kind == "folder" else len(json.loads(path.read_bytes())["starts"]) == 1


@pytest.mark.parametrize("text", ['{"starts": [{"utc_s": 1e999999, "clean": true}]}', "[" * 5000])
def test_endless_numbers_and_depths_do_not_stop_a_start(tmp_path: Path, text: str) -> None:
    """Neither is a start of ours."""
    path = tmp_path / "starts.json"
    path.write_text(text)
    StartLog(path).note_start(2.0)
    assert path.exists()
