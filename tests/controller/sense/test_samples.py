"""Judging one probe's readings: each fault of the matrix, and what always holds."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from controller.sense.samples import (
    CANDIDATES_NEEDED,
    NOISE_FAILURES_MIN,
    NOISE_RECORD_MIN_S,
    NOISE_SHARE_CLEAR,
    NOISE_SHARE_MAX,
    NOISE_WINDOW_S,
    STALE_INTERVALS,
    ProbeMemory,
    SampleLimits,
    fresh_memory,
    judge_reading,
    limits_for,
)
from controller.sense.scratchpad import RawReading, ReadFailure, Scratchpad
from controller.vocabulary import Place, Reading, Rejected, Rejection, Sample
from tests.fakes import POWER_ON_BYTES, chip_bytes, slow_crc8

STEP_S = 10.0
AIR = limits_for(Place.AIR, STEP_S)
BED = limits_for(Place.BED, STEP_S)
CABLE = limits_for(Place.CABLE, STEP_S)
STARVED_BYTES = bytes.fromhex("ff074b467fff0c10a6")


def sound(temp_c: float, at_s: float, bits: int = 12) -> Scratchpad:
    return Scratchpad(data=chip_bytes(temp_c, bits), taken_at_s=at_s)


def bad_crc(at_s: float) -> Scratchpad:
    good = chip_bytes(3.0)
    return Scratchpad(data=bytes([good[0] ^ 1]) + good[1:], taken_at_s=at_s)


def failure(reason: Rejection, at_s: float) -> ReadFailure:
    return ReadFailure(reason=reason, detail=f"why {reason.value}", taken_at_s=at_s)


class Probe:
    """Feeds one probe read by read, one interval apart."""

    def __init__(self, limits: SampleLimits = AIR, *, offset_k: float = 0.0, now_s: float = 0.0) -> None:
        self.limits = limits
        self.offset_k = offset_k
        self.now_s = now_s
        self.memory: ProbeMemory = fresh_memory(now_s)

    def judge(self, raw: RawReading | None, now_s: float) -> Reading:
        """Hand in one read, or the same again, or none."""
        self.memory, reading = judge_reading(self.memory, raw, now_s, self.limits, self.offset_k)
        return reading

    def take(self, content: float | bytes | Rejection) -> Reading:
        """One interval later, one new read."""
        self.now_s += self.limits.sample_interval_s
        raw: RawReading
        if isinstance(content, Rejection):
            raw = failure(content, self.now_s)
        elif isinstance(content, bytes):
            raw = Scratchpad(data=content, taken_at_s=self.now_s)
        else:
            raw = sound(content, self.now_s)
        return self.judge(raw, self.now_s)


def temp_of(reading: Reading) -> float:
    assert isinstance(reading, Sample), reading
    return reading.temp_c


def reason_of(reading: Reading) -> Rejection:
    assert isinstance(reading, Rejected), reading
    return reading.reason


def test_a_sound_reading_becomes_a_corrected_sample() -> None:
    """The offset is added; instant and resolution come along."""
    probe = Probe(offset_k=-0.3125)
    assert probe.judge(sound(1.0, 3.0), 5.0) == Sample(temp_c=0.6875, taken_at_s=3.0, resolution_bits=12)


@pytest.mark.parametrize(("bits", "temp_c"), [(9, 3.5), (10, 3.75), (11, 3.875)])
def test_a_coarser_chip_works_and_says_so(bits: int, temp_c: float) -> None:
    """P18: resolution below 12 bits is reported, not refused."""
    reading = Probe().judge(sound(temp_c, 1.0, bits), 1.0)
    assert reading == Sample(temp_c=temp_c, taken_at_s=1.0, resolution_bits=bits)


def test_a_probe_nobody_has_read_is_never_seen() -> None:
    """Since the start, with no number at all."""
    reading = Probe(now_s=7.0).judge(None, 9.0)
    assert isinstance(reading, Rejected)
    assert (reading.reason, reading.since_at_s) == (Rejection.NEVER_SEEN, 7.0)


def test_a_probe_absent_since_the_start_is_never_seen_with_its_reason() -> None:
    """Never seen is not the same as lost."""
    probe = Probe()
    reading = probe.take(Rejection.ABSENT)
    assert isinstance(reading, Rejected)
    assert reading.reason is Rejection.NEVER_SEEN
    assert "absent" in reading.detail
    probe.take(3.0)
    for _ in range(4):
        reading = probe.take(Rejection.ABSENT)
    assert reason_of(reading) is Rejection.ABSENT


@pytest.mark.parametrize(
    "content",
    [
        Rejection.ABSENT,
        Rejection.HUNG,
        Rejection.BUS_ERROR,
        Rejection.GARBLED,
        Rejection.EMPTY,
        Rejection.CRC,
        Rejection.SILENT,
        Rejection.SHORTED,
        POWER_ON_BYTES,
        STARVED_BYTES,
        bytes(9),
        b"\xff" * 9,
        b"\x01\x02",
        chip_bytes(-127.0),
        chip_bytes(59.0),
        chip_bytes(61.0),
    ],
)
def test_one_bad_reading_leaves_the_last_good_one_in_service(content: bytes | Rejection) -> None:
    """P05, P07, P08, P14, P16: the previous sample serves until it is stale, then the reason is named."""
    probe = Probe()
    good = probe.take(3.0)
    assert probe.take(content) == good
    assert temp_of(probe.take(3.0625)) == 3.0625
    kept_at_s = probe.now_s
    served: list[Reading] = []
    for _ in range(5):
        # Jumping between two far values, so that SLEW readings never agree on a new level.
        changed = chip_bytes(-39.0) if content == chip_bytes(59.0) and len(served) % 2 else content
        served.append(probe.take(changed))
    assert [isinstance(reading, Sample) for reading in served[:3]] == [True] * 3
    last = served[-1]
    assert isinstance(last, Rejected)
    assert last.since_at_s == kept_at_s + AIR.stale_after_s
    assert last.detail


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (POWER_ON_BYTES, Rejection.POWER_ON),
        (chip_bytes(85.0), Rejection.POWER_ON),
        (STARVED_BYTES, Rejection.STARVED),
        (bytes(9), Rejection.SHORTED),
        (b"\xff" * 9, Rejection.SILENT),
        (b"", Rejection.GARBLED),
        (chip_bytes(3.0) + b"\x00", Rejection.GARBLED),
        (chip_bytes(-127.0), Rejection.OUT_OF_RANGE),
        (chip_bytes(60.0625), Rejection.OUT_OF_RANGE),
        (chip_bytes(-40.0625), Rejection.OUT_OF_RANGE),
    ],
)
def test_lasting_faults_are_absent_under_their_own_name(content: bytes, reason: Rejection) -> None:
    """P07, P08, P16: repeated, each is absent with its reason, from the first read on."""
    probe = Probe()
    readings = [probe.take(content) for _ in range(3)]
    assert [reason_of(reading) for reading in readings] == [reason] * 3


def test_a_config_byte_that_no_chip_has_is_garbled() -> None:
    """A checksum that fits does not make an impossible scratchpad believable."""
    body = bytes.fromhex("3000 4b46 00ff 1010")
    assert reason_of(Probe().take(body + bytes([slow_crc8(body)]))) is Rejection.GARBLED


def test_power_on_value_is_refused_at_first_sight_even_where_it_is_in_range() -> None:
    """P07: a cable may reach 85 °C, but not out of nothing, with byte 6 unmarked as clones leave it."""
    assert reason_of(Probe(CABLE).take(85.0)) is Rejection.POWER_ON
    probe = Probe(CABLE)
    probe.take(20.0)
    assert temp_of(probe.take(85.0)) == 20.0
    for _ in range(4):
        last = probe.take(85.0)
    assert reason_of(last) is Rejection.POWER_ON


def test_a_cable_that_warms_through_85_is_believed() -> None:
    """Exactly 85.00 after 84.5 is a measurement, as long as byte 6 does not deny it."""
    probe = Probe(CABLE)
    probe.take(84.5)
    assert temp_of(probe.take(85.0)) == 85.0


@pytest.mark.parametrize(("limits", "spike_k"), [(AIR, 5.0), (AIR, -5.0), (BED, 1.0), (BED, -5.0)])
def test_single_spikes_change_nothing(limits: SampleLimits, spike_k: float) -> None:
    """P14: every third reading a spike; no reading of the spike is ever served."""
    probe = Probe(limits)
    probe.take(4.0)
    served = [temp_of(probe.take(4.0 + (spike_k if step % 3 == 1 else 0.0))) for step in range(30)]
    assert served == [4.0] * 30


@pytest.mark.parametrize(
    ("limits", "allowed_k"), [(AIR, 10 / 6 + 0.125), (BED, 0.5 + 0.125), (CABLE, 20 / 6 + 0.125)]
)
def test_the_allowed_step_is_the_rate_of_the_place_and_two_steps_of_the_chip(
    limits: SampleLimits, allowed_k: float
) -> None:
    """10 K/min air, 3 K/min soil, 20 K/min cable (common practice, no source)."""
    within_c = 5.0 + math.floor(allowed_k * 16) / 16
    probe = Probe(limits)
    probe.take(5.0)
    assert temp_of(probe.take(within_c)) == within_c
    probe = Probe(limits)
    probe.take(5.0)
    assert temp_of(probe.take(within_c + 0.0625)) == 5.0


def test_an_impossible_ramp_is_refused_while_it_lasts() -> None:
    """P15: 20 K/min in air; afterwards the level that stays is taken after three readings."""
    probe = Probe()
    probe.take(0.0)
    readings = [probe.take(20 / 6 * step) for step in range(1, 15)]
    assert all(temp_of(reading) == 0.0 for reading in readings[:3])
    assert {reason_of(reading) for reading in readings[3:]} == {Rejection.SLEW}
    top_c = 20 / 6 * 14
    after = [probe.take(top_c) for _ in range(3)]
    assert isinstance(after[-1], Sample)
    assert abs(after[-1].temp_c - top_c) < 0.04


def test_a_new_level_is_taken_after_three_readings_that_agree() -> None:
    """P15, P21: a cover taken off or a probe moved is no fault for long, and no gap opens meanwhile."""
    probe = Probe(BED)
    probe.take(12.0)
    readings = [probe.take(temp_c) for temp_c in (4.0, 4.0625, 3.9375, 3.9375)]
    assert [temp_of(reading) for reading in readings] == [12.0, 12.0, 3.9375, 3.9375]


def test_two_far_readings_that_disagree_start_the_count_anew() -> None:
    """Company must agree with every candidate before it."""
    probe = Probe(BED)
    probe.take(12.0)
    readings = [probe.take(temp_c) for temp_c in (4.0, 20.0, 4.0, 4.0, 4.0)]
    assert [isinstance(reading, Sample) for reading in readings] == [True, True, True, False, True]
    assert temp_of(readings[-1]) == 4.0


def test_a_checksum_error_between_does_not_spoil_the_count() -> None:
    """Only another sound reading can contradict a candidate."""
    probe = Probe(BED)
    probe.take(12.0)
    for content in (4.0, Rejection.CRC, 4.0, 4.0):
        last = probe.take(content)
    assert temp_of(last) == 4.0


def test_checksum_errors_below_the_share_stay_quiet_and_counted() -> None:
    """P05: one in twenty-five over two hours is discarded, counted, and never makes the probe absent."""
    probe = Probe()
    probe.take(3.0)
    for step in range(720):
        reading = probe.take(Rejection.CRC if step % 25 == 12 else 3.0)
        assert isinstance(reading, Sample)
    hour = [at_s for at_s in probe.memory.doubts.crc_failed_at_s if at_s > probe.now_s - NOISE_WINDOW_S]
    assert len(hour) in {14, 15}


def test_a_noisy_probe_is_absent_until_it_has_been_quiet_for_long() -> None:
    """P06: above 5 % of an hour's reads absent, below 2 % back; no flapping between."""
    probe = Probe()
    for _ in range(360):
        probe.take(3.0)
    verdicts = [probe.take(bad_crc(probe.now_s).data if step % 10 == 5 else 3.0) for step in range(360)]
    noisy = [isinstance(reading, Rejected) for reading in verdicts]
    first = noisy.index(True)
    assert 150 <= first <= 200, "the nineteenth error in an hour is more than 5 % of 360"
    assert all(noisy[first:])
    last = verdicts[-1]
    assert isinstance(last, Rejected)
    assert last.reason is Rejection.NOISY
    quiet = [isinstance(probe.take(3.0), Sample) for _ in range(400)]
    back = quiet.index(True)
    assert 250 <= back <= 330, "at 2 % of 360 seven errors may be left in the hour"
    assert all(quiet[back:])


