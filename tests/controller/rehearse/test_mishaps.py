"""Mishaps in words: what is understood, what is refused, and that nothing else can happen."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from typing import TypeVar

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.config.records import FrameSettings, Settings
from controller.rehearse.mishaps import (
    BITS_BY_STEP,
    FAULT_EXAMPLE,
    NATURE_EXAMPLE,
    NATURE_RANGES,
    MishapError,
    parse_fault,
    parse_faults,
    parse_nature,
    parse_natures,
)
from controller.rehearse.probes import FaultKind, ProbeFault, ProbeNature
from controller.sense.scratchpad import encode_scratchpad, examine
from controller.vocabulary import FrameName, Place, ProbeId
from tests.controller.rehearse.lab import SOUTH, example

FROM = datetime(2001, 11, 1, tzinfo=UTC)
UNTIL = datetime(2002, 5, 1, tzinfo=UTC)
ONE = example()
Read = TypeVar("Read")
NORTH = FrameName("north")
DAY_S = 86400.0


def with_north() -> Settings:
    """A second frame with air and bed probes of its own, and the site's outside probe."""
    south = ONE.frames[SOUTH]
    probes = {
        Place.AIR: ProbeId("28-0000000000a1"),
        Place.BED: ProbeId("28-0000000000b1"),
        Place.OUTSIDE: south.probes[Place.OUTSIDE],
    }
    north: FrameSettings = replace(south, name=NORTH, probes=probes)
    return replace(ONE, frames={SOUTH: south, NORTH: north})


TWO = with_north()


def fault(words: str, settings: Settings = ONE) -> ProbeFault:
    return parse_fault(words, settings, FROM, UNTIL)


def probe_at(place: Place, frame: FrameName = SOUTH, settings: Settings = ONE) -> ProbeId:
    return settings.frames[frame].probes[place]


def refusal(words: str, settings: Settings = ONE) -> str:
    with pytest.raises(MishapError) as raised:
        fault(words, settings)
    assert repr(words) in str(raised.value)
    return str(raised.value)


def nature_refusal(words: str) -> str:
    with pytest.raises(MishapError) as raised:
        parse_nature(words, ONE)
    assert repr(words) in str(raised.value)
    return str(raised.value)


def test_a_fault_is_read_as_it_is_written() -> None:
    """Six hours from two in the morning of the 24th of December, Dublin being on UTC then."""
    start_s = 53 * DAY_S + 2 * 3600.0
    assert fault(FAULT_EXAMPLE) == ProbeFault(
        probe=probe_at(Place.AIR), kind=FaultKind.STUCK, from_s=start_s, until_s=start_s + 6 * 3600.0
    )


def test_a_start_is_local_to_the_site() -> None:
    """In Dublin's summer time half past three is half past two UTC."""
    assert (
        fault("air:hung@2002-04-10T03:30").from_s
        == (datetime(2002, 4, 10, 2, 30, tzinfo=UTC) - FROM).total_seconds()
    )


def test_of_an_hour_that_comes_twice_the_first_is_meant() -> None:
    """01:30 on 27 October 2002 in Dublin comes at 00:30 and at 01:30 UTC."""
    begins = datetime(2002, 10, 1, tzinfo=UTC)
    read = parse_fault("air:hung@2002-10-27T01:30", ONE, begins, datetime(2002, 11, 1, tzinfo=UTC))
    assert read.from_s == (datetime(2002, 10, 27, 0, 30, tzinfo=UTC) - begins).total_seconds()


def test_an_hour_that_spring_leaves_out_is_refused() -> None:
    """01:30 on 31 March 2002 is on no clock in Dublin."""
    assert "does not exist in Europe/Dublin" in refusal("air:hung@2002-03-31T01:30")


def test_without_a_length_a_fault_stays() -> None:
    assert fault("bed:absent@2001-11-01T00:00").until_s == math.inf
    assert fault("bed:absent@2001-11-01T00:00").from_s == 0.0


@pytest.mark.parametrize(
    ("words", "length_s"), [("90min", 5400.0), ("6h", 21600.0), ("3d", 259200.0), ("1d12h30min", 131400.0)]
)
def test_lengths_are_days_hours_and_minutes(words: str, length_s: float) -> None:
    read = fault(f"air:crc@2001-12-01T00:00+{words}")
    assert read.until_s - read.from_s == length_s


def test_a_jump_and_a_drift_carry_their_amounts() -> None:
    jump, drift = fault("air:jump=-2.5@2001-12-01T00:00"), fault("air:drift=+0.1@2001-12-01T00:00")
    assert (jump.kind, jump.jump_k, jump.drift_k_per_day) == (FaultKind.JUMP, -2.5, 0.0)
    assert (drift.kind, drift.jump_k, drift.drift_k_per_day) == (FaultKind.DRIFT, 0.0, 0.1)


@pytest.mark.parametrize("kind", list(FaultKind))
def test_every_kind_has_its_word(kind: FaultKind) -> None:
    amount = "=1" if kind in {FaultKind.JUMP, FaultKind.DRIFT} else ""
    assert fault(f"south.cable:{kind.value}{amount}@2001-12-01T00:00").kind is kind


