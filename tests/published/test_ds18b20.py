"""The scratchpad decoder against published numbers of the DS18B20 and its kernel driver.

Sources, each named again where it is used:
DS: Maxim/Analog Devices, DS18B20 and DS18B20-PAR data sheets, table "temperature/data relationship".
AN27: Maxim Application Note 27, CRC-8 of 1-Wire (polynomial x^8 + x^5 + x^4 + 1).
KERNEL: Linux kernel documentation and source of the ``w1_therm`` driver.
CAPTURED: scratchpads captured from real chips and printed in open test suites of other projects.
ARITHMETIC: follows from the data sheet's layout and AN27's CRC by calculation.
"""

from __future__ import annotations

import pytest

from controller.sense.calibrate import IcePoint, find_ice_point
from controller.sense.scratchpad import (
    ReadFailure,
    Scratchpad,
    crc8,
    decode_lines,
    encode_scratchpad,
    examine,
    resolution_of,
    sixteenths_of,
)
from controller.vocabulary import Rejection
from tests.fakes import chip_bytes, kernel_text, slow_crc8

# DS, table 2; the last row is ARITHMETIC (one step below zero).
DATA_SHEET = [
    ("07d0", 125.0),
    ("0550", 85.0),
    ("0191", 25.0625),
    ("00a2", 10.125),
    ("0008", 0.5),
    ("0000", 0.0),
    ("fff8", -0.5),
    ("ff5e", -10.125),
    ("fe6f", -25.0625),
    ("fc90", -55.0),
    ("ffff", -0.0625),
]

# First row AN27 (its worked ROM), second from an open real-time system's test suite, both with 7 bytes;
# then CAPTURED rows, each with the temperature that its kernel printed; then ARITHMETIC rows.
CHECKSUMS = [
    ("02 1c b8 01 00 00 00", "a2", None),
    ("2d 18 08 f5 2d 00 00", "67", None),
    ("50 05 4b 46 7f ff 0c 10", "1c", 85000),
    ("9d 01 4b 46 7f ff 03 10", "57", 25812),
    ("70 01 4b 46 7f ff 10 10", "e1", 23000),
    ("4b 01 4b 46 7f ff 05 10", "e1", 20687),
    ("55 01 4b 46 7f ff 0b 10", "d0", 21312),
    ("72 01 4b 46 7f ff 0e 10", "57", 23125),
    ("c4 01 4b 46 7f ff 0c 10", "3b", 28250),
    ("53 01 4b 46 7f ff 0d 10", "e9", 21187),
    ("00 00 4b 46 7f ff 10 10", "69", 0),
    ("08 00 4b 46 7f ff 08 10", "d9", 500),
    ("f8 ff 4b 46 7f ff 08 10", "f8", -500),
    ("5e ff 4b 46 7f ff 02 10", "b6", -10125),
    ("6f fe 4b 46 7f ff 01 10", "61", -25062),
    ("90 fc 4b 46 7f ff 10 10", "ee", -55000),
    ("91 01 4b 46 7f ff 0f 10", "25", 25062),
    ("d0 07 4b 46 7f ff 10 10", "55", 125000),
    ("50 05 4b 46 7f ff 10 10", "bd", 85000),
    ("ff ff 4b 46 7f ff 01 10", "9a", -62),
    ("ff 07 4b 46 7f ff 0c 10", "a6", 127937),
    ("6a fe 4b 46 7f ff 0c 10", "be", -25375),
    ("a1 01 4b 46 7f ff 0c 10", "8c", 26062),
    ("00 00 00 00 00 00 00 00", "00", None),
    ("ff ff ff ff ff ff ff ff", "c9", None),
]
DECODABLE = [row for row in CHECKSUMS if row[2] is not None]


@pytest.mark.parametrize(("word", "temp_c"), DATA_SHEET)
def test_each_row_of_the_data_sheet_table_decodes_exactly(word: str, temp_c: float) -> None:
    """DS table 2: 16 bits, two's complement, sixteenths of a degree."""
    body = bytes.fromhex(word)[::-1] + bytes.fromhex("4b467fff0c10")
    assert sixteenths_of(body + bytes([slow_crc8(body)])) == temp_c * 16


