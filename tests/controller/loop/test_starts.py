"""The list of starts is small, and whatever lies in its place never holds up a start."""

from __future__ import annotations

import json
import os
from contextlib import suppress
from pathlib import Path

import pytest

from controller.errors import (
    ConfigError,
    ControllerError,
    Fault,
    HardwareError,
    InvariantBroken,
    StorageError,
)
from controller.loop.starts import StartCount, StartLog, refusals_are_clean

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


def _starts(path: Path, ends: list[Exception | None]) -> StartCount:
    """Runs that end so, a minute apart, then one more start."""
    for number, end in enumerate(ends):
        with suppress(Exception), refusals_are_clean(path):
            StartLog(path).note_start(60.0 * number)
            if end is not None:
                raise end
    return StartLog(path).note_start(60.0 * len(ends))


FAULT = Fault(file="f.toml", line=3, key="site.zone", problem="is not a zone", remedy="write one")


@pytest.mark.parametrize(
    "refusal", [ConfigError((FAULT,)), HardwareError("no pins"), StorageError("no room")], ids=type
)
def test_a_refusal_said_in_words_is_no_crash(refusal: ControllerError, tmp_path: Path) -> None:
    """Settings that cannot be used, started again and again, are no crash loop."""
    assert _starts(tmp_path / "starts.json", [refusal] * 7) == CLEAN


@pytest.mark.parametrize("crash", [InvariantBroken("a relay does not go off"), ZeroDivisionError()], ids=type)
def test_a_bug_or_a_broken_invariant_counts(crash: Exception, tmp_path: Path) -> None:
    count = _starts(tmp_path / "starts.json", [crash] * 7)
    assert count == StartCount(last_was_unclean=True, unclean_in_hour=7, unclean_in_day=7)


def test_a_kill_counts_and_a_refusal_after_it_does_not_hide_it(tmp_path: Path) -> None:
    """Power fails once, then the settings refuse once: one unclean end in the hour."""
    count = _starts(tmp_path / "starts.json", [None, ConfigError((FAULT,))])
    assert count == StartCount(last_was_unclean=False, unclean_in_hour=1, unclean_in_day=1)
