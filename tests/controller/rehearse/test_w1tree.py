"""Simulated probes as files: the board's own reader finds in them what was meant."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import StorageError
from controller.rehearse.w1tree import ProbeTree, kernel_text
from controller.sense.probes import list_probes
from controller.sense.scratchpad import (
    RawReading,
    ReadFailure,
    Scratchpad,
    decode_lines,
    encode_scratchpad,
)
from controller.sense.stepped import SteppedReaders
from controller.vocabulary import ProbeId, Rejection
from tests.fakes import FakeClock, chip_bytes
from tests.fakes import kernel_text as text_made_apart

A, B = ProbeId("28-00000000000a"), ProbeId("28-00000000000b")


@pytest.fixture
def tree(tmp_path: Path) -> Iterator[ProbeTree]:
    tree = ProbeTree(tmp_path / "w1", (A, B))
    yield tree
    tree.close()


def reading(temp_c: float) -> Scratchpad:
    return Scratchpad(data=encode_scratchpad(temp_c), taken_at_s=1000.0)


def failure(reason: Rejection) -> ReadFailure:
    return ReadFailure(reason=reason, detail="", taken_at_s=1000.0)


def found_in(tree: ProbeTree) -> dict[ProbeId, bytes | Rejection]:
    """What the board's reader makes of the files."""
    readers = SteppedReaders([A, B], tree.folder, mono=FakeClock().mono_s)
    return {
        probe: raw.data if isinstance(raw, Scratchpad) else raw.reason
        for probe, raw in readers.latest().items()
    }


def test_the_text_for_85_degrees_is_that_of_the_published_example() -> None:
    """1360 sixteenths are 85 °C (DS18B20 data sheet, table of temperatures and data: 0550h)."""
    text = kernel_text(bytes.fromhex("50054b467fff0c101c")).decode()
    assert text == ("50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n")


@given(temp_c=st.floats(-55, 125))
def test_the_text_is_the_one_that_was_written_apart(temp_c: float) -> None:
    """Two hands wrote the kernel's format; they agree on every sound reading."""
    data = encode_scratchpad(temp_c)
    assert kernel_text(data).decode() == text_made_apart(data)


@given(data=st.binary(min_size=9, max_size=9), sound_c=st.floats(-55, 125))
def test_no_nine_bytes_are_read_as_other_bytes(data: bytes, sound_c: float) -> None:
    """The bytes themselves come back, or a reason against them; never the older ones of the second line."""
    found = decode_lines(kernel_text(data, encode_scratchpad(sound_c)).decode().splitlines(), 0.0)
    if isinstance(found, Scratchpad):
        assert found.data == data
    else:
        assert found.reason in {Rejection.CRC, Rejection.SILENT, Rejection.SHORTED}


def test_every_device_is_listed_on_one_bus_once_it_was_shown(tree: ProbeTree) -> None:
    assert list_probes(tree.folder) == ()
    tree.show({A: reading(1.0), B: reading(2.0)})
    assert [(found.probe, found.bus) for found in list_probes(tree.folder)] == [
        (A, "w1_bus_master1"),
        (B, "w1_bus_master1"),
    ]


def test_readings_come_and_go_as_they_are_shown(tree: ProbeTree) -> None:
    """Sound, wrong, away, hanging, and sound again, in every order of two."""
    broken = Scratchpad(data=chip_bytes(3.0)[:-1] + b"\x00", taken_at_s=1000.0)
    cases: list[tuple[RawReading, bytes | Rejection]] = [
        (reading(-4.25), encode_scratchpad(-4.25)),
        (broken, Rejection.CRC),
        (failure(Rejection.ABSENT), Rejection.ABSENT),
        (failure(Rejection.HUNG), Rejection.HUNG),
    ]
    for first, _ in cases:
        for second, meant in cases:
            tree.show({A: first, B: reading(7.0)})
            tree.show({A: second, B: reading(7.5)})
            if meant is Rejection.HUNG:
                continue  # a look at it takes a second; the next test has one
            assert found_in(tree) == {A: meant, B: encode_scratchpad(7.5)}


def test_a_read_hangs_for_as_long_as_it_is_meant_to(tree: ProbeTree) -> None:
    tree.show({A: failure(Rejection.HUNG), B: reading(7.0)})
    readers = SteppedReaders([A, B], tree.folder, mono=FakeClock().mono_s)
    hung = readers.latest()[A]
    assert isinstance(hung, ReadFailure)
    assert hung.reason is Rejection.HUNG
    tree.show({A: reading(2.0), B: reading(7.0)})
    back = readers.latest()[A]
    assert isinstance(back, Scratchpad)
    assert back.data == encode_scratchpad(2.0)


def test_what_has_not_changed_is_not_written_again(tree: ProbeTree) -> None:
    tree.show({A: reading(1.0)})
    before = (tree.folder / A / "w1_slave").stat()
    tree.show({A: Scratchpad(data=encode_scratchpad(1.0), taken_at_s=2000.0)})
    assert (tree.folder / A / "w1_slave").stat().st_ino == before.st_ino


def test_a_failure_that_no_file_can_show_is_refused(tree: ProbeTree) -> None:
    with pytest.raises(ValueError, match="no file shows a probe that is stale"):
        tree.show({A: failure(Rejection.STALE)})


def test_a_folder_that_is_taken_is_refused(tmp_path: Path) -> None:
    (tmp_path / "w1").write_text("somebody's own")
    with pytest.raises(StorageError, match="cannot be shown there"):
        ProbeTree(tmp_path / "w1", (A,))
