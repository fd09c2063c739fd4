"""Sunlight on and in the built-in simulated frame.

Pure. Geometry is that of a long frame seen from its end: a ray through the cover ends on the bed or, when
the sun is low, on the wall behind; pots and leaves stand in its way.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.rehearse.contract import OpeningNow
from controller.rehearse.irradiance import Irradiance
from controller.rehearse.standinframe import FrameParts
from controller.rehearse.sunpath import Direction

ANGLE_POWER = 3.6
"""n in 1 - (1 - cos)^n: fitted to Fresnel's formulas for both faces of a 2 mm pane, to 0.01 up to 80°."""
DIFFUSE_ANGLE_FRAC = 1.0 - (1.0 - 0.5299) ** ANGLE_POWER
"""The same for diffuse light, as if it all came at 58° (from memory)."""
ALBEDO = 0.2
"""Of bare or grassy ground, from memory."""
DIFFUSE_TO_WALL_FRAC = 0.3
"""Of the diffuse light that comes in; common practice, no source."""
PLANT_TAKES_FRAC, SOIL_TAKES_FRAC, COVERING_TAKES_FRAC = 0.88, 0.8, 0.6
"""Absorbed where light falls; common practice, no source."""
POT_SHARE_FRAC = 0.1
"""Of what leaves and pots take, the root balls' share at once; common practice, no source."""
BEFORE_WALL_FACTOR = 1.3
"""Plants stand half as high as the frame: they meet more of a low beam (common practice, no source)."""
CAUGHT_AGAIN_FRAC = 0.7
"""Of what is thrown back inside, the share that does not get out; common practice, no source."""
OPAQUE_FROM_M2K_W = 0.1
"""A covering this thick is a mat, a thinner one fleece; common practice, no source."""
MAT_PASSES_FRAC, FLEECE_PASSES_FRAC = 0.05, 0.8
"""Light through mats (gaps and edges) and through thin fleece; common practice, no source."""


class Lid(NamedTuple):
    """How covers and coverings lie, for as long as nobody touches them."""

    bare_frac: float
    """Share of the frame with no cover over it."""
    covering_m2k_w: float
    covering_passes_frac: float
    vent_m2: float
    vent_height_m: float


def lid_of(parts: FrameParts, opening: OpeningNow) -> Lid:
    """What an opening and its coverings come to; coverings are damp and never quite tight."""
    as_sold_m2k_w = opening.covering_r_m2k_w
    if as_sold_m2k_w <= 0.0:
        passes_frac = 1.0
    else:
        passes_frac = MAT_PASSES_FRAC if as_sold_m2k_w >= OPAQUE_FROM_M2K_W else FLEECE_PASSES_FRAC
    return Lid(
        bare_frac=min(max(opening.area_m2, 0.0) / parts.cover_m2, 1.0),
        covering_m2k_w=max(as_sold_m2k_w, 0.0) * parts.nature.covering_frac,
        covering_passes_frac=passes_frac,
        vent_m2=max(opening.area_m2, 0.0),
        vent_height_m=max(opening.height_m, 0.0),
    )


class Beam(NamedTuple):
    """What the beam does while the sun stands where it does, for each W/m² of direct normal light."""

    cover_frac: float
    """W on each square metre of cover."""
    glancing_frac: float
    """Loss at the cover by the beam's slant: 1 square to it, 0 along it."""
    to_wall_frac: float
    """Share of what comes in that is bound for the wall."""
    wall_frac: float
    """W on each square metre of the wall above."""


NO_BEAM = Beam(0.0, 0.0, 0.0, 0.0)


