"""A store that freezes keeps its heat."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.rehearse.standinstate import settled_store

ICE_K = 50.0


@given(
    was_c=st.floats(-20.0, 20.0),
    part_frac=st.floats(0.001, 0.999),
    gained_k=st.floats(-120.0, 120.0),
)
def test_heat_is_kept_through_ice_and_water(was_c: float, part_frac: float, gained_k: float) -> None:
    """What it held and what it gained is what it holds; part ice is at 0 °C, all ice below, water above."""
    for start_c, ice_frac in ((was_c, float(was_c < 0.0)), (0.0, part_frac)):
        solved_c = 0.0 if 0.0 < ice_frac < 1.0 else start_c + gained_k
        ends_c, ice = settled_store(start_c, ice_frac, solved_c, gained_k, ICE_K)
        assert ends_c - ICE_K * ice == pytest.approx(start_c - ICE_K * ice_frac + gained_k, abs=1e-9)
        assert 0.0 <= ice <= 1.0
        assert (ends_c == 0.0) if 0.0 < ice < 1.0 else (ends_c <= 0.0 if ice == 1.0 else ends_c >= 0.0)