def test_the_frame_may_be_left_out_where_one_probe_only_can_be_meant() -> None:
    """Two frames: air is the one's or the other's, cable is south's alone, outside is the site's."""
    at = "@2001-12-01T00:00"
    assert fault("north.air:hung" + at, TWO).probe == probe_at(Place.AIR, NORTH, TWO)
    assert fault("cable:hung" + at, TWO).probe == probe_at(Place.CABLE)
    assert fault("outside:hung" + at, TWO).probe == ONE.site.outside_probe
    told = refusal("air:hung" + at, TWO)
    assert "say whose, such as south.air" in told
    assert "south, north" in told


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("", "is not of the form"),
        ("air", FAULT_EXAMPLE),
        ("air:hung", FAULT_EXAMPLE),
        ("air@2001-12-01T00:00", FAULT_EXAMPLE),
        (
            "shed:hung@2001-12-01T00:00",
            "no probe hangs at 'shed'; there are air, air_second, bed, cable, outside",
        ),
        ("guard:hung@2001-12-01T00:00", "no probe hangs at 'guard'"),
        ("south.:hung@2001-12-01T00:00", "no probe hangs at ''; frame south has air"),
        ("east.air:hung@2001-12-01T00:00", "no frame 'east'; frames are south"),
        (
            "air:lost@2001-12-01T00:00",
            "kinds are absent, hung, crc, power_on, starved, shorted, silent, stuck",
        ),
        ("air:hung=3@2001-12-01T00:00", "hung has no amount"),
        ("air:hung=@2001-12-01T00:00", "hung has no amount"),
        ("air:jump@2001-12-01T00:00", "needs an amount in K"),
        ("air:jump=0@2001-12-01T00:00", "not zero"),
        ("air:jump=nan@2001-12-01T00:00", "needs an amount"),
        ("air:jump=51@2001-12-01T00:00", "up to 50 either way"),
        ("air:drift=1e3@2001-12-01T00:00", "needs an amount in K a day"),
        ("air:hung@2001-13-01T00:00", "is no start"),
        ("air:hung@2001-12-01", "is no start"),
        ("air:hung@2001-12-01T00:00Z", "is no start"),
        ("air:hung@0001-01-01T00:00", "is outside the rehearsal"),
        ("air:hung@0000-01-01T00:00", "is no start"),
        ("air:hung@2001-10-31T23:59", "runs from 2001-11-01T00:00 to before 2002-05-01T01:00"),
        ("air:hung@2002-05-01T01:00", "choose a start inside it"),
        ("air:hung@2001-12-01T00:00+", "is no length"),
        ("air:hung@2001-12-01T00:00+0h", "is no length"),
        ("air:hung@2001-12-01T00:00+6", "+6h, +90min or +1d12h"),
        ("air:hung@2001-12-01T00:00+3h2d", "in this order"),
    ],
)
def test_a_mistake_is_refused_with_what_would_be_right(words: str, said: str) -> None:
    assert said in refusal(words)


def test_two_faults_that_overlap_on_one_probe_are_refused() -> None:
    """Both are named; one that begins where the other ends does not overlap, nor one of another probe."""
    first, second = "air:hung@2001-12-01T00:00+6h", "air:crc@2001-12-01T05:00+1h"
    with pytest.raises(MishapError, match="overlap on one probe") as raised:
        parse_faults([second, first], ONE, FROM, UNTIL)
    assert repr(first) in str(raised.value)
    assert repr(second) in str(raised.value)
    with pytest.raises(MishapError, match="overlap"):
        parse_faults(["air:hung@2001-12-01T00:00", "south.air:crc@2002-02-01T00:00"], ONE, FROM, UNTIL)
    apart = parse_faults(
        ["air:crc@2001-12-01T06:00+1h", first, "bed:crc@2001-12-01T05:00+1h"], ONE, FROM, UNTIL
    )
    assert [each.kind for each in apart] == [FaultKind.HUNG, FaultKind.CRC, FaultKind.CRC]
    assert [each.from_s for each in apart] == sorted(each.from_s for each in apart)


def test_a_nature_is_read_as_it_is_written() -> None:
    """What is not named stays as it usually is."""
    probe, nature = parse_nature(
        "bed:offset_k=-0.5,noise_k=0.1,lag_s=60,step_k=0.5,drift_k_per_day=0.02", ONE
    )
    assert probe == probe_at(Place.BED)
    assert nature == ProbeNature(
        offset_k=-0.5, noise_k=0.1, lag_s=60.0, resolution_bits=9, drift_k_per_day=0.02
    )
    usual = ProbeNature()
    assert parse_nature(NATURE_EXAMPLE, ONE)[1] == replace(usual, offset_k=-0.5, resolution_bits=10)


