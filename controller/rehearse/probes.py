"""Simulated probes: from the stand-in's true temperatures to the nine bytes that a board would read.

Offset, drift, noise, lag and rounding to the chip's own step are added here, and faults for a window of
time. The keeper judges the bytes exactly as it does on a board.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from random import Random

from controller.config.records import FrameSettings
from controller.sense.scratchpad import RawReading, ReadFailure, Scratchpad, encode_scratchpad
from controller.vocabulary import FULL_RESOLUTION_BITS, FrameName, Place, ProbeId, Rejection

POWER_ON_BYTES = bytes.fromhex("50054b467fff0c101c")
"""85.00 °C as a chip holds it that has lost its supply and not converted since."""
STARVED_BYTES = bytes.fromhex("ff074b467fff01102f")
"""127.94 °C as a chip holds it whose supply sagged while it converted."""
SHORTED_BYTES = bytes(9)
"""What is read from a data wire that lies on ground."""
SILENT_BYTES = b"\xff" * 9
"""What is read where a device was found and nothing drives the data wire."""
DAY_S = 86400.0

_TRUE_PLACE = {
    Place.AIR: ("air",),
    Place.AIR_SECOND: ("air",),
    Place.BED: ("bed",),
    Place.GUARD: ("bed",),
    Place.CABLE: ("cable", "bed"),
    Place.OUTSIDE: ("outside",),
    Place.WALL: ("wall", "air"),
}
"""Which of the stand-in's places a probe feels; the second where the first is not modelled."""


class FaultKind(StrEnum):
    """What can be wrong with a simulated probe."""

    ABSENT = "absent"
    HUNG = "hung"
    CRC = "crc"
    POWER_ON = "power_on"
    STARVED = "starved"
    SHORTED = "shorted"
    SILENT = "silent"
    STUCK = "stuck"
    JUMP = "jump"
    """Off by ``jump_k`` all at once."""
    DRIFT = "drift"
    """Further off by ``drift_k_per_day`` with every day."""


