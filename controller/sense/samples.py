"""From one raw reading to a trusted sample or a named reason against it.

Pure. A probe's whole past that matters stands in a frozen ``ProbeMemory``; judging takes the old
memory and gives the new one. One bad reading changes nothing for ``stale_after_s``: the last good
sample serves on. After a longer loss three readings must agree before one is taken. Ranges and
rates are those of the trade (common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

from controller.sense.scratchpad import POWER_ON_SIXTEENTHS, RawReading, Scratchpad, examine
from controller.vocabulary import Place, Reading, Rejected, Rejection, Sample

STALE_INTERVALS = 3
CANDIDATES_NEEDED = 3
NOISE_WINDOW_S = 3600.0
NOISE_SHARE_MAX = 0.05
NOISE_SHARE_CLEAR = 0.02
NOISE_FAILURES_MIN = 3
NOISE_RECORD_MIN_S = 1800.0
"""Errors of a shorter record are weighed as if it were this long; a bad first minute proves little."""

_NEVER_S = -math.inf
_RANGE_C = {
    Place.AIR: (-40.0, 60.0),
    Place.AIR_SECOND: (-40.0, 60.0),
    Place.OUTSIDE: (-40.0, 60.0),
    Place.WALL: (-40.0, 60.0),
    Place.BED: (-20.0, 60.0),
    Place.GUARD: (-20.0, 60.0),
    Place.CABLE: (-20.0, 90.0),
}
_SLEW_K_PER_H = {
    Place.AIR: 600.0,
    Place.AIR_SECOND: 600.0,
    Place.OUTSIDE: 600.0,
    Place.WALL: 600.0,
    Place.BED: 180.0,
    Place.GUARD: 180.0,
    Place.CABLE: 1200.0,
}
_WAITS_FOR_COMPANY = (Rejection.SLEW, Rejection.STALE)
_STEP_K = {9: 0.5, 10: 0.25, 11: 0.125, 12: 0.0625}
_FREE_K = 2 * _STEP_K[12]
"""So far a reading may move at once whatever its place and resolution."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleLimits:
    """What a believable reading of one place looks like."""

    min_c: float
    max_c: float
    slew_max_k_per_h: float
    stale_after_s: float
    sample_interval_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """Why the newest reading was not taken."""

    reason: Rejection
    detail: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubts:
    """The part of a memory that changes only when something is wrong."""

    started_at_s: float
    trouble: Trouble | None = None
    """What is wrong with the newest reading; None when it was taken."""
    candidates: tuple[Sample, ...] = ()
    """Readings too far from the last good one, or too long after it, waiting for company."""
    crc_failed_at_s: tuple[float, ...] = ()
    """Instants of checksum errors, none older than an hour before the newest."""
    noisy_since_s: float | None = None


class ProbeMemory(NamedTuple):
    """All that is remembered of one probe; a tuple because one is made of every reading."""

    doubts: Doubts
    raw_at_s: float = _NEVER_S
    """When the newest judged reading began; minus infinity before the first."""
    good: Sample | None = None
    sixteenths: int | None = None
    """The newest sound number as the chip gave it, uncorrected."""
    unchanged_since_s: float = _NEVER_S
    """Since when the chip has given exactly that number; a lost convert command looks like this."""


def limits_for(place: Place, sample_interval_s: float) -> SampleLimits:
    """Limits of one place; readings older than three sample intervals are stale."""
    min_c, max_c = _RANGE_C[place]
    return SampleLimits(
        min_c=min_c,
        max_c=max_c,
        slew_max_k_per_h=_SLEW_K_PER_H[place],
        stale_after_s=STALE_INTERVALS * sample_interval_s,
        sample_interval_s=sample_interval_s,
    )


def fresh_memory(now_s: float) -> ProbeMemory:
    """The memory of a probe that nobody has read yet."""
    return ProbeMemory(doubts=Doubts(started_at_s=now_s))


