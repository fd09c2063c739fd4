"""Reads 1-Wire probes on daemon threads, one per bus, so that no tick ever waits for a wire.

A read at 12 bits takes about 0.75 s, probes of one bus take turns, and a read may never return.
Each read begins with a fresh conversion, so its age is counted from its beginning. No executor is
used: its threads would keep a leaving process waiting for a hung read.
"""

from __future__ import annotations

import errno
import os
import re
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from controller.errors import HardwareError
from controller.sense.scratchpad import RawReading, ReadFailure, decode_lines
from controller.vocabulary import PROBE_FAMILIES, ProbeId, Rejection

# The library would otherwise load kernel modules on import, and raise where there are none.
os.environ["W1THERMSENSOR_NO_KERNEL_MODULE"] = "1"
from w1thermsensor import NoSensorFoundError, Sensor, W1ThermSensor  # after the line above

READ_DEADLINE_S = 5.0
"""More than the five tries of the kernel's driver take on a bad bus (3.75 s); after that a read is hung."""

_DEVICE_NAME = re.compile(r"(?!00)[0-9a-f]{2}-[0-9a-f]{12}")
"""Family 00 is what noise on the line leaves."""
_BUS_NAME = re.compile(r"w1_bus_master\d+")
_DEFAULT_BUS = "w1_bus_master1"
_TEXT_BYTES_MAX = 4096
_PAUSE_MIN_S = 0.005
_GONE = {errno.ENOENT, errno.ENODEV, errno.ENXIO, errno.ENOTDIR}


class ProbeSource(Protocol):
    """Whatever gives raw readings: real buses, or a stand-in."""

    def latest(self) -> Mapping[ProbeId, RawReading]:
        """The newest read of each probe; a probe not read yet is missing. Never blocks or raises."""

    def close(self) -> None:
        """Stop reading."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundProbe:
    """One 1-Wire device that the kernel shows."""

    probe: ProbeId
    bus: str

    @property
    def usable(self) -> bool:
        """Of a family that is read here."""
        return self.probe[:2] in PROBE_FAMILIES


def list_probes(folder: Path) -> tuple[FoundProbe, ...]:
    """Every device in the folder, by id, usable or not; phantoms of family 00 are not among them.

    Raises HardwareError where the folder itself cannot be listed.
    """
    try:
        names = sorted(entry.name for entry in folder.iterdir())
    except OSError as error:
        raise HardwareError(
            f"{folder}: cannot be listed ({error.strerror}); "
            "put dtoverlay=w1-gpio into the board's config.txt and restart it"
        ) from error
    return tuple(
        FoundProbe(probe=ProbeId(name), bus=_find_bus(folder, name) or _DEFAULT_BUS)
        for name in names
        if _DEVICE_NAME.fullmatch(name)
    )


def _find_bus(folder: Path, name: str) -> str | None:
    """The bus master that the kernel's link for this device leads through."""
    try:
        parent = (folder / name).resolve(strict=True).parent.name
    except (OSError, RuntimeError):  # a device that is away, or a loop of links
        return None
    return parent if _BUS_NAME.fullmatch(parent) else None


class _KernelProbe(W1ThermSensor):  # type: ignore[misc]  # the library carries no types
    """The library's sensor at a folder of our choice, its text handed over unjudged.

    The library's own reading throws away why there is none: NO, empty and all-zero raise alike.
    """

    def __init__(self, probe: ProbeId, folder: Path) -> None:
        """Find the probe; raises NoSensorFoundError or ValueError."""
        self.BASE_DIRECTORY = folder
        super().__init__(Sensor.from_id_string(probe[:2]), probe[3:])

    def get_raw_sensor_strings(self) -> list[str]:
        """The lines of one read of the kernel's file."""
        with self.sensorpath.open("rb") as file:
            text: str = file.read(_TEXT_BYTES_MAX).decode("ascii")
        return text.splitlines()


class ProbeSlot:
    """One probe's newest read; begun, stuck and latest change under the readers' lock."""

    __slots__ = ("begun_at_s", "latest", "probe", "sensor", "stuck")

    def __init__(self, probe: ProbeId) -> None:
        """Nothing is read yet, and nothing looked up."""
        self.probe = probe
        self.sensor: _KernelProbe | None = None
        self.latest: RawReading | None = None
        self.begun_at_s: float | None = None
        self.stuck = False

    def read(self, folder: Path, taken_at_s: float) -> RawReading:
        """One read; whatever goes wrong becomes a ReadFailure."""
        try:
            if self.sensor is None:
                self.sensor = _KernelProbe(self.probe, folder)
            return decode_lines(self.sensor.get_raw_sensor_strings(), taken_at_s)
        except NoSensorFoundError:
            return _failed(Rejection.ABSENT, "the kernel does not show this probe", taken_at_s)
        except UnicodeDecodeError:
            return _failed(Rejection.GARBLED, "bytes that are not text", taken_at_s)
        except OSError as error:
            name = errno.errorcode.get(error.errno or 0, type(error).__name__)
            if error.errno in _GONE:
                return _failed(Rejection.ABSENT, f"the probe went away ({name})", taken_at_s)
            return _failed(Rejection.BUS_ERROR, f"{name}: {error.strerror}", taken_at_s)
        except Exception as error:  # noqa: BLE001  # a reader must outlive whatever a library raises
            return _failed(Rejection.BUS_ERROR, f"{type(error).__name__}: {error}", taken_at_s)