_FAILED = {
    FaultKind.ABSENT: (Rejection.ABSENT, "no such device on the bus"),
    FaultKind.HUNG: (Rejection.HUNG, "a read has not come back"),
}
_SPOILT = {
    FaultKind.POWER_ON: POWER_ON_BYTES,
    FaultKind.STARVED: STARVED_BYTES,
    FaultKind.SHORTED: SHORTED_BYTES,
    FaultKind.SILENT: SILENT_BYTES,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeFault:
    """One fault of one probe between two instants, counted in seconds from the start of the run."""

    probe: ProbeId
    kind: FaultKind
    from_s: float
    until_s: float = math.inf
    jump_k: float = 0.0
    drift_k_per_day: float = 0.0

    def off_k(self, elapsed_s: float) -> float:
        """How far the probe is shifted at an instant inside the window; 0 for kinds that spoil the bytes."""
        if self.kind is FaultKind.JUMP:
            return self.jump_k
        if self.kind is FaultKind.DRIFT:
            return self.drift_k_per_day * (elapsed_s - self.from_s) / DAY_S
        return 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeNature:
    """How far a probe is from the truth."""

    offset_k: float = 0.0
    noise_k: float = 0.03
    """Standard deviation of one reading."""
    lag_s: float = 20.0
    """Time constant of the probe in its housing."""
    resolution_bits: int = FULL_RESOLUTION_BITS
    """What the chip is set to: 9, 10, 11 or 12 bits are steps of 0.5, 0.25, 0.125 or 0.0625 K."""
    drift_k_per_day: float = 0.0
    """Added to the offset for every day since the run began."""


@dataclass(slots=True, kw_only=True)
class _Probe:
    """One simulated probe and what it felt last."""

    probe_id: ProbeId
    frame: FrameName
    wanted: tuple[str, ...]
    nature: ProbeNature
    gauss: Callable[[], float]
    """Draws its noise."""
    faults: tuple[ProbeFault, ...]
    felt_c: float | None = None
    data: bytes = b""
    step_s: float = -1.0
    follow_frac: float = 1.0
    """Share of the way to the truth that the probe goes in ``step_s``."""


class SimulatedProbes:
    """All probes of a rehearsal; offers ``latest()`` and ``close()`` as the board's reader does."""

    def __init__(
        self,
        frames: Mapping[FrameName, FrameSettings],
        *,
        seed: int,
        natures: Mapping[ProbeId, ProbeNature] | None = None,
        faults: Sequence[ProbeFault] = (),
    ) -> None:
        """One probe per id in the settings; each draws its own noise from ``seed`` and its id."""
        given = natures or {}
        placed = {
            probe_id: (name, place)
            for name, frame in reversed(list(frames.items()))
            for place, probe_id in frame.probes.items()
        }
        self._probes = [
            _Probe(
                probe_id=probe_id,
                frame=name,
                wanted=_TRUE_PLACE[place],
                nature=given.get(probe_id, ProbeNature()),
                gauss=Random(f"probe {seed} {probe_id}").gauss,  # noqa: S311  # noise, not a secret
                faults=tuple(fault for fault in faults if fault.probe == probe_id),
            )
            for probe_id, (name, place) in sorted(placed.items())
        ]
        self._latest: dict[ProbeId, RawReading] = {}
        self._elapsed_s = 0.0

    def take(self, true_by_frame: Mapping[FrameName, Mapping[str, float]], dt_s: float, now_s: float) -> None:
        """Let ``dt_s`` pass and convert every probe at ``now_s`` on the keeper's clock."""
        self._elapsed_s += dt_s
        for probe in self._probes:
            true_by_place = true_by_frame[probe.frame]
            true_c = true_by_place.get(probe.wanted[0])
            if true_c is None:
                true_c = true_by_place[probe.wanted[-1]]
            nature = probe.nature
            if probe.felt_c is None:
                felt_c = true_c
            else:
                if dt_s != probe.step_s:
                    probe.step_s = dt_s
                    probe.follow_frac = 1.0 if nature.lag_s <= 0.0 else -math.expm1(-dt_s / nature.lag_s)
                felt_c = probe.felt_c + (true_c - probe.felt_c) * probe.follow_frac
            probe.felt_c = felt_c
            shown_c = felt_c + nature.offset_k
            if nature.noise_k > 0.0:
                shown_c += nature.noise_k * probe.gauss()
            if nature.drift_k_per_day:
                shown_c += nature.drift_k_per_day * self._elapsed_s / DAY_S
            if probe.faults:
                self._latest[probe.probe_id] = self._with_faults(probe, shown_c, now_s)
            else:
                data = encode_scratchpad(shown_c, nature.resolution_bits)
                self._latest[probe.probe_id] = Scratchpad(data, now_s)

    def latest(self) -> Mapping[ProbeId, RawReading]:
        """The last conversion of every probe."""
        return self._latest

    def close(self) -> None:
        """Nothing to let go."""

    def _with_faults(self, probe: _Probe, shown_c: float, now_s: float) -> RawReading:
        """The reading, spoilt by the first fault that holds at this instant."""
        at_s = self._elapsed_s
        fault = next((each for each in probe.faults if each.from_s <= at_s < each.until_s), None)
        if fault is None:
            probe.data = encode_scratchpad(shown_c, probe.nature.resolution_bits)
            return Scratchpad(data=probe.data, taken_at_s=now_s)
        if fault.kind in _FAILED:
            reason, detail = _FAILED[fault.kind]
            return ReadFailure(reason=reason, detail=detail, taken_at_s=now_s)
        if fault.kind in _SPOILT:
            return Scratchpad(data=_SPOILT[fault.kind], taken_at_s=now_s)
        if fault.kind is not FaultKind.STUCK or not probe.data:
            shown_c += fault.off_k(at_s)
            probe.data = encode_scratchpad(shown_c, probe.nature.resolution_bits)
        if fault.kind is FaultKind.CRC:
            return Scratchpad(data=probe.data[:-1] + bytes((probe.data[-1] ^ 0x01,)), taken_at_s=now_s)
        return Scratchpad(data=probe.data, taken_at_s=now_s)


def unmodelled_places(
    frames: Mapping[FrameName, FrameSettings], modelled: Iterable[str]
) -> tuple[Place, ...]:
    """Fitted places that the stand-in does not model, so that another place's temperature stands in."""
    known = frozenset(modelled)
    fitted = {place for frame in frames.values() for place in frame.probes}
    return tuple(sorted(place for place in fitted if _TRUE_PLACE[place][0] not in known))