def test_a_storm_of_checksum_errors_ends_as_noisy_with_the_cause_kept() -> None:
    """P06: errors only."""
    probe = Probe()
    probe.take(3.0)
    for _ in range(40):
        last = probe.take(Rejection.CRC)
    assert isinstance(last, Rejected)
    assert last.reason is Rejection.NOISY
    assert "crc" in last.detail


def test_a_few_checksum_errors_at_the_start_are_not_noise() -> None:
    """A short record proves nothing: nine errors in the first half hour are borne, ten are not."""
    probe = Probe()
    for _ in range(9):
        probe.take(Rejection.CRC)
    assert temp_of(probe.take(3.0)) == 3.0
    assert reason_of(probe.take(Rejection.CRC)) is Rejection.NOISY


def test_no_new_read_makes_a_reading_stale_with_the_last_trouble_kept() -> None:
    """P25, I4: age counts from the conversion; a reader that died is stale, whatever came last."""
    probe = Probe()
    probe.judge(sound(3.0, 10.0), 10.0)
    raw = failure(Rejection.GARBLED, 20.0)
    assert isinstance(probe.judge(raw, 40.0), Sample)
    named = probe.judge(raw, 40.1)
    assert isinstance(named, Rejected)
    assert named.reason is Rejection.GARBLED
    stale = probe.judge(raw, 51.0)
    assert isinstance(stale, Rejected)
    assert stale.reason is Rejection.STALE
    assert "garbled" in stale.detail
    assert stale.since_at_s == 40.0


