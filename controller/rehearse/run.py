"""The rehearsal itself: field, probes, clock and one real keeper, step after step in one process.

Nothing here waits; whoever drives it takes one ``Moment`` after another at the pace they like.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from typing import NamedTuple, Protocol

from controller.config.records import Settings
from controller.loop.clock import RehearsalClock
from controller.loop.results import TickResult
from controller.rehearse.field import Field, FrameMoment
from controller.rehearse.plan import Plan
from controller.rehearse.probes import SimulatedProbes
from controller.tell.policy import DeliveryPolicy
from controller.vocabulary import FrameName, NoticeEvent
from controller.weatherseries import EPOCH
from controller.wire import Order

__all__ = ["BuildKeeper", "FrameMoment", "KeeperLike", "Moment", "Plan", "Rehearsal"]


class KeeperLike(Protocol):
    """What a rehearsal needs of a keeper."""

    def tick(self) -> TickResult:
        """Do one complete round on the clock and probes that it was built with."""


BuildKeeper = Callable[[Settings, RehearsalClock, SimulatedProbes, float], KeeperLike]
"""Takes settings, clock, probes and the step in seconds; gives a keeper that has not ticked yet."""


class Moment(NamedTuple):
    """The end of one step."""

    utc: datetime
    dt_s: float
    frames: Mapping[FrameName, FrameMoment]
    result: TickResult
    pushed: tuple[NoticeEvent, ...] = ()
    """What the messenger's policy sent out at this instant."""


class Rehearsal:
    """One keeper, its frames, their weather and their gardeners."""

    def __init__(
        self,
        plan: Plan,
        build_keeper: BuildKeeper,
        give_order: Callable[[KeeperLike, Order], None] | None = None,
    ) -> None:
        """Check the weather and every stand-in, then build the keeper.

        ``give_order`` tells the keeper how the growers left the covers, as a person would.
        """
        self.plan = plan
        self.field = Field(plan)
        self.clock = RehearsalClock(utc_s=(plan.from_utc - EPOCH).total_seconds())
        self.probes = SimulatedProbes(
            plan.settings.frames, seed=plan.seed, faults=plan.faults, natures=plan.natures
        )
        self.keeper = build_keeper(plan.settings, self.clock, self.probes, plan.step_s)
        self._give_order = give_order
        self._policy = DeliveryPolicy()
        self._zone = plan.people_zone
        self._heat_on = dict.fromkeys(plan.settings.frames, False)

    def moments(self) -> Iterator[Moment]:
        """Step until the end of the plan; each moment is handed out as soon as it is over."""
        field, total_s = self.field, (self.plan.until_utc - self.plan.from_utc).total_seconds()
        while field.elapsed_s < total_s:
            moment = self._step(min(self.plan.step_s, total_s - field.elapsed_s))
            yield moment
            for order in field.visit(heard(moment)):
                if self._give_order is not None:
                    self._give_order(self.keeper, order)

    def _step(self, dt_s: float) -> Moment:
        field = self.field
        frames = field.step(dt_s, self._heat_on)
        self.clock.advance(dt_s)
        self.probes.take(field.true, dt_s, self.clock.mono_s())
        result = self.keeper.tick()
        for name, tick in result.frames.items():
            self._heat_on[name] = tick.report.relay_on
        pushed: tuple[NoticeEvent, ...] = ()
        if result.notices or self._policy.has_waiting:
            pushed = self._policy.due(result.notices, field.now_utc.astimezone(self._zone))
        return Moment(field.now_utc, dt_s, frames, result, pushed)


def heard(moment: Moment) -> tuple[NoticeEvent, ...]:
    """What growers hear of at a moment: pushes, and what is over."""
    if not moment.result.notices:
        return moment.pushed
    return moment.pushed + tuple(event for event in moment.result.notices if event.event == "cleared")
