"""The least electricity with which perfect foresight keeps a shut frame at its line: a linear programme.

For each window (covers shut, see ``windows``) a copy of the stand-in goes on unheated from the state that
our keeper's run had left, with the weather that really came: T0(t). Further copies are heated in one slot of
half an hour each: response R(t, slot) = T - T0. The programme picks the share u of every slot,
0 to 1, that uses the least energy with T0 + R u at or above the line at all times, with a slack that costs so
much that it is used only where no heat could have helped.

R is taken at no heat, and a stand-in need not be linear: ice in the bed or frost under the covers keep a
frame back that heat would have freed of them. So each schedule is tried on another copy, T0 is moved by
what it missed, and the programme is solved anew until both agree. Where they never do, R is taken anew
about the best schedule so far, and the programme may go a short way from it at a time. Of all that was
tried the best counts: what is told is a schedule that was really given to the stand-in, with how far it
fell short of the line, be it that no heat could help or that the programme found none.

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
from typing import NamedTuple

import numpy as np
from scipy.optimize import linprog

from controller.rehearse.contract import StandIn
from controller.weatherseries import WeatherSeries
from tests.bench.slots import S_PER_H, advance, coarse_steps, responses_of, slot_wh_of
from tests.bench.windows import Piece

GRACE_S = 3600.0
"""Nothing is asked of the first hour of a window that begins below the line."""
SLACK_WH_PER_K = 2000.0
"""Price of one kelvin below the line for one step. A slot of any cable here moves the air by more than a
tenth of a kelvin, so that heat is dearer than slack only in the minutes before heat can arrive."""
AGREES_K = 0.02
"""Programme and stand-in agree when no time differs by more; so much below the line also counts as held."""
PASSES_MAX = 5
CLOSER_PASSES_MAX = 8
REACH_FRAC, REACH_LEAST_FRAC = 0.5, 0.05
"""How far each slot may go from the best schedule at first; halved whenever that did not help."""


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
    short_kh: float = 0.0
    """Kelvin-hours by which the schedule, tried on the stand-in, fell below the line."""
    short_k: float = 0.0
    """The deepest of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One schedule, tried; what it fell short by as in ``Least``."""

    energy_wh: float
    short_kh: float
    short_k: float


class _Left(NamedTuple):
    """How a window was left."""

    stand_in: StandIn
    air_c: float


class _Trial(NamedTuple):
    """One schedule as the stand-in took it."""

    u: np.ndarray
    """Share of each slot."""
    air_c: np.ndarray
    leaves: StandIn


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
        short_kh=held.short_kh,
        short_k=held.short_k,
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
            left = left._replace(air_c=advance(left.stand_in, steps, [0.0] * len(steps))[-1])
    return winter


def solve(
    base_c: np.ndarray,
    responses: np.ndarray,
    keep_c: float,
    slot_wh: np.ndarray,
    bounds: Sequence[tuple[float, float]] | None = None,
) -> np.ndarray:
    """The share of each slot with the least energy and ``base_c + responses u`` at or above ``keep_c``.

    ``responses`` has a row per time and a column per slot, in kelvin for a whole slot of heat.
    """
    rows = np.flatnonzero(base_c + np.minimum(responses, 0.0).sum(axis=1) < keep_c)
    slots = len(slot_wh)
    if not rows.size and bounds is None:
        return np.zeros(slots)
    found = linprog(
        c=np.concatenate([slot_wh, np.full(rows.size, SLACK_WH_PER_K)]),
        A_ub=np.hstack([-responses[rows], -np.eye(rows.size)]),
        b_ub=base_c[rows] - keep_c,
        bounds=[*(bounds or [(0.0, 1.0)] * slots), *[(0.0, None)] * rows.size],
        method="highs",
    )
    if not found.success:
        raise ArithmeticError(f"the programme has no solution: {found.message}")
    return np.array(np.clip(found.x[:slots], 0.0, 1.0))


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
        self._unheated = np.array(advance(self._unheated_end, self._steps, [0.0] * len(self._steps)))
        needs = np.flatnonzero(self._asked(highest_c) & (self._unheated < highest_c))
        rows = int(needs[-1]) + 1 if needs.size else 0
        self._responses = responses_of(begins.stand_in, self._steps, self._unheated, rows)
        self._slot_wh = slot_wh_of(self._steps, self._responses.shape[1], power_w)

    def needed_until_s(self, keep_c: float) -> float:
        """The last time at which the unheated frame lies below the line; 0 when it never does."""
        needs = self._asked(keep_c) & (self._unheated < keep_c)
        return float(self._ends_s[needs][-1]) if needs.any() else 0.0

    def hold(self, keep_c: float) -> tuple[Held, _Left]:
        """The best schedule for this line that was found and tried."""
        best, agrees = self._chords(keep_c)
        if not agrees:
            best = self._closer(keep_c, best)
        short_k = self._short_k(keep_c, best)
        hours = np.array([step.dt_s for step in self._steps]) / S_PER_H
        held = Held(
            energy_wh=float(best.u @ self._slot_wh),
            short_kh=float(short_k @ hours),
            short_k=float(short_k.max()),
        )
        return held, _Left(best.leaves, float(best.air_c[-1]))

    def _chords(self, keep_c: float) -> tuple[_Trial, bool]:
        """Solve and try with R as it is at no heat, moving T0; the best, and whether both came to agree."""
        rows = len(self._responses)
        asked = self._asked(keep_c)[:rows]
        base_c = self._unheated[:rows]
        best = _Trial(np.zeros(len(self._slot_wh)), self._unheated, self._unheated_end)
        for _ in range(PASSES_MAX):
            u = solve(base_c[asked], self._responses[asked], keep_c, self._slot_wh)
            if not u.any():
                return best, not best.u.any()
            trial = self._try(u)
            best = min(best, trial, key=lambda each: self._cost_wh(keep_c, each))
            moved_c = trial.air_c[:rows] - self._responses @ u
            if float(np.abs(moved_c - base_c)[asked].max()) <= AGREES_K:
                return best, True
            base_c = moved_c
        return best, False

    def _closer(self, keep_c: float, best: _Trial) -> _Trial:
        """Go on from a schedule in short steps, with R as it is about that schedule."""
        rows, reach_frac, responses = len(self._responses), REACH_FRAC, None
        asked = self._asked(keep_c)[:rows]
        for _ in range(CLOSER_PASSES_MAX):
            if responses is None:
                responses = responses_of(self._begins.stand_in, self._steps, best.air_c, rows, best.u)
            base_c = best.air_c[:rows] - responses @ best.u
            bounds = [(max(0.0, each - reach_frac), min(1.0, each + reach_frac)) for each in best.u.tolist()]
            trial = self._try(solve(base_c[asked], responses[asked], keep_c, self._slot_wh, bounds))
            if self._cost_wh(keep_c, trial) < self._cost_wh(keep_c, best) - 1.0:
                best, responses = trial, None
                continue
            reach_frac /= 2
            if reach_frac < REACH_LEAST_FRAC:
                break
        return best

    def _try(self, u: np.ndarray) -> _Trial:
        leaves = copy.deepcopy(self._begins.stand_in)
        return _Trial(u, np.array(advance(leaves, self._steps, self._duty(u))), leaves)

    def _short_k(self, keep_c: float, trial: _Trial) -> np.ndarray:
        return np.where(self._asked(keep_c), np.maximum(keep_c - trial.air_c, 0.0), 0.0)

    def _cost_wh(self, keep_c: float, trial: _Trial) -> float:
        """Energy, and what the programme would charge for falling short."""
        beyond_k = np.maximum(self._short_k(keep_c, trial) - AGREES_K, 0.0)
        return float(trial.u @ self._slot_wh + SLACK_WH_PER_K * beyond_k.sum())

    def _asked(self, keep_c: float) -> np.ndarray:
        """The times at which the line is to be held."""
        grace_s = GRACE_S if self._begins.air_c < keep_c else 0.0
        return np.array(self._ends_s > grace_s)

    def _duty(self, u: np.ndarray) -> list[float]:
        return [float(u[step.slot]) if step.slot < len(u) else 0.0 for step in self._steps]
