"""Pure: whether one frame wants heat. A wish only: the judge may refuse it at any tick.

The cable warms sand, the sand warms the bed, the bed warms the air, so heat asked for when the air
reaches its aim comes too late and goes on too long.
The thermostat therefore compares its aim with where the air will be after the lead time,
going by a smoothed slope.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from controller.heat.limits import BLIND_HOUR_S, BLIND_RUN_S, HOUR_S, SWITCHES_PER_H

SHIFT_DOWN_K = 2.0
"""A falling air may bring heat forward by this much and no more."""
ON_MARGIN_K = 0.1
"""Heat is asked for this far above the aim: about the error of the look ahead."""
BED_RETURN_K = 0.5
"""Bottom heat rests this far above the bed's own aim."""
SLOPE_FAST_S = 300.0
SLOPE_SLOW_S = 900.0
"""Time constants of the two smoothers whose difference is the slope: a probe's steps of 1/16 K
come out below 0.03 K/h, and a real change is seen after some twenty minutes."""
GAP_S = 600.0
"""After this long without a reading the slope starts anew."""


class WishReason(StrEnum):
    """Why heat is wanted or not."""

    AIR_BELOW_AIM = "air_below_aim"
    AIR_FALLING = "air_falling"
    """Above its aim still, but not after the lead time."""
    AIR_RISING_TO_AIM = "air_rising_to_aim"
    """Between aim and differential with heat on."""
    BED_BELOW_AIM = "bed_below_aim"
    BLIND_TURN = "blind_turn"
    """No trusted reading, frost likely: the short part of the bounded cycle."""
    BLIND_REST = "blind_rest"
    HELD_ON = "held_on"
    """Warm enough, but on for less than the minimum on time."""
    HELD_OFF = "held_off"
    """Heat would be wanted, but it was given up less than the minimum off time ago."""
    WARM_ENOUGH = "warm_enough"
    NO_READING = "no_reading"


