"""The least electricity with which perfect foresight keeps a shut frame at its line: a linear programme.

For each window (covers shut, see ``windows``) a copy of the stand-in goes on unheated from the state that
our keeper's run had left, with the weather that really came: T0(t). Further copies are heated in one slot of
half an hour each: response R(t, slot) = T - T0. The programme picks the share u of every slot,
0 to 1, that uses the least energy with T0 + R u at or above the line at all times, with a slack that costs so
much that it is used only where no heat could have helped.

R is taken at no heat, and a stand-in need not be linear. So the schedule is tried on another copy, T0 is
moved by what it missed, and the programme is solved anew until it agrees; what is still missed is
told. What is told is thus a schedule that really holds the line in the stand-in, to within ``miss_k``.

What this bound (``least_of``) is: no schedule of the same cable in these windows, from these beginnings,
does with less, but for the slots' half hours and the linearisation. What it is not: a whole winter's
optimum. Each window begins with the heat that our keeper left in bed and wall, gets it for nothing,
and need not leave any for the next; a real controller has to pay for that heat. So it is lower than what
any controller can reach, and generous to the limit.

The other side of it (``winter_through``): one copy goes through the whole winter on foresight's schedules,
each window beginning as the one before was left. That is no bound but a winter that was really held, and
the least possible lies between the two.

Neither knows probe errors nor shortest times on and off. Covers and coverings stand as they did in our
keeper's run. Heat given while the covers stand open is outside all windows and is told apart.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import NamedTuple

import numpy as np
from scipy.optimize import linprog

from controller.rehearse.contract import OpeningNow, StandIn
from controller.weatherseries import WeatherPoint, WeatherSeries
from tests.bench.windows import Piece

S_PER_H = 3600.0
SLOT_S = 1800.0
STEP_S = 300.0
GRACE_S = 3600.0
"""Nothing is asked of the first hour of a window that begins below the line."""
SLACK_WH_PER_K = 2000.0
"""Price of one kelvin below the line for one step. A slot of any cable here moves the air by more than a
tenth of a kelvin, so that heat is dearer than slack only in the minutes before heat can arrive."""
AGREES_K = 0.02
PASSES_MAX = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """What is to be held, and with what."""

    keep_c: float
    raised_k: float
    """The least is also told for a line that is higher by this."""
    power_w: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Least:
    """What foresight could have done in one window; all zero where nothing was needed."""

    ours_wh: float
    """What our keeper used in the same window."""
    ours_late_wh: float
    """Of it: after the last moment at which the unheated frame would have been below the line."""
    least_wh: float = 0.0
    raised_wh: float = 0.0
    """The least for the raised line."""
    slack_kh: float = 0.0
    """Kelvin-hours below the line that no heat in this window could prevent."""
    slack_k: float = 0.0
    """The deepest of them."""
    miss_k: float = 0.0
    """How far the schedule, tried on the stand-in, fell below the line less its slack."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One schedule, tried; slack and miss as in ``Least``."""

    energy_wh: float
    slack_kh: float
    slack_k: float
    miss_k: float


class _Left(NamedTuple):
    """How a window was left."""

    stand_in: StandIn
    air_c: float


class _Step(NamedTuple):
    """One coarse step of a window."""

    ends_s: float
    dt_s: float
    slot: int
    weather: WeatherPoint
    stood: OpeningNow


class Schedule(NamedTuple):
    """What the programme found."""

    u: np.ndarray
    """Share of each slot."""
    slack_k: np.ndarray
    """Below the line, by time."""


def least_of(window: Piece, weather: WeatherSeries, line: Line) -> Least:
    """Solve one window from the state in which our keeper's run began it."""
    if window.stand_in is None:
        raise ValueError("only a window with the covers shut can be solved")
    left = _Left(window.stand_in, window.begins_air_c)
    task = WindowTask(left, window, weather, line.power_w, line.keep_c + line.raised_k)
    needed_until_s = task.needed_until_s(line.keep_c)
    late_s = sum(heated_s for begins_s, heated_s in window.heated if begins_s >= needed_until_s)
    held, _ = task.hold(line.keep_c)
    return Least(
        ours_wh=window.heated_s * line.power_w / S_PER_H,
        ours_late_wh=late_s * line.power_w / S_PER_H,
        least_wh=held.energy_wh,
        raised_wh=task.hold(line.keep_c + line.raised_k)[0].energy_wh,
        slack_kh=held.slack_kh,
        slack_k=held.slack_k,
        miss_k=held.miss_k,
    )


def winter_through(
    begins_with: StandIn, pieces: Sequence[Piece], weather: WeatherSeries, line: Line
) -> list[Held]:
    """Foresight's own winter: every window's schedule, from what the schedules before have left."""
    left, winter = _Left(copy.deepcopy(begins_with), pieces[0].begins_air_c), []
    for piece in pieces:
        if piece.shut:
            task = WindowTask(left, piece, weather, line.power_w, line.keep_c)
            held, left = task.hold(line.keep_c)
            winter.append(held)
        else:
            steps = coarse_steps(piece, weather)
            left = left._replace(air_c=_advance(left.stand_in, steps, [0.0] * len(steps))[-1])
    return winter


