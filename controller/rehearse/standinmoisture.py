"""Water vapour in the built-in simulated frame: one balance of its air.

Pure. Leaves and bed give vapour, chinks and openings carry it off, and what the covers' inner face is too
cold for stays there as dew, which may dry again. Vapour at the step's end, surfaces as they were at its
beginning. Dew that runs back to the bed carries no heat in this account, and frost counts as water. What
condenses on leaves and bed passes no stoma and no crust; it soaks in and is not kept as dew.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.rehearse.standinframe import FrameParts
from controller.rehearse.standinouter import EVAPORATION_J_PER_KG, vapour_kg_m3
from controller.rehearse.standinstate import FrameState

LEAF_AREA_FRAC = 1.0
"""Leaf on each square metre of canopy, as far as it transpires; common practice, no source."""
LEAF_FILM_S_PER_M = 180.0
"""As Lewis' relation has it for a film of 6 W/m²K, to 10 %."""
BED_FILM_S_PER_M = 300.0
"""The same for 4 W/m²K."""
NIGHT_CLOSES_W_M2, NIGHT_OPEN_W_M2 = 150.0, 12.0
"""Stomata open with light on the leaves; the second keeps them a tenth open in the dark.

Common practice, no source.
"""
DEW_MAX_KG_M2 = 0.08
"""More than this runs down the cover; common practice, no source."""
MASS_M3K_PER_J = 1.0 / 1150.0
"""Metres a second of vapour for each W/m²K of still-air film, by Lewis' relation (air near 20 °C)."""


class Moisture(NamedTuple):
    """Vapour and dew after a step, and the heat that went with them, W."""

    vapour_kg_m3: float
    dew_kg_m2: float
    leaf_w: float
    """Taken from the leaves."""
    bed_w: float
    """Taken from the bed's surface."""
    skin_w: float
    """Given to the inner face of the covers."""
    out_w: float
    """Gone with the air."""


def moisture_step(
    parts: FrameParts,
    state: FrameState,
    *,
    skin_film_w_k: float,
    exchange_m3_s: float,
    outside_kg_m3: float,
    leaf_sun_w: float,
    dt_s: float,
) -> Moisture:
    """One step of the balance; ``skin_film_w_k`` is the still-air film on the covers' inner face."""
    nature = parts.nature
    light_w_m2 = leaf_sun_w / parts.leaf_m2
    stomata_s_per_m = nature.stomata_s_per_m * (1.0 + NIGHT_CLOSES_W_M2 / (light_w_m2 + NIGHT_OPEN_W_M2))
    crust_s_per_m = nature.crust_s_per_m
    at_leaf, at_bed = vapour_kg_m3(state.leaf_c), vapour_kg_m3(state.bed0_c)
    was = state.vapour_kg_m3
    if was > at_leaf:
        stomata_s_per_m = 0.0
    if was > at_bed:
        crust_s_per_m = 0.0
    by_leaf = LEAF_AREA_FRAC * parts.leaf_m2 / (LEAF_FILM_S_PER_M + stomata_s_per_m)
    by_bed = parts.bed_m2 * (1.0 - 0.5 * nature.canopy_frac) / (BED_FILM_S_PER_M + crust_s_per_m)
    flow = parts.volume_m3 / dt_s * was + by_leaf * at_leaf + by_bed * at_bed + exchange_m3_s * outside_kg_m3
    total = parts.volume_m3 / dt_s + by_leaf + by_bed + exchange_m3_s
    vapour, dew, shed_kg_s = flow / total, state.dew_kg_m2, 0.0
    if skin_film_w_k > 0.0:
        by_skin, at_skin = skin_film_w_k * MASS_M3K_PER_J, vapour_kg_m3(state.inner_c)
        if vapour > at_skin or dew > 0.0:
            vapour = (flow + by_skin * at_skin) / (total + by_skin)
            shed_kg_s = by_skin * (vapour - at_skin)
            lies_kg = dew * parts.cover_m2
            if shed_kg_s * dt_s < -lies_kg:
                shed_kg_s = -lies_kg / dt_s
                vapour = (flow - shed_kg_s) / total
            dew = min(max(dew + shed_kg_s * dt_s / parts.cover_m2, 0.0), DEW_MAX_KG_M2)
    return Moisture(
        vapour,
        dew,
        EVAPORATION_J_PER_KG * by_leaf * (at_leaf - vapour),
        EVAPORATION_J_PER_KG * by_bed * (at_bed - vapour),
        EVAPORATION_J_PER_KG * shed_kg_s,
        EVAPORATION_J_PER_KG * exchange_m3_s * (vapour - outside_kg_m3),
    )
