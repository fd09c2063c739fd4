"""What a keeper publishes is enough to tell its round's result again, to the last reason."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from controller.folders import FolderKind, Folders, claim_folders
from controller.loop.results import TickResult
from controller.rehearse import keepers
from controller.rehearse.keepers import give_order, put_away, real_keeper
from controller.rehearse.pacedresult import tick_result
from controller.rehearse.probes import FaultKind, ProbeFault
from controller.rehearse.run import Rehearsal
from controller.vocabulary import Level, Lockout, LockoutCause, Place, Rejected, Rejection, Sample
from tests.controller.rehearse.lab import SOUTH, example, plan


def untimed(result: TickResult) -> object:
    """A result but for what is published otherwise: the number, and since when a reading is rejected."""
    return [
        (
            name,
            frame.report,
            frame.aim_c,
            frame.wish,
            frame.opening,
            frame.covering,
            {
                place: (reading.temp_c, round(reading.taken_at_s, 1))
                if isinstance(reading, Sample)
                else reading.reason
                for place, reading in frame.readings.items()
            },
        )
        for name, frame in result.frames.items()
    ]


def test_every_round_of_a_cold_day_is_told_again_from_its_snapshot(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Readings, heat with its reasons, wish and covers; with a probe away for a while."""
    monkeypatch.setattr(keepers, "SNAPSHOT_GAP_S", 0.0)
    folders = Folders(state=tmp_path / "state", run=tmp_path / "run")
    claim_folders(folders, kind=FolderKind.REHEARSAL)
    away = ProbeFault(
        probe=example().frames[SOUTH].probes[Place.AIR], kind=FaultKind.ABSENT, from_s=7200.0, until_s=10800.0
    )
    rehearsal = Rehearsal(
        plan(days=1.0, step_s=120.0, grower="attentive", faults=(away,)), real_keeper(folders), give_order
    )
    reasons, rejected = set(), set()
    for moment in rehearsal.moments():
        document = json.loads(folders.snapshot.read_bytes())
        told = tick_result(document, moment.result.notices)
        assert untimed(told) == untimed(moment.result)
        assert told.notices == moment.result.notices
        reasons |= set(moment.result.frames[SOUTH].report.reasons)
        rejected |= {each for each in told.frames[SOUTH].readings.values() if isinstance(each, Rejected)}
    put_away(rehearsal.keeper)
    assert len(reasons) > 2, "the day held more than one kind of refusal"
    assert Rejection.ABSENT in {each.reason for each in rejected}


def test_a_lockout_and_an_unheated_frame_are_told_as_they_were_published() -> None:
    frame = {"readings": {}, "aim_c": 2.0, "wish": "", "opening": "shut", "coverings": ["mat", "fleece"]}
    heat = {
        "wanted": True,
        "allowed": False,
        "relay_on": False,
        "level": 4,
        "reasons": ["locked"],
        "switch_on_count": 3,
        "isolated": True,
        "lockout": {"cause": "overheated_root", "detail": "31 °C", "raised_utc": "2027-02-05T00:00:00Z"},
    }
    frames = {"south": {**frame, "heat": heat}, "north": {**frame, "heat": None}}
    result = tick_result({"mono_s": 1060.0, "seq": 7, "frames": frames}, ())
    south, north = result.frames.values()
    assert result.seq == 7
    assert south.report.lockout == Lockout(
        frame=SOUTH, cause=LockoutCause.OVERHEATED_ROOT, detail="31 °C", raised_utc="2027-02-05T00:00:00Z"
    )
    assert (south.report.level, south.report.isolated, south.covering) == (Level.LOCKED, True, "mat+fleece")
    assert (north.report.relay_on, north.report.reasons) == (False, ())
