"""Everything outside the keeper: weather, simulated frames, and the people who tend them.

Time goes on only by ``step``; whoever calls it says which cables were on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from random import Random
from typing import NamedTuple

from controller.config.records import FrameSettings
from controller.rehearse.contract import OpeningNow
from controller.rehearse.grower import GROWERS, Look, Stand
from controller.rehearse.plan import Plan
from controller.rehearse.probes import unmodelled_places
from controller.rehearse.seam import CheckedStandIn, make_stand_in
from controller.rehearse.sunpath import sun_at
from controller.rehearse.tending import Deed, Tending
from controller.vocabulary import FrameName, NoticeEvent, Place
from controller.wire import Order, ReportCovering, ReportOpening


class FrameMoment(NamedTuple):
    """One frame at the end of one step; a tuple because many are made."""

    true_c: Mapping[str, float]
    heated_s: float
    """Seconds of this step with the relay on."""
    opening: str
    """How the covers stood during the step."""
    covering: str
    """What lay over them, joined by ``+``; empty when bare."""
    stood: OpeningNow
    """The same as the stand-in was given it."""


@dataclass(slots=True, kw_only=True)
class FieldFrame:
    """One frame as it truly is."""

    settings: FrameSettings
    stand_in: CheckedStandIn
    stand: Stand
    stood: OpeningNow
    covering: str = ""

    def leave(self, stand: Stand) -> None:
        """Set covers and coverings."""
        self.stand = stand
        self.stood = opening_now(self.settings, stand)
        self.covering = "+".join(stand.laid)


class Field:
    """The frames of one site in their weather, with their growers."""

    def __init__(self, plan: Plan) -> None:
        """Check the weather and every stand-in; raises WeatherFileError or StandInError."""
        plan.weather.check_span(plan.from_utc, plan.until_utc)
        self.plan = plan
        self.now_utc = plan.from_utc
        self.elapsed_s = 0.0
        self._zone = plan.people_zone
        first = plan.weather.at(plan.from_utc)
        self.frames = {name: self._frame(frame) for name, frame in plan.settings.frames.items()}
        self.true: dict[FrameName, Mapping[str, float]] = {
            name: frame.stand_in.advance(0.0, first, False, frame.stood)  # noqa: FBT003  # positional seam
            for name, frame in self.frames.items()
        }
        self.places = tuple(dict.fromkeys(place for true in self.true.values() for place in true))
        """Places that the stand-ins model."""
        self._openings = {
            name: {opening.name: index for index, opening in enumerate(frame.openings)}
            for name, frame in plan.settings.frames.items()
        }
        self._tendings = [
            Tending(
                grower=GROWERS[grower],
                slip_frac=plan.slip_frac,
                draws=Random(f"grower {plan.seed} {number} {grower}"),  # noqa: S311  # a mistake, not a secret
            )
            for number, grower in enumerate(plan.growers)
        ]

    @property
    def stood_in_for(self) -> tuple[Place, ...]:
        """Fitted probes whose place no stand-in models, so that the nearest place is read instead."""
        return unmodelled_places(self.plan.settings.frames, self.places)

    def step(self, dt_s: float, heat_on: Mapping[FrameName, bool]) -> dict[FrameName, FrameMoment]:
        """Let ``dt_s`` seconds pass with these cables on; frames that are not named are unheated."""
        weather = self.plan.weather.mean_over(self.now_utc, dt_s)
        moments: dict[FrameName, FrameMoment] = {}
        for name, frame in self.frames.items():
            on = heat_on.get(name, False)
            true = frame.stand_in.advance(dt_s, weather, on, frame.stood)
            self.true[name] = true
            moments[name] = FrameMoment(
                true, dt_s if on else 0.0, frame.stood.name, frame.covering, frame.stood
            )
        self.now_utc += timedelta(seconds=dt_s)
        self.elapsed_s += dt_s
        return moments

    def visit(self, told: Sequence[NoticeEvent]) -> list[Order]:
        """Let the growers hear what was pushed or is over, and do what is due; gives what they report."""
        orders: list[Order] = []
        for tending in self._tendings:
            if told:
                tending.hear(told, self.elapsed_s)
            if tending.is_due(self.elapsed_s):
                local = self.now_utc.astimezone(self._zone)
                for deed in tending.round(self.elapsed_s, local, self._look, self._openings):
                    orders += self._do(deed)
        return orders

    def _do(self, deed: Deed) -> list[Order]:
        """Change what is changed, and say what is said."""
        frame = self.frames[deed.frame]
        before = frame.stand
        if deed.done:
            frame.leave(deed.stand)
        reports: list[Order] = []
        if deed.stand.opening != before.opening:
            opening = frame.settings.openings[deed.stand.opening].name
            reports.append(ReportOpening(frame=deed.frame, opening=opening))
        if deed.stand.laid != before.laid:
            reports.append(ReportCovering(frame=deed.frame, coverings=list(deed.stand.laid)))
        return reports

    def _look(self, name: FrameName) -> Look:
        frame, weather, true = self.frames[name], self.plan.weather, self.true[name]
        return Look(
            local=self.now_utc.astimezone(self._zone),
            sun=sun_at(self.now_utc, weather.latitude_deg, weather.longitude_deg),
            air_c=true["air"],
            outside_c=true["outside"],
            opening=frame.stand.opening,
            openings=len(frame.settings.openings),
            laid=frame.stand.laid,
            coverings=tuple(covering.name for covering in frame.settings.coverings),
        )

    def _frame(self, settings: FrameSettings) -> FieldFrame:
        stand = Stand(opening=0, laid=())
        stood = opening_now(settings, stand)
        stand_in = make_stand_in(
            self.plan.stand_in,
            name=self.plan.stand_in_name,
            table=self.plan.settings.tables[settings.name],
            start_utc=self.plan.from_utc,
            first_weather=self.plan.weather.at(self.plan.from_utc),
            opening=stood,
        )
        return FieldFrame(settings=settings, stand_in=stand_in, stand=stand, stood=stood)


def opening_now(settings: FrameSettings, stand: Stand) -> OpeningNow:
    """How covers and coverings stand, as a stand-in is told; coverings lie on each other."""
    opening = settings.openings[stand.opening]
    return OpeningNow(
        name=opening.name,
        area_m2=opening.area_m2,
        height_m=opening.height_m,
        covering_r_m2k_w=sum(
            covering.r_m2k_w for covering in settings.coverings if covering.name in stand.laid
        ),
    )
