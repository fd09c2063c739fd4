"""Heat waits for a record of commissioning that fits the wiring of the day."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from controller.errors import StorageError
from controller.folders import Folders
from controller.loop import commission
from controller.loop.commission import (
    Commissioning,
    CommissionState,
    CommissionUnreadable,
    commission_states,
    fingerprint,
    record_commission,
    stored_records,
    withdraw_commission,
)
from controller.loop.safety_list import BLIND_DUTY_CODES, ESSENTIAL_CODES, POINTS
from controller.vocabulary import FrameName
from tests.controller.config.test_rules import SECOND
from tests.controller.config.texts import EXAMPLE, SMALL, read, uncommented

BED, SOUTH = FrameName("bed"), FrameName("south")
YES = {point.code: True for point in POINTS}
DATE = "2026-11-01T10:00:00+00:00"
FULL = uncommented(EXAMPLE)


@pytest.fixture
def folders(tmp_path: Path) -> Folders:
    return Folders(state=tmp_path / "state", run=tmp_path / "run")


def _record(folders: Folders, text: str, frame: FrameName, answers: Mapping[str, bool] = YES) -> None:
    record_commission(
        folders, read(text).frames[frame], answers=answers, checks={"relay_polarity": "seen"}, date_utc=DATE
    )


def _state(folders: Folders, text: str, frame: FrameName) -> CommissionState:
    return commission_states(read(text), folders)[frame]


def test_a_frame_that_was_never_recorded_is_not_commissioned(folders: Folders) -> None:
    state = _state(folders, SMALL, BED)
    assert state.standing is Commissioning.NEVER
    assert not state.done
    assert state.gap


def test_a_recorded_frame_is_commissioned(folders: Folders) -> None:
    _record(folders, SMALL, BED)
    state = _state(folders, SMALL, BED)
    assert state.done
    assert state.gap == ""
    assert state.date_utc == DATE
    assert stored_records(folders)["bed"].checks == {"relay_polarity": "seen"}


def test_a_frame_without_heat_has_no_state(folders: Folders) -> None:
    assert commission_states(read(SMALL[: SMALL.index("[frame.bed.heat]")]), folders) == {}


@pytest.mark.parametrize(
    ("key", "old", "new"),
    [
        ("relay_pin", "relay_pin = 17", "relay_pin = 25"),
        ("relay_active_high", "relay_active_high = true", "relay_active_high = false"),
        ("isolating_pin", "isolating_pin = 27", "isolating_pin = 25"),
        ("isolating_pin", "isolating_pin = 27\n", ""),
        ("isolating_active_high", "isolating_active_high = true", "isolating_active_high = false"),
        ("feedback_pin", "feedback_pin = 22", "feedback_pin = 25"),
        ("supply_pin", "supply_pin = 23", "supply_pin = 25"),
        ("cut_out_pin", "cut_out_pin = 24", "cut_out_pin = 25"),
        ("lay", 'lay = "sand"', 'lay = "surface"'),
        ("power_w", "power_w = 250", "power_w = 151"),
        ("cable_max_c", "cable_max_c = 45", "cable_max_c = 46"),
        ("probe.air", "28-000007a1b2f4", "28-0000000000aa"),
        ("probe.air_second", "28-000007a1d31b", "28-0000000000aa"),
        ("probe.bed", "28-000007a1e097", "28-0000000000aa"),
        ("probe.cable", "28-000007a1f6c2", "28-0000000000aa"),
        ("probe.guard", "28-000007a20d18", "28-0000000000aa"),
    ],
)
def test_a_change_of_wiring_makes_it_stale_and_names_the_key(
    key: str, old: str, new: str, folders: Folders
) -> None:
    """P23 and R09: nothing that was checked by eye or hand is taken over unseen."""
    _record(folders, FULL, SOUTH)
    assert FULL.count(old) == 1
    state = _state(folders, FULL.replace(old, new), SOUTH)
    assert state.standing is Commissioning.STALE
    assert state.changed == (key,)
    assert key in state.gap
    assert not state.blind_duty


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("keep_above_c = 2", "keep_above_c = 4"),
        ("air_max_c = 30", "air_max_c = 25"),
        ("28-000007a22b40", "28-0000000000aa"),
        ("28-000007a21e6a", "28-0000000000aa"),
        ("stop_button_pin = 21", "stop_button_pin = 19"),
    ],
    ids=["aim", "limit", "outside probe", "wall probe", "stop button"],
)
def test_what_commissioning_did_not_check_may_change(old: str, new: str, folders: Folders) -> None:
    _record(folders, FULL, SOUTH)
    assert _state(folders, FULL.replace(old, new), SOUTH).done


def test_frames_are_commissioned_one_by_one(folders: Folders) -> None:
    north = FrameName("north")
    _record(folders, SMALL + SECOND, BED)
    states = commission_states(read(SMALL + SECOND), folders)
    assert (states[BED].done, states[north].done) == (True, False)
    _record(folders, SMALL + SECOND, north)
    assert all(state.done for state in commission_states(read(SMALL + SECOND), folders).values())


def test_blind_duty_needs_a_cable_rated_to_run_without_pause(folders: Folders) -> None:
    """Level L2 is for such cables, with an independent cut-out, and no other."""
    _record(folders, SMALL, BED)
    assert _state(folders, SMALL, BED).blind_duty
    _record(folders, SMALL, BED, {**YES, "cable_rated_continuous": False})
    state = _state(folders, SMALL, BED)
    assert state.done
    assert not state.blind_duty


def test_a_no_turned_into_a_yes_by_hand_gives_no_blind_duty(folders: Folders) -> None:
    """The fingerprint covers the answers: what was never said cannot be written in later."""
    _record(folders, SMALL, BED, {**YES, "cable_rated_continuous": False})
    _edit(folders, answers=YES)
    state = _state(folders, SMALL, BED)
    assert state.standing is Commissioning.UNREADABLE
    assert not state.blind_duty


def test_a_record_withdrawn_allows_no_heat_and_leaves_the_others(folders: Folders) -> None:
    """Each frame stands for itself, and what is gone is gone from the disk."""
    north = FrameName("north")
    _record(folders, SMALL + SECOND, BED)
    _record(folders, SMALL + SECOND, north)
    assert withdraw_commission(folders, BED)
    states = commission_states(read(SMALL + SECOND), folders)
    assert states[BED].standing is Commissioning.NEVER
    assert states[north].done
    assert not withdraw_commission(folders, BED)


@pytest.mark.parametrize("data", [None, b"{", b"[]"])
def test_where_no_record_can_be_read_there_is_none_to_withdraw(data: bytes | None, folders: Folders) -> None:
    """Nothing is written: such a file allows no heat as it is."""
    folders.state.mkdir()
    if data is not None:
        folders.commission.write_bytes(data)
    assert not withdraw_commission(folders, BED)
    assert folders.commission.exists() is (data is not None)


def test_a_record_that_cannot_be_withdrawn_is_said_to_stand(
    folders: Folders, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk must not pass for a refusal of heat."""

    def full(path: Path, data: bytes) -> None:
        raise StorageError(f"{path}: no room for {len(data)} bytes")

    _record(folders, SMALL, BED)
    monkeypatch.setattr(commission, "write_durably", full)
    with pytest.raises(StorageError, match=r"still stands, so leave the mains plug out"):
        withdraw_commission(folders, BED)
    assert _state(folders, SMALL, BED).done


