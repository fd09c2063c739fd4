"""The stand-in's seam: what is accepted, and what each breach of the contract is told."""

# ruff: noqa: FBT001, FBT003, ARG002  # the seam fixes the form of every call here

from __future__ import annotations

import random
import re
import sys
from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from controller.rehearse.contract import OpeningNow
from controller.rehearse.seam import CheckedStandIn, StandInError, load_factory, make_stand_in
from controller.weatherseries import WeatherPoint
from tests.controller.rehearse.lab import SHUT, START, frame_table, weather

GOOD = {"air": 1.0, "bed": 2.0, "outside": 0.0}


class Given:
    """A stand-in that gives what it was told to give."""

    def __init__(self, answer: Any) -> None:
        self.answer = answer

    def advance(self, dt_s: float, weather: WeatherPoint, heat_on: bool, opening: OpeningNow) -> Any:
        """What was given."""
        if isinstance(self.answer, BaseException):
            raise self.answer
        return self.answer


class Undecided(Given):
    """A stand-in that draws from the process's own generator."""

    def advance(self, dt_s: float, weather: WeatherPoint, heat_on: bool, opening: OpeningNow) -> Any:
        """Another temperature each time."""
        return {**GOOD, "air": random.random()}  # noqa: S311  # what is wrong with it


class Uncopied(Given):
    """A stand-in that holds something that cannot be copied."""

    def __deepcopy__(self, memo: dict[int, Any]) -> Any:
        raise TypeError("cannot pickle a lock")


def make(stand_in: Any) -> CheckedStandIn:
    return make_stand_in(
        lambda frame, start_utc: stand_in,
        name="mine:frame",
        table=frame_table(),
        start_utc=START,
        first_weather=weather(0.0),
        opening=SHUT,
    )


def test_a_plain_stand_in_with_the_three_places_is_taken() -> None:
    """``wall`` and ``cable`` may be left out."""
    assert make(Given(GOOD)).advance(60.0, weather(0.0), True, SHUT) == GOOD


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        ({"air": 1.0, "outside": 0.0}, r"no 'bed' among its places \(air, outside\)"),
        ({}, r"no 'air' among its places \(nothing\)"),
        ({**GOOD, "air": float("nan")}, "air is nan"),
        ({**GOOD, "bed": float("inf")}, "bed is inf"),
        ({**GOOD, "wall": float("nan")}, "wall is nan"),
        ({**GOOD, "outside": -273.0}, "outside is -273.0 near 2027-02-05"),
        ({**GOOD, "air": "1.0"}, "air is '1.0'"),
        ({**GOOD, "air": None}, "air is None"),
        ({**GOOD, "cable": [1.0]}, r"cable is \[1.0\]"),
        ({**GOOD, "air": True}, "air is True"),
        ([1.0, 2.0, 0.0], "gave list; it must give a dict"),
        (None, "gave NoneType; it must give a dict"),
        (ValueError("no such cover"), r"advance\(\) failed near .*ValueError: no such cover"),
    ],
)
def test_an_answer_that_breaks_the_contract_is_refused_with_the_reason(answer: Any, said: str) -> None:
    """Every error names the stand-in as it was asked for, what it did and what it must do."""
    with pytest.raises(StandInError, match=said) as caught:
        make(Given(answer))
    assert str(caught.value).startswith("stand-in mine:frame: ")


def test_a_breach_in_the_middle_of_a_run_is_caught_too() -> None:
    """Every answer is looked at, not only the first."""
    stand_in = Given(dict(GOOD))
    checked = make(stand_in)
    stand_in.answer = {**GOOD, "air": float("nan")}
    with pytest.raises(StandInError, match="air is nan"):
        checked.advance(60.0, weather(0.0), False, SHUT)


def test_a_stand_in_must_be_deterministic() -> None:
    """Two copies given the same step must agree."""
    with pytest.raises(StandInError, match="must be deterministic"):
        make(Undecided(None))


def test_a_stand_in_must_be_deep_copyable() -> None:
    """The night that was not heated is told from a copy."""
    with pytest.raises(StandInError, match=r"cannot be deep-copied .*cannot pickle a lock"):
        make(Uncopied(GOOD))


def test_a_factory_that_fails_or_gives_something_else_is_refused() -> None:
    """The factory's own error is quoted."""

    def fails(frame: dict[str, Any], start_utc: datetime) -> Any:
        raise KeyError("length")

    with pytest.raises(StandInError, match=r"factory\(frame, start_utc\) failed \(KeyError: 'length'\)"):
        make_stand_in(
            fails,
            name="m:f",
            table={},
            start_utc=START,
            first_weather=weather(0.0),
            opening=SHUT,
        )
    with pytest.raises(StandInError, match="gave str, which has no advance"):
        make("a frame")