def beam_from(parts: FrameParts, sun: Direction) -> Beam:
    """The beam's ways from one sun; none while it is down or behind a wall."""
    ahead_frac = sun.south_frac * parts.front.south_frac + sun.west_frac * parts.front.west_frac
    if sun.up_frac <= 0.0 or (ahead_frac <= 0.0 and parts.top_m2 > 0.0):
        return NO_BEAM
    normal = parts.normal
    square_frac = (
        sun.up_frac * normal.up_frac + sun.south_frac * normal.south_frac + sun.west_frac * normal.west_frac
    )
    if square_frac <= 0.0:
        return NO_BEAM
    lit_frac = 1.0 - parts.nature.shaded_frac
    to_wall_frac = 0.0
    if ahead_frac > 0.0:
        slope = (parts.back_m - parts.front_m) / parts.depth_m
        steep = sun.up_frac / ahead_frac
        # the ray that meets the foot of the wall came through the cover this far from the front
        through_m = (parts.depth_m - parts.front_m / steep) / (1.0 + slope / steep)
        to_wall_frac = 1.0 - min(max(through_m / parts.depth_m, 0.0), 1.0)
    return Beam(
        cover_frac=lit_frac * square_frac,
        glancing_frac=angle_frac(square_frac),
        to_wall_frac=to_wall_frac,
        wall_frac=lit_frac * max(ahead_frac, 0.0),
    )


def angle_frac(square_frac: float) -> float:
    """Light passed at a slant, over that passed square on; ``square_frac`` is the cosine of incidence."""
    return float(1.0 - (1.0 - min(max(square_frac, 0.0), 1.0)) ** ANGLE_POWER)


class SunPowers(NamedTuple):
    """Sunlight that each part keeps, W."""

    leaf_w: float
    pot_w: float
    bed_w: float
    wall_w: float
    skin_w: float
    covering_w: float
    top_w: float


DARK = SunPowers(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def sun_powers(parts: FrameParts, lid: Lid, beam: Beam, light: Irradiance) -> SunPowers:
    """Where the light of one step stays; what is thrown back out again is left out."""
    nature, up_frac = parts.nature, parts.normal.up_frac
    direct_w_m2, diffuse_w_m2, level_w_m2 = light.dni_w_m2, light.dhi_w_m2, light.ghi_w_m2
    wall_w_m2 = direct_w_m2 * beam.wall_frac + 0.5 * diffuse_w_m2 + 0.5 * ALBEDO * level_w_m2
    thrown_back_frac = 1.0 - nature.wall_absorbed_frac
    beam_w = direct_w_m2 * beam.cover_frac * parts.cover_m2
    sky_w = parts.cover_m2 * (
        diffuse_w_m2 * (0.5 + 0.5 * up_frac - parts.wall_view_frac)
        + level_w_m2 * ALBEDO * (0.5 - 0.5 * up_frac)
        + wall_w_m2 * thrown_back_frac * parts.wall_view_frac
    )
    bare_frac = lid.bare_frac
    through_frac = (1.0 - bare_frac) * parts.light_passed_frac * lid.covering_passes_frac
    beam_in_w = beam_w * (bare_frac + through_frac * beam.glancing_frac)
    sky_in_w = sky_w * (bare_frac + through_frac * DIFFUSE_ANGLE_FRAC)
    wall_bound_w = beam_in_w * beam.to_wall_frac + sky_in_w * DIFFUSE_TO_WALL_FRAC
    bed_bound_w = beam_in_w + sky_in_w - wall_bound_w
    canopy_frac = nature.canopy_frac
    met_w = canopy_frac * (bed_bound_w + BEFORE_WALL_FACTOR * wall_bound_w)
    soil_w = SOIL_TAKES_FRAC * (1.0 - canopy_frac) * bed_bound_w
    wall_w = nature.wall_absorbed_frac * (1.0 - BEFORE_WALL_FACTOR * canopy_frac) * wall_bound_w
    met_w = PLANT_TAKES_FRAC * met_w
    stray_w = CAUGHT_AGAIN_FRAC * (beam_in_w + sky_in_w - met_w - soil_w - wall_w)
    met_w += canopy_frac * stray_w
    soil_w += (1.0 - canopy_frac) * stray_w
    on_shut_w = (beam_w + sky_w) * (1.0 - bare_frac)
    return SunPowers(
        met_w * (1.0 - POT_SHARE_FRAC),
        met_w * POT_SHARE_FRAC,
        soil_w,
        wall_w,
        on_shut_w * parts.soaked_frac * lid.covering_passes_frac,
        on_shut_w * COVERING_TAKES_FRAC * (1.0 - lid.covering_passes_frac),
        wall_w_m2 * nature.wall_absorbed_frac * parts.top_m2,
    )
