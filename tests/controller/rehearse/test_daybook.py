"""What a person reads: width, letters, sentences."""

from __future__ import annotations

import io
import os
import re
from dataclasses import replace
from typing import Any

import pytest

from controller.config.records import Settings, Units
from controller.loop.results import FrameTick
from controller.rehearse.daybook import DaybookView, ProgressView, heat_word
from controller.rehearse.outputs import Tallies
from controller.rehearse.paper import WIDTH, Paper, open_paper
from controller.rehearse.planted import Remark
from controller.rehearse.probes import FaultKind, ProbeFault
from controller.rehearse.run import Rehearsal
from controller.rehearse.show import closing_words, opening_words
from controller.vocabulary import FrameName, HeatReason, HeatReport, Level, Place
from tests.controller.rehearse.lab import SOUTH, HysteresisKeeper, example, plan


class Terminal(io.StringIO):
    """A terminal of a given make."""

    def __init__(self, *, live: bool, encoding: str) -> None:
        super().__init__()
        self._live, self._encoding = live, encoding

    def isatty(self) -> bool:
        """Whether somebody looks."""
        return self._live

    @property
    def encoding(self) -> str:  # type: ignore[override]  # the base class says None
        """Its letters."""
        return self._encoding


def sheet(*, live: bool = False, encoding: str = "utf-8", **environment: str) -> tuple[Terminal, Paper]:
    terminal = Terminal(live=live, encoding=encoding)
    return terminal, open_paper(terminal, environment)


def daybook(
    settings: Settings | None = None,
    *,
    days: float = 2.0,
    every_s: float = 3600.0,
    faults: Any = (),
    remarks: Any = (),
    width: int = WIDTH,
    **make: Any,
) -> list[str]:
    terminal, paper = sheet(**make)
    given = plan(settings=settings, days=days, faults=faults)
    view = DaybookView(given.settings, replace(paper, width=width), every_s=every_s, remarks=remarks)
    for moment in Rehearsal(given, HysteresisKeeper).moments():
        view.add(moment)
    return terminal.getvalue().splitlines()


def hours(lines: list[str]) -> list[str]:
    """The lines that are readings, not notices."""
    return [line for line in lines if "·" in line]


def heading(lines: list[str]) -> str:
    """The line above the columns."""
    return next(line for line in lines if "outside  frame" in line)


def tick(
    *reasons: HeatReason, wanted: bool = True, allowed: bool = False, on: bool = False, wish: str = ""
) -> FrameTick:
    """One frame's tick as the gate might report it."""
    report = HeatReport(
        heat_wanted=wanted, heat_allowed=allowed, relay_on=on, level=Level.NORMAL, reasons=reasons
    )
    return FrameTick(readings={}, report=report, aim_c=2.0, wish=wish, opening="shut", covering="")


def test_there_is_one_line_an_hour_each_with_its_local_time() -> None:
    """The day's name stands on its first line only; times are those of the site."""
    every = daybook()
    lines = hours(every)
    assert len(lines) == 48
    assert [line[11:16] for line in lines[:3]] == ["01:00", "02:00", "03:00"]
    days = [line[:11].strip() for line in every if line[11:16].count(":") and line[:11].strip()]
    assert days == ["Fri 5 Feb", "Sat 6 Feb", "Sun 7 Feb"]
    assert lines[23].startswith("Sat 6 Feb  00:00")


@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_no_line_is_wider_than_a_narrow_terminal(encoding: str) -> None:
    """80 columns, notices included."""
    assert max(map(len, daybook(encoding=encoding))) <= WIDTH


def test_a_terminal_without_the_letters_gets_plain_ones() -> None:
    """Everything is ASCII, and nothing is shown as a question mark."""
    text = "\n".join(daybook(encoding="ANSI_X3.4-1968"))
    assert text.isascii()
    assert "?" not in text
    assert "o" in text
    assert re.search(r"-\d\.\d", text)


def test_colour_is_for_terminals_that_want_it() -> None:
    """Not into a file, not with NO_COLOR, not on a dumb terminal."""
    assert "\x1b[" in "".join(daybook(days=0.2, live=True))
    for make in ({"live": False}, {"live": True, "NO_COLOR": "1"}, {"live": True, "TERM": "dumb"}):
        assert "\x1b[" not in "".join(daybook(days=0.2, **make))