def test_a_hung_read_stays_hung_however_old_it_grows() -> None:
    """P24: that nothing returns is the very message."""
    probe = Probe()
    probe.judge(sound(3.0, 10.0), 10.0)
    assert reason_of(probe.judge(failure(Rejection.HUNG, 20.0), 500.0)) is Rejection.HUNG


def test_the_same_old_conversion_is_never_served_past_its_age() -> None:
    """I4: seen again and again, it grows old all the same."""
    probe = Probe()
    raw = sound(3.0, 10.0)
    assert isinstance(probe.judge(raw, 40.0), Sample)
    assert reason_of(probe.judge(raw, 40.001)) is Rejection.STALE


def test_a_read_that_comes_back_too_old_is_not_served() -> None:
    """A first conversion older than the limit is stale at once."""
    assert reason_of(Probe().judge(sound(3.0, 10.0), 60.0)) is Rejection.STALE


def test_a_read_from_the_future_waits_for_its_time() -> None:
    """Threads and ticks look at the clock at slightly different instants."""
    probe = Probe()
    raw = sound(3.0, 10.5)
    assert reason_of(probe.judge(raw, 10.0)) is Rejection.NEVER_SEEN
    assert temp_of(probe.judge(raw, 20.0)) == 3.0


def test_a_clock_that_runs_backwards_makes_the_memory_void() -> None:
    """No age can become negative."""
    probe = Probe()
    probe.judge(sound(3.0, 100.0), 100.0)
    assert reason_of(probe.judge(None, 50.0)) is Rejection.NEVER_SEEN
    assert temp_of(probe.judge(sound(4.0, 51.0), 52.0)) == 4.0


