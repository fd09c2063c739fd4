"""The stored pins, which a stop action reads without any settings."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from controller.errors import StorageError
from controller.record import pins_file
from controller.record.pins_file import StoredPin, read_pins, write_pins


def test_what_was_written_is_read(tmp_path: Path) -> None:
    """Order and polarity kept."""
    path = tmp_path / "pins.json"
    write_pins(path, [StoredPin(17, active_high=True), (22, False)])
    assert read_pins(path) == (StoredPin(17, active_high=True), StoredPin(22, active_high=False))
    write_pins(path, [])
    assert read_pins(path) == ()


def test_the_same_pins_are_not_written_again(tmp_path: Path) -> None:
    """A crash loop must not wear the card."""
    path = tmp_path / "pins.json"
    write_pins(path, [(17, True)])
    before = path.stat().st_ino
    write_pins(path, [(17, True)])
    assert path.stat().st_ino == before
    write_pins(path, [(17, False)])
    assert path.stat().st_ino != before


def _full(path: Path, data: bytes) -> None:
    raise StorageError(f"{path}: no room for {len(data)} bytes")


@pytest.mark.parametrize("older", [[(17, True), (22, False)], [(22, False), (17, True)], [(17, True)]])
def test_a_full_disk_ends_nothing_while_the_older_file_covers_the_pins(
    older: list[tuple[int, bool]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """S01: a stop action that switches more off than it must is good enough."""
    path = tmp_path / "pins.json"
    write_pins(path, [*older, (5, True)])
    monkeypatch.setattr(pins_file, "write_durably", _full)
    assert write_pins(path, older) == ""
    assert StoredPin(5, active_high=True) in read_pins(path)


@pytest.mark.parametrize("wanted", [(22, True), (17, False)])
def test_a_full_disk_is_told_where_the_older_file_misses_a_pin(
    wanted: tuple[int, bool], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "pins.json"
    write_pins(path, [(17, True)])
    monkeypatch.setattr(pins_file, "write_durably", _full)
    fault = write_pins(path, [(17, True), wanted])
    assert "no room" in fault
    assert fault.endswith(f"does not know GPIO{wanted[0]}")
    assert read_pins(path) == (StoredPin(17, active_high=True),)


@pytest.mark.parametrize("older", [None, b"{"])
def test_without_a_file_to_go_by_a_full_disk_refuses(
    older: bytes | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Then no stop action could switch anything off."""
    path = tmp_path / "pins.json"
    if older is not None:
        path.write_bytes(older)
    monkeypatch.setattr(pins_file, "write_durably", _full)
    with pytest.raises(StorageError, match="no room"):
        write_pins(path, [(17, True)])


def test_missing_or_torn_at_any_byte_it_is_refused(tmp_path: Path) -> None:
    """Better no pins than wrong ones."""
    path = tmp_path / "pins.json"
    with pytest.raises(StorageError, match="cannot be read"):
        read_pins(path)
    write_pins(path, [(17, True), (22, False)])
    whole = path.read_bytes().strip()
    for length in range(len(whole)):
        path.write_bytes(whole[:length])
        with pytest.raises(StorageError):
            read_pins(path)


@pytest.mark.parametrize(
    "text",
    [
        "[]",
        '{"schema": 2, "pins": []}',
        '{"schema": 1}',
        '{"schema": 1, "pins": {}}',
        '{"schema": 1, "pins": [17]}',
        '{"schema": 1, "pins": [{"pin": 28, "active_high": true}]}',
        '{"schema": 1, "pins": [{"pin": -1, "active_high": true}]}',
        '{"schema": 1, "pins": [{"pin": true, "active_high": true}]}',
        '{"schema": 1, "pins": [{"pin": 17, "active_high": 1}]}',
        '{"schema": 1, "pins": [{"pin": 17}]}',
    ],
)
def test_anything_else_is_refused(tmp_path: Path, text: str) -> None:
    """Another schema, another shape, a pin that no header has."""
    path = tmp_path / "pins.json"
    path.write_text(text)
    with pytest.raises(StorageError):
        read_pins(path)


def test_pins_at_the_ends_of_the_header_are_taken(tmp_path: Path) -> None:
    """0 to 27."""
    path = tmp_path / "pins.json"
    write_pins(path, [(0, True), (27, False)])
    assert [stored.pin for stored in read_pins(path)] == [0, 27]


@pytest.mark.parametrize("kind", ["pipe", "folder", "huge"])
def test_what_is_no_small_file_is_refused_at_once_and_replaced_where_it_can_be(
    tmp_path: Path, kind: str
) -> None:
    """A stop action must never wait for a pipe, nor a start."""
    path = tmp_path / "pins.json"
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    else:
        path.write_bytes(b'{"schema": 1, "pins": []}' + b" " * 200_000)
    with pytest.raises(StorageError):
        read_pins(path)
    if kind == "folder":
        with pytest.raises(StorageError):
            write_pins(path, [(17, True)])
    else:
        write_pins(path, [(17, True)])
        assert read_pins(path) == (StoredPin(17, active_high=True),)
