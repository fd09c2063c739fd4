"""Switchings of the last hour, in RUN: what the next process of the same boot knows."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from controller.errors import StorageError
from controller.record.switch_memory import SwitchFiles
from controller.vocabulary import FrameName

SOUTH, NORTH = FrameName("south"), FrameName("north")


def test_what_was_noted_is_known_to_the_next_process_of_the_same_boot(tmp_path: Path) -> None:
    """Frame by frame, the latest note alone."""
    files = SwitchFiles(tmp_path, "boot-a")
    files.note(SOUTH, (100.0,), None)
    files.note(SOUTH, (100.0, 700.0), 900.0)
    files.note(NORTH, (), 50.0)
    later = SwitchFiles(tmp_path, "boot-a")
    assert later.load(SOUTH, 1000.0) == ((100.0, 700.0), 900.0)
    assert later.load(NORTH, 1000.0) == ((), 50.0)
    assert later.load(FrameName("shed"), 1000.0) is None


def test_heat_that_was_on_at_the_end_counts_as_on_until_now(tmp_path: Path) -> None:
    """Nobody noted when the relay fell."""
    files = SwitchFiles(tmp_path, "boot-a")
    files.note(SOUTH, (100.0,), None)
    assert files.load(SOUTH, 4321.0) == ((100.0,), 4321.0)


def test_another_boots_instants_mean_nothing(tmp_path: Path) -> None:
    """The monotonic clock starts anew."""
    SwitchFiles(tmp_path, "boot-a").note(SOUTH, (100.0,), 200.0)
    assert SwitchFiles(tmp_path, "boot-b").load(SOUTH, 1000.0) is None


GOOD = {"schema": 1, "boot_id": "boot-a", "switch_ons": [1.0], "heat_ended_at_s": 2.0}


@pytest.mark.parametrize(
    "text",
    [
        "",
        "null",
        "[" * 4000,
        "\xff",
        " " * 5000,
        json.dumps({**GOOD, "schema": 2}),
        json.dumps({**GOOD, "boot_id": None}),
        json.dumps({**GOOD, "switch_ons": None}),
        json.dumps({**GOOD, "switch_ons": [1.0, "2"]}),
        json.dumps({**GOOD, "switch_ons": [True]}),
        json.dumps({**GOOD, "switch_ons": [-1.0]}),
        json.dumps({**GOOD, "switch_ons": [float("nan")]}),
        json.dumps({**GOOD, "switch_ons": [1000.1]}),
        json.dumps({**GOOD, "heat_ended_at_s": 1000.1}),
        json.dumps({**GOOD, "heat_ended_at_s": "2"}),
        json.dumps({key: GOOD[key] for key in ("schema", "boot_id", "switch_ons")}),
    ],
)
def test_anything_else_in_its_place_tells_nothing(tmp_path: Path, text: str) -> None:
    """Damage, another schema, an instant that has not come yet."""
    path = tmp_path / "switched-south.json"
    path.write_text(json.dumps(GOOD))
    files = SwitchFiles(tmp_path, "boot-a")
    assert files.load(SOUTH, 1000.0) == ((1.0,), 2.0)
    path.write_text(text, encoding="latin-1")
    assert files.load(SOUTH, 1000.0) is None


def test_a_pipe_in_its_place_is_not_waited_for(tmp_path: Path) -> None:
    """Nor does a folder there stop a start."""
    os.mkfifo(tmp_path / "switched-south.json")
    (tmp_path / "switched-north.json").mkdir()
    files = SwitchFiles(tmp_path, "boot-a")
    assert files.load(SOUTH, 1000.0) is None
    assert files.load(NORTH, 1000.0) is None


def test_a_run_that_takes_nothing_is_an_error(tmp_path: Path) -> None:
    """The gate goes on; the next process then takes the worse."""
    (tmp_path / "run").write_text("a file where RUN belongs")
    with pytest.raises(StorageError):
        SwitchFiles(tmp_path / "run", "boot-a").note(SOUTH, (), None)
