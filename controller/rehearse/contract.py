"""What a simulated frame must offer and what it is given. Pure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

from controller.weatherseries import WeatherPoint


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningNow:
    """How the covers stand during one step, and what lies on them."""

    name: str
    area_m2: float
    height_m: float
    covering_r_m2k_w: float = 0.0
    """Thermal resistance of all coverings together; 0 when bare."""


class StandIn(Protocol):
    """A simulated frame: deterministic and deep-copyable.

    The arguments are positional. ``weather`` offers ``utc`` (aware, the middle of the step) and the
    weather file's columns as step means, None where absent.
    """

    def advance(
        self,
        dt_s: float,
        weather: WeatherPoint,
        heat_on: bool,  # noqa: FBT001  # the seam's arguments are positional
        opening: OpeningNow,
        /,
    ) -> dict[str, float]:
        """True °C by place after ``dt_s`` seconds; with 0 the initial state."""


Factory = Callable[[dict[str, Any], datetime], StandIn]
"""``factory(frame, start_utc)``: the frame's own settings table as a plain dict, and when the run begins."""
