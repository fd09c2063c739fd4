"""Corrections on disk: kept whole, bounded, and never guessed."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from pydantic import ValidationError

from controller.errors import StorageError
from controller.loop.calibration_file import Correction, load_calibration, save_correction
from controller.vocabulary import ProbeId

PROBE = ProbeId("28-000007a1c0e5")
OTHER = ProbeId("28-000007a1c0e6")
GOOD = Correction(offset_k=-0.3125, residual_k=0.02, date_utc="2026-11-25")


def test_a_stored_correction_comes_back(tmp_path: Path) -> None:
    """Another probe's entry stays; an unknown probe is not corrected."""
    path = tmp_path / "state" / "calibration.json"
    save_correction(path, PROBE, GOOD)
    save_correction(path, OTHER, GOOD.model_copy(update={"offset_k": 0.125}))
    calibration = load_calibration(path)
    assert calibration.faults == ()
    assert calibration.corrections[PROBE] == GOOD
    assert (calibration.offset_k(PROBE), calibration.offset_k(OTHER)) == (-0.3125, 0.125)
    assert calibration.offset_k(ProbeId("28-0000000000ff")) == 0.0
    assert json.loads(path.read_text())["schema"] == 1


def test_a_missing_file_means_no_corrections_and_no_fault(tmp_path: Path) -> None:
    """Nobody has made an ice bath yet."""
    calibration = load_calibration(tmp_path / "calibration.json")
    assert (dict(calibration.corrections), calibration.faults) == ({}, ())


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b'{"schema": 2, "probes": {}}',
        b'{"schema": 1}',
        b'{"schema": 1, "probes": []}',
        b"\xff\xfe",
        b"[" * 60_000,
        b'{"schema": 1, "probes": {}}' + b" " * 70_000,
    ],
)
def test_an_unreadable_file_corrects_nothing_and_says_so(tmp_path: Path, data: bytes) -> None:
    """Damaged, foreign, or from another version."""
    path = tmp_path / "calibration.json"
    path.write_bytes(data)
    calibration = load_calibration(path)
    assert dict(calibration.corrections) == {}
    assert len(calibration.faults) == 1
    assert str(path) in calibration.faults[0]


def test_a_pipe_or_a_folder_in_its_place_is_refused_without_waiting(tmp_path: Path) -> None:
    """Nothing in the way can hold up a start."""
    os.mkfifo(tmp_path / "pipe")
    for name in ("pipe", "."):
        assert len(load_calibration(tmp_path / name).faults) == 1


@pytest.mark.parametrize(
    "change",
    [
        {"offset_k": 0.51},
        {"offset_k": -0.51},
        {"offset_k": "0.1"},
        {"offset_k": True},
        {"residual_k": -0.1},
        {"date_utc": "yesterday"},
        {"extra": 1},
    ],
)
def test_one_bad_entry_is_refused_and_the_others_hold(tmp_path: Path, change: dict[str, object]) -> None:
    """An offset beyond the data sheet is refused on load as it is in the bath."""
    path = tmp_path / "calibration.json"
    entries = {PROBE: GOOD.model_dump() | change, OTHER: GOOD.model_dump()}
    path.write_text(json.dumps({"schema": 1, "probes": entries}))
    calibration = load_calibration(path)
    assert set(calibration.corrections) == {OTHER}
    assert len(calibration.faults) == 1
    assert PROBE in calibration.faults[0]


def test_not_a_number_is_refused(tmp_path: Path) -> None:
    """Python's JSON reads NaN; the correction does not take it."""
    path = tmp_path / "calibration.json"
    path.write_text(
        f'{{"schema": 1, "probes": {{"{PROBE}": '
        '{"offset_k": NaN, "residual_k": 0.0, "date_utc": "2026-11-25"}}}'
    )
    assert dict(load_calibration(path).corrections) == {}


def test_no_correction_beyond_the_data_sheet_can_be_made() -> None:
    """The record itself refuses it."""
    with pytest.raises(ValidationError):
        Correction(offset_k=0.6, residual_k=0.0, date_utc="2026-11-25")


def test_a_disk_that_will_not_take_it_is_said(tmp_path: Path) -> None:
    """The caller learns that nothing was stored."""
    (tmp_path / "state").write_text("a file where the folder should be")
    with pytest.raises(StorageError):
        save_correction(tmp_path / "state" / "calibration.json", PROBE, GOOD)
