"""The shipped example: it loads, and it documents every key that there is."""

from __future__ import annotations

import re

import pytest

from controller.config.keys import leaf_keys
from controller.config.records import CoverKind, Units
from controller.config.schema import known_keys
from controller.vocabulary import FrameName, Lay, Place
from tests.controller.config.texts import EXAMPLE, fault_lines, read, uncommented

_HEADER = re.compile(r"^#?\[+([a-z_.]+)\]+$")
_KEY = re.compile(r"^#?([a-z_0-9]+) = ")


def _documented() -> set[tuple[str, ...]]:
    """Keys of the example that stand under a remark, or in a table whose opening remark names them."""
    found: set[tuple[str, ...]] = set()
    table: tuple[str, ...] = ()
    remark = ""
    explained: dict[tuple[str, ...], str] = {}
    after_remark = False
    for row in EXAMPLE.splitlines():
        header, key = _HEADER.match(row), _KEY.match(row)
        if row.startswith("# "):
            remark = f"{remark} {row}" if after_remark else row
            after_remark = True
            continue
        if header:
            table = tuple("NAME" if step == "south" else step for step in header.group(1).split("."))
            explained.setdefault(table, remark if after_remark else "")
        elif key and (after_remark or f"{key.group(1)}:" in explained[table]):
            found.add((*table, key.group(1)))
        after_remark = False
    return found


def test_the_example_loads() -> None:
    settings = read(EXAMPLE)
    frame = settings.frames[FrameName("south")]
    assert frame.heat is not None
    assert frame.heat.power_w == 250
    assert [opening.name for opening in frame.openings] == ["shut", "crack", "hand", "half", "off"]
    assert [covering.name for covering in frame.coverings] == ["mat", "fleece"]
    assert settings.site.units is Units.CELSIUS
    assert frame.probes[Place.OUTSIDE] == settings.site.outside_probe
    assert settings.price is not None


def test_the_example_loads_with_every_optional_setting_put_to_use() -> None:
    settings = read(uncommented(EXAMPLE))
    frame = settings.frames[FrameName("south")]
    assert set(frame.probes) == set(Place)
    assert frame.heat is not None
    assert frame.heat.bottom is not None
    assert None not in (frame.heat.pins.isolating, frame.heat.pins.feedback, frame.heat.pins.cover_switch)


def test_every_key_of_the_schema_stands_in_the_example_under_a_remark() -> None:
    assert set(leaf_keys()) - _documented() == set()


def test_the_example_shows_no_key_that_the_schema_lacks() -> None:
    assert _documented() <= set(known_keys())


def test_commented_defaults_are_the_schemas_own() -> None:
    """A person who takes the # away changes nothing, where the example shows the default."""
    plain, full = read(EXAMPLE), read(uncommented(EXAMPLE))
    south = FrameName("south")
    before, after = plain.frames[south].heat, full.frames[south].heat
    assert before is not None
    assert after is not None
    for key in [
        "lay",
        "keep_above_c",
        "differential_k",
        "min_on_s",
        "min_off_s",
        "lead_s",
        "leaf_allowance_k",
        "air_max_c",
        "root_max_c",
        "on_proof_s",
    ]:
        assert getattr(before, key) == getattr(after, key), key
    assert plain.site.tick_s == full.site.tick_s
    assert before.lay is Lay.SAND
    assert plain.frames[south].cover is CoverKind.TWIN_WALL


@pytest.mark.parametrize("pattern", leaf_keys(), ids=".".join)
def test_a_misspelt_key_is_refused_with_the_nearest_known_one(pattern: tuple[str, ...]) -> None:
    """G05: in every table, for every key."""
    key = pattern[-1]
    rows = uncommented(EXAMPLE).splitlines()
    table: tuple[str, ...] = ()
    for number, row in enumerate(rows):
        header = _HEADER.match(row)
        if header:
            table = tuple("NAME" if step == "south" else step for step in header.group(1).split("."))
        if table == pattern[:-1] and row.startswith(f"{key} = "):
            rows[number] = f"{key}x = {row.split(' = ', 1)[1]}"
            break
    told = [line for line in fault_lines("\n".join(rows)) if f".{key}x" in line or f": {key}x" in line]
    assert len(told) == 1
    assert told[0].startswith(f"f.toml:{number + 1}:")
    assert f"did you mean {key}?" in told[0]
