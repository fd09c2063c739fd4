"""What the built-in simulated frame is made of: areas, conductances and stores from its settings table.

Pure. Conductances and stores are round numbers; where a published value is known it stands beside them,
the rest is common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from controller.rehearse.sunpath import Direction

AIR_J_M3K = 1290.0
"""Heat in a cubic metre of air near freezing."""
SKIN_M2K_W = {"glass": 0.004, "rigid_sheet": 0.012, "twin_wall": 0.16, "film": 0.001}
"""One cover without its films; twin wall by 3.0 W/m²K overall (10 mm sheet, value from memory)."""
SECOND_SKIN_M2K_W = 0.17
"""The air space under a second skin."""
LIGHT_PASSED = {"glass": 0.88, "rigid_sheet": 0.85, "twin_wall": 0.80, "film": 0.73}
"""Glass and polyethylene by Hanson (1963), twin wall by growers' notes, rigid sheet from memory."""
BED_UPPER_J_M2K = 0.05 * 2.2e6
BED_LOWER_J_M2K = 0.06 * 2.2e6
"""Damp sand, 2.2 MJ/m³K, 50 mm over the cable and 60 mm around and below it."""
BETWEEN_LAYERS_W_M2K = 1.3 / 0.055
BELOW_W_M2K = 0.9
"""To the ground at half a metre, over an insulating sheet."""
EDGE_W_MK = 0.2
"""From the bed to the outside, per metre of rim."""
BED_FILM_W_M2K = 5.0
SIDES_W_M2K = 1.2
"""Boards of 50 mm with their films."""
CABLE_W_M = 15.0
CABLE_TO_SAND_W_MK = 1.0
"""Per metre of cable: its sheath runs some 15 K above the sand around it."""
CABLE_J_MK = 90.0
WALL_J_M2K = {"brick": 150_000.0, "timber": 18_000.0, "none": 9_000.0}
"""Brick: the outer 0.1 m, 1.5 MJ/m³K."""
WALL_THROUGH_W_M2K = {"brick": 1.6, "timber": 1.4, "none": 1.4}
WALL_FILM_W_M2K = 6.0
AIR_STORE_J_M2K = 6500.0
"""Leaves, labels and the skins of pots, per square metre of bed; the air itself comes on top."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameParts:
    """Areas in m², conductances in W/K, stores in J/K."""

    bed_m2: float
    cover_m2: float
    volume_m3: float
    normal: Direction
    """Square to the covers, outwards."""
    power_w: float
    skin_m2k_w: float
    light_passed_frac: float
    sides_w_k: float
    bed_film_w_k: float
    layers_w_k: float
    below_w_k: float
    edge_w_k: float
    wall_film_w_k: float
    wall_through_w_k: float
    cable_w_k: float
    air_j_k: float
    upper_j_k: float
    lower_j_k: float
    wall_j_k: float
    cable_j_k: float


def build_parts(table: Mapping[str, Any]) -> FrameParts:
    """Parts from a frame's settings table; raises KeyError, TypeError or ValueError where it does not fit."""
    length_m, depth_m = float(table["length_m"]), float(table["depth_m"])
    front_m, back_m = float(table["front_height_m"]), float(table["back_height_m"])
    slope_m = math.hypot(depth_m, back_m - front_m)
    faces_rad = math.radians(float(table.get("faces_deg", 180.0)))
    cover, skins = str(table["cover"]), int(table.get("skins", 1))
    wall = str(table.get("wall", "none"))
    heat = table.get("heat") or {}
    power_w = float(heat.get("power_w", 0.0))
    bed_m2, wall_m2 = length_m * depth_m, length_m * back_m
    tilt = (back_m - front_m) / slope_m
    volume_m3 = bed_m2 * (front_m + back_m) / 2
    sides_m2 = length_m * front_m + depth_m * (front_m + back_m)
    cable_m = max(power_w / CABLE_W_M, 1.0)
    return FrameParts(
        bed_m2=bed_m2,
        cover_m2=length_m * slope_m,
        volume_m3=volume_m3,
        normal=Direction(depth_m / slope_m, -math.cos(faces_rad) * tilt, -math.sin(faces_rad) * tilt),
        power_w=power_w,
        skin_m2k_w=SKIN_M2K_W[cover] * skins + SECOND_SKIN_M2K_W * (skins - 1),
        light_passed_frac=LIGHT_PASSED[cover] ** skins,
        sides_w_k=SIDES_W_M2K * sides_m2,
        bed_film_w_k=BED_FILM_W_M2K * bed_m2,
        layers_w_k=BETWEEN_LAYERS_W_M2K * bed_m2,
        below_w_k=BELOW_W_M2K * bed_m2,
        edge_w_k=EDGE_W_MK * 2 * (length_m + depth_m),
        wall_film_w_k=WALL_FILM_W_M2K * wall_m2,
        wall_through_w_k=WALL_THROUGH_W_M2K[wall] * wall_m2,
        cable_w_k=CABLE_TO_SAND_W_MK * cable_m,
        air_j_k=AIR_STORE_J_M2K * bed_m2 + AIR_J_M3K * volume_m3,
        upper_j_k=BED_UPPER_J_M2K * bed_m2,
        lower_j_k=BED_LOWER_J_M2K * bed_m2,
        wall_j_k=WALL_J_M2K[wall] * wall_m2,
        cable_j_k=CABLE_J_MK * cable_m,
    )
