"""What is to be rehearsed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from controller.config.records import Settings
from controller.rehearse.contract import Factory
from controller.rehearse.probes import ProbeFault, ProbeNature
from controller.vocabulary import ProbeId
from controller.weatherseries import WeatherSeries


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