def test_a_notice_is_a_sentence_when_raised_and_a_word_when_over() -> None:
    """Raised in full under its time; over with how long it lasted."""
    text = " ".join(" ".join(daybook()).split())
    assert '▸ FROST Heat is on in south, "at last", and goes on until the air is at 3 °C.' in text
    assert re.search(r"✓ FROST over after \d+ (minutes|hours?)[^:]*: ", text)


def test_a_lost_reading_is_a_dash() -> None:
    """Not a number."""
    fault = ProbeFault(probe=example().frames[SOUTH].probes[Place.OUTSIDE], kind=FaultKind.ABSENT, from_s=0.0)
    lines = daybook(days=0.2, faults=[fault])
    assert re.match(" +01:00 +\N{EN DASH} +[0-9]", hours(lines)[0])


def test_fahrenheit_is_shown_where_it_was_asked_for() -> None:
    """32 stands on the scale where 0 stood, and readings follow."""
    settings = example()
    settings = replace(settings, site=replace(settings.site, units=Units.FAHRENHEIT))
    lines = daybook(settings, days=0.1)
    assert " 32 " in heading(lines)
    celsius, fahrenheit = (
        float(hours(each)[0].split()[1].replace("\N{MINUS SIGN}", "-")) for each in (daybook(days=0.1), lines)
    )
    assert fahrenheit == pytest.approx(celsius * 1.8 + 32.0, abs=0.15)


def test_the_strip_shows_frame_outside_and_the_line_kept() -> None:
    """Frame right of outside on a frosty night; the marks stay on the strip in any weather."""
    strips = [line[57:] for line in hours(daybook())]
    cold = next(strip for strip in strips if "│" in strip and "○" in strip and "●" in strip)
    assert cold.index("○") < cold.index("●")
    assert {len(strip) for strip in strips} == {23}
    assert {strip.index("│") for strip in strips if "│" in strip} == {7}


def test_a_number_stands_under_its_heading() -> None:
    """Each column ends where its word ends, and the scale's mark of 0 lies over the strip's cell of 0."""
    lines = daybook(days=1.0)
    top, first = heading(lines), hours(lines)[0]
    for word in ("outside", "frame", "bed"):
        end = top.index(word) + len(word)
        assert first[end - 1].isdigit()
        assert first[end] == " "
    assert top.index("heat") == first.index(" on ") + 1
    kept = {line.index("│") for line in hours(lines) if "│" in line}
    assert len(kept) == 1
    assert top.index(" 0 ") + 1 < kept.pop() < top.rindex("10"), "2 °C lies between 0 and 10"


@pytest.mark.parametrize("names", [("south",), ("south", "north")])
@pytest.mark.parametrize("width", [40, 60, 77, 78, 79, 80])
def test_lines_keep_to_the_width_of_the_terminal(width: int, names: tuple[str, ...]) -> None:
    """The strip shrinks with it and goes below 78 columns, legend and scale too; words are broken to it."""
    settings = example()
    frames = {FrameName(name): replace(settings.frames[SOUTH], name=FrameName(name)) for name in names}
    tables = dict.fromkeys(frames, settings.tables[SOUTH])
    lines = daybook(replace(settings, frames=frames, tables=tables), days=1.0, width=width)
    strips = bool(hours(lines))
    assert strips == (width >= 78)
    assert strips == any("●" in line for line in lines)
    assert strips == ("20" in heading(lines))
    least = 0 if strips else 48 + (6 if len(names) > 1 else 0)
    assert max(map(len, lines)) <= max(width, least), "below that the columns themselves need more"
    assert max(len(line) for line in lines if "Heat:" in line or "FROST" in line) <= width


def test_the_legend_says_what_marks_and_words_mean() -> None:
    """Every mark of the strip and every word of the heat column."""
    text = " ".join(" ".join(daybook(days=0.1)).split())
    for said in ("○ outside", "● in the frame", "│ the line", "on;", "off,", "resting,", "held,"):
        assert said in text


