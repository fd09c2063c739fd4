"""What a seed may vary of the built-in stand-in, and how far."""

from __future__ import annotations

import random
from dataclasses import asdict

import pytest

from controller.rehearse.standinframe import build_parts
from controller.rehearse.standinnature import NOMINAL, Nature, bounds, drawn_nature
from tests.controller.rehearse.lab import frame_table


@pytest.mark.parametrize("name", list(asdict(NOMINAL)))
def test_the_plain_frame_lies_within_every_range(name: str) -> None:
    """And every range is one."""
    low, high = bounds(name)
    assert low < high
    assert low <= getattr(NOMINAL, name) <= high


def test_only_known_properties_have_bounds() -> None:
    """A name that is none is an error."""
    with pytest.raises(KeyError):
        bounds("colour")


def test_natures_fill_their_ranges() -> None:
    """Two hundred drawn: none outside, and each property reaches into both outer quarters."""
    drawn = [asdict(drawn_nature(random.Random(seed).uniform)) for seed in range(200)]  # noqa: S311  # no secret
    for name in asdict(NOMINAL):
        low, high = bounds(name)
        found = [each[name] for each in drawn]
        quarter = (high - low) / 4
        assert low <= min(found) < low + quarter
        assert high >= max(found) > high - quarter


def test_every_property_of_a_nature_matters_somewhere_in_the_frame() -> None:
    """Those that build the parts change them; the others are read as the frame runs."""
    read_later = {
        "leak_per_h", "leak_per_h_per_m_s", "near_ground_frac", "film_outside_frac", "film_inside_frac",
        "inside_emitted_frac", "skin_emitted_frac", "film_infrared_frac", "sky_shift_frac", "shaded_frac",
        "wall_absorbed_frac", "covering_frac", "stomata_s_per_m", "crust_s_per_m", "ground_shift_k",
    }  # fmt: skip
    plain = build_parts(frame_table())
    for name in asdict(NOMINAL):
        changed = build_parts(frame_table(), Nature(**{name: bounds(name)[1]}))
        apart = {field for field in asdict(plain) if asdict(plain)[field] != asdict(changed)[field]}
        assert (apart == {"nature"}) == (name in read_later), name
