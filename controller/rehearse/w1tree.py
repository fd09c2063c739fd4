"""Simulated probes as files: a folder as the kernel shows 1-Wire devices, for a keeper that is a process.

Each device is a link that leads through its bus master, with the text of its last conversion in
``w1_slave``. A probe that is away has no link, and the file of one that hangs is a pipe that never speaks.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from controller.errors import StorageError
from controller.sense.scratchpad import RawReading, ReadFailure, Scratchpad, crc8
from controller.vocabulary import ProbeId, Rejection

_BUS = "w1_bus_master1"
_FILE = "w1_slave"
_SIXTEENTHS = 16
_MILLI = 1000
_DATA_BYTES = 8
"""Of nine; the last is their checksum."""


@dataclass(slots=True, kw_only=True)
class _Device:
    """One device's files."""

    link: Path
    device: Path
    shown: bytes | Rejection | None = None
    """Its text, or why there is none; None before the first showing."""
    sound: bytes = b""
    """The last bytes whose checksum was right, which the kernel keeps in the second line."""
    pipe_fd: int = -1
    """Held open while a read of it is to hang."""


class ProbeTree:
    """The devices of one bus."""

    def __init__(self, root: Path, probes: Iterable[ProbeId]) -> None:
        """Make the folders under ``root``, which must not exist; raises StorageError where that fails.

        No device is there before it is first shown.
        """
        self._root = root
        self.folder = root / "devices"
        """What the kernel would call ``/sys/bus/w1/devices``."""
        try:
            self.folder.mkdir(parents=True)
            self._devices = {probe: self._make(probe) for probe in probes}
        except OSError as error:
            raise _trouble(root, error) from error

    @property
    def probes(self) -> Collection[ProbeId]:
        """Every probe of the bus, whether it is there or away."""
        return self._devices.keys()

    def show(self, readings: Mapping[ProbeId, RawReading]) -> None:
        """Let every file say this; what has not changed is not touched.

        Raises StorageError where the disk will not, and ValueError for a failure that no file can show.
        """
        try:
            for probe, reading in readings.items():
                self._show(self._devices[probe], reading)
        except OSError as error:
            raise _trouble(self._root, error) from error

    def close(self) -> None:
        """Let every hung read return; the files stay."""
        for device in self._devices.values():
            _let_return(device)

    def _make(self, probe: ProbeId) -> _Device:
        device = self._root / _BUS / probe
        device.mkdir(parents=True)
        return _Device(link=self.folder / probe, device=device)

    def _show(self, device: _Device, reading: RawReading) -> None:
        shown = kernel_text(reading.data, device.sound) if isinstance(reading, Scratchpad) else reading.reason
        if isinstance(reading, Scratchpad) and crc8(reading.data) == 0:
            device.sound = reading.data
        if shown == device.shown:
            return
        if isinstance(reading, ReadFailure) and reading.reason is Rejection.ABSENT:
            device.link.unlink(missing_ok=True)
        elif isinstance(reading, ReadFailure):
            if reading.reason is not Rejection.HUNG:
                raise ValueError(f"no file shows a probe that is {reading.reason}")
            _hang(device)
        else:
            _put(device.device, kernel_text(reading.data, device.sound))
        if shown is not Rejection.HUNG:
            _let_return(device)
        if shown is not Rejection.ABSENT and device.shown in (None, Rejection.ABSENT):
            device.link.symlink_to(device.device)
        device.shown = shown


def kernel_text(data: bytes, sound: bytes = b"") -> bytes:
    """The two lines that the kernel's driver gives for nine bytes; ``sound`` are the last sound ones.

    By the kernel's documentation of ``w1_therm``: the bytes as read, their checksum and YES or NO; then the
    last sound bytes and the temperature in thousandths of a degree, cut towards zero.
    """
    checksum = crc8(data[:_DATA_BYTES])
    verdict, kept = ("YES", data) if checksum == data[_DATA_BYTES] else ("NO", sound or data)
    milli_c = int(int.from_bytes(kept[:2], "little", signed=True) * _MILLI / _SIXTEENTHS)
    return f"{data.hex(' ')} : crc={checksum:02x} {verdict}\n{kept.hex(' ')} t={milli_c}\n".encode("ascii")


def _put(device: Path, text: bytes) -> None:
    """Whole, as the kernel gives it."""
    partial = device / "partial"
    partial.write_bytes(text)
    partial.replace(device / _FILE)


def _hang(device: _Device) -> None:
    """Put a pipe in the file's place; as long as it is held open for writing, a read of it waits."""
    partial = device.device / "partial"
    partial.unlink(missing_ok=True)
    os.mkfifo(partial)
    device.pipe_fd = os.open(partial, os.O_RDWR | os.O_NONBLOCK | os.O_CLOEXEC)
    partial.replace(device.device / _FILE)


def _let_return(device: _Device) -> None:
    """A read that hangs comes back, without text."""
    descriptor, device.pipe_fd = device.pipe_fd, -1
    if descriptor >= 0:
        with suppress(OSError):  # closed is closed
            os.close(descriptor)


def _trouble(root: Path, error: OSError) -> StorageError:
    return StorageError(f"{root}: simulated probes cannot be shown there ({error.strerror}); free space")