@pytest.mark.parametrize(
    ("given", "word"),
    [
        (tick(wanted=True, allowed=True, on=True), "on"),
        (tick(HeatReason.NOTHING_WANTED, wanted=False), "off"),
        (tick(HeatReason.NOTHING_WANTED, HeatReason.RESTING, wanted=False), "off"),
        (tick(HeatReason.NOTHING_WANTED, wanted=False, wish="held_off"), "resting"),
        (tick(HeatReason.RESTING), "resting"),
        (tick(HeatReason.OFF_PROOF), "resting"),
        (tick(HeatReason.SWITCH_LIMIT, HeatReason.RESTING), "resting"),
        (tick(HeatReason.LOCKED), "held"),
        (tick(HeatReason.RESTING, HeatReason.LOCKED), "held"),
        (tick(wanted=True, allowed=True, on=False), "held"),
    ],
)
def test_resting_is_said_only_of_heat_that_is_wanted_and_pauses(given: FrameTick, word: str) -> None:
    """Off where none is wanted; held where something worse than a pause refuses it."""
    assert heat_word(given) == word


def test_a_remark_is_told_at_its_instant_in_brackets() -> None:
    """Once, under the time at which it falls due, before what follows from it."""
    lines = daybook(days=0.2, remarks=[Remark(at_s=5400.0, words="Planted: a plug is pulled.")])
    found = [index for index, line in enumerate(lines) if "Planted" in line]
    assert len(found) == 1
    assert lines[found[0]] == "           01:30 (Planted: a plug is pulled.)"
    assert lines[found[0] - 1].strip().startswith("01:00")


def test_a_terminal_tells_its_width(monkeypatch: pytest.MonkeyPatch) -> None:
    """As it begins, between bounds; what does not tell, a file or a pipe, counts as usual."""
    told = {"columns": 66}
    monkeypatch.setattr("os.get_terminal_size", lambda _: os.terminal_size((told["columns"], 24)))

    class Screen(Terminal):
        def fileno(self) -> int:
            """Any number."""
            return 1

    for columns, width in ((66, 66), (200, WIDTH), (12, 40), (0, WIDTH)):
        told["columns"] = columns
        assert open_paper(Screen(live=True, encoding="utf-8"), {}).width == width
    told["columns"] = 66
    assert open_paper(Screen(live=False, encoding="utf-8"), {}).width == WIDTH
    assert open_paper(Terminal(live=True, encoding="utf-8"), {}).width == WIDTH


@pytest.mark.parametrize("live", [False, True])
def test_progress_goes_from_nothing_to_all(live: bool) -> None:  # noqa: FBT001  # a parameter
    """Ten lines into a file; on a terminal one line that is written over and then cleared."""
    terminal, paper = sheet(live=live)
    given = plan()
    ticks = iter(range(10**6))
    view = ProgressView(given, paper, lambda: float(next(ticks)))
    for moment in Rehearsal(given, HysteresisKeeper).moments():
        view.add(moment)
    view.finish()
    text = terminal.getvalue()
    if live:
        assert "\n" not in text
        assert text.endswith("\r" + " " * (WIDTH - 1) + "\r")
        assert "% rehearsed" in text
    else:
        assert [line.split()[3] for line in text.splitlines()] == [str(10 * tenth) for tenth in range(1, 11)]


def test_the_opening_says_what_is_real_and_what_is_not() -> None:
    """Place, dates, weather, frame; that nothing is touched; probes that read a neighbour."""
    terminal, paper = sheet()
    opening_words(
        plan(days=3.0), paper, weather_words="The weather is invented.", stood_in_for=(Place.CABLE,)
    )
    text = " ".join(terminal.getvalue().split())
    for said in (
        "Plot 7, Quarry Lane, Fri 5 Feb 2027 to Sun 7 Feb 2027.",
        "The weather is invented.",
        "no relay is touched",
        "south: 2.4 \N{MULTIPLICATION SIGN} 0.9 m under twin wall, a cable of 250 W, kept above 2.0 °C.",
        "does not model: cable",
    ):
        assert said in text
    assert max(map(len, terminal.getvalue().splitlines())) <= WIDTH


