"""Every number of the file has bounds, and nothing outside them passes."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest

from controller.config import rules, schema
from controller.config.keys import leaf_keys
from controller.config.schema import INPUT_PINS, RELAY_PINS
from controller.heat import limits
from tests.controller.config.texts import EXAMPLE, fault_lines, read, uncommented

FULL = uncommented(EXAMPLE)


@dataclass(frozen=True)
class Bounds:
    """What a key takes, and a step that leaves the bounds."""

    table: str
    key: str
    low: float
    high: float
    step: float
    at_low: dict[str, str] | None = None
    """Other keys that must go along, so that no contradiction hides the bound."""
    at_high: dict[str, str] | None = None


SITE, FRAME, HEAT = "[site]", "[frame.south]", "[frame.south.heat]"
BOTTOM, OPENING, COVERING = "[frame.south.heat.bottom]", "[[frame.south.opening]]", "[[frame.south.covering]]"
COOL_BED = {"bed_keep_c": "5"}

TABLE = [
    Bounds(SITE, "latitude", -66, 66, 0.001),
    Bounds(SITE, "longitude", -180, 180, 0.001),
    Bounds(SITE, "tick_s", 2, 10, 0.01),
    Bounds(SITE, "heat_power_max_w", 5, 10000, 0.01, at_low={"power_w": "5"}),
    Bounds(FRAME, "length_m", 0.3, 20, 0.001, at_low={"area_m2": "0"}),
    Bounds(FRAME, "depth_m", 0.3, 4, 0.001, at_low={"area_m2": "0"}),
    Bounds(FRAME, "front_height_m", 0.05, 2, 0.001, at_high={"back_height_m": "2"}),
    Bounds(FRAME, "back_height_m", 0.05, 3, 0.001, at_low={"front_height_m": "0.05"}),
    Bounds(FRAME, "faces_deg", 0, 360, 0.001),
    Bounds(HEAT, "power_w", 5, 3000, 0.01, at_high={"heat_power_max_w": "9000"}),
    Bounds(HEAT, "keep_above_c", 0.5, 12, 0.001),
    Bounds(HEAT, "differential_k", 0.3, 4, 0.001),
    Bounds(HEAT, "min_on_s", 180, 1800, 0.01),
    Bounds(HEAT, "min_off_s", 180, 1800, 0.01),
    Bounds(HEAT, "lead_s", 0, 7200, 0.01),
    Bounds(HEAT, "leaf_allowance_k", 0, 4, 0.001),
    Bounds(HEAT, "air_max_c", 15, 30, 0.001),
    Bounds(HEAT, "root_max_c", 10, 25, 0.001, at_low=COOL_BED),
    Bounds(HEAT, "cable_max_c", 25, 80, 0.001),
    Bounds(HEAT, "on_proof_s", 1800, 21600, 0.01),
    Bounds(BOTTOM, "bed_keep_c", 5, 22, 0.001),
    Bounds(OPENING, "height_m", 0, 3, 0.001),
    Bounds(COVERING, "r_m2k_w", 0.005, 3, 0.0001),
    Bounds("[price]", "per_kwh", 0, 10000, 0.01),
]
WHOLE = {"skins": (1, 2)}
TEXTS_AND_SWITCHES = {
    "name",
    "zone",
    "units",
    "secrets_file",
    "id",
    "from",
    "to",
    "cover",
    "wall",
    "lay",
    "currency",
    "relay_active_high",
    "isolating_active_high",
}


def with_key(text: str, table: str, key: str, written: str) -> str:
    """The text with the first ``key`` after the first ``table`` header changed."""
    start = text.index(f"\n{table}\n")
    head, tail = text[:start], text[start:]
    changed, count = re.subn(rf"(?m)^{key} = .*$", lambda _: f"{key} = {written}", tail, count=1)
    assert count == 1, (table, key)
    return head + changed


def _bounded(case: Bounds, number: float, along: dict[str, str] | None) -> str:
    text = with_key(FULL, case.table, case.key, repr(number))
    for key, written in (along or {}).items():
        if key == "area_m2":
            # a short frame can have no wide opening: only shut is left
            start, end = (
                text.index('\n[[frame.south.opening]]\nname = "crack"'),
                text.index("\n# What can lie"),
            )
            text = text[:start] + text[end:]
        else:
            text = re.sub(rf"(?m)^{key} = .*$", f"{key} = {written}", text)
    return text


@pytest.mark.parametrize("case", TABLE, ids=lambda case: case.key)
def test_a_number_at_its_bound_passes_and_a_step_beyond_is_refused(case: Bounds) -> None:
    """G03 and W07: sweep each field at bound ± 1 step."""
    read(_bounded(case, case.low, case.at_low))
    read(_bounded(case, case.high, case.at_high))
    for number in (case.low - case.step, case.high + case.step, -1e309, 1e309):
        written = {float("inf"): 1e309, float("-inf"): -1e309}.get(number, number)
        text = with_key(FULL, case.table, case.key, f"{written!r}".replace("inf", "1e309"))
        told = [line for line in fault_lines(text) if f"{case.key}: cannot be" in line]
        assert len(told) == 1, number


def test_every_number_of_the_schema_is_in_the_table() -> None:
    """No key escapes the sweep; the area's bounds depend on the frame and have tests of their own."""
    pins = {pattern[-1] for pattern in leaf_keys() if pattern[-1].endswith("_pin")}
    swept = {case.key for case in TABLE} | pins | set(WHOLE) | TEXTS_AND_SWITCHES | {"area_m2"}
    assert {pattern[-1] for pattern in leaf_keys()} == swept