def judge_reading(
    memory: ProbeMemory, raw: RawReading | None, now_s: float, limits: SampleLimits, offset_k: float
) -> tuple[ProbeMemory, Reading]:
    """The probe's reading for this instant, and the memory for the next.

    ``raw`` is the newest read, or None where there was none; the same read may be handed in again
    and again. A read from the future waits until its time has come. ``offset_k`` is added to what
    the chip says. A returned Sample lies within the limits and is at most ``stale_after_s`` old,
    never from the future: a clock that ran backwards makes the whole memory void.
    """
    if memory.raw_at_s > now_s:
        memory = fresh_memory(now_s)
    if raw is not None and memory.raw_at_s < raw.taken_at_s <= now_s:
        memory = _take(memory, raw, limits, offset_k)
    good = memory.good
    if good is not None and memory.doubts.noisy_since_s is None:
        age_s = now_s - good.taken_at_s
        if 0.0 <= age_s <= limits.stale_after_s:
            return memory, good
    return memory, _reject(memory, now_s, limits)


def _take(memory: ProbeMemory, raw: RawReading, limits: SampleLimits, offset_k: float) -> ProbeMemory:
    """Judge one new read."""
    doubts = memory.doubts
    if not isinstance(raw, Scratchpad):
        trouble = Trouble(reason=raw.reason, detail=raw.detail)
        return _refuse(memory, _weigh_noise(doubts, raw, trouble.reason, limits), raw.taken_at_s, trouble)
    contents = examine(raw.data)
    if contents.flaw is not None:
        trouble = Trouble(reason=contents.flaw, detail=contents.detail)
        return _refuse(memory, _weigh_noise(doubts, raw, trouble.reason, limits), raw.taken_at_s, trouble)
    if doubts.noisy_since_s is not None:
        doubts = _weigh_noise(doubts, raw, None, limits)
    sixteenths = contents.sixteenths
    taken_at_s = raw.taken_at_s
    sample = Sample(sixteenths / 16 + offset_k, taken_at_s, contents.resolution_bits)
    misfit = _find_misfit(memory.good, sample, sixteenths, limits)
    good = sample if misfit is None else memory.good
    if misfit or doubts.trouble or doubts.candidates:
        doubts, moved = _weigh_misfit(doubts, sample, misfit, limits)
        good = sample if moved else good
    unchanged_since_s = memory.unchanged_since_s if sixteenths == memory.sixteenths else taken_at_s
    return ProbeMemory(doubts, taken_at_s, good, sixteenths, unchanged_since_s)


def _refuse(memory: ProbeMemory, doubts: Doubts, taken_at_s: float, trouble: Trouble) -> ProbeMemory:
    """A read without a sound number: it breaks no run of equal numbers and gathers no company."""
    return memory._replace(doubts=replace(doubts, trouble=trouble), raw_at_s=taken_at_s)


def _find_misfit(
    good: Sample | None, sample: Sample, sixteenths: int, limits: SampleLimits
) -> Trouble | None:
    """What speaks against a sound number at this place after the last good sample."""
    temp_c = sample.temp_c
    lost = good is not None and sample.taken_at_s - good.taken_at_s > limits.stale_after_s
    near = good is not None and not lost and abs(temp_c - good.temp_c) <= _FREE_K
    if near and limits.min_c <= temp_c <= limits.max_c:
        return None  # as nearly always
    jumped = good is not None and not _follows(good, sample, limits)
    if sixteenths == POWER_ON_SIXTEENTHS and (good is None or jumped or lost):
        # Clones need not mark the power-on value in byte 6, so a sudden 85.00 is not believed either.
        return Trouble(reason=Rejection.POWER_ON, detail="exactly 85.00 °C out of nothing")
    if not limits.min_c <= sample.temp_c <= limits.max_c:
        return Trouble(
            reason=Rejection.OUT_OF_RANGE,
            detail=f"{sample.temp_c:.2f} °C is outside {limits.min_c:.0f} to {limits.max_c:.0f} °C",
        )
    if jumped:
        return Trouble(
            reason=Rejection.SLEW,
            detail=f"{sample.temp_c:.2f} °C is too far from the last good reading for the time between",
        )
    if lost:
        return Trouble(
            reason=Rejection.STALE,
            detail=f"back with {sample.temp_c:.2f} °C, which {CANDIDATES_NEEDED} readings must agree on",
        )
    return None


