"""The programme on toy frames whose least can be worked out by hand."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np
import pytest

from controller.rehearse.contract import OpeningNow
from controller.weatherseries import COLUMNS, IrradianceTiming, WeatherPoint, WeatherSeries
from tests.bench.foresight import AGREES_K, Line, least_of, solve, winter_through
from tests.bench.slots import SLOT_S, coarse_steps
from tests.bench.windows import Piece

BEGINS = datetime(2027, 1, 10, 16, tzinfo=UTC)
SHUT = OpeningNow(name="shut", area_m2=0.0, height_m=0.0)
OPEN = OpeningNow(name="half", area_m2=0.9, height_m=0.4)
MATS = OpeningNow(name="shut", area_m2=0.0, height_m=0.0, covering_r_m2k_w=0.3)
SLOT_WH = 125.0
"""Half an hour of 250 W."""
LINE = Line(keep_c=2.0, raised_k=0.5, power_w=250.0)


class Toy:
    """Air is the outside and a lift; each half hour of heat puts 1 K into a store that leaks."""

    def __init__(
        self,
        outside_c: Callable[[float], float],
        *,
        tau_s: float = math.inf,
        lift_k: Callable[[float], float] = lambda store_k: store_k,
    ) -> None:
        self.outside_c, self.tau_s, self.lift_k = outside_c, tau_s, lift_k
        self.elapsed_s = self.store_k = 0.0

    def advance(
        self,
        dt_s: float,
        _weather: WeatherPoint,  # it has its own
        heat_on: bool,  # noqa: FBT001  # the seam's form
        _opening: OpeningNow,
        /,
    ) -> dict[str, float]:
        """Exact for constant heat."""
        keeps = math.exp(-dt_s / self.tau_s)
        gain = dt_s if self.tau_s == math.inf else self.tau_s * (1.0 - keeps)
        self.store_k = self.store_k * keeps + heat_on * gain / SLOT_S
        self.elapsed_s += dt_s
        outside_c = self.outside_c(self.elapsed_s)
        return {"air": outside_c + self.lift_k(self.store_k), "bed": 5.0, "outside": outside_c}


def weather() -> WeatherSeries:
    return WeatherSeries(
        file_name="toy",
        latitude_deg=50.0,
        longitude_deg=0.0,
        header={},
        rows_at_s=[BEGINS.timestamp() + hour * 3600.0 for hour in range(-1, 100)],
        columns={name: [0.0] * 101 for name in COLUMNS},
        timing=IrradianceTiming(mean_ending=False, offset_s=0.0),
    )


def window(toy: Toy, *, hours: float = 6.0, heated_s: float = 0.0) -> Piece:
    piece = Piece(begins_utc=BEGINS, begins_air_c=toy.outside_c(0.0), shut=True, stand_in=toy)
    piece.extend(hours * 3600.0, SHUT, heated_s)
    return piece


def falling(elapsed_s: float) -> float:
    """From 5 °C at 2 K an hour, hence -1 °C after three hours, and no lower."""
    return max(5.0 - 2.0 * elapsed_s / 3600.0, -1.0)


def dip(elapsed_s: float) -> float:
    """4 °C but for 0.5 °C at the end of the fourth hour."""
    return 0.5 if elapsed_s == 4 * 3600.0 else 4.0


def test_two_slots_by_hand() -> None:
    """u1 ≥ 0.5 by the first time, u1/2 + u2 ≥ 1 by the second: the cheapest is 0.5 and 0.75."""
    responses = np.array([[1.0, 0.0], [0.5, 1.0]])
    u = solve(np.array([1.5, 1.0]), responses, 2.0, np.array([SLOT_WH, SLOT_WH]))
    assert u == pytest.approx([0.5, 0.75])


def test_slots_that_may_only_go_a_short_way_stay_in_it() -> None:
    """The same with the second slot held to 0.4: the first must make up for it, with all it has."""
    responses = np.array([[1.0, 0.0], [0.5, 1.0]])
    u = solve(
        np.array([1.5, 1.0]), responses, 2.0, np.array([SLOT_WH, SLOT_WH]), bounds=[(0.2, 1.0), (0.0, 0.4)]
    )
    assert u == pytest.approx([1.0, 0.4])


def test_without_leak_the_least_is_the_deepest_lack() -> None:
    """3 K are lacking at the worst, each costs half an hour of 250 W, and nothing is lost: 375 Wh."""
    found = least_of(window(Toy(falling)), weather(), LINE)
    assert found.least_wh == pytest.approx(3 * SLOT_WH, rel=1e-6)
    assert found.raised_wh == pytest.approx(3.5 * SLOT_WH, rel=1e-6)
    assert found.short_k < 1e-6


def test_from_a_leaking_store_heat_is_given_as_late_as_can_be() -> None:
    """1.5 K at one instant, store leaking by e in two hours: the last slots whole, the rest in one more."""
    tau_s = 7200.0
    slot_k = tau_s * (1.0 - math.exp(-SLOT_S / tau_s)) / SLOT_S
    fades = math.exp(-SLOT_S / tau_s)
    by_slot_k = [slot_k, slot_k * fades, slot_k * fades**2]
    assert by_slot_k[0] < 1.5 < by_slot_k[0] + by_slot_k[1]
    by_hand_wh = SLOT_WH * (1.0 + (1.5 - by_slot_k[0]) / by_slot_k[1])
    found = least_of(window(Toy(dip, tau_s=tau_s)), weather(), LINE)
    assert found.least_wh == pytest.approx(by_hand_wh, rel=2e-3)  # duty within steps, not at their end
    assert found.short_k <= AGREES_K


def test_what_no_heat_can_prevent_is_told() -> None:
    """12 °C are lacking from the first hour on; six hours of heat give 12 K only at their very end."""
    found = least_of(window(Toy(lambda elapsed_s: -10.0)), weather(), LINE)
    assert found.least_wh == pytest.approx(12 * SLOT_WH, rel=1e-6)
    assert found.short_k == pytest.approx(12.0 - 65 * 60 / SLOT_S, abs=1e-6)  # first asked time: 1 h 5 min
    asked_s = [300.0 * step for step in range(13, 73)]
    assert found.short_kh == pytest.approx(sum(12.0 - at_s / SLOT_S for at_s in asked_s) / 12, rel=1e-6)


def test_a_frame_that_is_not_linear_is_solved_until_its_schedule_holds() -> None:
    """The lift is the store and a tenth of its square: 3 K by a store of 2.416, where R alone says 2.73."""
    toy = Toy(falling, lift_k=lambda store_k: store_k + 0.1 * store_k**2)
    found = least_of(window(toy), weather(), LINE)
    assert found.short_k <= AGREES_K
    assert found.least_wh == pytest.approx((math.sqrt(2.2) - 1.0) / 0.2 * SLOT_WH, rel=0.01)


def test_a_frame_that_heat_frees_of_ice_is_solved_in_short_steps() -> None:
    """Below a store of 1.2 only a tenth is felt, above it all but a tenth: R of the cold frame misleads.

    By it eight slots could not lift the dip by 1.5 K; a store of 1.6 does.
    """
    toy = Toy(dip, lift_k=lambda store_k: 0.1 * store_k if store_k < 1.2 else store_k - 0.1)
    found = least_of(window(toy), weather(), LINE)
    assert found.short_k <= AGREES_K
    assert found.least_wh == pytest.approx(1.6 * SLOT_WH, rel=0.02)


def test_a_window_without_need_costs_nothing_and_keeps_our_own() -> None:
    """Never below 4 °C: the least is nothing, and whatever our keeper gave was late."""
    piece = window(Toy(lambda elapsed_s: 4.0), heated_s=1800.0)
    found = least_of(piece, weather(), LINE)
    assert found.least_wh == found.raised_wh == found.short_k == 0.0
    assert found.ours_wh == found.ours_late_wh == pytest.approx(SLOT_WH)


def test_our_heat_after_the_last_need_is_late() -> None:
    """The last need is the dip at the end of the fourth hour; half an hour was given before and one after."""
    piece = Piece(begins_utc=BEGINS, begins_air_c=4.0, shut=True, stand_in=Toy(dip))
    for begins_h in range(12):
        piece.extend(1800.0, SHUT, 1800.0 if begins_h in (2, 10) else 0.0)
    found = least_of(piece, weather(), LINE)
    assert (found.ours_wh, found.ours_late_wh) == pytest.approx((2 * SLOT_WH, SLOT_WH))


def test_foresights_own_winter_pays_only_for_what_is_not_in_the_ground() -> None:
    """Two windows, the same lack of 3 K in both, a store without leak: heated once, 375 Wh in all."""
    toy = Toy(falling)
    first = window(toy)
    between = Piece(begins_utc=BEGINS, begins_air_c=2.0, shut=False, stand_in=None)
    between.extend(3600.0, OPEN, 0.0)
    second = window(Toy(lambda elapsed_s: 9.9))  # its own beginning is not used
    held = winter_through(toy, [first, between, second], weather(), LINE)
    assert [each.energy_wh for each in held] == pytest.approx([3 * SLOT_WH, 0.0], abs=1e-6)
    assert toy.elapsed_s == 0.0


def test_steps_are_five_minutes_and_cut_where_mats_are_laid() -> None:
    """Half an hour with mats laid after 7 minutes: 5, 2, 3, and then fives; every step in its slot."""
    piece = Piece(begins_utc=BEGINS, begins_air_c=2.0, shut=True, stand_in=Toy(falling))
    piece.extend(420.0, SHUT, 0.0)
    piece.extend(1800.0, MATS, 0.0)
    steps = coarse_steps(piece, weather())
    assert [step.dt_s for step in steps] == [300.0, 120.0, 180.0, *[300.0] * 5, 120.0]
    assert [step.stood is MATS for step in steps] == [False, False, *[True] * 7]
    assert [step.slot for step in steps] == [0] * 7 + [1, 1]
