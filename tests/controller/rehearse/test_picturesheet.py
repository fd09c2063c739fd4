"""The drawn sheet: columns where the axis says, words that are true, letters of any kind."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import settings as with_settings
from hypothesis import strategies as st

from controller.config.records import Settings, Units
from controller.rehearse.picturedays import FrameDay, FrameWinter
from controller.rehearse.pictureink import INKS, Ink, broken, escape, evened
from controller.rehearse.picturescale import COLUMN_C_MAX, scale_for
from controller.rehearse.picturesheet import WIDTH_PX, draw_sheet
from controller.rehearse.picturewords import common_finding, finding, span_words
from controller.units import f_to_c
from controller.vocabulary import FrameName
from tests.controller.rehearse.lab import SOUTH, example

SVG = "{http://www.w3.org/2000/svg}"
FIRST = date(2001, 12, 25)
NBSP = "\N{NO-BREAK SPACE}"


def day(number: int = 0, **changes: float) -> FrameDay:
    """A mild day of a frame kept above 2 °C."""
    made = FrameDay(
        day=FIRST + timedelta(days=number),
        keep_above_c=2.0,
        air_max_c=30.0,
        air_low_c=3.0,
        air_high_c=14.0,
        outside_low_c=-1.0,
        outside_high_c=6.0,
    )
    for name, amount in changes.items():
        setattr(made, name, amount)
    return made


def winter(days: Sequence[FrameDay], *, name: str = "south", heated: bool = True) -> FrameWinter:
    settings = replace(example().frames[SOUTH], name=FrameName(name))
    return FrameWinter(
        settings=settings if heated else replace(settings, heat=None),
        keep_above_c=2.0 if heated else -math.inf,
        air_max_c=30.0,
        power_w=250.0 if heated else 0.0,
        days=list(days),
    )


def site(**changes: object) -> Settings:
    settings = example()
    return replace(settings, site=replace(settings.site, **changes))


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314  # our own text


def words_of(svg: str) -> list[str]:
    return [(each.text or "").replace(NBSP, " ") for each in parsed(svg).iter(SVG + "text")]


def columns(svg: str, ink: str) -> list[tuple[float, float, float, float]]:
    """Left, right, bottom and top of the boxes of one colour, but for the key's sample."""
    path = next(each.get("d", "") for each in parsed(svg).iter(SVG + "path") if each.get("class") == ink)
    found = re.findall(r"M([-.\d]+) ([-.\d]+)h([-.\d]+)v([-.\d]+)h", path)
    return [
        (float(left), float(left) + float(wide), float(bottom), float(bottom) + float(rise))
        for left, bottom, wide, rise in found
    ]


def axis(svg: str, figures: dict[str, float]) -> tuple[float, float]:
    """Height of 0 °C and pixels per kelvin, from the labels beside the lines alone."""
    at_px = {
        figures[each.text or ""]: float(each.get("y", ""))
        for each in parsed(svg).iter(SVG + "text")
        if each.get("text-anchor") == "end" and each.text in figures
    }
    (low_c, low_px), (high_c, high_px) = sorted(at_px.items())
    per_k = (low_px - high_px) / (high_c - low_c)
    return low_px - 0.35 * 20.0 + low_c * per_k, per_k


DAYS = [
    day(0, air_low_c=4.25, air_high_c=21.5, outside_low_c=-6.5, outside_high_c=3.0),
    day(1, air_low_c=-1.5, air_high_c=9.0, outside_low_c=-12.0, outside_high_c=-2.0, frost_s=7200.0),
    day(2, air_low_c=2.0, air_high_c=33.0, outside_low_c=0.5, outside_high_c=8.0, warm_s=3600.0),
]


