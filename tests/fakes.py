"""Stand-ins at the lowest seam: a clock that obeys, and a 1-Wire tree of real files.

The tree's bytes and checksums are made here, bit by bit, and share nothing with the product's decoder.
"""

from __future__ import annotations

import os
from pathlib import Path

CONFIGS = {9: 0x1F, 10: 0x3F, 11: 0x5F, 12: 0x7F}
POWER_ON_BYTES = bytes.fromhex("5005 4b46 7fff 0c10 1c")
"""85.00 °C as after power-up; the checksum is the one captured from a real chip."""


class FakeClock:
    """Monotonic and wall time that move only when told."""

    def __init__(self, mono_s: float = 1000.0, utc_s: float = 1_767_225_600.0) -> None:
        """Begin at any instant; the wall clock at 1 January 2026, 00:00 UTC."""
        self._mono_s = mono_s
        self._utc_s = utc_s

    def mono_s(self) -> float:
        """Monotonic now."""
        return self._mono_s

    def utc_s(self) -> float:
        """Wall clock now."""
        return self._utc_s

    def advance(self, by_s: float) -> float:
        """Let time pass on both clocks; gives the monotonic now."""
        self._mono_s += by_s
        self._utc_s += by_s
        return self._mono_s

    def step_wall(self, by_s: float) -> None:
        """Set the wall clock, as a time service or a person does."""
        self._utc_s += by_s


def slow_crc8(data: bytes) -> int:
    """CRC-8 of 1-Wire, one bit at a time."""
    crc = 0
    for byte in data:
        for position in range(8):
            mixed = (crc ^ (byte >> position)) & 1
            crc = (crc >> 1) ^ (0x8C if mixed else 0)
    return crc


def chip_bytes(temp_c: float, resolution_bits: int = 12) -> bytes:
    """Nine bytes as a chip would hold them; any value that fits 16 bits, also impossible ones."""
    raw = round(temp_c * 16) & 0xFFFF
    body = bytes(
        [raw & 0xFF, raw >> 8, 0x4B, 0x46, CONFIGS[resolution_bits], 0xFF, 0x10 - (raw & 0x0F), 0x10]
    )
    return body + bytes([slow_crc8(body)])


def kernel_text(data: bytes, *, retained: bytes | None = None) -> str:
    """The kernel's two lines; with a wrong checksum the second holds the retained older bytes."""
    sound = slow_crc8(data[:8]) == data[8]
    hexed = " ".join(f"{byte:02x}" for byte in data)
    second = hexed if sound else " ".join(f"{byte:02x}" for byte in (retained or data))
    raw = int.from_bytes(data[:2], "little", signed=True)
    milli_c = int(raw * 1000 / 16)
    state = "YES" if sound else "NO"
    return f"{hexed} : crc={slow_crc8(data[:8]):02x} {state}\n{second} t={milli_c}\n"


class W1Tree:
    """A folder as the kernel shows it: links into bus masters, each device with its ``w1_slave``."""

    def __init__(self, root: Path) -> None:
        """Make an empty tree under ``root``; hand ``folder`` to whatever reads probes."""
        self.root = root
        self.folder = root / "devices"
        self.folder.mkdir(parents=True)
        self._good: dict[str, bytes] = {}
        self._pipes: list[Path] = []

    def file(self, probe: str) -> Path:
        """The probe's data file."""
        return self.folder / probe / "w1_slave"

    def add(self, probe: str, temp_c: float, *, bus: int = 1) -> None:
        """Connect a probe to a bus."""
        device = self.root / f"w1_bus_master{bus}" / probe
        device.mkdir(parents=True)
        (self.folder / probe).symlink_to(device)
        self.set_c(probe, temp_c)

    def set_c(self, probe: str, temp_c: float, resolution_bits: int = 12) -> None:
        """A sound reading."""
        self._good[probe] = chip_bytes(temp_c, resolution_bits)
        self.write_bytes(probe, self._good[probe])

    def write_bytes(self, probe: str, data: bytes) -> None:
        """Any nine bytes; the checksum decides between YES and NO."""
        self.write_text(probe, kernel_text(data, retained=self._good.get(probe)))

    def write_text(self, probe: str, text: str) -> None:
        """Any text at all."""
        self.write_raw(probe, text.encode())

    def write_raw(self, probe: str, data: bytes) -> None:
        """Any bytes of a file; put in place whole, as the kernel gives them."""
        self._clear(probe)
        partial = self.file(probe).with_name("partial")
        partial.write_bytes(data)
        partial.replace(self.file(probe))

    def _clear(self, probe: str) -> None:
        if self.file(probe).is_dir():
            self.file(probe).rmdir()

    def break_crc(self, probe: str) -> None:
        """One flipped bit: NO, and the old bytes retained in the second line."""
        good = self._good[probe]
        self.write_bytes(probe, bytes([good[0] ^ 0x04]) + good[1:])

    def power_on(self, probe: str) -> None:
        """85.00 °C out of a chip that has just got its supply."""
        self.write_bytes(probe, POWER_ON_BYTES)

    def starve(self, probe: str) -> None:
        """127.9375 °C, as after a conversion without enough supply."""
        body = bytes.fromhex("ff07 4b46 7fff 0c10")
        self.write_bytes(probe, body + bytes([slow_crc8(body)]))

    def short(self, probe: str) -> None:
        """All zeros, which pass the checksum."""
        self.write_bytes(probe, bytes(9))

    def silence(self, probe: str) -> None:
        """All ones, as read from a wire that nobody drives."""
        self.write_bytes(probe, b"\xff" * 9)

    def empty(self, probe: str) -> None:
        """No text, as newer kernels give after five failed tries."""
        self.write_raw(probe, b"")

    def remove(self, probe: str) -> None:
        """Unplugged: the link goes away."""
        (self.folder / probe).unlink()

    def restore(self, probe: str, temp_c: float, *, bus: int = 1) -> None:
        """Plugged in again."""
        (self.folder / probe).symlink_to(self.root / f"w1_bus_master{bus}" / probe)
        self.set_c(probe, temp_c)

    def make_directory(self, probe: str) -> None:
        """Reading the file fails with an I/O kind of error."""
        self.file(probe).unlink()
        self.file(probe).mkdir()

    def hang(self, probe: str) -> None:
        """The next read waits for ever, until ``release``."""
        pipe = self.root / f"pipe{len(self._pipes)}"
        os.mkfifo(pipe)
        self._pipes.append(pipe)
        named = self.file(probe).with_name("partial")
        os.link(pipe, named)
        named.replace(self.file(probe))

    def release(self) -> int:
        """Let every hung read return with no text; gives how many were waiting."""
        waiting = 0
        for pipe in self._pipes:
            try:
                os.close(os.open(pipe, os.O_WRONLY | os.O_NONBLOCK))
                waiting += 1
            except OSError:
                continue
        return waiting