def test_every_twelve_bit_code_decodes_and_encodes_to_itself() -> None:
    """DS: C = raw/16 from -55 to +125 °C; all 2881 codes, P17 of the fault matrix among them."""
    codes = range(-55 * 16, 125 * 16 + 1)
    for code in codes:
        data = chip_bytes(code / 16)
        contents = examine(data)
        assert (contents.sixteenths, contents.resolution_bits) == (code, 12)
        assert contents.flaw is None
        assert encode_scratchpad(code / 16) == data
    assert len(codes) == 2881


def test_every_code_beyond_the_chip_is_refused() -> None:
    """DS: the chip's range ends at -55 and +125 °C; all other 16-bit words are no temperatures."""
    for word in range(-0x8000, 0x8000):
        if not -55 * 16 <= word <= 125 * 16:
            body = word.to_bytes(2, "little", signed=True) + bytes.fromhex("4b467fff0c10")
            assert examine.__wrapped__(body + bytes([slow_crc8(body)])).flaw in {
                Rejection.OUT_OF_RANGE,
                Rejection.STARVED,
            }


@pytest.mark.parametrize(
    ("bits", "config", "undefined"), [(9, 0x1F, 3), (10, 0x3F, 2), (11, 0x5F, 1), (12, 0x7F, 0)]
)
def test_low_bits_that_a_resolution_leaves_undefined_are_masked(
    bits: int, config: int, undefined: int
) -> None:
    """DS: at 11, 10 and 9 bits the low 1, 2 and 3 bits are undefined; config bytes 1F, 3F, 5F, 7F."""
    for code in range(-55 * 16, 125 * 16 + 1, 7):
        body = code.to_bytes(2, "little", signed=True) + bytes([0x4B, 0x46, config, 0xFF, 0x0C, 0x10])
        step = 1 << undefined
        assert sixteenths_of(body) == code // step * step
        assert resolution_of(body) == bits


@pytest.mark.parametrize(("body", "crc", "_milli_c"), CHECKSUMS)
def test_each_published_checksum_is_found(body: str, crc: str, _milli_c: int | None) -> None:
    """AN27, CAPTURED and ARITHMETIC rows; appending the checksum gives 0 (AN27)."""
    data = bytes.fromhex(body)
    assert crc8(data) == int(crc, 16)
    assert crc8(data + bytes([crc8(data)])) == 0
    assert slow_crc8(data) == int(crc, 16)


def test_the_widely_copied_pair_with_a_wrong_checksum_is_refused() -> None:
    """ARITHMETIC: a1 01 4b 46 7f ff 0c 10 is often printed with 5c; the true checksum is 8c."""
    assert examine(bytes.fromhex("a1014b467fff0c105c")).flaw is Rejection.CRC


@pytest.mark.parametrize(("body", "crc", "milli_c"), DECODABLE)
def test_sound_scratchpads_give_the_kernels_millidegrees(body: str, crc: str, milli_c: int) -> None:
    """KERNEL: mC = raw * 1000 / 16, truncated towards zero; -401 gives -25062, not -25063 (L-6)."""
    raw = decode_lines([f"{body} {crc} : crc={crc} YES", f"{body} {crc} t={milli_c}"], 5.0)
    assert isinstance(raw, Scratchpad)
    assert raw.taken_at_s == 5.0
    assert int(sixteenths_of(raw.data) * 1000 / 16) == milli_c


def test_power_on_needs_byte_six_and_the_value_together() -> None:
    """KERNEL (features, bit 1): 85.00 with byte 6 = 0c is no conversion; a real 85.0 has 10 there.

    CAPTURED: 28.25 °C has byte 6 = 0c too, and is sound.
    """
    assert examine(bytes.fromhex("50054b467fff0c101c")).flaw is Rejection.POWER_ON
    assert examine(bytes.fromhex("50054b467fff1010bd")).flaw is None
    assert examine(bytes.fromhex("c4014b467fff0c103b")).flaw is None
    assert examine(bytes.fromhex("ff074b467fff0c10a6")).flaw is Rejection.STARVED