def _follows(earlier: Sample, later: Sample, limits: SampleLimits) -> bool:
    """Whether air, soil or cable can have moved that far; two steps of the chip are always free.

    Time counts for no more than a good reading serves: else a long loss would make any number believable.
    """
    elapsed_s = min(later.taken_at_s - earlier.taken_at_s, limits.stale_after_s)
    step_k = _STEP_K[min(earlier.resolution_bits, later.resolution_bits)]
    allowed_k = limits.slew_max_k_per_h * elapsed_s / 3600 + 2 * step_k
    return abs(later.temp_c - earlier.temp_c) <= allowed_k


def _weigh_misfit(
    doubts: Doubts, sample: Sample, misfit: Trouble | None, limits: SampleLimits
) -> tuple[Doubts, bool]:
    """New doubts, and whether enough readings agree on a new level (a moved probe, a cover taken off)."""
    if misfit is None:
        return replace(doubts, trouble=None, candidates=()), False
    if misfit.reason not in _WAITS_FOR_COMPANY:
        return replace(doubts, trouble=misfit), False
    agreeing = all(_follows(earlier, sample, limits) for earlier in doubts.candidates)
    candidates = (*doubts.candidates, sample) if agreeing else (sample,)
    if len(candidates) >= CANDIDATES_NEEDED:
        return replace(doubts, trouble=None, candidates=()), True
    return replace(doubts, trouble=misfit, candidates=candidates), False


def _weigh_noise(doubts: Doubts, raw: RawReading, reason: Rejection | None, limits: SampleLimits) -> Doubts:
    """Count checksum errors over the last hour; noisy above one share, quiet again below a lower one."""
    failed = reason is Rejection.CRC
    if not failed and doubts.noisy_since_s is None:
        return doubts
    now_s = raw.taken_at_s
    kept = [at_s for at_s in doubts.crc_failed_at_s if at_s > now_s - NOISE_WINDOW_S]
    if failed:
        kept.append(now_s)
    record_s = min(max(now_s - doubts.started_at_s, NOISE_RECORD_MIN_S), NOISE_WINDOW_S)
    share = len(kept) * limits.sample_interval_s / record_s
    noisy_since_s = doubts.noisy_since_s
    if noisy_since_s is None and len(kept) >= NOISE_FAILURES_MIN and share > NOISE_SHARE_MAX:
        noisy_since_s = now_s
    elif share < NOISE_SHARE_CLEAR:
        noisy_since_s = None
    return replace(doubts, crc_failed_at_s=tuple(kept), noisy_since_s=noisy_since_s)


def _reject(memory: ProbeMemory, now_s: float, limits: SampleLimits) -> Rejected:
    """Name the reason; where a wider one covers it, the underlying one stays in the detail."""
    doubts = memory.doubts
    trouble = doubts.trouble
    lost_at_s = doubts.started_at_s
    if memory.good is not None:
        lost_at_s = memory.good.taken_at_s + limits.stale_after_s
    since_at_s = min(lost_at_s, now_s)
    underlying = f"; last: {trouble.reason.value}, {trouble.detail}" if trouble else ""
    if doubts.noisy_since_s is not None:
        detail = f"checksum errors in more than {NOISE_SHARE_MAX:.0%} of an hour's reads{underlying}"
        return Rejected(reason=Rejection.NOISY, since_at_s=doubts.noisy_since_s, detail=detail)
    if memory.raw_at_s == _NEVER_S:
        return Rejected(reason=Rejection.NEVER_SEEN, since_at_s=since_at_s, detail="no read has ended yet")
    old = now_s - memory.raw_at_s > limits.stale_after_s
    if trouble is None or (old and trouble.reason is not Rejection.HUNG):
        detail = f"no newer reading{underlying}"
        return Rejected(reason=Rejection.STALE, since_at_s=since_at_s, detail=detail)
    if memory.good is None and trouble.reason is Rejection.ABSENT:
        detail = f"{trouble.reason.value} since the start, {trouble.detail}"
        return Rejected(reason=Rejection.NEVER_SEEN, since_at_s=since_at_s, detail=detail)
    return Rejected(reason=trouble.reason, since_at_s=since_at_s, detail=trouble.detail)
