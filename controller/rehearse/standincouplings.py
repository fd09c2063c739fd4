"""Films, radiation and air exchange of the built-in simulated frame, linear over one step.

Pure. Conductances are taken at the temperatures the step begins with.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from controller.rehearse.standinframe import FrameParts
from controller.rehearse.standinlight import Lid
from controller.rehearse.standinouter import KELVIN, Outer
from controller.rehearse.standinstate import FrameState

FOUR_SIGMA = 4.0 * 5.670374419e-8
CALM_W_PER_M2K, WIND_W_PER_M2K = 2.8, 3.0
"""Outer film 2.8 + 3.0 v, Watmuff et al. (1977), from memory; without radiation."""
BARE_WIND_W_PER_M2K = 3.0
"""What each m/s adds to films inside where no cover lies (common practice, no source)."""
WET_FROM_KG_M2 = 0.02
"""Dew that makes a film as good as opaque to thermal radiation (common practice, no source)."""
WET_PASSES_FRAC = 0.25
"""Of what a dry film passes, where it is wet: greenhouse literature has it near opaque, from memory."""
FILM_THROWS_BACK_FRAC = 0.08
"""Of thermal radiation, by one sheet of film; from memory."""
LEAF_SIDES, LEAF_FILM_W_PER_M2K = 5.0, 6.0
"""Leaf area, both sides, over each square metre of canopy; the film of small leaves in still air.

Common practice, no source.
"""
LEAF_SEES_SOIL_FRAC = 0.5
"""The lower leaves and the pots' rims hide the rest; common practice, no source."""
SOIL_SEES_UP_FRAC, LEAF_SEES_UP_FRAC, WALL_SEES_UP_FRAC = 0.75, 0.85, 0.4
WALL_SEES_LEAF_FRAC, WALL_SEES_SOIL_FRAC = 0.3, 0.15
"""View factors of a half-filled low frame, guessed from its section; common practice, no source."""
COVERING_EMITTED_FRAC = 0.9
"""Mats and fleece, opaque to thermal radiation (common practice, no source)."""
UNDER_COVERING_LEAK_FRAC = 0.7
"""Of the leakage is left when something lies over the covers; common practice, no source."""


class Couplings(NamedTuple):
    """W/K between parts, and what lies beyond; the air's exchange in m³/s."""

    leaf_air_w_k: float
    bed_air_w_k: float
    wall_air_w_k: float
    skin_air_w_k: float
    leaf_skin_w_k: float
    bed_skin_w_k: float
    wall_skin_w_k: float
    wall_leaf_w_k: float
    wall_bed_w_k: float
    leaf_bed_w_k: float
    leaf_open_w_k: float
    """By radiation straight to what lies above: through a film and where no cover lies."""
    bed_open_w_k: float
    wall_open_w_k: float
    open_c: float
    exchange_m3_s: float
    face_w_k: float
    """From the covers' outer face, through whatever lies on it, to ``face_c``."""
    face_c: float
    top_w_k: float
    """From the wall above to ``top_c``."""
    top_c: float


def film_w_per_m2k(warmer_k: float) -> float:
    """Still-air film by free convection; ``warmer_k``: how much the lower of surface and air is the warmer.

    The shape is common practice, no source: about 3 W/m²K where 8 K drive it, 1 where warm air lies on cold.
    """
    if warmer_k > 0.0:
        return float(1.0 + 1.1 * warmer_k**0.333)
    return float(0.7 + 0.3 * (-warmer_k) ** 0.333)


def vent_m3_s(area_m2: float, height_m: float, wind_m_s: float, apart_k: float) -> float:
    """Air through one opening: single-sided, de Gids and Phaff (1982)."""
    return 0.5 * area_m2 * math.sqrt(0.001 * wind_m_s * wind_m_s + 0.0035 * height_m * abs(apart_k) + 0.01)


def exchange_m3_s(parts: FrameParts, lid: Lid, outer: Outer, apart_k: float) -> float:
    """Air that goes in and out through chinks and openings."""
    nature = parts.nature
    leak = parts.volume_m3 / 3600.0 * (nature.leak_per_h + nature.leak_per_h_per_m_s * outer.near_wind_m_s)
    if lid.covering_m2k_w > 0.0:
        leak *= UNDER_COVERING_LEAK_FRAC
    if lid.vent_m2 > 0.0:
        leak += vent_m3_s(lid.vent_m2, lid.vent_height_m, outer.wind_m_s, apart_k)
    return leak


