"""Numbers as people read them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller import units


@pytest.mark.parametrize(
    ("temp_c", "expected_f"),
    [(0.0, 32.0), (100.0, 212.0), (-40.0, -40.0), (37.0, 98.6)],
    ids=["ice point", "boiling point", "where both scales agree", "98.6"],
)
def test_fahrenheit_fixed_points(temp_c: float, expected_f: float) -> None:
    """The scale's definition: 32 °F at the ice point, 212 °F at the steam point (BIPM/NIST SP 811)."""
    assert units.c_to_f(temp_c) == pytest.approx(expected_f)
    assert units.f_to_c(expected_f) == pytest.approx(temp_c)


@given(st.floats(-100, 150))
def test_there_and_back_is_the_same_temperature(temp_c: float) -> None:
    assert units.f_to_c(units.c_to_f(temp_c)) == pytest.approx(temp_c, abs=1e-9)


@pytest.mark.parametrize(
    ("temp_c", "unit", "words"),
    [
        (2.04, "celsius", "2.0 °C"),
        (-1.5, "celsius", "\N{MINUS SIGN}1.5 °C"),
        (-0.04, "celsius", "0.0 °C"),
        (0.0, "fahrenheit", "32.0 °F"),
        (-40.0, "fahrenheit", "\N{MINUS SIGN}40.0 °F"),
        (math.nan, "celsius", "unknown"),
        (math.inf, "fahrenheit", "unknown"),
    ],
)
def test_temperature_words(temp_c: float, unit: str, words: str) -> None:
    assert units.temperature_text(temp_c, unit) == words


def test_a_difference_has_no_32_added() -> None:
    assert units.span_text(1.0, "celsius") == "1.0 K"
    assert units.span_text(1.0, "fahrenheit") == "1.8 °F"


def test_a_third_unit_is_refused() -> None:
    with pytest.raises(ValueError, match="kelvin"):
        units.temperature_text(1.0, "kelvin")


def test_energy_and_money() -> None:
    """Energy arithmetic: 200 W for 7.5 h is 1.5 kWh and at 0.30 a kWh 0.45 (P x t)."""
    assert units.energy_text(200 * 7.5) == "1.5 kWh"
    assert units.cost_of(200 * 7.5, 0.30) == pytest.approx(0.45)
    assert units.money_text(0.45, "EUR") == "0.45 EUR"
    assert units.energy_text(999.4) == "999 Wh"
    assert units.energy_text(999.6) == "1.0 kWh"
    assert units.energy_text(math.nan) == "unknown"
    assert units.money_text(-2, "USD") == "\N{MINUS SIGN}2.00 USD"


@pytest.mark.parametrize(
    ("duration_s", "words"),
    [
        (0, "0 seconds"),
        (1.9, "1 second"),
        (59.9, "59 seconds"),
        (60, "1 minute"),
        (14 * 60 + 59, "14 minutes"),
        (3600, "1 hour"),
        (2 * 3600 + 5 * 60, "2 hours 5 minutes"),
        (86400, "1 day"),
        (3 * 86400 + 3600, "3 days 1 hour"),
        (-1, "unknown"),
        (math.nan, "unknown"),
    ],
)
def test_durations_in_words(duration_s: float, words: str) -> None:
    assert units.duration_text(duration_s) == words


def test_ages_in_words() -> None:
    assert units.age_text(4.9) == "just now"
    assert units.age_text(14 * 60) == "14 minutes ago"
    assert units.age_text(-3) == "unknown"
