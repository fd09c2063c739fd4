"""The bed and the walls of the built-in simulated frame, cut into layers.

Pure. A layer is one store in its middle; between two middles lies half of each. Layers are thin where a
daily wave enters and thick where only a season does.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from controller.rehearse.standinnature import Nature

WATER_J_PER_M3K = 4.18e6
ICE_J_PER_M3 = 334e6
"""Heat of fusion of a cubic metre of water."""
DRY_SAND_W_PER_MK, DRY_SAND_J_PER_M3K = 0.30, 1.28e6
SATURATED_SAND_W_PER_MK, SATURATED_FRAC = 2.20, 0.40
"""Sandy soil dry and saturated, Oke (1987), from memory."""
PERIMETER_DEPTH_M = 0.15
"""Down to here a bed loses heat sideways through its rim; deeper, the ground around it is as warm.

Common practice, no source.
"""
DEEP_M = 1.2
"""Where the ground no longer notices the frame; common practice, no source."""
CABLE_W_PER_M = 15.0
"""As soil-warming cables are sold; common practice, no source."""
CABLE_J_PER_MK = 90.0
"""A sheathed cable some 6 to 7 mm thick at 2 to 3 MJ/m³K; common practice, no source."""
TIMBER_W_PER_MK, TIMBER_J_PER_M3K = 0.13, 0.8e6
"""Softwood: 500 kg/m³, 1600 J/kgK, from memory."""
REAR_W_PER_M2K = 12.0
"""Film on the far side of a wall, radiation and some wind in it; common practice, no source."""
WALL_LAYERS_M = {"brick": (0.015, 0.035, 0.065, 0.100), "timber": (0.008, 0.008, 0.012, 0.012)}
"""From the sunny face backwards: one brick (215 mm) or a 40 mm boarded wall; without a wall a 25 mm board."""
BOARD_LAYERS_M = (0.005, 0.005, 0.0075, 0.0075)


class Bed(NamedTuple):
    """Six layers downwards, then ground of its own temperature; J/K and W/K of the whole bed."""

    stores_j_k: tuple[float, float, float, float, float, float]
    links_w_k: tuple[float, float, float, float, float, float]
    """From each layer to the next, the last to the deep ground."""
    rims_w_k: tuple[float, float, float, float]
    """From the upper four to the outside."""
    ice_k: float
    """What it takes to freeze one of the upper three through, in kelvins of its own."""
    cable_j_k: float
    cable_w_k: float
    """Between the cable and the third layer, which holds it."""


class Wall(NamedTuple):
    """Four layers backwards from the face, then the air behind; J/K and W/K."""

    stores_j_k: tuple[float, float, float, float]
    links_w_k: tuple[float, float, float, float]
    """From each layer to the next, the last to the air behind."""


def soil_w_per_mk(wet_frac: float) -> float:
    """Conductivity of sandy soil with so much water by volume, straight between dry and saturated."""
    return DRY_SAND_W_PER_MK + (SATURATED_SAND_W_PER_MK - DRY_SAND_W_PER_MK) * wet_frac / SATURATED_FRAC


def soil_j_per_m3k(wet_frac: float) -> float:
    """Heat capacity of sandy soil with so much water by volume."""
    return DRY_SAND_J_PER_M3K + WATER_J_PER_M3K * wet_frac


def links_w_per_m2k(layers_m: Sequence[float], conducted_w_per_mk: float) -> list[float]:
    """Between the middles of layers of one material."""
    return [2.0 * conducted_w_per_mk / (above_m + below_m) for above_m, below_m in pairwise(layers_m)]


def build_bed(nature: Nature, *, bed_m2: float, rim_m: float, power_w: float) -> Bed:
    """A bed of sand over whatever insulates it, over the ground."""
    depth_m, wet_frac = nature.cable_depth_m, nature.soil_wet_frac
    around_m = 0.4 * depth_m
    above_m = depth_m - around_m / 2
    layers_m = (
        above_m / 2,
        above_m / 2,
        around_m,
        PERIMETER_DEPTH_M - depth_m - around_m / 2,
        0.20,
        0.45,
    )
    conducted_w_per_mk = soil_w_per_mk(wet_frac)
    links = [each * bed_m2 for each in links_w_per_m2k(layers_m, conducted_w_per_mk)]
    links[3] = 1.0 / (1.0 / links[3] + nature.sheet_m2k_w / bed_m2)
    rest_m = DEEP_M - sum(layers_m) + layers_m[5] / 2
    rim_w_k = nature.edge_w_per_mk * rim_m / PERIMETER_DEPTH_M
    cable_m = max(power_w / CABLE_W_PER_M, 1.0)
    stores = [bed_m2 * layer_m * soil_j_per_m3k(wet_frac) for layer_m in layers_m]
    return Bed(
        stores_j_k=(stores[0], stores[1], stores[2], stores[3], stores[4], stores[5]),
        links_w_k=(links[0], links[1], links[2], links[3], links[4], conducted_w_per_mk * bed_m2 / rest_m),
        rims_w_k=(
            rim_w_k * layers_m[0],
            rim_w_k * layers_m[1],
            rim_w_k * layers_m[2],
            rim_w_k * layers_m[3],
        ),
        ice_k=ICE_J_PER_M3 * wet_frac / soil_j_per_m3k(wet_frac),
        cable_j_k=CABLE_J_PER_MK * cable_m,
        cable_w_k=nature.cable_to_sand_w_per_mk * cable_m,
    )


def build_wall(nature: Nature, kind: str, *, wall_m2: float) -> Wall:
    """What the frame leans on; raises KeyError for a kind that is none of brick, timber, none."""
    layers_m = BOARD_LAYERS_M if kind == "none" else WALL_LAYERS_M[kind]
    if kind == "brick":
        conducted_w_per_mk, held_j_per_m3k = nature.brick_w_per_mk, nature.brick_j_per_m3k
    else:
        conducted_w_per_mk, held_j_per_m3k = TIMBER_W_PER_MK, TIMBER_J_PER_M3K
    links = [each * wall_m2 for each in links_w_per_m2k(layers_m, conducted_w_per_mk)]
    rear_w_k = wall_m2 / (layers_m[3] / 2 / conducted_w_per_mk + 1.0 / REAR_W_PER_M2K)
    stores = [wall_m2 * layer_m * held_j_per_m3k for layer_m in layers_m]
    return Wall(
        stores_j_k=(stores[0], stores[1], stores[2], stores[3]),
        links_w_k=(links[0], links[1], links[2], rear_w_k),
    )