def test_the_factory_gets_the_table_as_plain_values_of_its_own() -> None:
    """Changing what it was given changes nothing in the settings; nested tables are plain dicts."""
    table = frame_table()

    def spoils(frame: dict[str, Any], start_utc: datetime) -> Any:
        assert type(frame) is dict
        assert type(frame["heat"]) is dict
        frame["heat"]["power_w"] = 1
        frame["opening"].clear()
        return Given(dict(GOOD))

    make_stand_in(
        spoils,
        name="m:f",
        table=table,
        start_utc=START,
        first_weather=weather(0.0),
        opening=SHUT,
    )
    assert table["heat"]["power_w"] == 250
    assert table["opening"]


@pytest.fixture
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "path", [entry for entry in sys.path if entry])
    yield tmp_path
    for name in ("my_frame", "broken_frame"):
        sys.modules.pop(name, None)


def test_a_module_in_the_current_folder_is_found(elsewhere: Path) -> None:
    """A file outside the program's own folders serves as a stand-in, also by a dotted name."""
    (elsewhere / "my_frame.py").write_text(
        "class Frame:\n"
        "    def advance(self, dt_s, weather, heat_on, opening):\n"
        "        return {'air': weather.temp_c + 1, 'bed': 4.0, 'outside': weather.temp_c}\n"
        "class Shed:\n"
        "    @staticmethod\n"
        "    def make(frame, start_utc):\n"
        "        return Frame()\n",
        encoding="utf-8",
    )
    stand_in = make_stand_in(
        load_factory("my_frame:Shed.make"),
        name="my_frame:Shed.make",
        table=frame_table(),
        start_utc=START,
        first_weather=weather(0.0),
        opening=SHUT,
    )
    assert stand_in.advance(60.0, weather(-3.0), False, SHUT)["air"] == -2.0


@pytest.mark.parametrize(
    ("spec", "said"),
    [
        ("my_frame", "write it as module:factory"),
        (":factory", "write it as module:factory"),
        ("no_such_frame_here:factory", "cannot import no_such_frame_here"),
        ("json:frame", "json has no frame"),
        ("json:__name__", "cannot be called"),
    ],
)
def test_a_name_that_leads_nowhere_is_told(spec: str, said: str) -> None:
    """Which part of the name fails is said."""
    with pytest.raises(StandInError, match=said):
        load_factory(spec)


def test_a_module_that_fails_while_it_loads_is_told(elsewhere: Path) -> None:
    """Its own error is quoted."""
    (elsewhere / "broken_frame.py").write_text("1 / 0\n", encoding="utf-8")
    with pytest.raises(StandInError, match=r"fails while it is loaded.*ZeroDivisionError"):
        load_factory("broken_frame:factory")


def test_numbers_that_are_no_floats_become_floats() -> None:
    """A fraction or a whole number is a number; what the run gets is a float each time."""
    given = Given({"air": Fraction(3, 2), "bed": 2, "outside": 0.0})
    places = make(given).advance(60.0, weather(0.0), True, SHUT)
    assert places == {"air": 1.5, "bed": 2.0, "outside": 0.0}
    assert {type(true_c) for true_c in places.values()} == {float}


@pytest.mark.parametrize(
    ("later", "said"),
    [
        ({**GOOD, "air": True}, "air is True"),
        ({**GOOD, "air": Decimal(1)}, "air is Decimal"),
        ({**GOOD, "air": 10**400}, "air is 1000"),
        ({**GOOD, "wall": 1.0}, "its places change near 2027-02-05"),
        ({"air": 1.0, "bed": 2.0}, "no 'outside'"),
        (SystemExit(3), "advance() failed"),
    ],
)
def test_a_breach_in_the_middle_of_a_run_is_told_too(later: Any, said: str) -> None:
    """Each answer is looked at, not the first only."""
    given = Given(GOOD)
    checked = make(given)
    checked.advance(60.0, weather(0.0), True, SHUT)
    given.answer = later
    with pytest.raises(StandInError, match=re.escape(said)):
        checked.advance(60.0, weather(0.0), True, SHUT)


@pytest.mark.parametrize("place", ['a,"b\nc', "Air", "", "8th", 7, "x" * 40])
def test_a_place_needs_a_name_that_a_table_can_have(place: Any) -> None:
    """Small letters, digits and underscores."""
    with pytest.raises(StandInError, match="no name for a place"):
        make(Given({**GOOD, place: 1.0}))


def test_a_copy_that_is_no_stand_in_is_said_to_be() -> None:
    """Rather than failing at its first step."""

    class Odd(Given):
        def __deepcopy__(self, memo: dict[int, Any]) -> Any:
            return 7

    with pytest.raises(StandInError, match="its deep copy is int, no stand-in"):
        make(Odd(GOOD))


def test_a_factory_or_module_that_ends_the_program_is_told() -> None:
    """It does not take the rehearsal with it unsaid."""

    def leaves(frame: Any, start_utc: datetime) -> Any:
        sys.exit(9)

    with pytest.raises(StandInError, match="factory\\(frame, start_utc\\) failed"):
        make_stand_in(
            leaves,
            name="mine:leaves",
            table=frame_table(),
            start_utc=START,
            first_weather=weather(0.0),
            opening=SHUT,
        )