def test_the_closing_sums_up_in_words_and_money() -> None:
    """Coldest, frost, hours below the line, energy and its price; an early end is said."""
    given = plan(days=2.0)
    tallies = Tallies(given.settings)
    tallies.frames[SOUTH].add(3600.0, -1.5, -8.0, 3600.0)
    tallies.frames[SOUTH].add(3600.0, 12.0, 2.0, 3600.0)
    terminal, paper = sheet()
    closing_words(given, paper, tallies.frames, until_utc=given.from_utc, wall_s=3.0)
    text = " ".join(terminal.getvalue().split())
    assert "(ended early): 0 seconds, rehearsed in 3 seconds." in text
    assert (
        "south: coldest outside \N{MINUS SIGN}8.0 °C, in the frame \N{MINUS SIGN}1.5 °C, warmest 12.0 °C."
        in text
    )
    assert "It was below 0.0 °C for 1 hour, and below 2.0 °C for 1 hour" in text
    assert "Heat was on for 2.0 hours: 500 Wh, 0.17 EUR." in text


def closing(settings: Settings, *steps: tuple[float, float, float, float], wall_s: float = 5.0) -> str:
    """The closing words over steps of (seconds, air, outside, heated seconds), in one line."""
    given = plan(settings=settings)
    tallies = Tallies(settings)
    for step in steps:
        tallies.frames[SOUTH].add(*step)
    terminal, paper = sheet()
    closing_words(given, paper, tallies.frames, until_utc=given.until_utc, wall_s=wall_s)
    return " ".join(terminal.getvalue().split())


def test_a_frame_that_held_is_said_to_have_held() -> None:
    """In words, without a row of noughts; a quick run took less than a second."""
    text = closing(example(), (3600.0, 5.0, 1.0, 0.0), wall_s=0.4)
    assert "1 day, rehearsed in less than a second." in text
    assert "It was never below 2.0 °C. No heat was needed." in text


def test_a_cable_that_is_too_weak_is_named_as_the_cause() -> None:
    """On all the time and the air still falls below its line: from the mildest outside at which it did."""
    settings = example()
    steps = [(3600.0, 3.0, -3.0, 3600.0), (3600.0, 1.9, -4.2, 3600.0), (3600.0, 1.0, -8.0, 3600.0)]
    said = "the cable was on throughout and is too weak below about"
    assert f"below 2.0 °C for 2.0 hours: {said} \N{MINUS SIGN}4 °C outside." in closing(settings, *steps)
    settings = replace(settings, site=replace(settings.site, units=Units.FAHRENHEIT))
    assert f"below 35.6 °F for 2.0 hours: {said} 24 °F outside." in closing(settings, *steps)


def test_heat_that_was_off_below_the_line_is_counted() -> None:
    """Then it was not the cable's strength."""
    text = closing(example(), (3600.0, 3.0, -3.0, 0.0), (1800.0, 1.5, -4.0, 0.0), (1800.0, 1.4, -4.0, 1800.0))
    assert "below 2.0 °C for 1 hour, with the cable off for 30 minutes of that." in text
    assert "weak" not in text


def test_a_run_that_begins_below_the_line_says_so() -> None:
    """Nobody had kept the frame before; the cable is not blamed while it warms it."""
    text = closing(example(), (3600.0, 0.5, -3.0, 3600.0), (3600.0, 1.5, -4.0, 3600.0))
    assert "below 2.0 °C for 2.0 hours (as it was when the run began), with the cable on throughout." in text


def test_a_single_day_is_named_once() -> None:
    """Not from itself to itself."""
    terminal, paper = sheet()
    opening_words(plan(days=1.0), paper, weather_words="", stood_in_for=())
    assert "Plot 7, Quarry Lane, Fri 5 Feb 2027." in " ".join(terminal.getvalue().split())


def test_without_price_and_heat_neither_is_spoken_of() -> None:
    """A frame that has no cable has no bill."""
    settings = example()
    frame = replace(settings.frames[SOUTH], heat=None)
    settings = replace(settings, price=None, frames={SOUTH: frame})
    tallies = Tallies(settings)
    tallies.frames[SOUTH].add(3600.0, 3.0, 1.0, 0.0)
    given = plan(settings=settings)
    terminal, paper = sheet()
    opening_words(given, paper, weather_words="", stood_in_for=())
    closing_words(given, paper, tallies.frames, until_utc=given.until_utc, wall_s=1.0)
    text = terminal.getvalue()
    assert "without heat" in text
    assert "Heat" not in text
    assert "kept above" not in text
