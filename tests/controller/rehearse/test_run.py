"""The rehearsal's own loop, around a keeper of a few lines."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from controller.config.records import Settings
from controller.errors import WeatherFileError
from controller.loop.clock import RehearsalClock
from controller.rehearse.contract import OpeningNow
from controller.rehearse.probes import SimulatedProbes
from controller.rehearse.run import KeeperLike, Plan, Rehearsal
from controller.rehearse.seam import StandInError
from controller.vocabulary import FrameName, Place
from controller.weatherseries import WeatherPoint
from controller.wire import Order, ReportOpening
from tests.controller.rehearse.lab import SOUTH, START, HysteresisKeeper, example, plan


class Witness:
    """A stand-in that notes every call and never changes."""

    def __init__(self) -> None:
        self.calls: list[tuple[float, Any, bool, str]] = []

    def advance(
        self,
        dt_s: float,
        weather: WeatherPoint,
        heat_on: bool,  # noqa: FBT001  # the seam's form
        opening: OpeningNow,
    ) -> dict[str, float]:
        """1 °C, so that the keeper of a few lines heats for ever."""
        self.calls.append((dt_s, weather.utc, heat_on, opening.name))
        return {"air": 1.0, "bed": 2.0, "outside": weather.temp_c}


def rehearse(given: Plan) -> Rehearsal:
    return Rehearsal(given, HysteresisKeeper)


def test_every_step_is_ticked_once_and_the_last_one_ends_with_the_plan() -> None:
    """A day of one-minute steps has 1440 moments, the first at a minute past, the last at its end."""
    rehearsal = rehearse(plan())
    moments = list(rehearsal.moments())
    assert len(moments) == 1440
    assert moments[0].utc == START + timedelta(minutes=1)
    assert moments[-1].utc == rehearsal.plan.until_utc == rehearsal.field.now_utc
    assert [moment.result.seq for moment in moments] == list(range(1, 1441))


def test_a_step_that_does_not_divide_the_span_is_cut_at_its_end() -> None:
    """Seven-minute steps: the last is shorter, and the sum is the day."""
    moments = list(rehearse(plan(step_s=420.0)).moments())
    assert sum(moment.dt_s for moment in moments) == 86_400.0
    assert moments[-1].dt_s < 420.0


def test_the_keepers_clock_and_readings_are_of_the_same_instant() -> None:
    """Each reading is taken at the very instant of the tick that sees it."""
    rehearsal = rehearse(plan(days=0.1))
    for moment in rehearsal.moments():
        now_s = rehearsal.clock.mono_s()
        assert rehearsal.clock.utc_s() == pytest.approx(moment.utc.timestamp())
        assert {raw.taken_at_s for raw in rehearsal.probes.latest().values()} == {now_s}


def test_heat_acts_on_the_step_after_the_tick_that_switched_it() -> None:
    """The stand-in sees the relay as the tick before left it, starting off."""
    witness = Witness()
    moments = list(rehearse(plan(days=0.0125, stand_in=lambda frame, start_utc: witness)).moments())
    steps = [call for call in witness.calls if call[0] > 0.0]
    relay = [moment.result.frames[SOUTH].report.relay_on for moment in moments]
    assert [call[2] for call in steps] == [False, *relay[:-1]]
    assert [moment.frames[SOUTH].heated_s for moment in moments] == [60.0 * on for on in (False, *relay[:-1])]
    assert relay[0]


def test_the_stand_in_sees_step_means_at_the_middle_of_each_step() -> None:
    """``utc`` is aware and half a step after the start; inputs are constant over the step."""
    witness = Witness()
    list(rehearse(plan(days=0.0125, stand_in=lambda frame, start_utc: witness)).moments())
    steps = [call for call in witness.calls if call[0] > 0.0]
    assert steps[0][1] == START + timedelta(seconds=30)
    assert {call[3] for call in steps} == {"shut"}


def test_nothing_of_a_night_is_left_to_chance() -> None:
    """The same plan twice gives the same temperatures to the last digit; another seed does not."""

    def trace(seed: int) -> list[float]:
        return [moment.frames[SOUTH].true_c["air"] for moment in rehearse(plan(seed=seed)).moments()]

    assert trace(1) == trace(1)
    assert trace(1) != trace(2)


def test_a_heated_frame_is_held_where_an_unheated_one_freezes() -> None:
    """Two clear nights: with its cable the frame of the example stays above zero, without it does not."""
    heated = min(moment.frames[SOUTH].true_c["air"] for moment in rehearse(plan(days=3.0)).moments())

    class NoHeat(HysteresisKeeper):
        def tick(self) -> Any:
            """Reads, and leaves the relay off."""
            result = super().tick()
            tick = result.frames[SOUTH]
            report = tick.report._replace(relay_on=False)
            return result._replace(frames={SOUTH: tick._replace(report=report)})

    cold = min(moment.frames[SOUTH].true_c["air"] for moment in Rehearsal(plan(days=3.0), NoHeat).moments())
    assert cold < -0.5
    assert heated > 0.0


def test_an_attentive_grower_moves_the_covers_and_the_keeper_is_told() -> None:
    """On sunny days the covers open, the frame stays cooler than one left shut, each move is reported."""
    told: list[Order] = []

    def report(keeper: KeeperLike, order: Order) -> None:
        assert isinstance(keeper, HysteresisKeeper)
        told.append(order)

    attended = Rehearsal(plan(days=4.0, grower="attentive"), HysteresisKeeper, report)
    moments = list(attended.moments())
    used = Counter(moment.frames[SOUTH].opening for moment in moments)
    assert set(used) > {"shut", "crack"}
    openings = [order for order in told if isinstance(order, ReportOpening)]
    assert openings[-1] == ReportOpening(frame=SOUTH, opening="shut")
    left = [moment.frames[SOUTH].true_c["air"] for moment in rehearse(plan(days=4.0)).moments()]
    assert max(moment.frames[SOUTH].true_c["air"] for moment in moments) < max(left) - 2.0


def test_two_frames_each_have_their_own_stand_in() -> None:
    """One frame is a mapping of length one; two are rehearsed side by side with one shared outside probe."""
    settings = example()
    north = FrameName("north")
    south = settings.frames[SOUTH]
    probes = {
        place: probe if place is Place.OUTSIDE else type(probe)(probe[:-2] + f"{index:02x}")
        for index, (place, probe) in enumerate(south.probes.items())
    }
    frames = {SOUTH: south, north: replace(south, name=north, probes=probes, openings=south.openings[:1])}
    narrow = {**settings.tables[SOUTH], "cover": "film"}
    both = replace(settings, frames=frames, tables={SOUTH: settings.tables[SOUTH], north: narrow})
    last = list(rehearse(plan(settings=both, days=0.3)).moments())[-1]
    assert last.frames[north].true_c["air"] < last.frames[SOUTH].true_c["air"]
    assert last.frames[north].opening == "shut"
    assert set(last.result.frames) == {SOUTH, north}


def test_the_span_is_checked_before_anything_is_built() -> None:
    """Weather that does not reach is refused at once."""
    given = plan()
    with pytest.raises(WeatherFileError, match="choose dates inside it"):
        rehearse(replace(given, until_utc=given.until_utc + timedelta(days=60)))


def test_a_stand_in_that_breaks_down_ends_the_run_with_its_reason() -> None:
    """The error says where in time it happened."""

    class BreaksDown(Witness):
        def advance(self, *args: Any) -> dict[str, float]:
            """Well for a while."""
            places = super().advance(*args)
            return places if len(self.calls) < 10 else {**places, "air": float("nan")}

    with pytest.raises(StandInError, match="air is nan near 2027-02-05T00:0"):
        list(rehearse(plan(stand_in=lambda frame, start_utc: BreaksDown())).moments())


def test_places_that_are_not_modelled_are_known() -> None:
    """So that they can be told before the run."""
    rehearsal = rehearse(plan(stand_in=lambda frame, start_utc: Witness()))
    assert rehearsal.field.places == ("air", "bed", "outside")
    assert rehearsal.field.stood_in_for == (Place.CABLE,)


def test_the_keeper_is_built_on_the_step_as_its_period() -> None:
    """In rehearsal the period is the step."""
    seen: list[float] = []

    def build(
        settings: Settings, clock: RehearsalClock, probes: SimulatedProbes, step_s: float
    ) -> HysteresisKeeper:
        seen.append(step_s)
        return HysteresisKeeper(settings, clock, probes, step_s)

    Rehearsal(plan(step_s=90.0), build)
    assert seen == [90.0]
