"""The nine bytes of a DS18B20 scratchpad and the kernel's text about them.

Pure. Layout, resolutions and the CRC follow the DS18B20 data sheet; the text follows the kernel's
``w1_therm`` documentation: two lines, each of nine hex bytes, the first ending in YES or NO.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from controller.vocabulary import FULL_RESOLUTION_BITS, Rejection

SCRATCHPAD_BYTES = 9
CHIP_MIN_SIXTEENTHS = -55 * 16
CHIP_MAX_SIXTEENTHS = 125 * 16
POWER_ON_SIXTEENTHS = 85 * 16
STARVED_SIXTEENTHS = 0x07FF
"""127.9375 °C: what the chip holds when its supply sagged during the conversion."""

_BITS_BY_CONFIG = {0x1F: 9, 0x3F: 10, 0x5F: 11, 0x7F: FULL_RESOLUTION_BITS}
_CONFIG_BY_BITS = {bits: config for config, bits in _BITS_BY_CONFIG.items()}
_STEPS_PER_K = {9: 2, 10: 4, 11: 8, FULL_RESOLUTION_BITS: 16}
_UNCONVERTED = 0x0C
"""Byte 6 of a scratchpad that still holds its power-on value; alone it means nothing."""
_FIRST_LINE = re.compile(r"((?:[0-9a-fA-F]{2} ){9}): crc=[0-9a-fA-F]{2} (YES|NO)")
_SECOND_LINE = re.compile(r"((?:[0-9a-fA-F]{2} ){9})t=")


def _crc_table() -> bytes:
    """One entry per byte for x^8 + x^5 + x^4 + 1, reflected, least significant bit first."""
    entries = bytearray(256)
    for byte in range(256):
        crc = byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0x8C if crc & 1 else crc >> 1
        entries[byte] = crc
    return bytes(entries)


_CRC_TABLE = _crc_table()


class Scratchpad(NamedTuple):
    """Nine bytes as read, not yet judged, and the instant at which the read began; many are made."""

    data: bytes
    taken_at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadFailure:
    """A read that gave no bytes to judge; ``taken_at_s`` is the instant at which it began."""

    reason: Rejection
    detail: str
    taken_at_s: float


RawReading = Scratchpad | ReadFailure


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """What nine bytes say by themselves; with a ``flaw`` the numbers must not be used."""

    sixteenths: int
    """Temperature in 1/16 °C, undefined low bits masked; -880 to 2000 when there is no flaw."""
    resolution_bits: int
    flaw: Rejection | None
    detail: str


def crc8(data: bytes) -> int:
    """CRC-8 of 1-Wire, 0 to 255; over bytes that end in their own CRC it is 0."""
    crc = 0
    for byte in data:
        crc = _CRC_TABLE[crc ^ byte]
    return crc


def resolution_of(data: bytes) -> int | None:
    """Resolution in bits, 9 to 12, from the config byte; None where no chip can hold that byte."""
    return _BITS_BY_CONFIG.get(data[4])


def sixteenths_of(data: bytes) -> int:
    """Temperature in 1/16 °C, signed, with the low bits masked that the resolution leaves undefined.

    An impossible config byte masks nothing; see ``examine`` for whether the bytes may be used.
    """
    raw = int.from_bytes(data[:2], "little", signed=True)
    undefined_bits = FULL_RESOLUTION_BITS - (resolution_of(data) or FULL_RESOLUTION_BITS)
    return raw >> undefined_bits << undefined_bits


@lru_cache(maxsize=1024)
def examine(data: bytes) -> Contents:
    """Everything that can be told from the nine bytes alone, first flaw first.

    A whole bus at 0 or at 1 is named before the CRC, because all zeros pass the CRC.
    """
    if len(data) != SCRATCHPAD_BYTES:
        return _flawed(Rejection.GARBLED, f"{len(data)} bytes instead of {SCRATCHPAD_BYTES}")
    if not any(data):
        return _flawed(Rejection.SHORTED, "all bytes 00: data wire shorted to ground")
    if data.count(0xFF) == SCRATCHPAD_BYTES:
        return _flawed(Rejection.SILENT, "all bytes ff: nothing drives the data wire")
    if crc8(data):
        return _flawed(Rejection.CRC, "checksum does not fit the bytes")
    bits = resolution_of(data)
    if bits is None:
        return _flawed(Rejection.GARBLED, f"config byte {data[4]:02x} is not one of a DS18B20")
    sixteenths = sixteenths_of(data)
    flaw, detail = _chip_flaw(sixteenths, unconverted=data[6] == _UNCONVERTED)
    return Contents(sixteenths=sixteenths, resolution_bits=bits, flaw=flaw, detail=detail)


def _chip_flaw(sixteenths: int, *, unconverted: bool) -> tuple[Rejection | None, str]:
    """Values that a healthy chip never gives, or only when it has not converted."""
    if sixteenths == POWER_ON_SIXTEENTHS and unconverted:
        return Rejection.POWER_ON, "power-on value 85.00 °C: supply dipped before the read"
    if sixteenths == STARVED_SIXTEENTHS:
        return Rejection.STARVED, "127.94 °C: supply too weak while converting"
    if not CHIP_MIN_SIXTEENTHS <= sixteenths <= CHIP_MAX_SIXTEENTHS:
        return Rejection.OUT_OF_RANGE, f"{sixteenths / 16:.2f} °C is beyond the chip's own range"
    return None, ""


def _flawed(flaw: Rejection, detail: str) -> Contents:
    """Contents whose number is of no use; 12 bits stand in for an unknown resolution."""
    return Contents(sixteenths=0, resolution_bits=FULL_RESOLUTION_BITS, flaw=flaw, detail=detail)


def decode_lines(lines: Sequence[str], taken_at_s: float) -> RawReading:
    """Bytes from the kernel's two lines, or the reason why there are none.

    The hex bytes win over ``t=``, which is never used. After NO the second line is not looked at:
    it holds the bytes of an older reading. After YES both lines must hold the same bytes.
    """
    if not any(line.strip() for line in lines):
        return _failed(Rejection.EMPTY, "no text", taken_at_s)
    first = _FIRST_LINE.fullmatch(lines[0].strip())
    if first is None:
        return _failed(Rejection.GARBLED, f"first line reads {lines[0].strip()[:60]!r}", taken_at_s)
    data = bytes.fromhex(first[1])
    flaw = _flaw_after_no(data) if first[2] == "NO" else _flaw_of_second(lines, data)
    if flaw is not None:
        return _failed(*flaw, taken_at_s)
    return Scratchpad(data=data, taken_at_s=taken_at_s)


def _flaw_after_no(data: bytes) -> tuple[Rejection, str]:
    """A dead wire has a name of its own; every other NO is a checksum error."""
    contents = examine(data)
    if contents.flaw in {Rejection.SHORTED, Rejection.SILENT}:
        return contents.flaw, contents.detail
    return Rejection.CRC, "the kernel reports a wrong checksum"


def _flaw_of_second(lines: Sequence[str], data: bytes) -> tuple[Rejection, str] | None:
    """After YES the second line repeats the first one's bytes; anything else is a torn file."""
    second = _SECOND_LINE.match(lines[1].strip()) if len(lines) > 1 else None
    if second is None:
        return Rejection.GARBLED, "second line is missing or cut"
    if bytes.fromhex(second[1]) != data:
        return Rejection.GARBLED, "the two lines hold different bytes"
    return None


