"""Small files are read whole or refused, and no descriptor is left open either way."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from controller.bounded_read import UnfitFile, read_bounded, stamp_of


def test_the_largest_size_passes_and_one_byte_more_does_not(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"x" * 2048)
    assert read_bounded(path, 2048).data == b"x" * 2048
    path.write_bytes(b"x" * 2049)
    with pytest.raises(UnfitFile, match="larger than 2 kB"):
        read_bounded(path, 2048)


def test_no_descriptor_stays_open(tmp_path: Path) -> None:
    """S11: a file looked at for a whole winter must not use up the handles."""
    good, pipe = tmp_path / "good", tmp_path / "pipe"
    good.write_bytes(b"x")
    os.mkfifo(pipe)
    before = len(os.listdir("/proc/self/fd"))  # noqa: PTH208  # counts only
    for path, largest in ((good, 10), (good, 0), (pipe, 10), (tmp_path, 10)):
        for _ in range(20):
            try:
                read_bounded(path, largest)
            except UnfitFile:
                continue
    assert len(os.listdir("/proc/self/fd")) == before  # noqa: PTH208  # counts only


def test_the_systems_own_words_are_passed_on(tmp_path: Path) -> None:
    loop = tmp_path / "loop"
    loop.symlink_to(loop)
    with pytest.raises(UnfitFile, match="symbolic links"):
        read_bounded(loop, 10)
    with pytest.raises(UnfitFile, match="null"):
        read_bounded(Path("a\0b"), 10)


def test_a_stamp_is_that_of_the_content_read(tmp_path: Path) -> None:
    path = tmp_path / "file"
    assert stamp_of(path) is None
    path.write_bytes(b"x")
    assert read_bounded(path, 10).stamp == stamp_of(path)