def test_equal_numbers_are_counted_from_the_first_of_them() -> None:
    """Whoever asks whether a probe is stuck finds since when its raw number repeats; faults do not end it."""
    probe = Probe()
    probe.take(3.0)
    first_at_s = probe.take(3.0625) and probe.now_s
    for content in (3.0625, Rejection.CRC, 3.0625):
        probe.take(content)
    assert probe.memory.unchanged_since_s == first_at_s
    probe.take(3.0)
    assert probe.memory.unchanged_since_s == probe.now_s


def test_an_offset_that_is_no_number_gives_no_reading() -> None:
    """NaN never enters a decision."""
    assert reason_of(Probe(offset_k=math.nan).take(3.0)) is Rejection.OUT_OF_RANGE


@pytest.mark.parametrize(
    ("place", "min_c", "max_c", "slew_k_per_min"),
    [
        (Place.AIR, -40.0, 60.0, 10.0),
        (Place.AIR_SECOND, -40.0, 60.0, 10.0),
        (Place.OUTSIDE, -40.0, 60.0, 10.0),
        (Place.WALL, -40.0, 60.0, 10.0),
        (Place.BED, -20.0, 60.0, 3.0),
        (Place.GUARD, -20.0, 60.0, 3.0),
        (Place.CABLE, -20.0, 90.0, 20.0),
    ],
)
def test_limits_of_each_place_are_pinned(
    place: Place, min_c: float, max_c: float, slew_k_per_min: float
) -> None:
    """Common practice, no source; both ends of the range are still believed."""
    limits = limits_for(place, 60.0)
    assert limits == SampleLimits(
        min_c=min_c,
        max_c=max_c,
        slew_max_k_per_h=60 * slew_k_per_min,
        stale_after_s=180.0,
        sample_interval_s=60.0,
    )
    for end_c, beyond_c in ((min_c, min_c - 0.0625), (max_c, max_c + 0.0625)):
        assert temp_of(Probe(limits).take(end_c)) == end_c
        assert reason_of(Probe(limits).take(beyond_c)) is Rejection.OUT_OF_RANGE


