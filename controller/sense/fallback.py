"""Which reading rules when probes are lost, and whether frost is likely when all are.

Pure. The coldest trusted air probe rules for frost, the warmest for overheating; without any air
probe the bed stands in with a higher aim; without that nothing does, and silence means the worst.
"""

from __future__ import annotations

from dataclasses import dataclass

from controller.vocabulary import AIR_PLACES, ROOT_PLACES, Level, Place, Reading, Readings, Sample

RAISE_WITHOUT_AIR_K = 1.0
FROST_MARGIN_K = 2.0
"""A trusted reading below keep above plus this makes frost likely."""
FROST_MARGIN_BLIND_K = 4.0
"""The same for the last trusted state, once nothing is trusted any more."""
WARM_MEMORY_S = 3 * 3600.0
"""A warm last state says nothing of later: a clear evening falls that far within hours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """What control goes by in this tick; None where no trusted reading gives it."""

    frost_c: float | None
    """The temperature held against the aim."""
    frost_place: Place | None
    warmest_air_c: float | None
    root_c: float | None
    """The warmest trusted of bed and guard."""
    level: Level
    raise_k: float
    """By how much the aim is raised because a stand-in is measured."""
    air_spread_k: float = 0.0
    """By how much trusted air probes disagree; 0 with fewer than two."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrostMemory:
    """The coldest of the last trusted state, and when that was; None before the first."""

    coldest_c: float | None = None
    seen_at_s: float = 0.0


def choose_basis(readings: Readings, fitted: frozenset[Place]) -> Basis:
    """The basis for one frame; a fitted place missing from ``readings`` counts as lost.

    BLIND says that nothing inside is trusted; whether heat may run then is not decided here.
    The cable and the wall never stand in for air, nor does the outside.
    """
    air = {place: reading.temp_c for place in AIR_PLACES if (reading := _trusted(readings, place))}
    root = {place: reading.temp_c for place in ROOT_PLACES if (reading := _trusted(readings, place))}
    lost = any(_trusted(readings, place) is None for place in fitted if place is not Place.WALL)
    level, raise_k = (Level.REDUCED if lost else Level.NORMAL), 0.0
    ruling = air
    if not air:
        ruling, raise_k = root, RAISE_WITHOUT_AIR_K if root else 0.0
        level = Level.REDUCED if root else Level.BLIND
    frost_place = min(ruling, key=ruling.__getitem__) if ruling else None
    coldest_c = ruling[frost_place] if frost_place else None
    warmest_air_c = max(air.values()) if air else None
    return Basis(
        frost_c=coldest_c,
        frost_place=frost_place,
        warmest_air_c=warmest_air_c,
        root_c=max(root.values()) if root else None,
        level=level,
        raise_k=raise_k,
        air_spread_k=warmest_air_c - coldest_c
        if warmest_air_c is not None and coldest_c is not None
        else 0.0,
    )


def _trusted(readings: Readings, place: Place) -> Sample | None:
    """The place's sample, or None."""
    reading = readings.get(place)
    return reading if isinstance(reading, Sample) else None


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
    """The colder of what rules inside and the trusted outside; None with neither."""
    outside_c = outside.temp_c if isinstance(outside, Sample) else None
    if basis.frost_c is None or outside_c is None:
        return outside_c if basis.frost_c is None else basis.frost_c
    return min(basis.frost_c, outside_c)
