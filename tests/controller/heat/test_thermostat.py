"""The thermostat: two points with a look ahead, minimum times, bottom heat, a bounded blind cycle."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.heat.thermostat import (
    ThermostatInput,
    ThermostatMemory,
    ThermostatSettings,
    Wish,
    WishReason,
    fresh_thermostat,
    slope_c_per_h,
    step_thermostat,
)

PLAIN = ThermostatSettings(
    keep_above_c=2.0,
    differential_k=1.0,
    min_on_s=180.0,
    min_off_s=180.0,
    lead_s=0.0,
    leaf_allowance_k=0.0,
)
LEADING = replace(PLAIN, lead_s=1800.0)


@dataclass(slots=True)
class Bench:
    """A thermostat whose relay obeys it at once."""

    settings: ThermostatSettings
    memory: ThermostatMemory
    now_s: float = 0.0
    relay_on: bool = False
    tick_s: float = 10.0

    def tick(self, frost_c: float | None, **changes: float | bool | None) -> Wish:
        """One tick later."""
        self.now_s += self.tick_s
        plain = ThermostatInput(
            now_s=self.now_s,
            frost_c=frost_c,
            bed_c=None,
            raise_k=0.0,
            blind=False,
            frost_likely=True,
            relay_on=self.relay_on,
        )
        self.memory, wish = step_thermostat(self.settings, self.memory, plain._replace(**changes))  # type: ignore[arg-type]
        self.relay_on = wish.heat_wanted
        return wish

    def ticks(self, count: int, frost_c: float | None, **changes: float | bool | None) -> Wish:
        """Several ticks alike; the last wish."""
        wish = self.tick(frost_c, **changes)
        for _ in range(count - 1):
            wish = self.tick(frost_c, **changes)
        return wish


def bench(thermostat: ThermostatSettings = PLAIN, tick_s: float = 10.0) -> Bench:
    """Nothing seen yet."""
    return Bench(thermostat, fresh_thermostat(0.0), tick_s=tick_s)


def test_it_starts_in_the_right_place() -> None:
    """The first reading decides; nothing of an earlier process is assumed."""
    assert bench().tick(1.9) == Wish(heat_wanted=True, reason=WishReason.AIR_BELOW_AIM, aim_c=2.0)
    assert bench().tick(2.1).reason is WishReason.AIR_FALLING
    assert bench().tick(2.2) == Wish(heat_wanted=False, reason=WishReason.WARM_ENOUGH, aim_c=2.0)


def test_between_aim_and_differential_heat_goes_on_if_it_was_on() -> None:
    """Hysteresis: on up to the differential, off until the margin above the aim."""
    frame = bench()
    frame.ticks(20, 1.0)
    assert frame.tick(2.9) == Wish(heat_wanted=True, reason=WishReason.AIR_RISING_TO_AIM, aim_c=2.0)
    assert frame.tick(3.0) == Wish(heat_wanted=False, reason=WishReason.WARM_ENOUGH, aim_c=2.0)
    assert not frame.ticks(20, 2.2).heat_wanted


def test_the_aim_adds_leaf_allowance_and_what_is_raised() -> None:
    """P02: a stand-in probe raises the aim; a film cover has leaves colder than the air."""
    frame = bench(replace(PLAIN, leaf_allowance_k=1.5))
    wish = frame.tick(4.4, raise_k=1.0)
    assert wish.aim_c == 4.5
    assert wish.heat_wanted


def test_the_minimum_on_time_counts_from_the_relay() -> None:
    """I10: a wish held back by the judge at first still gives the relay its full time."""
    frame = bench()
    for _ in range(30):
        frame.tick(1.0)
        frame.relay_on = False  # refused by the judge
    frame.tick(1.0)
    on_at_s = frame.now_s
    while (wish := frame.tick(9.0)).heat_wanted:
        assert wish.reason is WishReason.HELD_ON
    assert frame.now_s == on_at_s + 180.0


def test_a_wish_that_never_reached_the_relay_is_not_held() -> None:
    """There is no contact to spare."""
    frame = bench()
    frame.tick(1.0)
    frame.relay_on = False
    assert frame.tick(9.0).reason is WishReason.WARM_ENOUGH


def test_the_minimum_off_time_counts_from_the_last_wish() -> None:
    """I10, R11: chatter asked for is not passed on."""
    frame = bench()
    frame.ticks(30, 1.0)
    frame.tick(9.0)
    off_at_s = frame.now_s
    while not (wish := frame.tick(1.0)).heat_wanted:
        assert wish.reason is WishReason.HELD_OFF
    assert frame.now_s == off_at_s + 180.0


def test_no_reading_wants_nothing_unless_frost_makes_it_blind() -> None:
    """Silence is not cold by itself; the loop says when the frame is blind."""
    frame = bench()
    assert frame.tick(None).reason is WishReason.NO_READING
    assert not frame.tick(None, blind=True, frost_likely=False).heat_wanted


@pytest.mark.parametrize(
    ("min_on_s", "min_off_s", "on_ticks", "period_ticks"),
    [
        (180.0, 180.0, 18, 60),
        (300.0, 180.0, 18, 60),
        (1800.0, 420.0, 18, 60),
        (180.0, 421.0, 22, 72),
        (180.0, 600.0, 27, 90),
        (1800.0, 1800.0, 108, 360),
        (180.0, 3600.0, 108, 468),
    ],
)
def test_blind_heat_keeps_its_share_with_any_minimum_times(
    min_on_s: float, min_off_s: float, on_ticks: int, period_ticks: int
) -> None:
    """DUTY_MAX: 30 % in three minutes of ten, in fewer and longer turns where rests must be longer."""
    frame = bench(replace(PLAIN, min_on_s=min_on_s, min_off_s=min_off_s))
    wishes = [frame.tick(None, blind=True) for _ in range(3 * period_ticks)]
    wanted = [wish.heat_wanted for wish in wishes]
    assert wanted == ([True] * on_ticks + [False] * (period_ticks - on_ticks)) * 3
    assert wishes[0].reason is WishReason.BLIND_TURN
    assert wishes[on_ticks].reason is WishReason.BLIND_REST


def test_the_first_blind_turn_waits_for_the_rest_that_is_owed() -> None:
    """Its share is not spent on a wish that the minimum off time holds back."""
    frame = bench(replace(PLAIN, min_off_s=1800.0))
    frame.ticks(30, 1.0)
    frame.tick(9.0)
    given_up_at_s = frame.now_s
    while not (wish := frame.tick(None, blind=True)).heat_wanted:
        assert wish.reason is WishReason.BLIND_REST
    assert frame.now_s == given_up_at_s + 1800.0
    assert all(frame.tick(None, blind=True).heat_wanted for _ in range(107))
    assert not frame.tick(None, blind=True).heat_wanted


def test_heat_that_is_on_when_the_sight_is_lost_goes_on_into_its_blind_turn() -> None:
    """And ends after it, however long the minimum on time is, but no sooner than after three minutes."""
    frame = bench(replace(PLAIN, min_on_s=1800.0))
    frame.ticks(5, 1.0)
    wishes = [frame.tick(None, blind=True) for _ in range(20)]
    assert [wish.reason for wish in wishes] == [WishReason.BLIND_TURN] * 18 + [WishReason.BLIND_REST] * 2
    frame = bench()
    for _ in range(17):
        frame.tick(None, blind=True)
        frame.relay_on = False  # refused by the judge
    held = [frame.tick(None, blind=True).reason for _ in range(20)]
    assert held == [WishReason.BLIND_TURN] + [WishReason.HELD_ON] * 17 + [WishReason.BLIND_REST] * 2


def test_a_blind_cycle_ends_with_the_first_reading() -> None:
    """And the next one starts with its turn, once the minimum off time is over."""
    frame = bench()
    frame.ticks(40, None, blind=True)
    assert frame.tick(8.0).reason is WishReason.WARM_ENOUGH
    assert frame.tick(None, blind=True).reason is WishReason.BLIND_TURN


def test_bottom_heat_keeps_the_bed_by_its_own_hysteresis() -> None:
    """Cuttings: wanted below the bed's aim until half a kelvin above it, however warm the air is."""
    frame = bench(replace(PLAIN, bed_keep_c=18.0))
    assert frame.tick(10.0, bed_c=18.0).reason is WishReason.WARM_ENOUGH
    assert frame.tick(10.0, bed_c=17.9).reason is WishReason.BED_BELOW_AIM
    assert frame.ticks(30, 10.0, bed_c=18.4).heat_wanted
    assert not frame.tick(10.0, bed_c=18.5).heat_wanted
    assert not frame.ticks(30, 10.0, bed_c=18.0).heat_wanted
    assert not frame.tick(10.0, bed_c=None).heat_wanted
    assert frame.tick(1.0, bed_c=25.0).reason is WishReason.AIR_BELOW_AIM


