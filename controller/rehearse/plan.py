"""What is to be rehearsed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

from controller.config.records import Settings
from controller.rehearse.contract import Factory
from controller.rehearse.probes import ProbeFault, ProbeNature
from controller.rehearse.sunpath import DEGREES_PER_H
from controller.vocabulary import ProbeId
from controller.weatherseries import WeatherSeries

ELSEWHERE_DEG = 15.0
"""An hour by the sun; clocks differ from it by as much without being wrong."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One rehearsal, whole: the same plan gives the same run."""

    settings: Settings
    weather: WeatherSeries
    from_utc: datetime
    until_utc: datetime
    step_s: float
    seed: int
    stand_in: Factory
    stand_in_name: str
    growers: Sequence[str]
    """Each one of ``attentive``, ``busy``, ``absent``; together they tend all frames."""
    slip_frac: float = 0.0
    """Share of the growers' deeds that are reported and not done."""
    faults: Sequence[ProbeFault] = ()
    natures: Mapping[ProbeId, ProbeNature] = field(default_factory=dict)

    @property
    def weather_is_elsewhere(self) -> bool:
        """Whether the weather comes from so far away that its sun keeps other hours than the site's clock."""
        site_deg, weather_deg = self.settings.site.longitude_deg, self.weather.longitude_deg
        apart_deg = abs(site_deg - weather_deg) % 360.0
        return min(apart_deg, 360.0 - apart_deg) > ELSEWHERE_DEG

    @property
    def people_zone(self) -> tzinfo:
        """The clock that growers live by: the site's, or that of the weather's sun where it is elsewhere."""
        if not self.weather_is_elsewhere:
            return ZoneInfo(self.settings.site.zone)
        return timezone(timedelta(hours=round(self.weather.longitude_deg / DEGREES_PER_H)))
