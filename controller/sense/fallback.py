"""Which reading rules when probes are lost, and whether frost is likely when all are.

Pure. The coldest trusted air probe rules for frost, the warmest for overheating; without any air
probe the bed stands in with a higher aim; without that nothing does, and silence means the worst.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.vocabulary import AIR_PLACES, ROOT_PLACES, Place, Reading, Readings, Sample

RAISE_WITHOUT_AIR_K = 1.0
FROST_MARGIN_K = 2.0
"""A trusted reading below keep above plus this makes frost likely."""
FROST_MARGIN_BLIND_K = 4.0
"""The same for the last trusted state, once nothing is trusted any more."""
WARM_MEMORY_S = 3 * 3600.0
"""A warm last state says nothing of later: a clear evening falls that far within hours."""


class Basis(NamedTuple):
    """What control goes by in this tick."""

    frost_c: float | None
    """The temperature held against the aim; None where nothing inside can be trusted."""
    raise_k: float
    """By how much the aim is raised because a stand-in is measured."""

    @property
    def stands_in(self) -> bool:
        """Whether it is a root probe that is held against the aim, for want of air."""
        return self.raise_k > 0.0


class FrostMemory(NamedTuple):
    """The coldest of the last trusted state, and when that was; None before the first."""

    coldest_c: float | None = None
    seen_at_s: float = 0.0


def choose_basis(readings: Readings) -> Basis:
    """The coldest trusted air; without any, the coldest trusted root probe with a raised aim.

    The cable and the wall never stand in for air, nor does the outside.
    """
    air_c = _coldest(readings, AIR_PLACES)
    if air_c is not None:
        return Basis(frost_c=air_c, raise_k=0.0)
    root_c = _coldest(readings, ROOT_PLACES)
    return Basis(frost_c=root_c, raise_k=0.0 if root_c is None else RAISE_WITHOUT_AIR_K)


def _coldest(readings: Readings, places: tuple[Place, ...]) -> float | None:
    """The coldest trusted reading of these places, or None."""
    coldest_c: float | None = None
    for place in places:
        reading = readings.get(place)
        if isinstance(reading, Sample) and (coldest_c is None or reading.temp_c < coldest_c):
            coldest_c = reading.temp_c
    return coldest_c


def remember_frost(memory: FrostMemory, basis: Basis, outside: Reading | None, now_s: float) -> FrostMemory:
    """The last trusted state, brought up to date where there is one."""
    coldest_c = _coldest_now(basis, outside)
    return memory if coldest_c is None else FrostMemory(coldest_c=coldest_c, seen_at_s=now_s)


def frost_likely(
    memory: FrostMemory, basis: Basis, outside: Reading | None, keep_above_c: float, now_s: float
) -> bool:
    """Whether frost must be reckoned with in the next hours.

    With a trusted reading inside or outside, the colder one decides. With none, the last trusted
    state decides while it is young; an old warm one, or none at all, counts as frost.
    """
    coldest_c = _coldest_now(basis, outside)
    if coldest_c is not None:
        return coldest_c < keep_above_c + FROST_MARGIN_K
    if memory.coldest_c is None or not 0.0 <= now_s - memory.seen_at_s <= WARM_MEMORY_S:
        return True
    return memory.coldest_c < keep_above_c + FROST_MARGIN_BLIND_K


def _coldest_now(basis: Basis, outside: Reading | None) -> float | None:
    """The colder of the air inside and the trusted outside; None with neither.

    A bed that stands in for the air holds the day's warmth and says nothing of frost at the leaves.
    """
    outside_c = outside.temp_c if isinstance(outside, Sample) else None
    air_c = None if basis.stands_in else basis.frost_c
    if air_c is None or outside_c is None:
        return outside_c if air_c is None else air_c
    return min(air_c, outside_c)