@pytest.mark.parametrize(
    ("units", "figures"),
    [
        (Units.CELSIUS, {"0 °C": 0.0, "20°": 20.0}),
        (Units.FAHRENHEIT, {"60°": f_to_c(60.0), "80°": f_to_c(80.0)}),
    ],
)
def test_columns_stand_where_the_axis_says(units: Units, figures: dict[str, float]) -> None:
    """Read back by the labels of the axis, each column gives the day's lowest and highest."""
    svg = draw_sheet([winter(DAYS)], site(units=units), "")
    zero_px, per_k = axis(svg, figures)
    for ink, ranges in (
        ("outside", [(each.outside_low_c, each.outside_high_c) for each in DAYS]),
        ("air", [(each.air_low_c, each.air_high_c) for each in DAYS]),
        ("frost", [(-1.5, 0.0)]),
        ("warm", [(30.0, 33.0)]),
    ):
        drawn = [
            ((zero_px - bottom_px) / per_k, (zero_px - top_px) / per_k)
            for _, _, bottom_px, top_px in columns(svg, ink)
        ]
        assert [low_c for low_c, _ in drawn] == pytest.approx([low_c for low_c, _ in ranges], abs=0.15)
        assert [high_c for _, high_c in drawn] == pytest.approx([high_c for _, high_c in ranges], abs=0.15)


def test_frost_and_heat_are_told_apart_without_colour() -> None:
    """A mark below for frost, one above for too warm, another for an urgent notice; each is in the key."""
    quiet = draw_sheet([winter([day()])], example(), "")
    loud = draw_sheet([winter([*DAYS, day(3, urgent=1)])], example(), "")

    def marks(svg: str, ink: str) -> int:
        return sum(
            (each.get("d") or "").count("z")
            for each in parsed(svg).iter(SVG + "path")
            if each.get("class") == ink
        )

    assert marks(quiet, "frost") == marks(quiet, "warm") == 0
    assert marks(loud, "frost") == 1 + 1 + 1  # column, mark, key
    assert (
        marks(loud, "warm") == 1 + 1 + 1 + 2 + 2
    )  # column, mark, key, and a notice and its key of two parts
    for words in (
        "point down: frost in the frame",
        "point up: above the air limit",
        "an urgent notice that day",
    ):
        assert words in words_of(loud)
        assert words not in words_of(quiet)


def test_heat_bars_are_as_high_as_their_hours() -> None:
    """Three hours stand half as high as six, and the right-hand scale is hours times watts."""
    svg = draw_sheet([winter([day(0, heated_s=3 * 3600.0), day(1, heated_s=6 * 3600.0)])], example(), "")
    (_, _, bottom_px, low_px), (_, _, _, high_px) = columns(svg, "heat")
    assert (bottom_px - high_px) == pytest.approx(2.0 * (bottom_px - low_px), abs=0.2)
    said = words_of(svg)
    assert {"6 h", "1.5 kWh", "0.8", "1.5"} <= set(said)


def test_open_goes_up_and_mats_go_down() -> None:
    svg = draw_sheet([winter([day(0, open_s=6 * 3600.0, laid_s=12 * 3600.0)])], example(), "")
    (_, _, zero_px, top_px), (_, _, bottom_px, same_px) = columns(svg, "open")[0], columns(svg, "laid")[0]
    assert zero_px == same_px
    assert (bottom_px - zero_px) == pytest.approx(2.0 * (zero_px - top_px), abs=0.2)


@pytest.mark.parametrize("count", [1, 2, 14, 31, 60, 181, 200, 400])
@pytest.mark.parametrize("frames", [1, 2])
def test_every_length_keeps_to_the_sheet_and_its_columns_apart(count: int, frames: int) -> None:
    """No column runs into the next, and nothing is drawn beyond the edges."""
    winters = [
        winter([day(number, urgent=number % 3) for number in range(count)], name=name)
        for name in ("south", "north")[:frames]
    ]
    root = parsed(svg := draw_sheet(winters, example(), "small print " * 30))
    height_px = float(root.get("height", ""))
    for ink in ("outside", "air"):
        drawn = columns(svg, ink)
        assert len(drawn) == count
        assert all(one[1] < other[0] for one, other in pairwise(drawn))
        assert drawn[-1][1] < WIDTH_PX
    for each in root.iter(SVG + "text"):
        assert 0.0 < float(each.get("x", "")) < WIDTH_PX
        assert 0.0 < float(each.get("y", "")) < height_px


