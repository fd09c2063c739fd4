from __future__ import annotations

import json
import math
import zlib
from itertools import count

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.record.codec import (
    decode_event,
    decode_line,
    decode_sample,
    encode_detail,
    encode_event,
    encode_line,
    encode_sample,
    is_whole,
    with_check,
)
from controller.record.rows import EventRow, SampleRow
from controller.vocabulary import FrameName, Place
from tests.controller.record.lab import event, sample

names = st.text(max_size=12).filter(lambda text: text.isprintable())
millis = st.integers(-(2**50), 2**50).map(lambda ms: ms / 1000)
spans = st.integers(0, 3_600_000).map(lambda ms: ms / 1000)
samples = st.builds(
    SampleRow,
    seq=st.integers(1, 2**50),
    boot_id=names,
    mono_s=millis,
    utc_s=millis,
    utc_confirmed=st.booleans(),
    frame=names.map(FrameName),
    sixteenths=st.dictionaries(st.sampled_from(Place), st.integers(-880, 2000)),
    span_s=spans,
    heat_on_s=spans,
    heat_wanted=st.booleans(),
    heat_allowed=st.booleans(),
    level=st.integers(0, 4),
    opening=names,
    covering=names,
)
details = st.dictionaries(names, st.one_of(names, st.integers(-(2**53), 2**53), st.booleans(), st.none()))
events = st.builds(
    EventRow,
    seq=st.integers(1, 2**50),
    boot_id=names,
    mono_s=millis,
    utc_s=millis,
    utc_confirmed=st.booleans(),
    frame=names.map(FrameName),
    what=names,
    detail=details,
)


class Words:
    """Ids by word and back, as the table keeps them."""

    def __init__(self) -> None:
        self._ids = count(1)
        self.by_word: dict[str, int] = {}

    def number(self, word: str) -> int:
        """The id of a word."""
        if word not in self.by_word:
            self.by_word[word] = next(self._ids)
        return self.by_word[word]

    @property
    def by_id(self) -> dict[int, str]:
        """The other way round."""
        return {number: word for word, number in self.by_word.items()}


@given(row=samples)
@settings(max_examples=60)
def test_a_sample_comes_back_from_the_table_as_it_went(row: SampleRow) -> None:
    words = Words()
    assert decode_sample((*encode_sample(row, words.number), 0), words.by_id).row == row


@given(row=events)
@settings(max_examples=60)
def test_an_event_comes_back_from_the_table_as_it_went(row: EventRow) -> None:
    words = Words()
    assert decode_event((*encode_event(row, words.number), 0), words.by_id) == row


@given(row=st.one_of(samples, events))
@settings(max_examples=60)
def test_a_row_comes_back_from_its_mirror_line_which_is_one_line(row: SampleRow | EventRow) -> None:
    line = encode_line(row)
    assert line.endswith(b"\n")
    assert line.count(b"\n") == 1
    assert decode_line(line) == row


@given(row=st.one_of(samples, events), data=st.data())
@settings(max_examples=60)
def test_a_line_cut_anywhere_is_no_row(row: SampleRow | EventRow, data: st.DataObject) -> None:
    line = encode_line(row).rstrip(b"\n")
    cut = data.draw(st.integers(0, len(line) - 1))
    assert decode_line(line[:cut]) is None


@given(row=samples, data=st.data())
@settings(max_examples=80)
def test_the_check_sum_tells_a_single_flipped_bit_in_any_number(row: SampleRow, data: st.DataObject) -> None:
    written = with_check(encode_sample(row, Words().number), zlib.crc32)
    assert is_whole(written, zlib.crc32)
    at = data.draw(st.sampled_from([at for at, number in enumerate(written) if number is not None]))
    flipped = list(written)
    flipped[at] ^= 1 << data.draw(st.integers(0, 15))
    assert not is_whole(tuple(flipped), zlib.crc32)


@pytest.mark.parametrize(
    "line", [b"", b"null", b"[]", b'["s"]', b'{"a":1}', b"\xff\xfe", b'["e","x",1,2,3,4,5,6,7]', b"[" * 5000]
)
def test_a_foreign_line_is_no_row(line: bytes) -> None:
    assert decode_line(line) is None


def test_a_detail_that_is_no_json_is_kept_as_its_text() -> None:
    assert "nan" in json.loads(encode_detail({"a": math.nan}))["text"]
    assert "object" in json.loads(encode_detail({"a": object()}))["text"]  # type: ignore[dict-item]
    assert json.loads(encode_detail({"a": "\ud800"}))["text"]


def test_a_detail_is_bounded() -> None:
    text = encode_detail({"a": "x" * 100_000})
    assert len(text) <= 8000
    assert json.loads(text)["text"].startswith('{"a":"xxx')


def test_extremes_of_a_full_sample_are_its_own_readings() -> None:
    words = Words()
    row = sample(1, sixteenths={Place.AIR: 30, Place.AIR_SECOND: 25, Place.OUTSIDE: -9})
    back = decode_sample((*encode_sample(row, words.number), 0), words.by_id)
    assert (back.air_low, back.air_high, back.outside_low) == (25, 30, -9)
    bare = decode_sample((*encode_sample(sample(1, sixteenths={}), words.number), 0), words.by_id)
    assert (bare.air_low, bare.air_high, bare.outside_low) == (None, None, None)


def test_an_instant_that_is_no_number_is_refused_not_stored() -> None:
    with pytest.raises(ValueError, match="NaN"):
        encode_sample(sample(1, mono_s=math.nan), Words().number)
    with pytest.raises(OverflowError):
        encode_event(event(1).__class__(**{**_fields(event(1)), "utc_s": math.inf}), Words().number)


def _fields(row: EventRow) -> dict[str, object]:
    return {name: getattr(row, name) for name in row.__slots__}
