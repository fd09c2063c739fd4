"""What all panels of a picture share, so that they can be compared, and how their axes are marked. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from controller.config.records import Units
from controller.rehearse.picturedays import FrameDay, FrameWinter, energy_wh_of
from controller.rehearse.pictureink import width_px_of
from controller.units import c_to_f, decimal_text, f_to_c

LEFT_PX, RIGHT_PX = 96.0, 1078.0
"""Between these lie the days; labels stand on both sides."""
DAY_PX_MAX = 92.0
WARMTH_PX = 330.0
LABEL_PX, MONTH_PX, SMALL_PX = 20.0, 18.0, 17.0
COLUMN_C_MAX = 42.0
"""Columns of hotter days are cut off there: the cold end is what the picture is for."""
HEADROOM_PX = 20.0
"""Kept free above all columns, for the marks on them."""
_TICK_PX_MIN = 42.0
_HEAT_TOPS_H = (3.0, 6.0, 12.0, 18.0, 24.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Bounds of temperature and heat, and how wide a day is."""

    units: Units
    low_c: float
    high_c: float
    heat_top_h: float
    day_px: float

    def shown(self, temp_c: float) -> float:
        """In the units that people are spoken to."""
        return c_to_f(temp_c) if self.units is Units.FAHRENHEIT else temp_c

    @property
    def sign(self) -> str:
        """What stands behind a figure."""
        return "°F" if self.units is Units.FAHRENHEIT else "°C"

    def drop_px(self, temp_c: float) -> float:
        """How far below the upper bound a temperature lies."""
        return WARMTH_PX * (self.high_c - temp_c) / (self.high_c - self.low_c)

    def ticks(self) -> Iterator[tuple[int, float]]:
        """Round figures as people read them, and what they are in °C; far enough apart for labels."""
        fahrenheit = self.units is Units.FAHRENHEIT
        k_per_figure = 1.0 / 1.8 if fahrenheit else 1.0
        px_per_figure = WARMTH_PX / (self.high_c - self.low_c) * k_per_figure
        step = next((step for step in (5, 10, 20, 50) if step * px_per_figure >= _TICK_PX_MIN), 100)
        low, high = self.shown(self.low_c), self.shown(self.high_c)
        for number in range(math.ceil(low / step), math.floor(high / step) + 1):
            figure = number * step
            yield figure, f_to_c(figure) if fahrenheit else float(figure)


def scale_for(winters: Sequence[FrameWinter], units: Units) -> Scale:
    """Round bounds around everything that will be drawn; there must be a day."""
    days = [day for winter in winters for day in winter.days]
    low_c = min(-4.0, *(math.floor(min(day.air_low_c, day.outside_low_c) - 2.0) for day in days))
    tallest_c = max(10.0, *(max(day.air_high_c, day.outside_high_c) for day in days))
    tall_k = min(tallest_c, COLUMN_C_MAX) - low_c
    heated_h = max(day.heated_s for day in days) / 3600.0
    return Scale(
        units=units,
        low_c=low_c,
        high_c=low_c + tall_k * WARMTH_PX / (WARMTH_PX - HEADROOM_PX),
        heat_top_h=next((top_h for top_h in _HEAT_TOPS_H if heated_h <= top_h), 25.0),
        day_px=min(DAY_PX_MAX, (RIGHT_PX - LEFT_PX) / len(winters[0].days)),
    )


def is_dated(day_of_month: int, day_px: float) -> bool:
    """Whether a day's number is written: every day where there is room, else every week, else none."""
    if day_px >= width_px_of("00 ", SMALL_PX):
        return True
    return day_of_month in {1, 8, 15, 22} and 7.0 * day_px >= width_px_of("00 ", SMALL_PX)


def month_words(days: Sequence[FrameDay], power_w: float, day_px: float) -> str:
    """As much of a month's name and energy as there is room for; of one form where months are whole."""
    energy_wh = energy_wh_of(days, power_w)
    energy = f": {decimal_text(energy_wh / 1000.0)} kWh" if energy_wh else ""
    full, short = f"{days[0].day:%B}", f"{days[0].day:%b}"
    if 28.0 * day_px < width_px_of("September: 100.0 kWh ", MONTH_PX):
        full = short
    choices = (full + energy, short + energy, full, short)
    return next((words for words in choices if width_px_of(words + " ", MONTH_PX) <= len(days) * day_px), "")