@pytest.mark.parametrize("count", [14, 31, 60, 181, 200, 400])
def test_dates_do_not_touch(count: int) -> None:
    """Between two labels of one row there is room for the wider of both."""
    svg = draw_sheet(
        [winter([day(number, heated_s=3600.0 * (number % 20)) for number in range(count)])], example(), ""
    )
    by_row: dict[str, list[tuple[float, int]]] = {}
    for each in parsed(svg).iter(SVG + "text"):
        if each.get("text-anchor") == "middle" and (each.text or "").isdigit():
            by_row.setdefault(each.get("y", ""), []).append((float(each.get("x", "")), len(each.text or "")))
    assert by_row or count > 200
    for row in by_row.values():
        for (left_px, left), (right_px, right) in pairwise(row):
            assert right_px - left_px > (left + right) / 2.0 * 17.0 * 0.57


def test_a_day_hotter_than_the_sheet_is_cut_and_that_is_said() -> None:
    svg = draw_sheet([winter([day(0, air_high_c=70.0, warm_s=3600.0), day(1)])], example(), "")
    assert scale_for([winter([day(0, air_high_c=70.0)])], Units.CELSIUS).high_c < COLUMN_C_MAX + 5.0
    assert any("Columns end at 42.0 °C" in words for words in words_of(svg))
    assert "up to 70.0 °C" in " ".join(words_of(svg))
    assert not any("Columns end" in words for words in words_of(draw_sheet([winter(DAYS)], example(), "")))


def plainly(words: str) -> str:
    return words.replace(NBSP, " ")


def test_the_finding_says_how_the_frame_was_held() -> None:
    """Held, under its line, frozen, too warm, without heat: each in its own words."""
    settings = replace(example(), price=None)
    assert plainly(finding(winter([day(0, heated_s=3600.0), day(1, outside_low_c=-8.2)]), settings)) == (
        "Never below 3.0 °C; 250 Wh; coldest outside −8.2 °C on 26 December"
    )
    short = winter([day(0, air_low_c=1.4, below_keep_s=5400.0)])
    assert plainly(finding(short, settings)) == (
        "Never below 1.4 °C; under its line of 2.0 °C for 1 hour 30 minutes; no heat was needed;"
        " coldest outside −1.0 °C on 25 December"
    )
    assert plainly(finding(winter(DAYS), settings)) == (
        "Down to −1.5 °C on 26 December, 2 hours below freezing; above 30.0 °C for 1 hour, up to 33.0 °C;"
        " no heat was needed; coldest outside −12.0 °C on 26 December"
    )
    assert "no heat is fitted" in plainly(finding(winter([day()], heated=False), settings))
    assert "(0.09 EUR)" in plainly(finding(winter([day(0, heated_s=3600.0)]), example()))


def test_several_frames_are_summed_up() -> None:
    south, north = winter([day(0, heated_s=3600.0)]), winter([day(0, heated_s=7200.0)], name="north")
    assert plainly(common_finding([south, north], example())) == (
        "No frost in any of 2 frames; never below 3.0 °C; 750 Wh in all;"
        " coldest outside −1.0 °C on 25 December"
    )
    frozen = winter(DAYS[:1] + DAYS[1:2], name="north")
    assert plainly(common_finding([south, frozen], example())).startswith(
        "Frost in 1 of 2 frames, down to −1.5 °C in north;"
    )
    svg = draw_sheet([south, north], example(), "")
    assert any(words.startswith("north: never below") for words in words_of(svg))


def test_fahrenheit_is_shown_throughout() -> None:
    """Where the settings say so no figure is in °C."""
    svg = draw_sheet(
        [winter([*DAYS, day(3, air_high_c=70.0, warm_s=60.0)])], site(units=Units.FAHRENHEIT), ""
    )
    assert "°C" not in svg
    assert "32 °F" in words_of(svg)
    assert "35.6 °F" in words_of(svg)