def test_the_numbers_of_noise_are_pinned() -> None:
    """P06 names 5 % and an hour; the rest is common practice, no source."""
    assert (NOISE_SHARE_MAX, NOISE_WINDOW_S) == (0.05, 3600.0)
    assert (NOISE_SHARE_CLEAR, NOISE_FAILURES_MIN, NOISE_RECORD_MIN_S) == (0.02, 3, 1800.0)
    assert (STALE_INTERVALS, CANDIDATES_NEEDED) == (3, 3)


@pytest.mark.parametrize(("bits", "step_k"), [(9, 0.5), (10, 0.25), (11, 0.125), (12, 0.0625)])
@pytest.mark.parametrize("coarse_first", [True, False])
def test_two_steps_of_the_coarser_reading_are_free(bits: int, step_k: float, *, coarse_first: bool) -> None:
    """P18: a change of resolution alone is never taken for a jump; slow soil, nearly no time between."""
    probe = Probe(BED)
    first, second = (bits, 12) if coarse_first else (12, bits)
    probe.judge(sound(4.0, 100.0, first), 100.0)
    assert temp_of(probe.judge(sound(4.0 + 2 * step_k, 100.01, second), 100.01)) == 4.0 + 2 * step_k
    probe = Probe(BED)
    probe.judge(sound(4.0, 100.0, first), 100.0)
    beyond = sound(4.0 + 3 * step_k, 100.01, second)
    assert temp_of(probe.judge(beyond, 100.01)) == 4.0


