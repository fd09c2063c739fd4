"""One look at probes and board for commands that only ask: nothing here drives a pin."""

from __future__ import annotations

import time
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from controller.loop.calibration_file import Calibration
from controller.sense.probes import READ_DEADLINE_S, BusReaders
from controller.sense.samples import fresh_memory, judge_reading, limits_for
from controller.sense.scratchpad import RawReading
from controller.vocabulary import Place, ProbeId, Reading, Rejected, Rejection

_LOOK_S = 0.02
_WAIT_PER_PROBE_S = 1.5
_ONLY_ROUND_S = 10 * READ_DEADLINE_S
"""Longer than any look takes, so that each probe is read once."""
KERNEL_SWITCHES = (
    Path("/sys/module/pinctrl_bcm2835/parameters/persist_gpio_outputs"),
    Path("/sys/module/pinctrl_rp1/parameters/persist_gpio_outputs"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProbeLook:
    """What one probe said when it was asked."""

    probe: ProbeId
    reading: Reading


def look_at_probes(
    probes: Mapping[Place, ProbeId], w1: Path, calibration: Calibration
) -> Mapping[Place, ProbeLook]:
    """Read each probe once, corrected, and judge it by its place; bounded in time even on a hung bus."""
    raws = read_once(set(probes.values()), w1)
    return {
        place: ProbeLook(
            probe=probe, reading=judge_alone(raws.get(probe), place, calibration.offset_k(probe))
        )
        for place, probe in probes.items()
    }


def outputs_persist(switches: Collection[Path] = KERNEL_SWITCHES) -> bool | None:
    """Whether the kernel keeps an output driven after its program has died; None where it does not say."""
    for switch in switches:
        try:
            return switch.read_text(encoding="ascii").strip() in ("Y", "1")
        except (OSError, ValueError):
            continue
    return None


def read_once(probes: Collection[ProbeId], w1: Path) -> Mapping[ProbeId, RawReading]:
    """One read of each probe; one that did not answer in time is missing."""
    readers = BusReaders(sorted(probes), w1, _ONLY_ROUND_S, READ_DEADLINE_S, time.monotonic)
    try:
        return first_readings(readers, len(probes))
    finally:
        readers.close()


def first_readings(readers: BusReaders, count: int) -> Mapping[ProbeId, RawReading]:
    """Wait until ``count`` probes have answered or have been found hung, within a bound."""
    until_s = time.monotonic() + READ_DEADLINE_S + 1.0 + count * _WAIT_PER_PROBE_S
    raws = readers.latest()
    while len(raws) < count and time.monotonic() < until_s:
        time.sleep(_LOOK_S)
        raws = readers.latest()
    return raws


def judge_alone(raw: RawReading | None, place: Place, offset_k: float) -> Reading:
    """One reading by itself, as old as it was when it was made."""
    if raw is None:
        return Rejected(reason=Rejection.NEVER_SEEN, since_at_s=0.0, detail="it did not answer in time")
    limits = limits_for(place, READ_DEADLINE_S)
    return judge_reading(fresh_memory(raw.taken_at_s), raw, raw.taken_at_s, limits, offset_k)[1]
