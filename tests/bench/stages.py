"""Where a step's time goes: a clock round each stage, which counts what nests in it apart."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from typing import Any
from unittest.mock import patch

from controller.loop.keeper import Keeper
from controller.rehearse.field import Field
from controller.rehearse.nights import NightWatch
from controller.rehearse.outputs import OutputFolder, Tallies
from controller.rehearse.probes import SimulatedProbes
from controller.rehearse.seam import CheckedStandIn
from controller.tell.policy import DeliveryPolicy
from controller.weatherseries import WeatherSeries
from tests.bench.contestants import run_keeper
from tests.bench.ground import Ground

US_PER_S = 1e6
THE_REST = "the rest"
STAGES: Mapping[str, tuple[tuple[type, str], ...]] = {
    "weather": ((WeatherSeries, "mean_over"),),
    "stand-in": ((CheckedStandIn, "advance"),),
    "probes": ((SimulatedProbes, "take"),),
    "tick": ((Keeper, "tick"),),
    "messenger's policy": ((DeliveryPolicy, "due"),),
    "outputs": ((OutputFolder, "add"), (Tallies, "add"), (NightWatch, "add")),
    "grower": ((Field, "visit"),),
}
"""By name, the methods in which a stage spends its time. Weather and stand-in include the unheated twins
of the nights."""


class StageClock:
    """Seconds by stage; a stage within another stops the outer one's clock."""

    def __init__(self, now_s: Callable[[], float] = time.thread_time) -> None:
        """``now_s`` gives seconds that only grow."""
        self.spent_s: dict[str, float] = {}
        self._now_s = now_s
        self._inner_s = 0.0
        """Spent in stages within the one that is being timed."""

    def timed(self, stage: str, whole: Callable[..., Any]) -> Callable[..., Any]:
        """The same function, its time counted."""
        self.spent_s.setdefault(stage, 0.0)

        def counted(*arguments: Any, **named: Any) -> Any:
            outer_inner_s, self._inner_s = self._inner_s, 0.0
            began_s = self._now_s()
            try:
                return whole(*arguments, **named)
            finally:
                whole_s = self._now_s() - began_s
                self.spent_s[stage] += whole_s - self._inner_s
                self._inner_s = outer_inner_s + whole_s

        return counted

    @contextmanager
    def running(self) -> Iterator[None]:
        """Every stage is timed within, and no longer afterwards."""
        with ExitStack() as stack:
            for stage, methods in STAGES.items():
                for owner, name in methods:
                    stack.enter_context(patch.object(owner, name, self.timed(stage, getattr(owner, name))))
            yield


def time_stages(ground: Ground) -> dict[str, float]:
    """Microseconds of processor per step and stage of one keeper's run; the clocks cost some of them."""
    clock = StageClock()
    with clock.running():
        run = run_keeper(ground)
    rest_s = run.processor_s - sum(clock.spent_s.values())
    return {
        stage: spent_s * US_PER_S / run.steps
        for stage, spent_s in {**clock.spent_s, THE_REST: rest_s}.items()
    }
