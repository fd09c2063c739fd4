"""One frame's part of the picture: warmth, covers and heat, day after day from left to right. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import groupby

from controller.rehearse.picturedays import FrameDay, FrameWinter
from controller.rehearse.pictureink import Box, figure, filled, letters, line, shape, triangle, width_px_of
from controller.rehearse.picturescale import (
    COLUMN_C_MAX,
    LABEL_PX,
    LEFT_PX,
    MONTH_PX,
    RIGHT_PX,
    SMALL_PX,
    WARMTH_PX,
    Scale,
    is_dated,
    month_words,
)
from controller.rehearse.picturewords import day_words
from controller.units import decimal_text, energy_text, temperature_text

WARMTH_ABOVE_PX = 30.0
STRIP_PX, STRIP_ABOVE_PX = 26.0, 16.0
HEAT_PX, HEAT_ABOVE_PX = 84.0, 34.0
DATES_PX = 62.0
DAY_S = 86400.0
BROAD_FRAC, BROAD_PX_MAX = 0.80, 44.0
NARROW_FRAC, NARROW_PX_MAX = 0.46, 18.0
"""Columns for outside and for the frame, as shares of a day's width."""


class Panel:
    """Draws one frame from ``top_px`` down; ``bottom_px`` tells where it ended."""

    def __init__(self, winter: FrameWinter, scale: Scale, top_px: float) -> None:
        """Lay the parts out below each other."""
        self._winter = winter
        self._scale = scale
        self._broad_px = min(BROAD_PX_MAX, BROAD_FRAC * scale.day_px)
        self._marks_px = top_px + WARMTH_ABOVE_PX - 4.0
        self._warmth_px = top_px + WARMTH_ABOVE_PX
        at_px = self._warmth_px + WARMTH_PX
        settings = winter.settings
        self._has_strip = len(settings.openings) > 1 or bool(settings.coverings)
        self._strip_px = at_px + STRIP_ABOVE_PX + STRIP_PX
        """Where both bars of the strip begin, open upwards and covered downwards."""
        if self._has_strip:
            at_px = self._strip_px + STRIP_PX
        self._heat_px = at_px + HEAT_ABOVE_PX + HEAT_PX
        if winter.power_w:
            at_px = self._heat_px
        self._dates_px = at_px
        self.bottom_px = at_px + DATES_PX

    def draw(self) -> str:
        """Everything, ground first."""
        parts = [self._grid(), self._columns(), self._lines(), self._marks()]
        if self._has_strip:
            parts.append(self._strip())
        if self._winter.power_w:
            parts.append(self._heat())
        return "".join((*parts, self._dates(), self._pointers()))

    def _level_px(self, temp_c: float) -> float:
        return self._warmth_px + self._scale.drop_px(temp_c)

    def _middle_px(self, index: int) -> float:
        return LEFT_PX + (index + 0.5) * self._scale.day_px

    def _boxes(self, width_px: float, of: Callable[[FrameDay], tuple[float, float]]) -> Iterator[Box]:
        """One box a day, between two heights as ``of`` gives them, lower one first."""
        for index, day in enumerate(self._winter.days):
            bottom_px, top_px = of(day)
            yield Box(self._middle_px(index) - width_px / 2.0, bottom_px, width_px, bottom_px - top_px)

    def _band(self, low_c: float, high_c: float, lasted_s: float = DAY_S) -> tuple[float, float]:
        """Heights of a range of temperatures, never thinner than can be seen; none where it never was."""
        if not lasted_s:
            return 0.0, 0.0
        bottom_px = self._level_px(min(low_c, COLUMN_C_MAX))
        return bottom_px, min(self._level_px(min(high_c, COLUMN_C_MAX)), bottom_px - 1.5)

    def _grid(self) -> str:
        """Frost below its line, a line for every round figure, and where a month begins."""
        scale, frost_px = self._scale, self._level_px(0.0)
        floor_px = self._warmth_px + WARMTH_PX
        parts = [filled("frostzone", [Box(LEFT_PX, floor_px, RIGHT_PX - LEFT_PX, floor_px - frost_px)])]
        first = "".join(
            f"M{figure(self._middle_px(index) - scale.day_px / 2.0)} {figure(self._warmth_px)}"
            f"V{figure(self._dates_px)}"
            for index, day in enumerate(self._winter.days)
            if day.day.day == 1 and index
        )
        if first:
            parts.append(line("grid", first))
        for shown, at_c in scale.ticks():
            at_px = self._level_px(at_c)
            if abs(at_px - frost_px) > LABEL_PX:
                parts.append(self._across("grid", at_px))
                parts.append(self._left(f"{decimal_text(shown, 0)}°", at_px))
        parts.append(self._left(f"{decimal_text(scale.shown(0.0), 0)} {scale.sign}", frost_px, bold=True))
        return "".join(parts)

    def _columns(self) -> str:
        """Outside broad, the frame's air narrow, and what of it was frost or too warm."""
        broad_px, narrow_px = self._broad_px, min(NARROW_PX_MAX, NARROW_FRAC * self._scale.day_px)
        limit_c = self._winter.air_max_c
        bands: tuple[tuple[str, float, Callable[[FrameDay], tuple[float, float]]], ...] = (
            ("outside", broad_px, lambda day: self._band(day.outside_low_c, day.outside_high_c)),
            ("air", narrow_px, lambda day: self._band(day.air_low_c, day.air_high_c)),
            (
                "frost",
                narrow_px,
                lambda day: self._band(day.air_low_c, min(0.0, day.air_high_c), day.frost_s),
            ),
            (
                "warm",
                narrow_px,
                lambda day: self._band(max(limit_c, day.air_low_c), day.air_high_c, day.warm_s),
            ),
        )
        return "".join(filled(ink, self._boxes(width_px, band)) for ink, width_px, band in bands)

    def _lines(self) -> str:
        """Freezing, and the line that the frame is kept above."""
        winter, units = self._winter, self._scale.units
        parts = [self._across("ink", self._level_px(0.0), width_px=1.5)]
        named = []
        if winter.power_w:
            named.append(("air", "kept above", winter.keep_above_c, 2.0, "7 5"))
        if any(day.warm_s for day in winter.days):
            named.append(("warm", "air limit", winter.air_max_c, 1.5, "2 4"))
        for ink, words, at_c, width_px, dashes in named:
            at_px = self._level_px(at_c)
            parts += (
                self._across(ink, at_px, width_px=width_px, dashes=dashes),
                self._right(words, at_px - 11.0, ink=ink),
                self._right(temperature_text(at_c, units), at_px + 10.0, ink=ink),
            )
        return "".join(parts)

    def _marks(self) -> str:
        """Below a column for frost, above it for too warm, and above all for an urgent notice."""
        half_px = max(3.6, min(7.0, 0.5 * self._scale.day_px))
        frost, warm, urgent = "", "", ""
        for index, day in enumerate(self._winter.days):
            middle_px = self._middle_px(index)
            if day.frost_s:
                tip_px = self._level_px(min(day.air_low_c, day.outside_low_c)) + 2.0 * half_px + 4.0
                frost += triangle(middle_px, tip_px, half_px, -2.0 * half_px)
            if day.warm_s:
                top_c = min(COLUMN_C_MAX, max(day.air_high_c, day.outside_high_c))
                tip_px = self._level_px(top_c) - 2.0 * half_px - 4.0
                warm += triangle(middle_px, tip_px, half_px, 2.0 * half_px)
            if day.urgent:
                urgent += exclamation(middle_px, self._marks_px, min(1.6, 0.25 * half_px + 0.5))
        return shape("frost", frost) + shape("warm", warm) + shape("warm", urgent)

    def _strip(self) -> str:
        """Hours a day: open upwards, covered downwards."""
        zero_px, width_px = self._strip_px, self._broad_px
        per_s = STRIP_PX / DAY_S
        above = self._boxes(width_px, lambda day: (zero_px, zero_px - min(STRIP_PX, day.open_s * per_s)))
        below = self._boxes(width_px, lambda day: (zero_px + min(STRIP_PX, day.laid_s * per_s), zero_px))
        return "".join(
            (
                filled("open", above),
                filled("laid", below),
                self._across("grid", zero_px - STRIP_PX),
                self._across("grid", zero_px + STRIP_PX),
                self._across("quiet", zero_px),
                self._left("open", zero_px - 12.0, size_px=SMALL_PX),
                self._left("mats on", zero_px + 13.0, size_px=SMALL_PX),
                self._right("24 h", zero_px - STRIP_PX + 4.0, ink="quiet"),
                self._right("24 h", zero_px + STRIP_PX - 4.0, ink="quiet"),
            )
        )

    def _heat(self) -> str:
        """Hours a day as bars, with a second scale of energy."""
        zero_px, top_h, winter = self._heat_px, self._scale.heat_top_h, self._winter
        per_s = HEAT_PX / (top_h * 3600.0)
        parts = [
            self._across("grid", zero_px - HEAT_PX),
            filled(
                "heat", self._boxes(self._broad_px, lambda day: (zero_px, zero_px - day.heated_s * per_s))
            ),
            self._across("quiet", zero_px),
            self._left(f"{top_h:g} h", zero_px - HEAT_PX),
            self._left("heat", zero_px - HEAT_PX / 2.0, size_px=SMALL_PX),
            self._left("0", zero_px - 5.0),
            self._right(energy_text(top_h * winter.power_w), zero_px - HEAT_PX, ink="quiet"),
        ]
        if self._scale.day_px >= width_px_of("0.00", SMALL_PX):
            parts += [
                letters(
                    f"{day.heated_s * winter.power_w / 3.6e6:.1f}",
                    self._middle_px(index),
                    zero_px - day.heated_s * per_s - 5.0,
                    size_px=SMALL_PX,
                    ink="quiet",
                    anchor="middle",
                )
                for index, day in enumerate(winter.days)
                if day.heated_s
            ]
        return "".join(parts)

    def _dates(self) -> str:
        """Days of the month, months and what each took."""
        day_px, parts, index = self._scale.day_px, [], 0
        for _, group in groupby(self._winter.days, key=lambda day: (day.day.year, day.day.month)):
            days = list(group)
            left_px = LEFT_PX + index * day_px
            for offset, day in enumerate(days):
                if is_dated(day.day.day, day_px):
                    parts.append(
                        letters(
                            str(day.day.day),
                            left_px + (offset + 0.5) * day_px,
                            self._dates_px + 20.0,
                            size_px=SMALL_PX,
                            ink="quiet",
                            anchor="middle",
                        )
                    )
            month = month_words(days, self._winter.power_w, day_px)
            parts.append(letters(month, left_px + 2.0, self._dates_px + 46.0, size_px=MONTH_PX))
            index += len(days)
        return "".join(parts)

    def _pointers(self) -> str:
        """An unseen box over each day that says it in full when pointed at."""
        top_px, day_px = self._warmth_px, self._scale.day_px
        return "".join(
            f'<rect fill="none" pointer-events="all" x="{figure(LEFT_PX + index * day_px)}"'
            f' y="{figure(top_px)}" width="{figure(day_px)}" height="{figure(self._dates_px - top_px)}">'
            f"<title>{day_words(day, self._winter, self._scale.units)}</title></rect>\n"
            for index, day in enumerate(self._winter.days)
        )

    def _across(self, ink: str, at_px: float, *, width_px: float = 1.0, dashes: str = "") -> str:
        """A line over all days."""
        path = f"M{figure(LEFT_PX)} {figure(at_px)}H{figure(RIGHT_PX)}"
        return line(ink, path, width_px=width_px, dashes=dashes)

    def _left(self, text: str, at_px: float, *, size_px: float = LABEL_PX, bold: bool = False) -> str:
        """A label beside a height, left of the days."""
        return letters(text, LEFT_PX - 10.0, at_px + 0.35 * size_px, size_px=size_px, anchor="end", bold=bold)

    def _right(self, text: str, at_px: float, *, ink: str) -> str:
        return letters(text, RIGHT_PX + 12.0, at_px + 0.35 * SMALL_PX, size_px=SMALL_PX, ink=ink)


def exclamation(middle_px: float, bottom_px: float, half_px: float) -> str:
    """A path of an exclamation mark, drawn so that it is as narrow as a day."""
    left, wide, dot = figure(middle_px - half_px), figure(2.0 * half_px), figure(2.0 * half_px)
    return (
        f"M{left} {figure(bottom_px)}h{wide}v-{dot}h-{wide}z"
        f"M{left} {figure(bottom_px - 4.0 * half_px)}h{wide}v-{figure(9.0 * half_px)}h-{wide}z"
    )
