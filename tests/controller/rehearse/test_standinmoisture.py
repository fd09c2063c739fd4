"""Water in the built-in stand-in's air."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.rehearse.standinframe import build_parts
from controller.rehearse.standinmoisture import DEW_MAX_KG_M2, moisture_step
from controller.rehearse.standinouter import EVAPORATION_J_PER_KG, vapour_kg_m3
from controller.rehearse.standinstate import FrameState
from tests.controller.rehearse.lab import frame_table

PARTS = build_parts(frame_table())


def state(*, inside_c: float, inner_c: float, dew_kg_m2: float = 0.0, damp_frac: float = 0.9) -> FrameState:
    plain = FrameState(*[0.0] * len(FrameState._fields))
    return plain._replace(
        air_c=inside_c,
        leaf_c=inside_c,
        bed0_c=inside_c,
        inner_c=inner_c,
        dew_kg_m2=dew_kg_m2,
        vapour_kg_m3=damp_frac * vapour_kg_m3(inside_c),
    )


@given(
    inside_c=st.floats(-15.0, 40.0),
    inner_c=st.floats(-25.0, 40.0),
    dew_kg_m2=st.floats(0.0, 0.05),
    damp_frac=st.floats(0.05, 1.2),
    film_w_k=st.sampled_from([0.0, 6.0]),
    sun_w=st.floats(0.0, 800.0),
    dt_s=st.floats(1.0, 300.0),
)
def test_water_is_kept(
    *,
    inside_c: float,
    inner_c: float,
    dew_kg_m2: float,
    damp_frac: float,
    film_w_k: float,
    sun_w: float,
    dt_s: float,
) -> None:
    """Vapour gained is what leaves and bed gave, less dew and what the air took; dew is never negative."""
    before = state(inside_c=inside_c, inner_c=inner_c, dew_kg_m2=dew_kg_m2, damp_frac=damp_frac)
    after = moisture_step(
        PARTS,
        before,
        skin_film_w_k=film_w_k,
        exchange_m3_s=0.001,
        outside_kg_m3=0.004,
        leaf_sun_w=sun_w,
        dt_s=dt_s,
    )
    given_kg = (after.leaf_w + after.bed_w - after.skin_w - after.out_w) * dt_s / EVAPORATION_J_PER_KG
    gained_kg = PARTS.volume_m3 * (after.vapour_kg_m3 - before.vapour_kg_m3)
    assert gained_kg == pytest.approx(given_kg, abs=1e-9)
    assert 0.0 <= after.dew_kg_m2 <= DEW_MAX_KG_M2
    if 0.0 < after.dew_kg_m2 < DEW_MAX_KG_M2:
        dewed_kg = after.skin_w * dt_s / EVAPORATION_J_PER_KG
        assert PARTS.cover_m2 * (after.dew_kg_m2 - dew_kg_m2) == pytest.approx(dewed_kg, abs=1e-9)


def test_a_cold_cover_dews_and_a_warm_one_dries() -> None:
    """Dew comes where the cover is below the dew point and gives it its heat; elsewhere it goes."""
    steps = {"skin_film_w_k": 6.0, "exchange_m3_s": 0.0003, "outside_kg_m3": 0.004, "leaf_sun_w": 0.0}
    cold = moisture_step(PARTS, state(inside_c=8.0, inner_c=0.0), **steps, dt_s=60.0)
    assert cold.dew_kg_m2 > 0.0
    assert cold.skin_w > 0.0
    warm = moisture_step(PARTS, state(inside_c=8.0, inner_c=15.0, dew_kg_m2=0.01), **steps, dt_s=60.0)
    assert 0.0 < warm.dew_kg_m2 < 0.01
    assert warm.skin_w < 0.0


def test_leaves_give_more_in_the_light() -> None:
    """Their stomata open."""
    steps = {"skin_film_w_k": 0.0, "exchange_m3_s": 0.01, "outside_kg_m3": 0.004, "dt_s": 60.0}
    before = state(inside_c=15.0, inner_c=10.0, damp_frac=0.7)
    dark, light = (moisture_step(PARTS, before, leaf_sun_w=each_w, **steps) for each_w in (0.0, 300.0))
    assert light.leaf_w > 2.0 * dark.leaf_w > 0.0


@pytest.mark.parametrize(("place", "film_s_per_m"), [("leaf_c", 180.0), ("bed0_c", 300.0)])
def test_what_condenses_meets_the_film_alone(place: str, film_s_per_m: float) -> None:
    """Damp air over a colder leaf or bed: the same flow whatever stomata and crust are, that of the film."""
    apart = replace(PARTS, nature=replace(PARTS.nature, stomata_s_per_m=600.0, crust_s_per_m=2000.0))
    damp = state(inside_c=8.0, inner_c=8.0, damp_frac=0.95)._replace(**{place: 2.0})
    steps = {"skin_film_w_k": 0.0, "exchange_m3_s": 0.0003, "outside_kg_m3": 0.004, "leaf_sun_w": 0.0}
    got = [moisture_step(parts, damp, **steps, dt_s=1.0) for parts in (PARTS, apart)]
    gained_w = [-(each.leaf_w if place == "leaf_c" else each.bed_w) for each in got]
    area_m2 = PARTS.leaf_m2 if place == "leaf_c" else PARTS.bed_m2 * (1.0 - 0.5 * PARTS.nature.canopy_frac)
    by_hand_w = EVAPORATION_J_PER_KG * area_m2 / film_s_per_m * (got[0].vapour_kg_m3 - vapour_kg_m3(2.0))
    assert gained_w[0] == pytest.approx(by_hand_w)
    assert gained_w[0] > 0.0
    assert gained_w[1] == pytest.approx(gained_w[0], rel=0.02)