def test_a_falling_air_brings_heat_forward_and_a_rising_one_ends_it_early() -> None:
    """Lead: at 1 K/h and half an hour, half a kelvin either way, never off below the aim."""
    frame = bench(LEADING)
    air_c = 6.0
    while not frame.tick(air_c).heat_wanted:
        air_c -= 1.0 / 360.0
    assert air_c == pytest.approx(2.6, abs=0.03)
    assert frame.tick(air_c).reason is WishReason.AIR_FALLING
    assert slope_c_per_h(frame.memory.fast_c, frame.memory.slow_c) == pytest.approx(-1.0, abs=0.05)
    frame = bench(LEADING)
    air_c = 0.0
    while frame.tick(air_c).heat_wanted:
        air_c += 1.0 / 360.0
    assert air_c == pytest.approx(2.5, abs=0.03)


def test_the_look_ahead_is_bounded_both_ways() -> None:
    """Covers thrown open: not more than 2 K early; a fast rise never ends heat below the aim."""
    frame = bench(replace(LEADING, lead_s=7200.0))
    air_c = 12.0
    while not frame.tick(air_c).heat_wanted:
        air_c -= 0.1
    assert 4.0 <= air_c <= 4.2
    frame = bench(replace(LEADING, lead_s=7200.0))
    air_c = -3.0
    while frame.tick(air_c).heat_wanted:
        air_c += 0.05
    assert 2.0 <= air_c <= 2.1