def _failed(reason: Rejection, detail: str, taken_at_s: float) -> ReadFailure:
    """Shorten the many refusals above."""
    return ReadFailure(reason=reason, detail=detail, taken_at_s=taken_at_s)


def encode_scratchpad(temp_c: float, resolution_bits: int = FULL_RESOLUTION_BITS) -> bytes:
    """The nine bytes that a healthy chip would hold at ``temp_c``, rounded to its step.

    Clamped to -55…125 °C. Raises ValueError for NaN, infinity or a resolution other than 9 to 12.
    """
    steps_per_k = _STEPS_PER_K.get(resolution_bits)
    if steps_per_k is None or not math.isfinite(temp_c):
        raise ValueError(f"no scratchpad for {temp_c} °C at {resolution_bits} bits")
    return _encode_steps(round(temp_c * steps_per_k), resolution_bits)


@lru_cache(maxsize=1024)
def _encode_steps(steps: int, resolution_bits: int) -> bytes:
    """Byte 6 counts down from the low nibble, as in scratchpads captured from real chips."""
    sixteenths = steps << FULL_RESOLUTION_BITS - resolution_bits
    bounded = min(max(sixteenths, CHIP_MIN_SIXTEENTHS), CHIP_MAX_SIXTEENTHS)
    low, high = bounded.to_bytes(2, "little", signed=True)
    config = _CONFIG_BY_BITS[resolution_bits]
    body = bytes((low, high, 0x4B, 0x46, config, 0xFF, 0x10 - (low & 0x0F), 0x10))
    return body + bytes((crc8(body),))