def _failed(reason: Rejection, detail: str, taken_at_s: float) -> ReadFailure:
    """Shorten the failures above."""
    return ReadFailure(reason=reason, detail=detail, taken_at_s=taken_at_s)


class BusWorker:
    """One thread that reads the probes of one bus in turn until it is stopped or abandoned."""

    def __init__(self, readers: BusReaders, bus: str, slots: Sequence[ProbeSlot]) -> None:
        """Be ready to read these probes, all of one bus."""
        self.abandoned = False
        self._readers = readers
        self.slots = slots
        """In the order in which they are read."""
        self.thread = threading.Thread(target=self.run, name=f"probes-{bus}", daemon=True)

    def start(self) -> None:
        """Begin reading; raises RuntimeError where the system gives no thread."""
        self.thread.start()

    def is_reading(self) -> bool:
        """False once the thread has ended or been given up."""
        return not self.abandoned and self.thread.is_alive()

    def run(self) -> None:
        """Rounds over the bus, each begun one interval after the one before."""
        readers = self._readers
        while not readers.stopping.is_set():
            round_at_s = readers.mono()
            for slot in self.slots:
                if not self.read_one(slot):
                    return
            pause_s = readers.real_wait_s(round_at_s + readers.interval_s)
            readers.stopping.wait(max(pause_s, _PAUSE_MIN_S))

    def read_one(self, slot: ProbeSlot) -> bool:
        """Read one probe unless an older read of it is still out; False when this thread must end."""
        readers = self._readers
        with readers.lock:
            if self.abandoned or readers.stopping.is_set():
                return False
            if slot.stuck:
                return True
            begun_at_s = readers.mono()
            slot.begun_at_s = begun_at_s
        raw = slot.read(readers.folder, begun_at_s)
        with readers.lock:
            slot.begun_at_s = None
            slot.stuck = False
            if self.abandoned:
                return False
            slot.latest = raw
        return True


class BusReaders:
    """Keeps every named probe read; a probe that vanished is taken up again when it returns.

    A read longer than ``deadline_s`` makes its probe HUNG: its thread is given up, a new one goes on
    with the other probes of the bus, and the probe is read again once the old read has returned.
    So at most one thread per probe is ever stuck.
    """

    def __init__(
        self,
        ids: Sequence[ProbeId],
        folder: Path,
        interval_s: float,
        deadline_s: float,
        mono: Callable[[], float],
        *,
        real_wait_s: Callable[[float], float] | None = None,
    ) -> None:
        """Start one reader per bus; a probe that is away is expected on the first known bus.

        ``real_wait_s`` tells the real seconds until an instant of ``mono``, for a clock that runs
        faster than the machine's; without it the two are the same.
        """
        self.folder = folder
        self.interval_s = interval_s
        self.mono = mono
        self.real_wait_s = real_wait_s or (lambda until_s: until_s - mono())
        self.lock = threading.Lock()
        self.stopping = threading.Event()
        self._deadline_s = deadline_s
        self.slots = {probe: ProbeSlot(probe) for probe in ids}
        """Every named probe's own."""
        buses = {probe: _find_bus(folder, probe) for probe in self.slots}
        default_bus = min((bus for bus in buses.values() if bus), default=_DEFAULT_BUS)
        self.buses: dict[str, list[ProbeSlot]] = {}
        """Which probes take turns."""
        for probe, bus in buses.items():
            self.buses.setdefault(bus or default_bus, []).append(self.slots[probe])
        self.workers: dict[str, BusWorker] = {}
        """Whoever reads each bus now."""
        self.heal()

    @property
    def stuck_count(self) -> int:
        """How many reads are out beyond their deadline."""
        return sum(slot.stuck for slot in self.slots.values())

    def latest(self) -> Mapping[ProbeId, RawReading]:
        """The newest read of each probe; also the place where hung reads are noticed.

        To be called by one thread. Takes a lock only when something is wrong.
        """
        now_s = self.mono()
        for bus, slots in self.buses.items():
            for slot in slots:
                begun_at_s = slot.begun_at_s
                if begun_at_s is not None and now_s - begun_at_s > self._deadline_s and not slot.stuck:
                    self.abandon(bus, slot, begun_at_s)
        self.heal()
        return {probe: slot.latest for probe, slot in self.slots.items() if slot.latest is not None}

    def abandon(self, bus: str, slot: ProbeSlot, begun_at_s: float) -> None:
        """Give up the thread that waits for this read, unless the read has just returned."""
        with self.lock:
            if slot.begun_at_s != begun_at_s:
                return
            slot.stuck = True
            slot.latest = _failed(
                Rejection.HUNG, f"a read has not returned within {self._deadline_s:g} s", begun_at_s
            )
            self.workers[bus].abandoned = True

    def heal(self) -> None:
        """Give each bus a thread again where it has none; tried again at every look."""
        for bus, slots in self.buses.items():
            worker = self.workers.get(bus)
            if self.stopping.is_set() or (worker is not None and worker.is_reading()):
                continue
            fresh = BusWorker(self, bus, slots)
            try:
                fresh.start()
            except RuntimeError:
                # No thread to be had now; the probes grow stale meanwhile, which is told by itself.
                continue
            self.workers[bus] = fresh

    def close(self) -> None:
        """Stop all reading; threads end by themselves and keep no process alive."""
        self.stopping.set()