@pytest.mark.parametrize(("count", "noisy"), [(18, False), (19, True)])
def test_exactly_five_percent_of_an_hour_is_borne(count: int, *, noisy: bool) -> None:
    """18 of 360 reads is the share itself; one more is above it. The start lies long ago."""
    probe = Probe(now_s=5000.0)
    probe.take(3.0)
    for _ in range(359):
        probe.take(3.0)
    for step in range(360):
        reading = probe.take(Rejection.CRC if step % 19 == 0 and step // 19 < count else 3.0)
    assert isinstance(reading, Rejected) is noisy


@pytest.mark.parametrize(("count", "noisy"), [(13, False), (14, True)])
def test_a_record_shorter_than_an_hour_is_weighed_by_its_own_length(count: int, *, noisy: bool) -> None:
    """After 45 minutes five percent of the reads are 13.5; the start lies long after the clock's zero."""
    probe = Probe(now_s=5000.0)
    for _ in range(270 - count):
        probe.take(3.0)
    for _ in range(count):
        reading = probe.take(Rejection.CRC)
    assert isinstance(reading, Rejected)
    assert (reading.reason is Rejection.NOISY) is noisy


def test_an_error_an_hour_old_no_longer_counts() -> None:
    """The window is open at its old end."""
    probe = Probe()
    probe.take(Rejection.CRC)
    failed_at_s = probe.now_s
    inside_s = failed_at_s + NOISE_WINDOW_S - 0.1
    within = Probe()
    within.take(Rejection.CRC)
    within.judge(failure(Rejection.CRC, inside_s), inside_s)
    assert within.memory.doubts.crc_failed_at_s == (failed_at_s, inside_s)
    probe.judge(failure(Rejection.CRC, failed_at_s + NOISE_WINDOW_S), failed_at_s + NOISE_WINDOW_S)
    assert probe.memory.doubts.crc_failed_at_s == (failed_at_s + NOISE_WINDOW_S,)


def test_coarse_steps_need_three_errors_too() -> None:
    """At one read a minute two errors in half an hour are 7 %, and still bad luck."""
    probe = Probe(limits_for(Place.AIR, 60.0))
    probe.take(3.0)
    readings = [probe.take(content) for content in (Rejection.CRC, 3.0, Rejection.CRC, 3.0)]
    assert all(isinstance(reading, Sample) for reading in readings)
    assert reason_of(probe.take(Rejection.CRC)) is Rejection.NOISY


def test_noise_at_the_clearing_share_itself_stays() -> None:
    """Two errors of one hundred reads an hour are 2 %; the probe comes back below that."""
    probe = Probe(limits_for(Place.AIR, 36.0))
    for _ in range(100):
        probe.take(3.0)
    for step in range(12):
        probe.take(Rejection.CRC if step % 2 else 3.0)
    assert probe.memory.doubts.noisy_since_s is not None
    while len(probe.memory.doubts.crc_failed_at_s) > 2:
        assert reason_of(probe.take(3.0)) is Rejection.NOISY
    assert reason_of(probe.take(3.0)) is Rejection.NOISY
    while len(probe.memory.doubts.crc_failed_at_s) > 1:
        reading = probe.take(3.0)
    assert isinstance(reading, Sample)


def test_the_last_reason_is_named_until_its_read_is_stale_too() -> None:
    """Exactly three intervals after the failed read its own reason still stands."""
    probe = Probe()
    raw = failure(Rejection.EMPTY, 20.0)
    assert reason_of(probe.judge(raw, 50.0)) is Rejection.EMPTY
    assert reason_of(probe.judge(raw, 50.1)) is Rejection.STALE


@pytest.mark.parametrize("absent_s", [40.0, 600.0, 36_000.0])
@pytest.mark.parametrize("place", list(Place))
def test_after_a_loss_no_single_odd_reading_is_believed(place: Place, absent_s: float) -> None:
    """P07, P14: however long the loss, one 32.0 or 85.00 out of nothing could lock heat out."""
    for odd_c in (32.0, 85.0):
        probe = Probe(limits_for(place, STEP_S))
        probe.take(4.0)
        probe.now_s += absent_s
        assert isinstance(probe.take(odd_c), Rejected)
        served = [probe.take(4.0) for _ in range(3)]
        assert [temp_of(reading) for reading in served if isinstance(reading, Sample)] == [4.0]


def test_after_a_loss_even_a_likely_reading_waits_for_two_that_agree() -> None:
    """Back is back only after three; meanwhile it is said what is waited for."""
    probe = Probe(BED)
    probe.take(4.0)
    probe.now_s += 600.0
    readings = [probe.take(temp_c) for temp_c in (4.0625, 4.0, 4.0625)]
    for waiting in readings[:2]:
        assert isinstance(waiting, Rejected)
        assert waiting.reason is Rejection.STALE
        assert "3 readings must agree" in waiting.detail
    assert temp_of(readings[2]) == 4.0625


def test_a_gap_that_the_last_good_reading_has_served_through_is_no_loss() -> None:
    """Two reads missed: the third is taken as it comes."""
    probe = Probe(BED)
    probe.take(4.0)
    for _ in range(2):
        probe.take(Rejection.ABSENT)
    assert temp_of(probe.take(4.0625)) == 4.0625


def test_the_power_on_value_is_refused_after_a_loss_even_where_it_is_near() -> None:
    """P07: a cable last seen at 80 °C, gone for a minute, and back with exactly 85.00, again and again."""
    probe = Probe(CABLE)
    probe.take(80.0)
    probe.now_s += 60.0
    assert [reason_of(probe.take(85.0)) for _ in range(4)] == [Rejection.POWER_ON] * 4


@pytest.mark.parametrize("limits", [AIR, BED, CABLE])
def test_candidates_far_apart_in_time_must_agree_as_closely_as_near_ones(limits: SampleLimits) -> None:
    """An hour between two odd readings makes them no likelier company."""
    probe = Probe(limits)
    probe.take(4.0)
    for odd_c in (20.0, 40.0, 20.0, 40.0):
        probe.now_s += 3600.0
        assert isinstance(probe.take(odd_c), Rejected)


CODES = st.integers(min_value=-55 * 16, max_value=125 * 16).map(lambda code: chip_bytes(code / 16))
NEAR = st.integers(min_value=40, max_value=56).map(lambda code: chip_bytes(code / 16))
CONTENTS = st.one_of(
    NEAR,
    NEAR,
    CODES,
    st.binary(min_size=9, max_size=9),
    st.sampled_from([POWER_ON_BYTES, STARVED_BYTES, bytes(9), b"\xff" * 9, b""]),
    st.sampled_from(list(Rejection)),
    st.none(),
)
STEPS = st.lists(
    st.tuples(
        st.sampled_from([0.0, 0.5, 5.0, 10.0, 10.0, 10.0, 29.0, 31.0, 700.0, -3.0, -500.0]),
        st.sampled_from([0.0, 0.0, 0.0, 1.0, 25.0, -4.0]),
        CONTENTS,
    ),
    max_size=40,
)


@settings(max_examples=150, deadline=None)
@given(steps=STEPS, place=st.sampled_from(list(Place)), offset_k=st.sampled_from([-0.5, 0.0, 0.25]))
@example(steps=[(10.0, 0.0, chip_bytes(3.0)), (31.0, 0.0, None)], place=Place.AIR, offset_k=0.0)
def test_every_sample_is_fresh_in_range_and_every_refusal_has_a_reason(
    steps: list[tuple[float, float, bytes | Rejection | None]], place: Place, offset_k: float
) -> None:
    """I4: whatever is read, in whatever order, on a clock that may run backwards."""
    limits = limits_for(place, STEP_S)
    probe = Probe(limits, offset_k=offset_k)
    now_s = 1000.0
    for by_s, lag_s, content in steps:
        now_s += by_s
        raw: RawReading | None = None
        if isinstance(content, Rejection):
            raw = failure(content, now_s - lag_s)
        elif content is not None:
            raw = Scratchpad(data=content, taken_at_s=now_s - lag_s)
        reading = probe.judge(raw, now_s)
        if isinstance(reading, Sample):
            assert limits.min_c <= reading.temp_c <= limits.max_c
            assert 0.0 <= now_s - reading.taken_at_s <= limits.stale_after_s
            assert reading.resolution_bits in {9, 10, 11, 12}
        else:
            assert reading.since_at_s <= now_s
            trouble = probe.memory.doubts.trouble
            if trouble is not None:
                assert (
                    trouble.reason in {reading.reason, Rejection.ABSENT}
                    or trouble.reason.value in reading.detail
                )
        assert judge_reading(probe.memory, raw, now_s, limits, offset_k) == (probe.memory, reading)


@settings(max_examples=100, deadline=None)
@given(moves=st.lists(st.integers(min_value=-26, max_value=26), min_size=1, max_size=60))
def test_a_believable_course_is_never_interrupted(moves: list[int]) -> None:
    """Air that moves by up to 10 K/min within its range is served reading by reading."""
    probe = Probe()
    code = 80
    probe.take(code / 16)
    course = [code]
    for move in moves:
        code = min(max(code + move, -39 * 16), 59 * 16)
        course.append(code)
        assert temp_of(probe.take(code / 16)) == code / 16
    assert all(abs(later - earlier) <= 26 for earlier, later in pairwise(course))
