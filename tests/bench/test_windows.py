"""How a run is cut into spells with the covers shut."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest

from controller.rehearse.contract import OpeningNow
from controller.vocabulary import FrameName
from tests.bench.windows import Piece, WindowCutter

SOUTH = FrameName("south")
SHUT = OpeningNow(name="shut", area_m2=0.0, height_m=0.0)
MATS = OpeningNow(name="shut", area_m2=0.0, height_m=0.0, covering_r_m2k_w=0.3)
OPEN = OpeningNow(name="hand", area_m2=0.2, height_m=0.09)
MIDNIGHT = datetime(2027, 1, 10, tzinfo=UTC)
STEP_S = 600.0


class Counting:
    """Stands for a stand-in: knows how many steps it has lived."""

    def __init__(self) -> None:
        self.steps = 0


def cut(
    hours: Iterator[tuple[float, OpeningNow]] | list[tuple[float, OpeningNow]], **named: Any
) -> WindowCutter:
    """Run through hours of covers, a quarter of each step heated, at longitude 0 from midnight on."""
    counting = Counting()
    site: Any = SimpleNamespace(
        now_utc=MIDNIGHT,
        plan=SimpleNamespace(weather=SimpleNamespace(longitude_deg=named.pop("longitude_deg", 0.0))),
        frames={SOUTH: SimpleNamespace(stand_in=counting)},
        true={SOUTH: {"air": 0.5}},
    )
    cutter = WindowCutter(site, SOUTH, **named)
    for hours_so, stood in hours:
        for _ in range(round(hours_so * 3600.0 / STEP_S)):
            counting.steps += 1
            site.now_utc += timedelta(seconds=STEP_S)
            frame = SimpleNamespace(true_c={"air": float(counting.steps)}, stood=stood, heated_s=STEP_S / 4)
            moment: Any = SimpleNamespace(utc=site.now_utc, dt_s=STEP_S, frames={SOUTH: frame})
            cutter.add(moment)
    cutter.finish()
    return cutter


def lived(stand_in: object) -> int:
    """Steps of a copy, which must be a copy."""
    assert isinstance(stand_in, Counting)
    return stand_in.steps


def begins(piece: Piece) -> float:
    """Hours after midnight."""
    return (piece.begins_utc - MIDNIGHT) / timedelta(hours=1)


def test_a_night_is_one_window_that_begins_a_step_late_with_the_stand_in_as_it_then_was() -> None:
    """Open until 16 h, shut until 8 h, open again: 16:10 to 8:00, the copy having lived 97 steps."""
    (window,) = cut([(16, OPEN), (16, SHUT), (2, OPEN)]).windows
    assert begins(window) == pytest.approx(16 + 1 / 6)
    assert window.span_s == 16 * 3600.0 - STEP_S
    assert lived(window.stand_in) == 97
    assert window.begins_air_c == 97.0
    assert window.heated_s == pytest.approx(window.span_s / 4)
    assert window.spans == [(window.span_s, SHUT)]


def test_coverings_do_not_end_a_window_but_are_kept_in_it() -> None:
    """Mats two hours after shutting: one window, two spans."""
    (window,) = cut([(16, OPEN), (2, SHUT), (6, MATS), (1, OPEN)]).windows
    assert window.spans == [(2 * 3600.0 - STEP_S, SHUT), (6 * 3600.0, MATS)]


def test_long_spells_are_split_at_noon() -> None:
    """Shut for two days and a half from 18 h on: split at both noons that follow."""
    windows = cut([(18, OPEN), (60, SHUT)]).windows
    assert [begins(window) for window in windows] == pytest.approx([18 + 1 / 6, 36, 60])


def test_noon_is_the_suns() -> None:
    """At 75° west noon comes at 17 h UTC."""
    windows = cut([(1, OPEN), (20, SHUT)], longitude_deg=-75.0).windows
    assert [begins(window) for window in windows] == pytest.approx([1 + 1 / 6, 17])


def test_a_young_window_is_not_split() -> None:
    """Shut at ten: the noon two hours later is passed over, the next one is not."""
    windows = cut([(10, OPEN), (30, SHUT)]).windows
    assert [begins(window) for window in windows] == pytest.approx([10 + 1 / 6, 36])
    windows = cut([(10, OPEN), (30, SHUT)], old_enough_s=60 * 3600.0).windows
    assert len(windows) == 1


def test_pieces_are_the_whole_run_without_gap_or_overlap() -> None:
    """What is no window lies between two, and a spell of twenty minutes is none."""
    cutter = cut([(0.5, SHUT), (9.5, OPEN), (1 / 3, SHUT), (5, OPEN), (40, SHUT), (1, OPEN)])
    at = MIDNIGHT
    for piece in cutter.pieces:
        assert piece.begins_utc == at
        assert sum(span_s for span_s, _ in piece.spans) == piece.span_s
        assert (piece.stand_in is not None) == piece.shut
        at += timedelta(seconds=piece.span_s)
    assert at == MIDNIGHT + timedelta(hours=0.5 + 9.5 + 1 / 3 + 5 + 40 + 1)
    assert all(window.span_s >= 1800.0 for window in cutter.windows)


def test_the_run_begins_with_a_copy_of_its_own() -> None:
    """Whatever the run does to its stand-in afterwards."""
    assert lived(cut([(2, OPEN)]).begins_with) == 0
