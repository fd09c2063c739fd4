"""A window in coarse steps and slots of heat, and what each slot does to the air of a stand-in."""

from __future__ import annotations

import copy
from collections.abc import Sequence
from datetime import timedelta
from typing import NamedTuple

import numpy as np

from controller.rehearse.contract import OpeningNow, StandIn
from controller.weatherseries import WeatherPoint, WeatherSeries
from tests.bench.windows import Piece

S_PER_H = 3600.0
SLOT_S = 1800.0
STEP_S = 300.0
PUSH_FRAC = 0.25
"""By how much a slot is changed to see what it does about a schedule."""


class Step(NamedTuple):
    """One coarse step of a window."""

    ends_s: float
    dt_s: float
    slot: int
    weather: WeatherPoint
    stood: OpeningNow


def coarse_steps(window: Piece, weather: WeatherSeries) -> list[Step]:
    """The window in steps of up to five minutes, cut where the coverings change."""
    steps = []
    at_s = 0.0
    for span_s, stood in window.spans:
        until_s = at_s + span_s
        while at_s < until_s:
            ends_s = min(until_s, STEP_S * (at_s // STEP_S + 1))
            begins_utc = window.begins_utc + timedelta(seconds=at_s)
            means = weather.mean_over(begins_utc, ends_s - at_s)
            steps.append(Step(ends_s, ends_s - at_s, int(at_s // SLOT_S), means, stood))
            at_s = ends_s
    return steps


def advance(stand_in: StandIn, steps: Sequence[Step], duty: Sequence[float]) -> list[float]:
    """The air at the end of each step, with heat in the first ``duty`` share of it."""
    air_c = []
    for step, on_frac in zip(steps, duty, strict=True):
        on_s = step.dt_s * min(1.0, on_frac)
        true_c = {}
        if on_s > 0.0:
            true_c = stand_in.advance(on_s, step.weather, True, step.stood)  # noqa: FBT003  # positional seam
        if on_s < step.dt_s:
            true_c = stand_in.advance(step.dt_s - on_s, step.weather, False, step.stood)  # noqa: FBT003  # as above
        air_c.append(true_c["air"])
    return air_c


def responses_of(
    stand_in: StandIn, steps: Sequence[Step], air_c: np.ndarray, rows: int, u: np.ndarray | None = None
) -> np.ndarray:
    """Kelvin in the air at each of the first ``rows`` times for one whole slot of heat, slot by slot.

    Without ``u`` about no heat, by a whole slot; about a schedule by a part of one, scaled up. ``air_c`` is
    the air with that schedule.
    """
    carrier = copy.deepcopy(stand_in)
    slots = steps[rows - 1].slot + 1 if rows else 0
    plain = [0.0] * slots if u is None else u.tolist()
    responses = np.zeros((rows, slots))
    begins = 0
    for slot in range(slots):
        ends = begins
        while ends < rows and steps[ends].slot == slot:
            ends += 1
        duty = [plain[step.slot] for step in steps[begins:rows]]
        push = 1.0 if u is None else PUSH_FRAC if plain[slot] + PUSH_FRAC <= 1.0 else -PUSH_FRAC
        pushed = [plain[slot] + push] * (ends - begins) + duty[ends - begins :]
        heated = advance(copy.deepcopy(carrier), steps[begins:rows], pushed)
        responses[begins:, slot] = (np.array(heated) - air_c[begins:rows]) / push
        advance(carrier, steps[begins:ends], duty[: ends - begins])
        begins = ends
    return responses


def slot_wh_of(steps: Sequence[Step], slots: int, power_w: float) -> np.ndarray:
    """Energy of each whole slot; the window's last may be shorter."""
    slot_wh = np.zeros(slots)
    for step in steps:
        if step.slot < slots:
            slot_wh[step.slot] += step.dt_s * power_w / S_PER_H
    return slot_wh