def solve(
    base_c: np.ndarray, responses: np.ndarray, keep_c: float, slot_wh: np.ndarray, asked: np.ndarray
) -> Schedule:
    """The least energy with ``base_c + responses u`` at or above ``keep_c`` wherever it is asked.

    ``responses`` has a row per time and a column per slot, in kelvin for a whole slot of heat. A time
    that lies above the line unheated asks for nothing, since heat does not cool.
    """
    slack_k = np.zeros(len(base_c))
    rows = np.flatnonzero(asked & (base_c < keep_c))
    slots = len(slot_wh)
    if not rows.size:
        return Schedule(np.zeros(slots), slack_k)
    found = linprog(
        c=np.concatenate([slot_wh, np.full(rows.size, SLACK_WH_PER_K)]),
        A_ub=np.hstack([-responses[rows], -np.eye(rows.size)]),
        b_ub=base_c[rows] - keep_c,
        bounds=[(0.0, 1.0)] * slots + [(0.0, None)] * rows.size,
        method="highs",
    )
    if not found.success:
        raise ArithmeticError(f"the programme has no solution: {found.message}")
    slack_k[rows] = found.x[slots:]
    return Schedule(found.x[:slots], slack_k)


class WindowTask:
    """One window from one beginning: what heat does in it, and the least that holds a line."""

    def __init__(
        self, begins: _Left, window: Piece, weather: WeatherSeries, power_w: float, highest_c: float
    ) -> None:
        """``highest_c`` is the highest line that will be asked for; what it begins from is left as it is."""
        self._begins = begins
        self._steps = coarse_steps(window, weather)
        self._ends_s = np.array([step.ends_s for step in self._steps])
        self._unheated_end = copy.deepcopy(begins.stand_in)
        self._unheated = np.array(_advance(self._unheated_end, self._steps, [0.0] * len(self._steps)))
        needs = np.flatnonzero(self._asked(highest_c) & (self._unheated < highest_c))
        rows = int(needs[-1]) + 1 if needs.size else 0
        self._responses = _responses(begins.stand_in, self._steps, self._unheated, rows)
        self._slot_wh = _slot_wh(self._steps, self._responses.shape[1], power_w)

    def needed_until_s(self, keep_c: float) -> float:
        """The last time at which the unheated frame lies below the line; 0 when it never does."""
        needs = self._asked(keep_c) & (self._unheated < keep_c)
        return float(self._ends_s[needs][-1]) if needs.any() else 0.0

    def hold(self, keep_c: float) -> tuple[Held, _Left]:
        """The least schedule for this line, tried on the stand-in and solved anew until both agree."""
        rows, asked = len(self._responses), self._asked(keep_c)
        base_c, tried, leaves = self._unheated[:rows], self._unheated, self._unheated_end
        schedule = solve(base_c, self._responses, keep_c, self._slot_wh, asked[:rows])
        for passes_left in reversed(range(PASSES_MAX if schedule.u.any() else 0)):
            leaves = copy.deepcopy(self._begins.stand_in)
            tried = np.array(_advance(leaves, self._steps, self._duty(schedule.u)))
            moved_c = tried[:rows] - self._responses @ schedule.u
            if not passes_left or float(np.abs(moved_c - base_c)[asked[:rows]].max()) <= AGREES_K:
                break
            base_c = moved_c
            schedule = solve(base_c, self._responses, keep_c, self._slot_wh, asked[:rows])
        allowed_c = np.full(len(tried), keep_c)
        allowed_c[:rows] -= schedule.slack_k
        hours = np.array([step.dt_s for step in self._steps[:rows]]) / S_PER_H
        held = Held(
            energy_wh=float(schedule.u @ self._slot_wh),
            slack_kh=float(schedule.slack_k @ hours),
            slack_k=float(schedule.slack_k.max(initial=0.0)),
            miss_k=float((allowed_c - tried)[asked].max(initial=0.0)),
        )
        return held, _Left(leaves, float(tried[-1]))

    def _asked(self, keep_c: float) -> np.ndarray:
        """The times at which the line is to be held."""
        grace_s = GRACE_S if self._begins.air_c < keep_c else 0.0
        return self._ends_s > grace_s

    def _duty(self, u: np.ndarray) -> list[float]:
        return [float(u[step.slot]) if step.slot < len(u) else 0.0 for step in self._steps]


def coarse_steps(window: Piece, weather: WeatherSeries) -> list[_Step]:
    """The window in steps of up to five minutes, cut where the coverings change."""
    steps = []
    at_s = 0.0
    for span_s, stood in window.spans:
        until_s = at_s + span_s
        while at_s < until_s:
            ends_s = min(until_s, STEP_S * (at_s // STEP_S + 1))
            begins_utc = window.begins_utc + timedelta(seconds=at_s)
            means = weather.mean_over(begins_utc, ends_s - at_s)
            steps.append(_Step(ends_s, ends_s - at_s, int(at_s // SLOT_S), means, stood))
            at_s = ends_s
    return steps


def _advance(stand_in: StandIn, steps: Sequence[_Step], duty: Sequence[float]) -> list[float]:
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


def _responses(stand_in: StandIn, steps: Sequence[_Step], unheated: np.ndarray, rows: int) -> np.ndarray:
    """Kelvin in the air at each of the first ``rows`` times for one whole slot of heat, slot by slot."""
    carrier = copy.deepcopy(stand_in)
    slots = steps[rows - 1].slot + 1 if rows else 0
    responses = np.zeros((rows, slots))
    begins = 0
    for slot in range(slots):
        ends = begins
        while ends < rows and steps[ends].slot == slot:
            ends += 1
        duty = [1.0] * (ends - begins) + [0.0] * (rows - ends)
        heated = _advance(copy.deepcopy(carrier), steps[begins:rows], duty)
        responses[begins:, slot] = np.array(heated) - unheated[begins:rows]
        _advance(carrier, steps[begins:ends], [0.0] * (ends - begins))
        begins = ends
    return responses


def _slot_wh(steps: Sequence[_Step], slots: int, power_w: float) -> np.ndarray:
    """Energy of each whole slot; the window's last may be shorter."""
    slot_wh = np.zeros(slots)
    for step in steps:
        if step.slot < slots:
            slot_wh[step.slot] += step.dt_s * power_w / S_PER_H
    return slot_wh