def test_a_frame_without_heat_or_covers_to_move_has_no_room_for_them() -> None:
    bare = winter([day()], heated=False)
    bare.settings = replace(bare.settings, openings=bare.settings.openings[:1], coverings=())
    said = words_of(draw_sheet([bare], example(), ""))
    assert not {"heat", "open", "mats on", "kept above", "dashed: kept above this"} & set(said)
    assert {"heat", "open", "mats on", "kept above"} <= set(
        words_of(draw_sheet([winter([day()])], example(), ""))
    )


@given(st.text(max_size=60), st.text(min_size=1, max_size=32))
@with_settings(max_examples=60, deadline=None)
def test_names_of_any_letters_leave_a_sound_file(name: str, frame: str) -> None:
    """Marks of XML, controls and halves of letters included; it is UTF-8 and parses."""
    svg = draw_sheet([winter([day()], name=frame), winter([day()])], site(name=name), name)
    title = parsed(svg.encode("utf-8").decode("utf-8")).find(SVG + "title")
    assert title is not None
    assert len(title.text or "") >= len("No frost")


@given(st.text())
def test_escaped_text_comes_back_as_it_was_where_xml_can_hold_it(text: str) -> None:
    back = ET.fromstring(f'<a b="{escape(text)}"/>').get("b") or ""  # noqa: S314  # our own text
    assert len(back) == len(text)
    for was, now in zip(text, back, strict=True):
        assert now in (was, "\N{REPLACEMENT CHARACTER}", " ")
        if was.isprintable():
            assert now == was


@given(st.text(alphabet="ab c\N{NO-BREAK SPACE}", max_size=200), st.floats(20.0, 2000.0))
def test_broken_lines_hold_every_word(text: str, width_px: float) -> None:
    """Nothing is lost, and evened lines are no more than the fewest."""
    lines = broken(text, width_px, 20.0)
    assert " ".join(lines) == text
    assert " ".join(evened(text, width_px, 20.0)) == text
    assert len(evened(text, width_px, 20.0)) == len(lines)


def test_spans_are_spoken_as_short_as_they_can_be() -> None:
    assert span_words(date(2027, 2, 1), date(2027, 2, 14)) == "1 to 14 February 2027"
    assert span_words(date(2027, 2, 1), date(2027, 3, 2)) == "1 February to 2 March 2027"
    assert span_words(date(2026, 11, 1), date(2027, 4, 30)) == "1 November 2026 to 30 April 2027"
    assert span_words(date(2027, 2, 1), date(2027, 2, 1)) == "1 February 2027"


def luminance(colour: str) -> float:
    """Relative luminance by WCAG 2.2."""
    parts = [int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("shade", range(2))
@pytest.mark.parametrize("ink", ["ink", "quiet", "air", "warm"])
def test_letters_stand_out_from_their_ground(ink: str, shade: int) -> None:
    """At least 4.5 to 1 on light and on dark (WCAG 2.2, success criterion 1.4.3)."""
    assert contrast(INKS[ink][shade], INKS["ground"][shade]) >= 4.5


@pytest.mark.parametrize("shade", range(2))
@pytest.mark.parametrize("ink", ["air", "frost", "warm", "heat", "open", "laid"])
def test_shapes_stand_out_from_their_ground(ink: str, shade: int) -> None:
    """At least 3 to 1 (WCAG 2.2, success criterion 1.4.11); the pale column behind need not."""
    assert contrast(INKS[ink][shade], INKS["ground"][shade]) >= 3.0


def test_every_colour_stands_as_attribute_and_as_style_for_both_grounds() -> None:
    """A viewer without style sheets shows the light one."""
    svg = draw_sheet([winter(DAYS)], example(), "")
    style = next(parsed(svg).iter(SVG + "style")).text or ""
    light, dark = style.split("@media (prefers-color-scheme:dark)")
    for name, ink in INKS.items():
        assert isinstance(ink, Ink)
        assert f".{name}{{fill:{ink.light}}}" in light
        assert f".{name}{{fill:{ink.dark}}}" in dark
    for each in parsed(svg).iter():
        name = each.get("class")
        if name is None:
            continue
        plain = name in INKS
        ink = INKS[name if plain else name.removesuffix("-line")].light
        assert (each.get("fill"), each.get("stroke")) == ((ink, None) if plain else ("none", ink))
