"""Encoding for stand-ins, and what decoding keeps."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.sense.scratchpad import (
    ReadFailure,
    Scratchpad,
    decode_lines,
    encode_scratchpad,
    examine,
)
from controller.vocabulary import Rejection
from tests.fakes import chip_bytes, kernel_text


@pytest.mark.parametrize(
    ("bits", "temp_c", "read_c"),
    [
        (9, 3.3, 3.5),
        (9, -3.3, -3.5),
        (10, 3.3, 3.25),
        (11, 3.3, 3.25),
        (11, 3.32, 3.375),
        (12, 3.3, 3.3125),
        (12, 125.0, 125.0),
        (12, 300.0, 125.0),
        (12, -300.0, -55.0),
    ],
)
def test_encoding_rounds_to_the_step_and_stays_in_the_chips_range(
    bits: int, temp_c: float, read_c: float
) -> None:
    """Steps of 0.5, 0.25, 0.125 and 0.0625 °C; -55 to 125 °C."""
    contents = examine(encode_scratchpad(temp_c, bits))
    assert (contents.sixteenths / 16, contents.resolution_bits, contents.flaw) == (read_c, bits, None)


@pytest.mark.parametrize(
    ("temp_c", "bits"), [(math.nan, 12), (math.inf, 12), (-math.inf, 12), (3.0, 8), (3.0, 13)]
)
def test_encoding_refuses_what_no_chip_can_hold(temp_c: float, bits: int) -> None:
    """A stand-in that gives nonsense is found out here."""
    with pytest.raises(ValueError, match="no scratchpad"):
        encode_scratchpad(temp_c, bits)


@settings(max_examples=200, deadline=None)
@given(text=st.text(max_size=200))
def test_no_text_becomes_a_reading_by_accident(text: str) -> None:
    """Whatever a file holds, decoding ends in a named failure and never raises."""
    raw = decode_lines(text.splitlines(), 7.0)
    assert isinstance(raw, ReadFailure)
    assert raw.reason in {Rejection.EMPTY, Rejection.GARBLED}
    assert raw.taken_at_s == 7.0


GOOD_TEXT = kernel_text(chip_bytes(3.0))


def test_a_text_cut_anywhere_before_its_last_hex_byte_is_refused() -> None:
    """Torn at each letter: only the number after ``t=`` may be missing."""
    needed = GOOD_TEXT.index("t=") + 2
    for cut in range(len(GOOD_TEXT)):
        raw = decode_lines(GOOD_TEXT[:cut].splitlines(), 0.0)
        assert isinstance(raw, Scratchpad) == (cut >= needed), GOOD_TEXT[:cut]


@pytest.mark.parametrize("bit", range(72))
def test_each_single_flipped_bit_is_found(bit: int) -> None:
    """P05: one bit of the nine bytes."""
    data = bytearray(chip_bytes(3.0))
    data[bit // 8] ^= 1 << bit % 8
    assert examine(bytes(data)).flaw is Rejection.CRC