_WANTING = frozenset(
    {
        WishReason.AIR_BELOW_AIM,
        WishReason.AIR_FALLING,
        WishReason.AIR_RISING_TO_AIM,
        WishReason.BED_BELOW_AIM,
        WishReason.BLIND_TURN,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ThermostatSettings:
    """What one frame holds to; times in seconds, differences in kelvin."""

    keep_above_c: float
    differential_k: float
    min_on_s: float
    min_off_s: float
    lead_s: float
    """How far ahead the air is looked at; 0 makes it a plain two-point thermostat."""
    leaf_allowance_k: float
    bed_keep_c: float | None = None
    """Bottom heat while it is in season, else None."""


class ThermostatInput(NamedTuple):
    """What one tick brings."""

    now_s: float
    frost_c: float | None
    """The coldest trusted air, or what stands in for it; None when nothing does."""
    bed_c: float | None
    raise_k: float
    """Added to the aim, for example while another probe stands in for the air."""
    blind: bool
    """No trusted reading is left that the frost could be judged by."""
    frost_likely: bool
    relay_on: bool = False
    """As read back before this tick: the minimum on time counts from the relay, not the wish."""


class ThermostatMemory(NamedTuple):
    """What the thermostat carries from tick to tick."""

    seen_at_s: float
    wanted: bool
    given_up_at_s: float | None
    """The wish last ended then."""
    relay_on_since_s: float | None
    fast_c: float | None
    slow_c: float | None
    """The two smoothers; None before the first reading."""
    read_at_s: float
    bed_wanted: bool
    blind_turn_at_s: float | None
    """The present blind cycle began then."""


class Wish(NamedTuple):
    """What the thermostat would like in this tick."""

    heat_wanted: bool
    reason: WishReason
    aim_c: float
    """Keep above with the leaf allowance and whatever was raised."""


def fresh_thermostat(now_s: float) -> ThermostatMemory:
    """Nothing read yet, nothing wanted."""
    return ThermostatMemory(
        seen_at_s=now_s,
        wanted=False,
        given_up_at_s=None,
        relay_on_since_s=None,
        fast_c=None,
        slow_c=None,
        read_at_s=now_s,
        bed_wanted=False,
        blind_turn_at_s=None,
    )


def slope_c_per_h(fast_c: float | None, slow_c: float | None) -> float:
    """Slope of the air in kelvin an hour from the two smoothers; 0 before there is one."""
    if fast_c is None or slow_c is None:
        return 0.0
    return (fast_c - slow_c) * 3600.0 / (SLOPE_SLOW_S - SLOPE_FAST_S)


def step_thermostat(
    settings: ThermostatSettings, memory: ThermostatMemory, tick: ThermostatInput
) -> tuple[ThermostatMemory, Wish]:
    """One tick: what was remembered and what is seen, to what is wanted."""
    now_s = tick.now_s
    aim_c = settings.keep_above_c + settings.leaf_allowance_k + tick.raise_k
    fast_c, slow_c, read_at_s = _smooth(memory, tick)
    bed_wanted = _bed_wanted(settings, memory, tick.bed_c)
    blind_turn_at_s = None
    if tick.blind:
        blind_turn_at_s, reason = _blind(settings, memory, tick)
    else:
        shift_k = slope_c_per_h(fast_c, slow_c) * settings.lead_s / 3600.0
        reason = _air(settings, tick.frost_c, aim_c, shift_k, wanted=memory.wanted)
        if bed_wanted and reason not in _WANTING:
            reason = WishReason.BED_BELOW_AIM
    since_s = (
        (memory.seen_at_s if memory.relay_on_since_s is None else memory.relay_on_since_s)
        if tick.relay_on
        else None
    )
    min_on_s = min(settings.min_on_s, BLIND_RUN_S) if tick.blind else settings.min_on_s
    reason = _hold(settings, memory, reason, now_s, since_s, min_on_s=min_on_s)
    wanted = reason in _WANTING or reason is WishReason.HELD_ON
    after = ThermostatMemory(
        seen_at_s=now_s,
        wanted=wanted,
        given_up_at_s=now_s if memory.wanted and not wanted else memory.given_up_at_s,
        relay_on_since_s=since_s,
        fast_c=fast_c,
        slow_c=slow_c,
        read_at_s=read_at_s,
        bed_wanted=bed_wanted,
        blind_turn_at_s=blind_turn_at_s,
    )
    return after, Wish(heat_wanted=wanted, reason=reason, aim_c=aim_c)


def _smooth(memory: ThermostatMemory, tick: ThermostatInput) -> tuple[float | None, float | None, float]:
    """Both smoothers after this tick; a first reading, or one after a gap, sets them level."""
    frost_c = tick.frost_c
    if frost_c is None:
        return memory.fast_c, memory.slow_c, memory.read_at_s
    dt_s = tick.now_s - memory.read_at_s
    if memory.fast_c is None or memory.slow_c is None or not 0.0 <= dt_s <= GAP_S:
        return frost_c, frost_c, tick.now_s
    fast_c = memory.fast_c + (frost_c - memory.fast_c) * dt_s / (SLOPE_FAST_S + dt_s)
    slow_c = memory.slow_c + (frost_c - memory.slow_c) * dt_s / (SLOPE_SLOW_S + dt_s)
    return fast_c, slow_c, tick.now_s


def _air(
    settings: ThermostatSettings, frost_c: float | None, aim_c: float, shift_k: float, *, wanted: bool
) -> WishReason:
    """Two-point control of the air as it will be; never off below the aim itself."""
    if frost_c is None:
        return WishReason.NO_READING
    if frost_c < aim_c:
        return WishReason.AIR_BELOW_AIM
    ahead_c = frost_c + min(max(shift_k, -SHIFT_DOWN_K), settings.differential_k)
    if ahead_c <= aim_c + ON_MARGIN_K:
        return WishReason.AIR_FALLING
    if wanted and ahead_c < aim_c + settings.differential_k:
        return WishReason.AIR_RISING_TO_AIM
    return WishReason.WARM_ENOUGH


def _bed_wanted(settings: ThermostatSettings, memory: ThermostatMemory, bed_c: float | None) -> bool:
    """Bottom heat by the bed's own hysteresis; without a bed reading there is none."""
    if settings.bed_keep_c is None or bed_c is None:
        return False
    return bed_c < settings.bed_keep_c + (BED_RETURN_K if memory.bed_wanted else 0.0)


def _blind(
    settings: ThermostatSettings, memory: ThermostatMemory, tick: ThermostatInput
) -> tuple[float | None, WishReason]:
    """The bounded cycle of a frame that sees nothing, while frost is likely.

    As many equal turns an hour as the minimum off time leaves rests for, so that they add up to the
    blind share, however long that time is. The first turn waits for the rest that is owed.
    """
    if not tick.frost_likely:
        return None, WishReason.NO_READING
    rest_s = max(settings.min_off_s, HOUR_S / SWITCHES_PER_H - BLIND_RUN_S)
    turns_per_h = max((HOUR_S - BLIND_HOUR_S) // rest_s, 1.0)
    on_s = BLIND_HOUR_S / turns_per_h
    since_s = memory.blind_turn_at_s
    if since_s is None:
        rested_at_s = (
            tick.now_s if memory.given_up_at_s is None else memory.given_up_at_s + settings.min_off_s
        )
        since_s = tick.now_s if memory.wanted else max(tick.now_s, rested_at_s)
    elif tick.now_s - since_s >= max(HOUR_S / turns_per_h, on_s + rest_s):
        since_s = tick.now_s
    turn = 0.0 <= tick.now_s - since_s < on_s
    return since_s, WishReason.BLIND_TURN if turn else WishReason.BLIND_REST


def _hold(
    settings: ThermostatSettings,
    memory: ThermostatMemory,
    reason: WishReason,
    now_s: float,
    relay_on_since_s: float | None,
    *,
    min_on_s: float,
) -> WishReason:
    """Keep to the minimum times: on from the relay's own switching, off from the last wish."""
    wanted = reason in _WANTING
    if not wanted and relay_on_since_s is not None and now_s - relay_on_since_s < min_on_s:
        return WishReason.HELD_ON
    if (
        wanted
        and not memory.wanted
        and memory.given_up_at_s is not None
        and now_s - memory.given_up_at_s < settings.min_off_s
    ):
        return WishReason.HELD_OFF
    return reason
