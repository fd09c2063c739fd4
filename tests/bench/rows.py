"""The design's rows 1, 2 and 7 as they stand: each measure beside its bar, met or not, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from controller.rehearse.tally import S_PER_H, FrameTally
from tests.bench.contestants import KeeperRun
from tests.bench.foresight import Held, Least

LEAST_RATIO_MAX = 1.15
PLUG_IN_RATIO_MAX = 0.7
PLUG_IN_KEEP_C = 2.0
BELOW_KEEP_K_MAX = 0.5
WEAK_RATIO_MAX = 0.6
WALL_S_MAX = 60.0
FULL_STEPS = 181 * 1440
"""November to April at one-minute steps."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One measure of the design's section 9."""

    number: str
    measure: str
    found: str
    bar: str
    met: bool | None
    """None where it cannot be told."""

    @property
    def verdict(self) -> str:
        """Met or not, in words."""
        return {True: "met", False: "NOT MET", None: "cannot be told"}[self.met]


@dataclass(frozen=True, slots=True, kw_only=True)
class Foresight:
    """All windows of a winter together."""

    windows: int
    needing: int
    """Windows with any need of heat."""
    least_kwh: float
    raised_kwh: float
    """The least for a line half a differential higher."""
    ours_kwh: float
    ours_needless_kwh: float
    """Ours in windows in which the unheated frame would have held the line."""
    ours_late_kwh: float
    """Ours after a window's last need, in windows with need."""
    outside_kwh: float
    """Ours outside all windows."""
    through_kwh: float
    """Foresight's own winter, each window as the one before left it."""
    short_kh: float
    """What both together fell short of the line, tried on the stand-in; the next is the deepest."""
    short_k: float


def sum_up(least: Sequence[Least], through: Sequence[Held], ours_total_kwh: float) -> Foresight:
    """A winter's windows as one."""
    both: list[Least | Held] = [*least, *through]
    needing = [each for each in least if each.least_wh > 0.0]
    ours_kwh = sum(each.ours_wh for each in least) / 1000.0
    return Foresight(
        windows=len(least),
        needing=len(needing),
        least_kwh=sum(each.least_wh for each in least) / 1000.0,
        raised_kwh=sum(each.raised_wh for each in least) / 1000.0,
        ours_kwh=ours_kwh,
        ours_needless_kwh=ours_kwh - sum(each.ours_wh for each in needing) / 1000.0,
        ours_late_kwh=sum(each.ours_late_wh for each in needing) / 1000.0,
        outside_kwh=max(0.0, ours_total_kwh - ours_kwh),
        through_kwh=sum(each.energy_wh for each in through) / 1000.0,
        short_kh=sum(each.short_kh for each in both),
        short_k=max((each.short_k for each in both), default=0.0),
    )


def kwh(tally: FrameTally) -> float:
    """Relay on times configured watts."""
    return tally.energy_wh / 1000.0


def row_1(ours: FrameTally, plug_in: FrameTally, foresight: Foresight, *, keep_c: float) -> list[Row]:
    """An adequate cable."""
    bar_c = keep_c - BELOW_KEEP_K_MAX
    least = _ratio(foresight.ours_kwh, foresight.least_kwh)
    through = _ratio(foresight.ours_kwh, foresight.through_kwh)
    plugged = _ratio(kwh(ours), kwh(plug_in))
    asked = keep_c == PLUG_IN_KEEP_C
    return [
        _no_frost("1", "our keeper: hours below 0 °C", ours),
        Row(
            number="1",
            measure="our keeper: coldest air",
            found=f"{ours.coldest_c:.2f} °C",
            bar=f"≥ {bar_c:.2f} °C",
            met=ours.coldest_c >= bar_c,
        ),
        Row(
            number="1",
            measure="kWh, covers shut, to the least by foresight",
            found=f"{_ratio_words(through)} to {_ratio_words(least)}",
            bar=f"≤ {LEAST_RATIO_MAX:.2f}",
            met=_within(through, least),
        ),
        Row(
            number="1",
            measure="kWh to the plug-in thermostat's",
            found=_ratio_words(plugged),
            bar=f"≤ {PLUG_IN_RATIO_MAX:.2f}" if asked else "asked at keep above 2 °C only",
            met=plugged <= PLUG_IN_RATIO_MAX if asked and plugged is not None else None,
        ),
    ]


def row_1_bias(off_by_k: float, ours: FrameTally) -> Row:
    """The same with air probes that are wrong."""
    return _no_frost("1", f"air probes {off_by_k:+.1f} K: hours below 0 °C", ours)


def row_2(ours: FrameTally, plain: FrameTally) -> Row:
    """A cable that is too weak."""
    ratio = _ratio(ours.below_0_k_s, plain.below_0_k_s)
    found = f"{ours.below_0_k_s / S_PER_H:.1f} to {plain.below_0_k_s / S_PER_H:.1f} Kh: {_ratio_words(ratio)}"
    met = ratio <= WEAK_RATIO_MAX if ratio is not None else (False if ours.below_0_k_s else None)
    return Row(
        number="2",
        measure="kelvin-hours below 0 °C to plain hysteresis'",
        found=found,
        bar=f"≤ {WEAK_RATIO_MAX:.2f}",
        met=met,
    )


def row_7(run: KeeperRun) -> Row:
    """Speed; told of a whole winter only."""
    whole = run.steps >= FULL_STEPS
    return Row(
        number="7",
        measure=f"{run.steps} steps of the real keeper, all written",
        found=f"{run.wall_s:.1f} s, {run.processor_s:.1f} of processor",
        bar=f"≤ {WALL_S_MAX:.0f} s" if whole else f"≤ {WALL_S_MAX:.0f} s for {FULL_STEPS} steps",
        met=run.wall_s <= WALL_S_MAX if whole else None,
    )


def _no_frost(number: str, measure: str, tally: FrameTally) -> Row:
    return Row(
        number=number,
        measure=measure,
        found=f"{tally.below_0_s / S_PER_H:.2f} h",
        bar="none",
        met=tally.below_0_s == 0.0,
    )


def _ratio(ours: float, other: float) -> float | None:
    return ours / other if other > 0.0 else None


def _within(through: float | None, least: float | None) -> bool | None:
    """Told where both sides agree: the least possible lies between the winter held and the bound."""
    if through is None or least is None or (through <= LEAST_RATIO_MAX < least):
        return None
    return least <= LEAST_RATIO_MAX


def _ratio_words(ratio: float | None) -> str:
    return "nothing to compare with" if ratio is None else f"{ratio:.3f}"
