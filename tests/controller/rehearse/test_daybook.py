"""What a person reads: width, letters, sentences."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from typing import Any

import pytest

from controller.config.records import Settings, Units
from controller.rehearse.daybook import DaybookView, ProgressView
from controller.rehearse.outputs import Tallies
from controller.rehearse.paper import WIDTH, Paper, open_paper
from controller.rehearse.probes import FaultKind, ProbeFault
from controller.rehearse.run import Rehearsal
from controller.rehearse.show import closing_words, opening_words
from controller.vocabulary import Place
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
    **make: Any,
) -> list[str]:
    terminal, paper = sheet(**make)
    given = plan(settings=settings, days=days, faults=faults)
    view = DaybookView(given.settings, paper, every_s=every_s)
    for moment in Rehearsal(given, HysteresisKeeper).moments():
        view.add(moment)
    return terminal.getvalue().splitlines()


def hours(lines: list[str]) -> list[str]:
    """The lines that are readings, not notices."""
    return [line for line in lines if "·" in line]


def test_there_is_one_line_an_hour_each_with_its_local_time() -> None:
    """The day's name stands on its first line only; times are those of the site."""
    lines = hours(daybook())
    assert len(lines) == 48
    assert lines[0].startswith("Fri 5 Feb  01:00")
    assert lines[1].startswith("           02:00")
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
    assert re.search(r"✓ FROST over after \d+ (minutes|hours?)[^:]*: south", text)


def test_a_lost_reading_is_a_dash() -> None:
    """Not a number."""
    fault = ProbeFault(probe=example().frames[SOUTH].probes[Place.OUTSIDE], kind=FaultKind.ABSENT, from_s=0.0)
    lines = daybook(days=0.2, faults=[fault])
    assert re.match("Fri 5 Feb  01:00 +\N{EN DASH} +[0-9]", hours(lines)[0])


def test_fahrenheit_is_shown_where_it_was_asked_for() -> None:
    """32 stands on the scale where 0 stood, and readings follow."""
    settings = example()
    settings = replace(settings, site=replace(settings.site, units=Units.FAHRENHEIT))
    lines = daybook(settings, days=0.1)
    assert " 32 " in lines[0]
    celsius, fahrenheit = (
        float(hours(each)[0].split()[4].replace("\N{MINUS SIGN}", "-")) for each in (daybook(days=0.1), lines)
    )
    assert fahrenheit == pytest.approx(celsius * 1.8 + 32.0, abs=0.15)


def test_the_strip_shows_frame_outside_and_the_line_kept() -> None:
    """Frame right of outside on a frosty night; the marks stay on the strip in any weather."""
    strips = [line[49:] for line in hours(daybook())]
    cold = next(strip for strip in strips if "│" in strip and "○" in strip and "●" in strip)
    assert cold.index("○") < cold.index("●")
    assert {len(strip) for strip in strips} == {31}
    assert {strip.index("│") for strip in strips if "│" in strip} == {9}


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
    assert "(ended early): 0 seconds in 3 seconds." in text
    assert (
        "south: coldest outside \N{MINUS SIGN}8.0 °C, in the frame \N{MINUS SIGN}1.5 °C, warmest 12.0 °C;"
        in text
    )
    assert "1.0 hours below 0.0 °C, 1.0 hours below 2.0 °C. Heat for 2.0 hours: 500 Wh, 0.17 EUR." in text


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
    assert "Heat for" not in text
    assert "kept above" not in text