def test_before_two_readings_there_is_no_slope_and_a_long_gap_forgets_it() -> None:
    """A probe that returns after a night must not look like a plunge."""
    frame = bench(LEADING)
    assert slope_c_per_h(frame.memory.fast_c, frame.memory.slow_c) == 0.0
    frame.tick(8.0)
    frame.ticks(60, None)
    assert frame.tick(4.0).reason is WishReason.WARM_ENOUGH
    assert slope_c_per_h(frame.memory.fast_c, frame.memory.slow_c) == 0.0


def test_a_short_gap_keeps_the_slope() -> None:
    """A CRC storm of five minutes does not blind the look ahead."""
    frame = bench(LEADING)
    for tick in range(720):
        frame.tick(9.0 - tick / 360.0)
    frame.ticks(30, None)
    frame.tick(7.0)
    assert slope_c_per_h(frame.memory.fast_c, frame.memory.slow_c) < -0.5


@pytest.mark.parametrize("tick_s", [10.0, 60.0])
def test_the_steps_of_a_probe_make_hardly_any_slope(tick_s: float) -> None:
    """A steady air between two steps of 1/16 K: below 0.1 K/h, so 0.05 K of look ahead."""
    chance = Random(7)  # noqa: S311  # a probe's noise, not a secret
    frame = bench(LEADING, tick_s)
    worst = 0.0
    for tick in range(int(8 * 3600 / tick_s)):
        frame.tick(round((5.03 + chance.gauss(0.0, 0.02)) * 16.0) / 16.0)
        if tick * tick_s > 3600.0:
            worst = max(worst, abs(slope_c_per_h(frame.memory.fast_c, frame.memory.slow_c)))
    assert worst < 0.1


