from __future__ import annotations

import io
import logging
import os
import unicodedata
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.record.eventlog import (
    ALIKE_MAX,
    COUNT_EVERY_S,
    LINE_MAX,
    QUIET_S,
    REMEMBERED_MAX,
    EventLog,
    is_journal,
    set_up_log,
)
from tests.fakes import FakeClock


class Bench:
    """A logger of its own on an event log with a clock that obeys."""

    def __init__(self, *, to_journal: bool = True) -> None:
        self.clock = FakeClock()
        self.stream = io.StringIO()
        self.log = EventLog(
            self.stream, mono_s=self.clock.mono_s, utc_s=self.clock.utc_s, to_journal=to_journal
        )
        self.logger = logging.Logger("keeper", logging.DEBUG)  # noqa: LOG001  # not shared with other tests
        self.logger.addHandler(self.log)

    @property
    def lines(self) -> list[str]:
        """What has been written."""
        return self.stream.getvalue().splitlines()


@pytest.mark.parametrize(
    ("level", "mark"),
    [
        (logging.CRITICAL, "<2>"),
        (logging.ERROR, "<3>"),
        (logging.WARNING, "<4>"),
        (logging.INFO, "<6>"),
        (logging.DEBUG, "<7>"),
    ],
)
def test_the_journal_gets_the_priorities_of_syslog(level: int, mark: str) -> None:
    """Numbers of RFC 5424, section 6.2.1; the ``<N>`` form is described in sd-daemon(3)."""
    bench = Bench()
    bench.logger.log(level, "probe lost")
    assert bench.lines == [f"{mark}keeper: probe lost"]


def test_a_terminal_gets_time_and_level_in_words() -> None:
    bench = Bench(to_journal=False)
    bench.logger.warning("probe %s lost", "28-00")
    assert bench.lines == ["2026-01-01T00:00:00Z warning keeper: probe 28-00 lost"]


@given(text=st.text(max_size=60))
@settings(max_examples=150)
def test_whatever_the_text_there_is_one_line_without_control_characters(text: str) -> None:
    """W17: line breaks smuggled in."""
    bench = Bench()
    bench.logger.info("name %s", text)
    written = bench.stream.getvalue()
    assert written.count("\n") == 1
    assert len(written.splitlines()) == 1
    assert {unicodedata.category(char) for char in written[:-1]}.isdisjoint({"Cc", "Cs", "Zl", "Zp"})
    assert not set(written) & set("\u200b\u200e\u202e\u2066\ufeff")


def test_a_smuggled_line_shows_as_what_it_is() -> None:
    bench = Bench()
    bench.logger.info("note: %s", "fine\r\n<0>all heat on")
    assert bench.lines == ["<6>keeper: note: fine\\r\\n<0>all heat on"]


def test_a_repeat_is_shown_counted_and_closed() -> None:
    """S12: collapsed to start, count, end."""
    bench = Bench()
    for _ in range(1000):
        bench.logger.error("disk says no")
        bench.clock.advance(10.0)
    bench.clock.advance(QUIET_S)
    bench.log.settle()
    assert bench.lines == [
        "<3>keeper: disk says no",
        "<3>keeper: disk says no (goes on: 360 more in 1 hour)",
        "<3>keeper: disk says no (goes on: 360 more in 1 hour)",
        "<3>keeper: disk says no (ended: 1000 times in 2 hours 46 minutes)",
    ]


def test_two_that_alternate_collapse_as_well() -> None:
    bench = Bench()
    for number in range(200):
        bench.logger.error("one" if number % 2 else "two")
        bench.clock.advance(10.0)
    bench.log.close()
    assert len(bench.lines) == 4


def test_something_that_came_once_is_closed_without_a_word() -> None:
    bench = Bench()
    bench.logger.error("once")
    bench.clock.advance(10 * QUIET_S)
    bench.log.settle()
    bench.logger.error("once")
    assert bench.lines == ["<3>keeper: once"] * 2


def test_a_storm_of_lines_that_all_differ_is_bounded_and_owned_up_to() -> None:
    bench = Bench()
    for number in range(5000):
        bench.logger.error("tick %d failed", number)
        bench.clock.advance(0.5)
    bench.clock.advance(COUNT_EVERY_S)
    bench.log.settle()
    assert len(bench.lines) == ALIKE_MAX + 1
    assert bench.lines[-1] == f"<3>{5000 - ALIKE_MAX} more lines like “tick %d failed” were left out"
    bench.logger.error("tick %d failed", 9999)
    assert bench.lines[-1].endswith("tick 9999 failed")


def test_memory_is_bounded_whatever_is_logged() -> None:
    bench = Bench()
    for number in range(3000):
        bench.logger.error(f"text {number}")  # noqa: G004  # a different message each time is the point
        bench.logger.error("same %d", number % 70)
    assert len(bench.log._repeats) <= REMEMBERED_MAX
    assert len(bench.log._alike) <= REMEMBERED_MAX


def test_a_long_line_is_cut_in_its_middle() -> None:
    bench = Bench()
    bench.logger.info("%s", "a" * 100_000 + "end")
    assert len(bench.lines[0]) < LINE_MAX + 20
    assert bench.lines[0].endswith("end")


def test_an_exception_is_one_line_that_says_where() -> None:
    bench = Bench()
    try:
        int("x\ny")
    except ValueError:
        bench.logger.exception("tick failed")
    assert len(bench.lines) == 1
    assert "tick failed: ValueError: invalid literal" in bench.lines[0]
    assert "test_eventlog.py:" in bench.lines[0]


def test_wrong_arguments_cost_nothing_but_beauty() -> None:
    bench = Bench()
    bench.logger.info("%d probes", "three")
    assert "arguments that do not fit" in bench.lines[0]


class Balking(io.StringIO):
    """Takes no line while it balks."""

    balks = True

    def write(self, text: str) -> int:
        if self.balks:
            raise OSError("no room")
        return super().write(text)


def test_a_stream_that_takes_no_line_costs_that_line_only() -> None:
    bench = Bench()
    balking = Balking()
    bench.log._stream = balking
    bench.logger.error("nobody listens")
    balking.balks = False
    bench.logger.error("somebody does")
    assert balking.getvalue() == "<3>keeper: somebody does\n"
    balking.close()
    bench.logger.error("a closed one is no other")


def test_only_the_manager_s_own_stream_counts_as_the_journal(tmp_path: Path) -> None:
    with (tmp_path / "stderr").open("w") as stream:
        found = os.fstat(stream.fileno())
        right = f"{found.st_dev}:{found.st_ino}"
        assert is_journal(stream, {"JOURNAL_STREAM": right})
        assert not is_journal(stream, {"JOURNAL_STREAM": f"{found.st_dev}:{found.st_ino + 1}"})
        assert not is_journal(stream, {})
    assert not is_journal(io.StringIO(), {"JOURNAL_STREAM": right})


@pytest.fixture
def root_logger() -> Iterator[logging.Logger]:
    root = logging.getLogger()
    kept, level = root.handlers[:], root.level
    yield root
    root.handlers[:] = kept
    root.setLevel(level)
    logging.captureWarnings(capture=False)


def test_set_up_sends_every_record_through_one_log(
    root_logger: logging.Logger, capsys: pytest.CaptureFixture[str]
) -> None:
    clock = FakeClock()
    set_up_log(mono_s=clock.mono_s, utc_s=clock.utc_s, environment={})
    logging.getLogger("some_package").warning("hello")
    logging.getLogger("some_package").debug("not wanted")
    assert capsys.readouterr().err == "2026-01-01T00:00:00Z warning some_package: hello\n"
    assert len(root_logger.handlers) == 1
