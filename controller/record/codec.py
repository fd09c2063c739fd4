"""Rows to whole numbers for the history, to lines for the mirror, and back. Pure."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, TypeAlias

from controller.record.rows import EventRow, Json, Row, SampleRow, StoredSample, Tier
from controller.vocabulary import AIR_PLACES, FrameName, Place

Stored: TypeAlias = tuple[Any, ...]
"""Values of one table row, without its check sum."""
CheckSum: TypeAlias = Callable[[bytes], int]

PLACES = (
    Place.AIR,
    Place.AIR_SECOND,
    Place.BED,
    Place.GUARD,
    Place.CABLE,
    Place.OUTSIDE,
    Place.WALL,
)
"""In the order of their columns."""
SAMPLE_COLUMNS = (
    "seq, boot, mono_ms, utc_ms, utc_confirmed, frame, span_ms, heat_on_ms, heat_wanted, heat_allowed,"
    " level, opening, covering, tier, air, air_second, bed, guard, cable, outside, wall,"
    " air_low, air_high, outside_low, crc"
)
EVENT_COLUMNS = "seq, boot, mono_ms, utc_ms, utc_confirmed, frame, what, detail, crc"
_DETAIL_MAX = 8000
_AIR, _AIR_SECOND, _BED, _GUARD, _CABLE, _OUTSIDE, _WALL = PLACES


def encode_sample(row: SampleRow, word_id: Callable[[str], int]) -> Stored:
    """One full sample as table values; raises ValueError or OverflowError on a number that is none."""
    reading = row.sixteenths.get
    return (
        row.seq,
        word_id(row.boot_id),
        round(row.mono_s * 1000),
        round(row.utc_s * 1000),
        1 if row.utc_confirmed else 0,
        word_id(row.frame),
        round(row.span_s * 1000),
        round(row.heat_on_s * 1000),
        1 if row.heat_wanted else 0,
        1 if row.heat_allowed else 0,
        int(row.level),
        word_id(row.opening),
        word_id(row.covering),
        0,
        reading(_AIR),
        reading(_AIR_SECOND),
        reading(_BED),
        reading(_GUARD),
        reading(_CABLE),
        reading(_OUTSIDE),
        reading(_WALL),
        None,
        None,
        None,
    )


def encode_event(row: EventRow, word_id: Callable[[str], int]) -> Stored:
    """One event as table values."""
    return (
        row.seq,
        word_id(row.boot_id),
        round(row.mono_s * 1000),
        round(row.utc_s * 1000),
        1 if row.utc_confirmed else 0,
        word_id(row.frame),
        word_id(row.what),
        encode_detail(row.detail),
    )


def encode_detail(detail: Mapping[str, Json]) -> str:
    """Strict JSON of at most 8000 characters; what cannot be written so is kept as its text."""
    try:
        text = json.dumps(detail, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
        text.encode()
    except (TypeError, ValueError, RecursionError):
        text = json.dumps({"text": ascii(detail)[:_DETAIL_MAX]})
    if len(text) > _DETAIL_MAX:
        return json.dumps({"text": text[: _DETAIL_MAX // 2]})
    return text


def with_check(stored: Stored, check_sum: CheckSum) -> Stored:
    """Append the check sum of all the other values."""
    return (*stored, check_sum(repr(stored).encode()))


def is_whole(stored: Stored, check_sum: CheckSum) -> bool:
    """Whether a row still is what was written, down to the last bit."""
    return bool(stored[-1] == check_sum(repr(stored[:-1]).encode()))


def decode_sample(stored: Stored, words: Mapping[int, str]) -> StoredSample:
    """A sample from its table values; raises KeyError for a word that is gone."""
    sixteenths = {place: stored[14 + at] for at, place in enumerate(PLACES) if stored[14 + at] is not None}
    row = SampleRow(
        seq=stored[0],
        boot_id=words[stored[1]],
        mono_s=stored[2] / 1000,
        utc_s=stored[3] / 1000,
        utc_confirmed=bool(stored[4]),
        frame=FrameName(words[stored[5]]),
        sixteenths=sixteenths,
        span_s=stored[6] / 1000,
        heat_on_s=stored[7] / 1000,
        heat_wanted=bool(stored[8]),
        heat_allowed=bool(stored[9]),
        level=stored[10],
        opening=words[stored[11]],
        covering=words[stored[12]],
    )
    tier = Tier(stored[13])
    if tier is Tier.FULL:
        airs = [sixteenths[place] for place in AIR_PLACES if place in sixteenths]
        low, high = (min(airs), max(airs)) if airs else (None, None)
        return StoredSample(
            row=row, tier=tier, air_low=low, air_high=high, outside_low=sixteenths.get(Place.OUTSIDE)
        )
    return StoredSample(row=row, tier=tier, air_low=stored[21], air_high=stored[22], outside_low=stored[23])


def decode_event(stored: Stored, words: Mapping[int, str]) -> EventRow:
    """An event from its table values; raises KeyError for a word that is gone."""
    return EventRow(
        seq=stored[0],
        boot_id=words[stored[1]],
        mono_s=stored[2] / 1000,
        utc_s=stored[3] / 1000,
        utc_confirmed=bool(stored[4]),
        frame=FrameName(words[stored[5]]),
        what=words[stored[6]],
        detail=json.loads(stored[7]),
    )


def renumber(row: Row, seq: int) -> Row:
    """The same row under another number."""
    return row._replace(seq=seq) if isinstance(row, SampleRow) else replace(row, seq=seq)


def encode_line(row: Row) -> bytes:
    """One line of the mirror, newline included; never contains another newline."""
    head: list[Any] = [
        row.seq,
        row.boot_id,
        row.mono_s,
        row.utc_s,
        row.utc_confirmed,
        row.frame,
    ]
    if isinstance(row, SampleRow):
        body: list[Any] = [
            "s",
            *head,
            {place.value: reading for place, reading in row.sixteenths.items()},
            row.span_s,
            row.heat_on_s,
            row.heat_wanted,
            row.heat_allowed,
            row.level,
            row.opening,
            row.covering,
        ]
    else:
        body = ["e", *head, row.what, encode_detail(row.detail)]
    return json.dumps(body, separators=(",", ":")).encode() + b"\n"


def decode_line(line: bytes) -> Row | None:
    """The row of one mirror line; ``None`` for a torn or foreign one."""
    try:
        fields = json.loads(line)
        kind, seq, boot_id, mono_s, utc_s, utc_confirmed, frame, *rest = fields
        if not isinstance(seq, int):
            return None
        if kind == "s":
            readings, span_s, heat_on_s, wanted, allowed, level, opening, covering = rest
            return SampleRow(
                seq=seq,
                boot_id=boot_id,
                mono_s=mono_s,
                utc_s=utc_s,
                utc_confirmed=utc_confirmed,
                frame=FrameName(frame),
                sixteenths={Place(place): reading for place, reading in readings.items()},
                span_s=span_s,
                heat_on_s=heat_on_s,
                heat_wanted=wanted,
                heat_allowed=allowed,
                level=level,
                opening=opening,
                covering=covering,
            )
        what, detail = rest
        return EventRow(
            seq=seq,
            boot_id=boot_id,
            mono_s=mono_s,
            utc_s=utc_s,
            utc_confirmed=utc_confirmed,
            frame=FrameName(frame),
            what=what,
            detail=json.loads(detail),
        )
    except (ValueError, TypeError, AttributeError, RecursionError):
        return None