@pytest.mark.parametrize("code", ESSENTIAL_CODES)
def test_nothing_is_recorded_without_a_yes_to_each_essential_point(code: str, folders: Folders) -> None:
    for answers in ({**YES, code: False}, {key: yes for key, yes in YES.items() if key != code}):
        with pytest.raises(ValueError, match=code):
            _record(folders, SMALL, BED, answers)
    assert not folders.commission.exists()


def test_the_list_asks_for_what_the_trade_asks_for() -> None:
    """Table of the list, so that no point is lost unnoticed."""
    assert set(ESSENTIAL_CODES) == {
        "rcd_tested",
        "fused",
        "enclosure",
        "cable_rated_for_use",
        "cut_out_fitted",
        "strain_and_drip",
        "licensed_work",
        "out_of_reach",
        "covers_held",
    }
    assert set(BLIND_DUTY_CODES) == {"cut_out_fitted", "cable_rated_continuous"}
    assert set(YES) == set(ESSENTIAL_CODES) | set(BLIND_DUTY_CODES)


def test_a_record_cut_at_every_byte_is_never_taken_for_a_commissioning(folders: Folders) -> None:
    _record(folders, SMALL, BED)
    data = folders.commission.read_bytes()
    for end in range(len(data) - 2):
        folders.commission.write_bytes(data[:end])
        state = _state(folders, SMALL, BED)
        assert state.standing is Commissioning.UNREADABLE
        assert str(folders.commission) in state.gap