@settings(max_examples=150, deadline=None)
@given(
    airs=st.lists(st.none() | st.floats(-10.0, 15.0), min_size=1, max_size=150),
    lead_s=st.floats(0.0, 7200.0),
    differential_k=st.floats(0.3, 4.0),
    tick_s=st.sampled_from([2.0, 10.0, 60.0]),
)
def test_whatever_the_air_does(
    airs: list[float | None], lead_s: float, differential_k: float, tick_s: float
) -> None:
    """Below its aim wanted or held off; warm beyond every look ahead not wanted unless held on.

    Runs and rests keep their minimum times.
    """
    frame = bench(replace(PLAIN, lead_s=lead_s, differential_k=differential_k), tick_s)
    since_s: float | None = None
    on = False
    for air_c in airs:
        wish = frame.tick(air_c)
        assert wish.aim_c == 2.0
        if air_c is not None and air_c < 2.0:
            assert wish.heat_wanted or wish.reason is WishReason.HELD_OFF
        if air_c is not None and air_c > 2.1 + 2.0 + differential_k:
            assert not wish.heat_wanted or wish.reason is WishReason.HELD_ON
        if wish.heat_wanted is not on:
            assert since_s is None or frame.now_s - since_s >= 180.0
            since_s, on = frame.now_s, wish.heat_wanted


def _two_node_nights(power_w: float, tick_s: float, frame: Bench | None) -> tuple[float, float]:
    """Three cold days: the coldest air once settled, and the kWh used.

    Air 10 Wh/K, bed 200 Wh/K, 0.02 K/W between them, 0.05 K/W to the outside, which swings 4 K round
    -3 °C once a day. Without a thermostat the heater switches at 2.0 °C of the true air, with no
    hysteresis, no minimum times and no steps: about the least that holds 2 °C.
    """
    air_c, bed_c, used_kwh, coldest_c = 6.0, 7.0, 0.0, 99.0
    dt_h = tick_s / 3600.0
    for tick in range(int(72 * 3600 / tick_s)):
        outside_c = -3.0 + 4.0 * math.sin(2.0 * math.pi * (tick * dt_h - 9.0) / 24.0)
        wanted = air_c < 2.0 if frame is None else frame.tick(round(air_c * 16.0) / 16.0).heat_wanted
        used_kwh += power_w * wanted * dt_h / 1000.0
        for _ in range(2):
            to_air_w = (bed_c - air_c) / 0.02
            bed_c += (power_w * wanted - to_air_w) * dt_h / 2.0 / 200.0
            air_c += (to_air_w - (air_c - outside_c) / 0.05) * dt_h / 2.0 / 10.0
        if tick * dt_h > 6.0:
            coldest_c = min(coldest_c, air_c)
    return coldest_c, used_kwh


@pytest.mark.parametrize("power_w", [200.0, 250.0])
@pytest.mark.parametrize("tick_s", [10.0, 60.0])
def test_an_adequate_cable_keeps_the_air_at_its_aim_at_little_cost(power_w: float, tick_s: float) -> None:
    """Never below the aim once settled, at less than 15 % above the least, and the lead earns its place.

    Without the lead the same frame comes out colder.
    """
    coldest_c, used_kwh = _two_node_nights(power_w, tick_s, bench(LEADING, tick_s))
    plain_coldest_c, _ = _two_node_nights(power_w, tick_s, bench(PLAIN, tick_s))
    _, least_kwh = _two_node_nights(power_w, 10.0, None)
    assert coldest_c >= 2.0
    assert plain_coldest_c < coldest_c - 0.05
    assert least_kwh <= used_kwh <= 1.15 * least_kwh


def test_a_weak_cable_heats_without_a_pause_while_it_falls_short() -> None:
    """R16: full power and still falling is no reason to stop."""
    frame = bench(LEADING)
    wishes = [frame.tick(1.9 - tick / 3600.0) for tick in range(1000)]
    assert all(wish.reason is WishReason.AIR_BELOW_AIM for wish in wishes)
