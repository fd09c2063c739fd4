"""What no settings table tells of a frame: how it was really built, filled and looked after.

Pure. ``NOMINAL`` is a plain, middling frame; ``drawn_nature`` varies every property within its range.
Ranges are common practice, no source, unless a source stands beside them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, fields
from typing import Any


def _ranged(default: float, low: float, high: float) -> Any:
    return field(default=default, metadata={"low": low, "high": high})


@dataclass(frozen=True, slots=True, kw_only=True)
class Nature:
    """Hidden properties of one frame in one winter; each is drawn evenly between its bounds."""

    leak_per_h: float = _ranged(1.0, 0.5, 2.0)
    """Air changes an hour through chinks when calm; a loose cold frame has 1 to 4 in all (from memory)."""
    leak_per_h_per_m_s: float = _ranged(0.5, 0.25, 0.8)
    """What each m/s of wind at the frame adds to it."""
    near_ground_frac: float = _ranged(0.45, 0.3, 0.6)
    """Wind at the covers as a share of that at 10 m."""
    film_outside_frac: float = _ranged(1.0, 0.85, 1.15)
    """Factor on the outer film of covers and wall."""
    film_inside_frac: float = _ranged(1.0, 0.85, 1.2)
    """Factor on the still-air films inside."""
    inside_emitted_frac: float = _ranged(0.92, 0.88, 0.96)
    """Emissivity of soil, leaves and wall."""
    skin_emitted_frac: float = _ranged(0.88, 0.82, 0.92)
    """Emissivity of an opaque skin, and of a wet film."""
    film_infrared_frac: float = _ranged(0.75, 0.6, 0.8)
    """Thermal infrared that a dry polyethylene film lets through: 0.7 to 0.8 (from memory)."""
    sky_shift_frac: float = _ranged(0.0, -0.02, 0.02)
    """Added to the emissivity of the clear sky: formulas for it differ by more."""
    light_frac: float = _ranged(0.94, 0.84, 0.98)
    """Light left after bars, dirt and age."""
    shaded_frac: float = _ranged(0.04, 0.0, 0.2)
    """Beam that trees, fences and the frame's own ends keep off."""
    canopy_frac: float = _ranged(0.6, 0.45, 0.75)
    """Share of the bed under pots and leaves."""
    leaf_j_per_m2k: float = _ranged(9000.0, 6000.0, 13000.0)
    """Leaves, labels and skins of pots, for each square metre that they cover."""
    pot_kg_m2: float = _ranged(40.0, 28.0, 65.0)
    """Moist compost in pots on each square metre that they cover."""
    soil_wet_frac: float = _ranged(0.2, 0.1, 0.3)
    """Water in the bed's sand, by volume."""
    cable_depth_m: float = _ranged(0.05, 0.035, 0.07)
    """From the bed's surface to the cable."""
    sheet_m2k_w: float = _ranged(0.4, 0.1, 0.8)
    """Whatever insulates under the bed."""
    edge_w_per_mk: float = _ranged(0.25, 0.15, 0.4)
    """From the bed to the outside, per metre of rim."""
    sides_w_per_m2k: float = _ranged(2.4, 1.8, 3.0)
    """Boards of the front and ends, films and all; 25 mm of softwood comes to 2.7."""
    brick_w_per_mk: float = _ranged(0.87, 0.72, 1.05)
    """Brick: 0.77 (from memory) to 0.89 (common brick, ASHRAE 2005)."""
    brick_j_per_m3k: float = _ranged(1.48e6, 1.33e6, 1.6e6)
    """1.36e6 (from memory) to 1.517e6 (common brick, ASHRAE 2005)."""
    wall_absorbed_frac: float = _ranged(0.65, 0.5, 0.75)
    """Sunlight that the wall does not throw back."""
    covering_frac: float = _ranged(0.85, 0.65, 0.95)
    """What is left of a covering's resistance, being damp and badly tucked in."""
    stomata_s_per_m: float = _ranged(300.0, 180.0, 600.0)
    """Resistance of a leaf to vapour in good light."""
    crust_s_per_m: float = _ranged(900.0, 400.0, 2000.0)
    """Resistance of the bed's surface to vapour."""
    cable_to_sand_w_per_mk: float = _ranged(1.0, 0.75, 1.4)
    """Per metre of cable: at 15 W/m its sheath runs 11 to 20 K above the sand around it."""
    power_frac: float = _ranged(1.0, 0.93, 1.05)
    """What the cable truly draws: mains voltage and its own tolerance."""
    ground_shift_k: float = _ranged(0.0, -1.5, 1.5)
    """How much warmer the deep ground is than the season has it."""


NOMINAL = Nature()
"""The frame without a seed."""


def bounds(name: str) -> tuple[float, float]:
    """Lowest and highest of one property."""
    for each in fields(Nature):
        if each.name == name:
            return each.metadata["low"], each.metadata["high"]
    raise KeyError(name)


def drawn_nature(uniform: Callable[[float, float], float]) -> Nature:
    """A frame of its own; ``uniform(low, high)`` is asked once for each property, in their order."""
    return Nature(
        **{each.name: uniform(each.metadata["low"], each.metadata["high"]) for each in fields(Nature)}
    )