def skin_infrared(parts: FrameParts, dew_kg_m2: float) -> tuple[float, float, float]:
    """Emissivity of all skins together to the inside and to the sky, and what they let through.

    Dew lies on the lowest sheet of film only. Plane sheets that throw radiation to and fro: the sum of
    that series. What is left to 1 on either side is thrown back there.
    """
    nature = parts.nature
    if not parts.is_film:
        return nature.skin_emitted_frac, nature.skin_emitted_frac, 0.0
    dry_frac, back_frac = nature.film_infrared_frac, FILM_THROWS_BACK_FRAC
    wet_frac = min(dew_kg_m2 / WET_FROM_KG_M2, 1.0)
    passed_frac = dry_frac * (1.0 - (1.0 - WET_PASSES_FRAC) * wet_frac)
    if parts.skins == 1:
        kept_frac = 1.0 - back_frac - passed_frac
        return kept_frac, kept_frac, passed_frac
    inner_back_frac = outer_back_frac = back_frac
    for _ in range(parts.skins - 1):
        again_frac = 1.0 / (1.0 - outer_back_frac * back_frac)
        inner_back_frac += passed_frac * passed_frac * back_frac * again_frac
        outer_back_frac = back_frac + dry_frac * dry_frac * outer_back_frac * again_frac
        passed_frac *= dry_frac * again_frac
    return 1.0 - inner_back_frac - passed_frac, 1.0 - outer_back_frac - passed_frac, passed_frac


def couplings_now(
    parts: FrameParts, lid: Lid, outer: Outer, state: FrameState, covering_w: float
) -> Couplings:
    """All of them for one step; ``covering_w`` is the sun's power on what lies over the covers."""
    nature, bare_frac, up_frac = parts.nature, lid.bare_frac, parts.normal.up_frac
    shut_frac = 1.0 - bare_frac
    air_c, leaf_c, outside_c, over_c = state.air_c, state.leaf_c, outer.air_c, outer.sky_c
    inner_frac, outer_frac, passed_frac = skin_infrared(parts, state.dew_kg_m2)
    if lid.covering_m2k_w > 0.0:
        # the covering is now the outer face, and stops what a film lets through where the film lies
        inner_frac, outer_frac, passed_frac = inner_frac + passed_frac, COVERING_EMITTED_FRAC, 0.0
    # what a surface that looks up sees, and the outer films
    wall_view, ground_view = parts.wall_view_frac, 0.5 - 0.5 * up_frac
    open_c = (1.0 - wall_view - ground_view) * over_c + wall_view * state.top0_c + ground_view * outside_c
    outer_film = nature.film_outside_frac * (CALM_W_PER_M2K + WIND_W_PER_M2K * outer.near_wind_m_s)
    half_k = 0.5 * (state.outer_c + open_c) + KELVIN
    radiant = FOUR_SIGMA * outer_frac * half_k * half_k * half_k
    shut_m2 = parts.cover_m2 * shut_frac
    face, face_c = shut_m2 * (outer_film + radiant), outside_c
    if face > 0.0:
        face_c = (outer_film * outside_c + radiant * open_c) / (outer_film + radiant)
        if lid.covering_m2k_w > 0.0:
            face_c += covering_w / face
            face = 1.0 / (1.0 / face + lid.covering_m2k_w / shut_m2)
    top_radiant = FOUR_SIGMA * 0.9 * (0.5 * (state.top0_c + over_c) + KELVIN) ** 3
    top_beyond_c = 0.5 * (over_c + outside_c)
    # inside
    still, bare_film = nature.film_inside_frac, BARE_WIND_W_PER_M2K * outer.near_wind_m_s * bare_frac
    half_k = air_c + KELVIN
    black = FOUR_SIGMA * half_k * half_k * half_k * nature.inside_emitted_frac
    to_skin = black * shut_frac * inner_frac
    half_k = 0.5 * (leaf_c + open_c) + KELVIN
    to_open = FOUR_SIGMA * half_k * half_k * half_k * nature.inside_emitted_frac
    to_open *= bare_frac + shut_frac * passed_frac
    leaf_up = LEAF_SEES_UP_FRAC * parts.leaf_m2
    soil_up = SOIL_SEES_UP_FRAC * (parts.bed_m2 - parts.leaf_m2)
    wall_up = WALL_SEES_UP_FRAC * parts.wall_m2
    return Couplings(
        LEAF_SIDES * parts.leaf_m2 * (still * LEAF_FILM_W_PER_M2K + bare_film),
        parts.bed_m2 * (still * film_w_per_m2k(state.bed0_c - air_c) + bare_film),
        parts.wall_m2 * (still * (0.4 + 1.3 * abs(state.wall0_c - air_c) ** 0.333) + bare_film),
        shut_m2 * still * film_w_per_m2k(air_c - state.inner_c),
        to_skin * leaf_up,
        to_skin * soil_up,
        to_skin * wall_up,
        black * WALL_SEES_LEAF_FRAC * parts.wall_m2,
        black * WALL_SEES_SOIL_FRAC * parts.wall_m2,
        black * LEAF_SEES_SOIL_FRAC * parts.leaf_m2,
        to_open * leaf_up,
        to_open * soil_up,
        to_open * wall_up,
        open_c,
        exchange_m3_s(parts, lid, outer, air_c - outside_c),
        face,
        face_c,
        parts.top_m2 * (outer_film + top_radiant),
        (outer_film * outside_c + top_radiant * top_beyond_c) / (outer_film + top_radiant),
    )
