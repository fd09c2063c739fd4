"""What crosses a process border: strict in, honest out."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import CommandRejected
from controller.vocabulary import (
    FrameName,
    HeatReason,
    HeatReport,
    Level,
    Lockout,
    LockoutCause,
    Place,
    Rejected,
    Rejection,
    Sample,
)
from controller.wire import COMMAND_BYTES_MAX, heat_document, parse_command, reading_documents


@given(st.binary(max_size=5000))
def test_no_bytes_at_all_raise_anything_but_a_refusal(data: bytes) -> None:
    """X22, W06."""
    reason = ""
    try:
        parse_command(data)
    except CommandRejected as refusal:
        reason = str(refusal)
    assert reason, "no bytes at random are a command, and each refusal says why"


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=20) | st.integers(),
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
        max_leaves=20,
    )
)
def test_no_json_at_all_raises_anything_but_a_refusal(document: object) -> None:
    for whole in (document, {"v": 1, "id": "a", "expires_s": 1.0, "cmd": "rest_heat", "args": document}):
        data = json.dumps(whole).encode()
        with pytest.raises(CommandRejected):
            parse_command(data)


def test_a_command_of_the_greatest_length_passes_and_one_byte_more_does_not() -> None:
    line = b'{"v":1,"id":"a","expires_s":1,"cmd":"resume_heat","args":{"frame":"south"}}'
    padded = line + b" " * (COMMAND_BYTES_MAX - len(line))
    assert parse_command(padded)[0].id == "a"
    with pytest.raises(CommandRejected, match="4096"):
        parse_command(padded + b" ")


def test_a_reading_is_a_value_with_its_age_or_a_reason_and_never_both() -> None:
    """I9: every number carries its age; a rejected one has no number."""
    shown = reading_documents(
        {
            Place.AIR: Sample(temp_c=1.23456, taken_at_s=90.0),
            Place.BED: Rejected(reason=Rejection.CRC, since_at_s=1.0),
            Place.WALL: Sample(temp_c=0.0, taken_at_s=101.0),
        },
        100.0,
    )
    assert shown == {
        "air": {"value": 1.2346, "age_s": 10.0},
        "bed": {"rejected": "crc"},
        "wall": {"value": 0.0, "age_s": 0.0},
    }


def test_heat_is_shown_with_the_judges_own_reasons() -> None:
    report = HeatReport(
        heat_wanted=True,
        heat_allowed=False,
        relay_on=False,
        level=Level.LOCKED,
        reasons=(HeatReason.LOCKED, HeatReason.RESTING),
        lockout=Lockout(
            frame=FrameName("south"), cause=LockoutCause.LIVE_WHEN_OFF, detail="x", raised_utc="2026-01-01"
        ),
    )
    shown = heat_document(report)
    assert shown["reasons"] == ["locked", "resting"]
    assert shown["level"] == 4
    assert shown["lockout"] == {"cause": "live_when_off", "detail": "x", "raised_utc": "2026-01-01"}
    assert json.dumps(shown)