def _edit(folders: Folders, **changes: Any) -> None:
    document = json.loads(folders.commission.read_bytes())
    document["frames"]["bed"].update(changes)
    folders.commission.write_text(json.dumps(document))


@pytest.mark.parametrize(
    "changes",
    [
        {"wiring": {"relay_pin": "17"}},
        {"fingerprint": "0" * 64},
        {"answers": {**YES, "rcd_tested": False}},
        {"answers": {**YES, "cable_rated_continuous": False}},
        {"checks": {"relay_polarity": "not seen"}},
        {"date_utc": "2026-11-02T10:00:00+00:00"},
        {"answers": {}},
        {"answers": {**YES, "fused": 1}},
        {"date_utc": "yesterday"},
        {"extra": 1},
    ],
    ids=lambda changes: next(iter(changes)),
)
def test_a_record_changed_by_hand_does_not_count(changes: dict[str, Any], folders: Folders) -> None:
    _record(folders, SMALL, BED)
    _edit(folders, **changes)
    state = _state(folders, SMALL, BED)
    assert state.standing is Commissioning.UNREADABLE
    assert not state.blind_duty
    assert "commission again" in state.gap


def test_a_hand_made_wiring_with_its_fingerprint_is_still_compared_with_the_settings(
    folders: Folders,
) -> None:
    _record(folders, SMALL, BED)
    wiring = {"relay_pin": "17", "strange": "x"}
    record = {**stored_records(folders)["bed"].model_dump(), "wiring": wiring}
    _edit(folders, wiring=wiring, fingerprint=fingerprint(record))
    state = _state(folders, SMALL, BED)
    assert state.standing is Commissioning.STALE
    assert {"strange", "lay", "probe.air"} <= set(state.changed)


@pytest.mark.parametrize(
    "data", [b"[]", b'{"schema": 2, "frames": {}}', b'{"schema": 1}', b"[" * 9999, b"\xff"]
)
def test_other_shapes_are_unreadable_and_a_new_record_mends_them(data: bytes, folders: Folders) -> None:
    folders.state.mkdir()
    folders.commission.write_bytes(data)
    assert _state(folders, SMALL, BED).standing is Commissioning.UNREADABLE
    with pytest.raises(CommissionUnreadable):
        stored_records(folders)
    _record(folders, SMALL, BED)
    assert _state(folders, SMALL, BED).done


def test_a_frame_without_heat_cannot_be_recorded(folders: Folders) -> None:
    with pytest.raises(ValueError, match="no heat"):
        _record(folders, SMALL[: SMALL.index("[frame.bed.heat]")], BED)


def test_a_disk_that_will_not_take_the_record_is_an_error(folders: Folders) -> None:
    folders.state.write_text("no folder")
    with pytest.raises(StorageError):
        _record(folders, SMALL, BED)


def test_no_question_names_a_key_that_its_form_does_not_fill() -> None:
    assert {found for point in POINTS for found in re.findall(r"{(\w+)}", point.question)} == {"lay"}