@pytest.mark.parametrize("step_k", BITS_BY_STEP)
def test_a_step_is_the_one_that_the_chip_then_shows(step_k: float) -> None:
    """The bytes of a chip of that resolution move in exactly the step that was asked for."""
    nature = parse_nature(f"air:step_k={step_k}", ONE)[1]
    shown = {
        examine(encode_scratchpad(each / 100, nature.resolution_bits)).sixteenths / 16 for each in range(200)
    }
    ordered = sorted(shown)
    assert {late - early for early, late in pairwise(ordered)} == {step_k}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("", "is not of the form"),
        ("air", NATURE_EXAMPLE),
        ("air:", "names are offset_k, noise_k, lag_s, step_k, drift_k_per_day"),
        ("air:gain=2", "'gain=2' is no NAME=NUMBER"),
        ("air:offset_k", "'offset_k' is no NAME=NUMBER"),
        ("air:offset_k=1,", "'' is no NAME=NUMBER"),
        ("air:offset_k=1,offset_k=2", "offset_k stands there twice"),
        ("air:offset_k=warm", "'warm' does not fit offset_k; write a number from -20 to 20"),
        ("air:noise_k=-1", "write a number from 0 to 5"),
        ("air:lag_s=inf", "write a number from 0 to 7200"),
        ("air:step_k=0.3", "step_k is one of 0.5, 0.25, 0.125, 0.0625"),
        ("pond:offset_k=1", "no probe hangs at 'pond'"),
    ],
)
def test_a_nature_with_a_mistake_is_refused_with_what_would_be_right(words: str, said: str) -> None:
    assert said in nature_refusal(words)


def test_a_probe_is_described_once() -> None:
    natures = parse_natures(["air:offset_k=0.5", "outside:lag_s=300"], ONE)
    assert set(natures) == {probe_at(Place.AIR), probe_at(Place.OUTSIDE)}
    with pytest.raises(MishapError, match="described already"):
        parse_natures(["air:offset_k=0.5", "south.air:lag_s=300"], ONE)


def test_a_long_text_is_cut_in_its_refusal() -> None:
    with pytest.raises(MishapError) as raised:
        fault("x" * 100_000)
    assert len(str(raised.value)) < 500


PIECES = [
    *("air", "south", "outside", ".", ":", "=", "@", "+", ",", "stuck", "jump", "drift", "-2.5", "nan", "6h"),
    *("2001-12-24T02:00", "9999-12-31T23:59", "0001-01-01T00:00", "2002-03-31T01:30", "1d", "٣h", "0.25"),
    *NATURE_RANGES,
    *("9" * 400, "\x00", "\ud800", "²"),
]
PILES = st.lists(st.sampled_from(PIECES), max_size=9).map("".join)
SOUND = [
    "south.air:jump=-2.5@2001-12-24T02:00+1d6h",
    FAULT_EXAMPLE,
    "south.air:step_k=0.25,lag_s=60",
    NATURE_EXAMPLE,
]
SLIPS = st.builds(
    lambda words, at, gone, put: words[:at] + put + words[at + gone :],
    st.sampled_from(SOUND),
    st.integers(0, 40),
    st.integers(0, 3),
    st.sampled_from(PIECES) | st.text(max_size=2),
)
"""Sound words with one slip in them."""


def refused_or(read: Callable[[], Read]) -> Read | None:
    """What was read; None where it was refused with a remedy."""
    try:
        return read()
    except MishapError as error:
        told = str(error)
    assert "; " in told
    return None


@given(st.text() | PILES | SLIPS)
def test_any_text_gives_a_fault_or_its_own_refusal(words: str) -> None:
    """Nothing that can be typed makes anything else happen; a fault that is given is a sound one."""
    read = refused_or(lambda: fault(words, TWO))
    if read is not None:
        assert 0.0 <= read.from_s < read.until_s
        assert (read.jump_k != 0.0) == (read.kind is FaultKind.JUMP)
        assert (read.drift_k_per_day != 0.0) == (read.kind is FaultKind.DRIFT)


@given(st.text() | PILES | SLIPS)
def test_any_text_gives_a_nature_or_its_own_refusal(words: str) -> None:
    """And whatever nature is given makes bytes that are sound."""
    read = refused_or(lambda: parse_nature(words, TWO))
    if read is not None:
        nature = read[1]
        assert examine(encode_scratchpad(4.0 + nature.offset_k, nature.resolution_bits)).flaw is None


@given(
    st.sampled_from(["air", "south.bed", "outside"]),
    st.sampled_from(list(FaultKind)),
    st.datetimes(datetime(2001, 11, 1), datetime(2002, 3, 30)),  # noqa: DTZ001  # local, as typed
    st.integers(1, 10_000),
)
def test_what_is_well_formed_is_understood(
    where: str, kind: FaultKind, start: datetime, minutes: int
) -> None:
    """Every place, kind, winter minute (Dublin is on UTC then) and length comes out as it went in."""
    start = start.replace(second=0, microsecond=0)
    amount = "=1.5" if kind in {FaultKind.JUMP, FaultKind.DRIFT} else ""
    read = fault(f"{where}:{kind.value}{amount}@{start:%Y-%m-%dT%H:%M}+{minutes}min")
    assert read.kind is kind
    assert read.from_s == (start.replace(tzinfo=UTC) - FROM).total_seconds()
    assert read.until_s == read.from_s + 60.0 * minutes
