"""The thermostats of the bench."""

from __future__ import annotations

from dataclasses import replace

from controller.rehearse.contract import OpeningNow
from controller.weatherseries import WeatherPoint
from tests.bench.contestants import PLUG_IN, TwoPoint, run_thermostat
from tests.bench.ground import Ground
from tests.controller.rehearse.lab import SOUTH, plan


class Saw:
    """Air that warms by 0.01 K a second of heat and cools by 0.01 K a second without, from 8 °C on."""

    def __init__(self) -> None:
        self.air_c = 8.0

    def advance(
        self,
        dt_s: float,
        weather: WeatherPoint,
        heat_on: bool,  # noqa: FBT001  # the seam's form
        _opening: OpeningNow,
        /,
    ) -> dict[str, float]:
        """Up or down."""
        self.air_c += 0.01 * dt_s * (1 if heat_on else -1)
        return {"air": self.air_c, "bed": 9.0, "outside": weather.temp_c}


def test_both_points_belong_to_the_switching() -> None:
    """On at the lower point, off at the upper one, as it was in between."""
    two = TwoPoint(on_c=2.0, off_c=3.0)
    assert two.wants_heat(2.0, on=False)
    assert not two.wants_heat(2.01, on=False)
    assert two.wants_heat(2.99, on=True)
    assert not two.wants_heat(3.0, on=True)


def test_the_plug_in_switches_where_such_thermostats_do() -> None:
    """1.7 and 7.2 °C, 35 and 45 °F, are the design's own figures."""
    assert (PLUG_IN.on_c, PLUG_IN.off_c) == (1.7, 7.2)


def test_a_thermostats_winter_is_counted_step_by_step() -> None:
    """0.6 K a step: 11 steps down from 8 to 1.4 °C, 10 up to 7.4 and so on; heat in every second run."""
    ground = Ground(
        plan=replace(plan(days=1.0, stand_in=lambda frame, utc: Saw()), growers=("absent",)), frame=SOUTH
    )
    tally = run_thermostat(ground, PLUG_IN)
    assert tally.total_s == 86_400.0
    assert round(tally.coldest_c, 6) == 1.4
    assert round(tally.warmest_c, 6) == 7.4
    # 11 steps down, then 10 up and 10 down in turn: 1440 - 11 = 71 rounds of 20 and 9 steps of the last rise
    assert tally.heated_s == 60.0 * (71 * 10 + 9)
    assert tally.switch_on_count == 72
