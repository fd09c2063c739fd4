"""What the contestants share."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from controller.rehearse.contract import OpeningNow
from controller.vocabulary import Place
from controller.weatherseries import WeatherPoint
from tests.bench.ground import (
    BUILT_IN,
    BenchError,
    Ground,
    adequate_watts,
    coldest_moment,
    coldest_week_c,
    lay_ground,
    watts_ladder,
)
from tests.bench.winters import WEATHER
from tests.controller.rehearse.lab import SOUTH, plan


def lay(**changes: object) -> Ground:
    asked: dict[str, object] = {
        "weather": WEATHER,
        "config": None,
        "first": None,
        "last": None,
        "stand_in": BUILT_IN,
        "seed": 1,
        "quick": False,
    }
    return lay_ground(**{**asked, **changes})  # type: ignore[arg-type]


class Slow:
    """A frame that loses 20 W/K and goes two thirds of its way to what its watts make up for in two hours."""

    def __init__(self, power_w: float) -> None:
        self.power_w = power_w
        self.lift_k = 10.0

    def advance(
        self,
        dt_s: float,
        weather: WeatherPoint,
        heat_on: bool,  # noqa: FBT001  # the seam's form
        _opening: OpeningNow,
        /,
    ) -> dict[str, float]:
        """Over the outside, by so much."""
        aim_k = self.power_w / 20.0 if heat_on else 0.0
        self.lift_k = aim_k + (self.lift_k - aim_k) * math.exp(-dt_s / 7200.0)
        return {"air": weather.temp_c + self.lift_k, "bed": 9.0, "outside": weather.temp_c}


def test_without_dates_it_is_november_to_april() -> None:
    """181 days of one-minute steps at Pittsburgh, midnight to midnight five hours behind UTC."""
    ground = lay()
    assert ground.span_s == 181 * 86_400.0
    assert ground.plan.from_utc == datetime(2001, 11, 1, 5, tzinfo=UTC)
    assert ground.plan.settings.site.zone == "Etc/GMT+5"


def test_the_site_stays_where_the_sun_keeps_the_same_hours(tmp_path: Path) -> None:
    """Weather within half an hour of the sun leaves the site's own clock alone."""
    rows = "".join(f"2027-01-{day:02}T00:00:00Z,5.0,,,,,,\n" for day in (1, 2))
    file = tmp_path / "near.csv"
    file.write_text(
        "# lat: 53\n# lon: -6.4\n# irradiance: instant\n"
        "utc,temp_c,dew_point_c,wind_m_s,ghi_w_m2,dni_w_m2,dhi_w_m2,cloud_tenths\n" + rows
    )
    ground = lay(weather=file, first=date(2027, 1, 1), last=date(2027, 1, 1))
    assert ground.plan.settings.site.zone == "Europe/Dublin"


def test_quick_is_a_fortnight_with_the_coldest_moment_that_begins_mild() -> None:
    """The frame begins as cold as the air, so the mildest hour of the days before is taken."""
    whole, quick = lay().plan, lay(quick=True).plan
    coldest = coldest_moment(whole.weather, whole.from_utc, whole.until_utc)
    assert quick.until_utc - quick.from_utc == timedelta(days=14)
    assert quick.from_utc + timedelta(days=4) <= coldest < quick.until_utc
    assert quick.weather.at(quick.from_utc).temp_c > 5.0


def test_other_watts_reach_keeper_and_stand_in_alike() -> None:
    """Settings and table both; nothing else changes."""
    ground = lay()
    other = ground.with_watts(111.0)
    assert other.heat.power_w == 111.0
    assert other.plan.settings.tables[SOUTH]["heat"]["power_w"] == 111.0  # type: ignore[index]
    assert other.with_watts(ground.heat.power_w) == ground


def test_air_probes_and_no_others_can_be_wrong() -> None:
    """Both air probes by half a kelvin, the rest by nothing."""
    ground = lay().with_air_off_by(-0.5)
    probes = ground.plan.settings.frames[SOUTH].probes
    natures = ground.plan.natures
    assert {natures[probes[place]].offset_k for place in (Place.AIR, Place.AIR_SECOND)} == {-0.5}
    assert set(natures) == {probes[Place.AIR], probes[Place.AIR_SECOND]}


def test_the_ladder_is_round_and_rises_by_tenths() -> None:
    """From 150 W on in fives."""
    ladder = watts_ladder()
    assert ladder[0] == 150.0
    assert all(power_w % 5.0 == 0.0 for power_w in ladder)
    assert all(1.05 < more / less < 1.15 for less, more in pairwise(ladder))


def test_adequate_is_the_first_rung_that_holds_the_line_under_a_thermostat() -> None:
    """20 W/K up to 2 °C in the coldest hour, -16.7 °C, are 374 W if it lasted; it takes not much less."""
    ground = lay()
    slow = replace(
        ground, plan=replace(ground.plan, stand_in=lambda frame, utc: Slow(frame["heat"]["power_w"]))
    )
    found, ladder = adequate_watts(slow), watts_ladder()
    assert coldest_week_c(slow.with_watts(found)) >= 2.0
    assert coldest_week_c(slow.with_watts(ladder[ladder.index(found) - 1])) < 2.0
    assert 0.85 * 374.0 <= found <= 1.1 * 374.0


def test_a_frame_stays_itself_under_another_cable() -> None:
    """Unheated, the built-in frame is as cold with a big cable as with a small one, but for its copper."""
    cold = []
    for power_w in (150.0, 200.0):
        ground = lay(quick=True).with_watts(power_w)
        stand_in = ground.plan.stand_in(dict(ground.plan.settings.tables[SOUTH]), ground.plan.from_utc)
        shut = OpeningNow(name="shut", area_m2=0.0, height_m=0.0)
        at = ground.plan.weather.at(ground.plan.from_utc)
        for _ in range(48):
            true_c = stand_in.advance(1800.0, at, False, shut)  # noqa: FBT003  # positional seam
        cold.append(true_c["air"])
    assert cold[0] == pytest.approx(cold[1], abs=0.2)


def test_a_hopeless_frame_is_refused_in_words() -> None:
    """A stand-in that heat does not warm has no adequate cable."""
    ground = lay()
    hopeless = replace(ground, plan=replace(ground.plan, stand_in=lambda frame, utc: Slow(0.0)))
    with pytest.raises(BenchError, match="no cable up to"):
        adequate_watts(hopeless)


def test_a_frame_without_heat_is_refused() -> None:
    """The bench compares heat."""
    cold = plan()
    frame = replace(cold.settings.frames[SOUTH], heat=None)
    cold = replace(cold, settings=replace(cold.settings, frames={SOUTH: frame}))
    with pytest.raises(BenchError, match="has no heat"):
        _ = Ground(plan=cold, frame=SOUTH).heat
