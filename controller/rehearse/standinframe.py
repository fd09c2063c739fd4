"""What the built-in simulated frame is made of: areas, conductances and stores from its settings table.

Pure. Where a published value is known it stands beside it; the rest is common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from controller.rehearse.standinlayers import Bed, Wall, build_bed, build_wall
from controller.rehearse.standinnature import NOMINAL, Nature
from controller.rehearse.sunpath import Direction

AIR_J_PER_M3K = 1290.0
"""Heat in a cubic metre of air near freezing."""
POT_J_PER_KGK, POT_WATER_FRAC, FUSION_J_PER_KG = 2500.0, 0.4, 334e3
SIDES_STORE_J_PER_M2K = 5000.0
"""What the boards' inner side holds, counted with the air."""
WALL_TOP_M = 2.0
"""How high a wall of brick or timber stands."""
SECOND_SKIN_M2K_W = 0.11
"""The air space under a second skin, so that two layers lose some 35 % less than one (greenhouse tables)."""
POT_BASE_W_PER_M2K, POT_AIR_W_PER_M2K, POT_LEAF_W_PER_M2K = 6.0, 3.5, 1.0
"""From root balls to the bed under them, the air and the leaves over them, for each square metre of pots."""


class Cover(NamedTuple):
    """One kind of cover as sold."""

    through_m2k_w: float
    """Resistance of the sheet without its films."""
    light_frac: float
    held_j_per_m2k: float
    soaked_frac: float
    """Sunlight that stays in the sheet."""


COVERS = {
    "glass": Cover(0.004, 0.88, 8400.0, 0.08),
    "rigid_sheet": Cover(0.015, 0.85, 4300.0, 0.06),
    "twin_wall": Cover(0.16, 0.80, 2000.0, 0.08),
    "film": Cover(0.001, 0.73, 420.0, 0.05),
}
"""Light: glass and polyethylene by Hanson (1963), twin wall by growers' notes, rigid sheet from memory.

The sheet of a twin wall: 1/3.01 of a 10 mm sheet (from memory) less 0.17 for its films.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameParts:
    """Areas in m², conductances in W/K, stores in J/K; nothing in it ever changes."""

    nature: Nature
    bed_m2: float
    cover_m2: float
    wall_m2: float
    volume_m3: float
    front_m: float
    """Height of the cover over the soil at the front."""
    back_m: float
    depth_m: float
    normal: Direction
    """Square to the covers, outwards."""
    front: Direction
    """Level, to where the front looks."""
    power_w: float
    is_film: bool
    skins: int
    light_passed_frac: float
    soaked_frac: float
    skin_w_k: float
    """Between the inner and the outer face of the covers."""
    skin_j_k: float
    """Of each face."""
    sides_w_k: float
    air_j_k: float
    leaf_m2: float
    leaf_j_k: float
    pot_j_k: float
    pot_ice_k: float
    """What it takes to freeze the root balls through, in kelvins of theirs."""
    pot_base_w_k: float
    pot_air_w_k: float
    pot_leaf_w_k: float
    bed: Bed
    wall: Wall
    top_m2: float
    """Face of the wall above the frame; 0 without a wall."""
    top: Wall
    top_link_w_k: float
    """Within the wall, from the part above the frame to the part behind it."""
    wall_view_frac: float
    """Share of what the covers see that is wall and not sky."""


def build_parts(table: Mapping[str, Any], nature: Nature = NOMINAL) -> FrameParts:
    """Parts from a frame's settings table; raises KeyError, TypeError or ValueError where it does not fit."""
    length_m, depth_m = float(table["length_m"]), float(table["depth_m"])
    front_m, back_m = float(table["front_height_m"]), float(table["back_height_m"])
    slope_m = math.hypot(depth_m, back_m - front_m)
    faces_rad = math.radians(float(table.get("faces_deg", 180.0)))
    cover, skins, kind = (
        COVERS[str(table["cover"])],
        int(table.get("skins", 1)),
        str(table.get("wall", "none")),
    )
    power_w = float((table.get("heat") or {}).get("power_w", 0.0)) * nature.power_frac
    bed_m2, cover_m2, wall_m2 = length_m * depth_m, length_m * slope_m, length_m * back_m
    rise_frac = (back_m - front_m) / slope_m
    volume_m3 = bed_m2 * (front_m + back_m) / 2
    sides_m2 = length_m * front_m + depth_m * (front_m + back_m)
    leaf_m2 = nature.canopy_frac * bed_m2
    pot_kg = nature.pot_kg_m2 * leaf_m2
    top_m2 = 0.0 if kind == "none" else length_m * max(WALL_TOP_M - back_m, 0.0)
    through_m2k_w = cover.through_m2k_w * skins + SECOND_SKIN_M2K_W * (skins - 1)
    return FrameParts(
        nature=nature,
        bed_m2=bed_m2,
        cover_m2=cover_m2,
        wall_m2=wall_m2,
        volume_m3=volume_m3,
        front_m=front_m,
        back_m=back_m,
        depth_m=depth_m,
        normal=Direction(
            depth_m / slope_m, -math.cos(faces_rad) * rise_frac, -math.sin(faces_rad) * rise_frac
        ),
        front=Direction(0.0, -math.cos(faces_rad), -math.sin(faces_rad)),
        power_w=power_w,
        is_film=table["cover"] == "film",
        skins=skins,
        light_passed_frac=cover.light_frac**skins * nature.light_frac,
        soaked_frac=cover.soaked_frac * skins,
        skin_w_k=cover_m2 / through_m2k_w,
        skin_j_k=cover_m2 * cover.held_j_per_m2k * skins / 2,
        sides_w_k=nature.sides_w_per_m2k * sides_m2,
        air_j_k=AIR_J_PER_M3K * volume_m3 + SIDES_STORE_J_PER_M2K * sides_m2,
        leaf_m2=leaf_m2,
        leaf_j_k=nature.leaf_j_per_m2k * leaf_m2,
        pot_j_k=POT_J_PER_KGK * pot_kg,
        pot_ice_k=FUSION_J_PER_KG * POT_WATER_FRAC / POT_J_PER_KGK,
        pot_base_w_k=POT_BASE_W_PER_M2K * leaf_m2,
        pot_air_w_k=POT_AIR_W_PER_M2K * leaf_m2,
        pot_leaf_w_k=POT_LEAF_W_PER_M2K * leaf_m2,
        bed=build_bed(nature, bed_m2=bed_m2, rim_m=2 * (length_m + depth_m), power_w=power_w),
        wall=build_wall(nature, kind, wall_m2=wall_m2),
        top_m2=top_m2,
        top=build_wall(nature, kind, wall_m2=max(top_m2, 1e-6)),
        top_link_w_k=nature.brick_w_per_mk * 0.215 * length_m / 0.8 if kind == "brick" and top_m2 else 0.0,
        # two planes of like width along one edge: Hottel's crossed strings
        wall_view_frac=1.0 - math.sin((math.pi / 2 + math.asin(rise_frac)) / 2) if top_m2 else 0.0,
    )
