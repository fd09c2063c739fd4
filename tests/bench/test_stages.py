"""The clock round the stages."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.bench.stages import STAGES, StageClock


class Ticking:
    """Seconds that only ``work`` moves."""

    def __init__(self) -> None:
        self.at_s = 0.0

    def now_s(self) -> float:
        return self.at_s

    def work(self, span_s: float) -> None:
        self.at_s += span_s


def test_a_stage_within_another_is_counted_apart() -> None:
    """An outer of 1 + 2 s round an inner of 5 s, twice: 6 s and 10 s, and the answer comes through."""
    ticking = Ticking()
    clock = StageClock(ticking.now_s)
    inner: Callable[..., Any] = clock.timed("inner", lambda: ticking.work(5.0))

    def whole(answer: int) -> int:
        ticking.work(1.0)
        inner()
        ticking.work(2.0)
        return answer

    outer = clock.timed("outer", whole)
    assert [outer(7), outer(answer=8)] == [7, 8]
    assert clock.spent_s == {"inner": 10.0, "outer": 6.0}


def test_a_stage_that_fails_is_counted_too() -> None:
    """Its time is not given to its neighbour."""
    ticking = Ticking()
    clock = StageClock(ticking.now_s)

    def fails() -> None:
        ticking.work(3.0)
        raise ValueError("as it must")

    def round_it() -> None:
        with pytest.raises(ValueError, match="as it must"):
            clock.timed("fails", fails)()
        ticking.work(1.0)

    clock.timed("round", round_it)()
    assert clock.spent_s == {"fails": 3.0, "round": 1.0}


def test_the_clocks_are_gone_afterwards() -> None:
    """Every method is its own again, also after an error."""

    def methods() -> list[Any]:
        return [getattr(owner, name) for stage in STAGES.values() for owner, name in stage]

    def fails_while_timed() -> None:
        with StageClock().running():
            assert not set(before) & set(methods())
            raise ValueError("as it must")

    before = methods()
    with pytest.raises(ValueError, match="as it must"):
        fails_while_timed()
    assert methods() == before