def test_a_shorted_wire_passes_the_checksum_and_is_refused_all_the_same() -> None:
    """AN27 by arithmetic: the checksum of zeros is zero; DS: config byte 00 is impossible."""
    assert crc8(bytes(9)) == 0
    assert examine(bytes(9)).flaw is Rejection.SHORTED


def test_minus_127_is_refused() -> None:
    """-127 (raw -2032) is a disconnect mark of a common microcontroller library, never a temperature."""
    assert examine(chip_bytes(-127.0)).flaw is Rejection.OUT_OF_RANGE


# KERNEL, documented sample of a failed read: the second line keeps older bytes, t= is from the bad ones.
DOCUMENTED_NO = [
    "ff ff ff ff ff ff ff ff ff : crc=c9 NO\n",
    "46 01 4b 46 7f ff 0a 10 85 t=-62\n",
]


def test_after_no_the_second_line_is_never_used() -> None:
    """KERNEL L-1, L-2: neither the retained 20.375 °C nor t=-62 comes out."""
    raw = decode_lines(DOCUMENTED_NO, 1.0)
    assert isinstance(raw, ReadFailure)
    assert raw.reason is Rejection.SILENT


def test_no_with_other_bytes_is_a_checksum_error() -> None:
    """KERNEL L-1: nine bytes, then ``: crc=XX NO``."""
    text = kernel_text(bytes.fromhex("460b4b467fff0a1085"), retained=bytes.fromhex("46014b467fff0a1085"))
    raw = decode_lines(text.splitlines(), 1.0)
    assert isinstance(raw, ReadFailure)
    assert raw.reason is Rejection.CRC


@pytest.mark.parametrize("text", ["", "\n", "  \n\n"])
def test_an_empty_text_is_no_reading(text: str) -> None:
    """KERNEL L-4, L-5: a failed read gives an empty string rather than an error; never 0 °C."""
    raw = decode_lines(text.splitlines(), 1.0)
    assert isinstance(raw, ReadFailure)
    assert raw.reason is Rejection.EMPTY


@pytest.mark.parametrize("text", ["21375\n", "-62\n"])
def test_the_other_files_single_number_is_not_taken(text: str) -> None:
    """KERNEL L-3: the ``temperature`` file holds one integer and shows no checksum."""
    raw = decode_lines(text.splitlines(), 1.0)
    assert isinstance(raw, ReadFailure)
    assert raw.reason is Rejection.GARBLED


def test_hex_bytes_win_over_the_number_beside_them() -> None:
    """KERNEL L-1, L-2: ``t=`` is derived from bytes, so bytes are what counts."""
    good = "70 01 4b 46 7f ff 10 10 e1"
    raw = decode_lines([f"{good} : crc=e1 YES", f"{good} t=99999"], 1.0)
    assert isinstance(raw, Scratchpad)
    assert sixteenths_of(raw.data) == 23 * 16


def test_truncation_towards_zero_as_the_kernel_prints_it() -> None:
    """KERNEL L-6: raw -401 prints -25062 and raw 401 prints 25062; checks this test's own text maker."""
    assert "t=-25062\n" in kernel_text(chip_bytes(-25.0625))
    assert "t=25062\n" in kernel_text(chip_bytes(25.0625))


def test_ice_point_correction_is_the_negative_of_the_mean_reading() -> None:
    """Practice of ASTM E563: melting ice is 0.00 °C, so a mean of +0.3125 is corrected by -0.3125."""
    point = find_ice_point([0.3125] * 20)
    assert isinstance(point, IcePoint)
    assert point.offset_k == -0.3125
    assert 1.0 + point.offset_k == 0.6875