@pytest.mark.parametrize("wrong", ["0", "3", "1.0", "true", '"1"'])
def test_skins_is_one_or_two(wrong: str) -> None:
    for good in ("1", "2"):
        read(with_key(FULL, FRAME, "skins", good))
    assert "skins: cannot be" in fault_lines(with_key(FULL, FRAME, "skins", wrong))[0]


@pytest.mark.parametrize("key", ["relay_pin", "isolating_pin"])
@pytest.mark.parametrize("pin", range(-1, 41))
def test_a_relay_takes_only_pins_that_are_pulled_down_at_reset(key: str, pin: int) -> None:
    """GPIO 9 to 27 without the serial port (BCM2835 ARM Peripherals, power-on pulls)."""
    text = re.sub(r"(?m)^(\w+_pin) = (\d+)$", "", FULL)
    text = text.replace(
        f"{HEAT}\n", f"{HEAT}\n{key} = {pin}\n" + ("" if key == "relay_pin" else "relay_pin = 9\n")
    )
    expected = pin in RELAY_PINS and not (key == "isolating_pin" and pin == 9)
    if expected:
        read(text)
    else:
        assert any(key in line for line in fault_lines(text))


@pytest.mark.parametrize("pin", range(-1, 41))
def test_an_input_takes_only_free_pins(pin: int) -> None:
    text = re.sub(r"(?m)^(\w+_pin) = (\d+)$", "", FULL)
    text = text.replace(f"{HEAT}\n", f"{HEAT}\nrelay_pin = 9\nfeedback_pin = {pin}\n")
    if pin in INPUT_PINS and pin != 9:
        read(text)
    else:
        assert any("feedback_pin" in line for line in fault_lines(text))


def test_ceilings_are_those_of_the_judge() -> None:
    """The two rooms do not know each other, so this table holds them together (G13)."""
    assert schema.AIR_CEILING_C == limits.AIR_CEILING_C == 30
    assert schema.ROOT_CEILING_C == limits.ROOT_CEILING_C == 25
    assert schema.CABLE_CEILING_C == limits.CABLE_CEILING_C == 80
    assert schema.MIN_SWITCH_FLOOR_S == limits.MIN_ON_FLOOR_S == limits.MIN_OFF_FLOOR_S == 180
    assert schema.ON_PROOF_CEILING_S == limits.ON_PROOF_CEILING_S == 21600
    assert schema.BOTTOM_CEILING_C == 22
    assert rules.LEAF_ALLOWANCE_FILM_K == 1.5
    assert 14 not in RELAY_PINS
    assert 15 not in RELAY_PINS
    assert (min(RELAY_PINS), max(RELAY_PINS)) == (9, 27)
