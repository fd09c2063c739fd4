"""Who rules when probes are lost, and when frost must be reckoned with."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.sense.fallback import (
    FROST_MARGIN_BLIND_K,
    FROST_MARGIN_K,
    RAISE_WITHOUT_AIR_K,
    WARM_MEMORY_S,
    Basis,
    FrostMemory,
    choose_basis,
    frost_likely,
    remember_frost,
)
from controller.vocabulary import Place, Reading, Rejected, Rejection, Sample

LOST = Rejected(reason=Rejection.ABSENT, since_at_s=0.0)
WHOLE: dict[Place, Reading] = {
    place: Sample(temp_c=temp_c, taken_at_s=0.0)
    for place, temp_c in {
        Place.AIR: 3.0,
        Place.AIR_SECOND: 4.0,
        Place.BED: 7.0,
        Place.GUARD: 9.0,
        Place.CABLE: 30.0,
        Place.OUTSIDE: -5.0,
        Place.WALL: 2.0,
    }.items()
}


def basis_without(*lost: Place) -> Basis:
    return choose_basis({**WHOLE, **dict.fromkeys(lost, LOST)})


def sample(temp_c: float) -> Sample:
    return Sample(temp_c=temp_c, taken_at_s=0.0)


def test_the_coldest_air_rules_for_frost() -> None:
    """P26: of two that disagree the colder is believed; the aim is as set."""
    assert basis_without() == Basis(frost_c=3.0, raise_k=0.0)
    basis = choose_basis({Place.AIR: sample(6.0), Place.AIR_SECOND: sample(1.0)})
    assert basis == Basis(frost_c=1.0, raise_k=0.0)


@pytest.mark.parametrize(
    ("lost", "frost_c", "raise_k"),
    [
        ((Place.AIR,), 4.0, 0.0),
        ((Place.AIR_SECOND,), 3.0, 0.0),
        ((Place.AIR, Place.AIR_SECOND), 7.0, RAISE_WITHOUT_AIR_K),
        ((Place.AIR, Place.AIR_SECOND, Place.BED), 9.0, RAISE_WITHOUT_AIR_K),
        ((Place.AIR, Place.AIR_SECOND, Place.BED, Place.GUARD), None, 0.0),
        ((Place.BED, Place.GUARD), 3.0, 0.0),
        ((Place.CABLE,), 3.0, 0.0),
        ((Place.OUTSIDE,), 3.0, 0.0),
        ((Place.WALL,), 3.0, 0.0),
        (tuple(Place), None, 0.0),
    ],
)
def test_each_loss_falls_back_in_order(
    lost: tuple[Place, ...], frost_c: float | None, raise_k: float
) -> None:
    """P01, P02, P03, P29: air, then root, then nothing; cable, wall and outside never stand in for air."""
    assert basis_without(*lost) == Basis(frost_c=frost_c, raise_k=raise_k)


READINGS = st.dictionaries(
    st.sampled_from(list(Place)), st.one_of(st.just(LOST), st.floats(-40, 60).map(sample))
)


@settings(max_examples=100, deadline=None)
@given(readings=READINGS)
def test_frost_is_never_judged_by_a_warmer_probe_than_need_be(readings: dict[Place, Reading]) -> None:
    """The basis is the least trusted air number, else the least root number, else nothing."""
    basis = choose_basis(readings)
    trusted = {place: reading.temp_c for place, reading in readings.items() if isinstance(reading, Sample)}
    air = [trusted[place] for place in (Place.AIR, Place.AIR_SECOND) if place in trusted]
    root = [trusted[place] for place in (Place.BED, Place.GUARD) if place in trusted]
    assert basis.frost_c == min(air or root, default=None)
    assert basis.raise_k == (RAISE_WITHOUT_AIR_K if root and not air else 0.0)


BLIND = basis_without(*Place)
KEEP_C = 2.0


@pytest.mark.parametrize(
    ("inside_c", "outside_c", "likely"),
    [
        (KEEP_C + FROST_MARGIN_K, None, False),
        (KEEP_C + FROST_MARGIN_K - 0.0625, None, True),
        (10.0, KEEP_C + FROST_MARGIN_K - 0.0625, True),
        (10.0, 10.0, False),
        (None, -5.0, True),
        (None, 10.0, False),
    ],
)
def test_frost_is_likely_below_the_margin_inside_or_outside(
    *, inside_c: float | None, outside_c: float | None, likely: bool
) -> None:
    """Keep above + 2 K; the colder of both decides."""
    readings = {} if inside_c is None else {Place.AIR: sample(inside_c)}
    basis = choose_basis(readings)
    outside = LOST if outside_c is None else sample(outside_c)
    assert frost_likely(FrostMemory(), basis, outside, KEEP_C, 0.0) is likely


@pytest.mark.parametrize(
    ("seen_c", "age_s", "likely"),
    [
        (KEEP_C + FROST_MARGIN_BLIND_K - 0.1, 0.0, True),
        (KEEP_C + FROST_MARGIN_BLIND_K - 0.1, 24 * 3600.0, True),
        (KEEP_C + FROST_MARGIN_BLIND_K, 0.0, False),
        (15.0, WARM_MEMORY_S, False),
        (15.0, WARM_MEMORY_S + 1.0, True),
        (15.0, -1.0, True),
    ],
)
def test_silence_means_the_worst_case(*, seen_c: float, age_s: float, likely: bool) -> None:
    """With nothing trusted the last state decides while it is young; later, silence is frost."""
    basis = choose_basis({Place.AIR: sample(seen_c)})
    memory = remember_frost(FrostMemory(), basis, None, 1000.0)
    memory = remember_frost(memory, BLIND, LOST, 1000.0 + age_s)
    assert frost_likely(memory, BLIND, LOST, KEEP_C, 1000.0 + age_s) is likely


def test_the_margins_are_pinned() -> None:
    """P02 names 1 K; the rest is common practice, no source."""
    assert RAISE_WITHOUT_AIR_K == 1.0
    assert (FROST_MARGIN_K, FROST_MARGIN_BLIND_K, WARM_MEMORY_S) == (2.0, 4.0, 10_800.0)


def test_nothing_ever_seen_counts_as_frost() -> None:
    """A start in the dark is a cold start."""
    assert frost_likely(FrostMemory(), BLIND, None, KEEP_C, 0.0)


def test_the_memory_holds_the_colder_of_inside_and_outside() -> None:
    """An outside reading alone is a trusted state too."""
    assert remember_frost(FrostMemory(), basis_without(), WHOLE[Place.OUTSIDE], 5.0) == FrostMemory(
        coldest_c=-5.0, seen_at_s=5.0
    )
    assert remember_frost(FrostMemory(), BLIND, sample(-2.0), 6.0).coldest_c == -2.0
