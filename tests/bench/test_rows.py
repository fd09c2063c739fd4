"""Verdicts in words, and sums of windows."""

from __future__ import annotations

import pytest

from controller.rehearse.tally import FrameTally
from tests.bench.contestants import KeeperRun
from tests.bench.foresight import Held, Least
from tests.bench.rows import FULL_STEPS, Foresight, row_1, row_1_bias, row_2, row_7, sum_up


def tally(*, kwh: float = 10.0, coldest_c: float = 1.8, below_0_k_h: float = 0.0) -> FrameTally:
    frozen_s = 3600.0 if below_0_k_h else 0.0
    return FrameTally(
        power_w=1000.0,
        keep_above_c=2.0,
        air_max_c=30.0,
        total_s=1e6,
        heated_s=kwh * 3600.0,
        coldest_c=coldest_c,
        below_0_s=frozen_s,
        below_0_k_s=below_0_k_h * 3600.0,
    )


def foresight(*, ours_kwh: float = 10.0, least_kwh: float = 9.0, through_kwh: float = 9.5) -> Foresight:
    least = [Least(ours_wh=1000.0 * ours_kwh, ours_late_wh=0.0, least_wh=1000.0 * least_kwh)]
    held = [Held(energy_wh=1000.0 * through_kwh, short_kh=0.0, short_k=0.0)]
    return sum_up(least, held, ours_kwh)


def verdicts(ours: FrameTally, plug_in: FrameTally, limit: Foresight, keep_c: float = 2.0) -> list[str]:
    return [row.verdict for row in row_1(ours, plug_in, limit, keep_c=keep_c)]


def test_a_good_winter_meets_row_1() -> None:
    """No frost, 0.2 K below the line, 1.11 of the bound, half of the plug-in."""
    assert verdicts(tally(), tally(kwh=20.0), foresight()) == ["met"] * 4


def test_each_bar_of_row_1_can_be_missed() -> None:
    """One thing wrong at a time."""
    plug_in, limit = tally(kwh=20.0), foresight()
    assert verdicts(tally(below_0_k_h=0.1), plug_in, limit)[0] == "NOT MET"
    assert verdicts(tally(coldest_c=1.49), plug_in, limit)[1] == "NOT MET"
    assert verdicts(tally(), plug_in, foresight(ours_kwh=12.0, through_kwh=10.0))[2] == "NOT MET"
    assert verdicts(tally(kwh=14.1), plug_in, limit)[3] == "NOT MET"


def test_between_bound_and_winter_held_nothing_can_be_told() -> None:
    """1.2 of the bound but 1.1 of a winter that was held: the least lies between."""
    assert verdicts(tally(), tally(), foresight(ours_kwh=11.0, least_kwh=9.0, through_kwh=10.0))[2] == (
        "cannot be told"
    )


def test_the_plug_in_is_compared_at_two_degrees_only() -> None:
    """At 5 °C the bar is not asked."""
    assert verdicts(tally(coldest_c=5.0), tally(kwh=20.0), foresight(), keep_c=5.0)[3] == "cannot be told"


def test_a_winter_without_need_has_nothing_to_compare_with() -> None:
    """No heat at all gives no ratio, and no verdict on it."""
    row = row_1(
        tally(kwh=0.0), tally(kwh=0.0), foresight(ours_kwh=0, least_kwh=0, through_kwh=0), keep_c=2.0
    )[2]
    assert row.met is None
    assert "nothing to compare with" in row.found


def test_wrong_probes_must_not_freeze() -> None:
    """The offset stands in the words with its sign."""
    row = row_1_bias(-0.5, tally(below_0_k_h=0.2))
    assert (row.measure, row.verdict) == ("air probes -0.5 K: hours below 0 °C", "NOT MET")


@pytest.mark.parametrize(
    ("ours_kh", "plain_kh", "met"), [(6, 10, True), (6.1, 10, False), (0, 0, None), (1, 0, False)]
)
def test_row_2_compares_kelvin_hours(*, ours_kh: float, plain_kh: float, met: bool | None) -> None:
    """At most 0.6 of plain hysteresis; where that never froze, freezing is a miss."""
    assert row_2(tally(below_0_k_h=ours_kh), tally(below_0_k_h=plain_kh)).met is met


@pytest.mark.parametrize(
    ("steps", "wall_s", "met"), [(FULL_STEPS, 60.0, True), (FULL_STEPS, 60.1, False), (20_160, 5.0, None)]
)
def test_row_7_is_told_of_a_whole_winter(*, steps: int, wall_s: float, met: bool | None) -> None:
    """A fortnight says nothing about the bar."""
    assert row_7(KeeperRun(tally=tally(), steps=steps, wall_s=wall_s, processor_s=1.0)).met is met


def test_windows_are_summed() -> None:
    """Needless: where foresight gave none. Outside: what no window holds."""
    least = [
        Least(ours_wh=500.0, ours_late_wh=500.0),
        Least(
            ours_wh=3000.0, ours_late_wh=200.0, least_wh=2000.0, raised_wh=2500.0, short_kh=0.3, short_k=0.2
        ),
        Least(ours_wh=1000.0, ours_late_wh=0.0, least_wh=800.0, raised_wh=900.0, short_kh=0.01, short_k=0.01),
    ]
    held = [Held(energy_wh=2900.0, short_kh=0.1, short_k=0.4)]
    summed = sum_up(least, held, ours_total_kwh=5.0)
    assert (summed.windows, summed.needing) == (3, 2)
    assert (summed.least_kwh, summed.raised_kwh, summed.through_kwh) == pytest.approx((2.8, 3.4, 2.9))
    assert (summed.ours_kwh, summed.ours_needless_kwh, summed.ours_late_kwh) == pytest.approx((4.5, 0.5, 0.2))
    assert summed.outside_kwh == pytest.approx(0.5)
    assert (summed.short_kh, summed.short_k) == pytest.approx((0.41, 0.4))
