"""Bed and wall under one implicit step: folded up into their surface, then unfolded from it.

Pure. Heat flows between neighbours at the temperatures of the step's end (backward Euler), so any step is
stable and no heat is lost between layers. A chain is folded from its far end with Thomas' algorithm: what
is left is one conductance and one flow at the surface.
"""

from __future__ import annotations

from typing import NamedTuple

from controller.rehearse.standinlayers import Bed, Wall
from controller.rehearse.standinstate import PINNED_W_K, FrameState, settled_store


class FoldedWall(NamedTuple):
    """What the face sees of the wall behind it, and what it takes to unfold it: W/K and W."""

    face_w_k: float
    face_w: float
    one_w_k: float
    one_w: float
    two_w_k: float
    two_w: float
    three_w_k: float
    three_w: float


def fold_wall(
    wall: Wall, held_c: tuple[float, float, float], rear_c: float, sideways_w: float, rate_per_s: float
) -> FoldedWall:
    """Fold the three layers behind the face; ``sideways_w`` comes into the third layer from elsewhere."""
    one_c, two_c, three_c = held_c
    _, one_j_k, two_j_k, three_j_k = wall.stores_j_k
    link_01, link_12, link_23, rear = wall.links_w_k
    store = three_j_k * rate_per_s
    d3 = store + link_23 + rear
    r3 = store * three_c + rear * rear_c
    share = link_23 / d3
    store = two_j_k * rate_per_s
    d2 = store + link_12 + link_23 * (1.0 - share)
    r2 = store * two_c + sideways_w + share * r3
    share = link_12 / d2
    store = one_j_k * rate_per_s
    d1 = store + link_01 + link_12 * (1.0 - share)
    r1 = store * one_c + share * r2
    share = link_01 / d1
    return FoldedWall(link_01 * (1.0 - share), share * r1, d1, r1, d2, r2, d3, r3)


def unfold_wall(wall: Wall, folded: FoldedWall, face_c: float) -> tuple[float, float, float]:
    """The layers behind a face that has come to ``face_c``."""
    _, _, d1, r1, d2, r2, d3, r3 = folded
    link_01, link_12, link_23, _ = wall.links_w_k
    one_c = (r1 + link_01 * face_c) / d1
    two_c = (r2 + link_12 * one_c) / d2
    return one_c, two_c, (r3 + link_23 * two_c) / d3


class FoldedBed(NamedTuple):
    """What the bed's surface sees of what lies under it, and what it takes to unfold it: W/K and W."""

    top_w_k: float
    top_w: float
    cable_w_k: float
    cable_w: float
    one_w_k: float
    one_w: float
    two_w_k: float
    two_w: float
    three_w_k: float
    three_w: float
    four_w_k: float
    four_w: float
    five_w_k: float
    five_w: float


def fold_bed(
    bed: Bed, state: FrameState, *, outside_c: float, deep_c: float, heat_w: float, rate_per_s: float
) -> FoldedBed:
    """Fold the five layers under the surface and the cable in the third."""
    _, one_j_k, two_j_k, three_j_k, four_j_k, five_j_k = bed.stores_j_k
    link_01, link_12, link_23, link_34, link_45, deep = bed.links_w_k
    rim_0, rim_1, rim_2, rim_3 = bed.rims_w_k
    sheath = bed.cable_w_k
    store = five_j_k * rate_per_s
    d5, r5 = store + link_45 + deep, store * state.bed5_c + deep * deep_c
    share = link_45 / d5
    store = four_j_k * rate_per_s
    d4, r4 = store + link_34 + link_45 * (1.0 - share), store * state.bed4_c + share * r5
    share = link_34 / d4
    store = three_j_k * rate_per_s
    d3 = store + link_23 + rim_3 + link_34 * (1.0 - share)
    r3 = store * state.bed3_c + rim_3 * outside_c + share * r4
    share = link_23 / d3
    store = bed.cable_j_k * rate_per_s
    dc, rc = store + sheath, store * state.cable_c + heat_w
    heated = sheath / dc
    if 0.0 < state.bed2_ice_frac < 1.0:
        d2, r2 = PINNED_W_K, 0.0
    else:
        store = two_j_k * rate_per_s
        d2 = store + link_12 + rim_2 + link_23 * (1.0 - share) + sheath * (1.0 - heated)
        r2 = store * state.bed2_c + rim_2 * outside_c + share * r3 + heated * rc
    share = link_12 / d2
    if 0.0 < state.bed1_ice_frac < 1.0:
        d1, r1 = PINNED_W_K, 0.0
    else:
        store = one_j_k * rate_per_s
        d1 = store + link_01 + rim_1 + link_12 * (1.0 - share)
        r1 = store * state.bed1_c + rim_1 * outside_c + share * r2
    share = link_01 / d1
    return FoldedBed(
        rim_0 + link_01 * (1.0 - share),
        rim_0 * outside_c + share * r1,
        *(dc, rc, d1, r1, d2, r2, d3, r3, d4, r4, d5, r5),
    )


class UnfoldedBed(NamedTuple):
    """The bed under its surface at the step's end, before ice is settled, °C."""

    one_c: float
    two_c: float
    three_c: float
    four_c: float
    five_c: float
    cable_c: float


def unfold_bed(bed: Bed, folded: FoldedBed, top_c: float) -> UnfoldedBed:
    """The layers under a surface that has come to ``top_c``."""
    _, _, dc, rc, d1, r1, d2, r2, d3, r3, d4, r4, d5, r5 = folded
    link_01, link_12, link_23, link_34, link_45, _ = bed.links_w_k
    one_c = (r1 + link_01 * top_c) / d1
    two_c = (r2 + link_12 * one_c) / d2
    three_c = (r3 + link_23 * two_c) / d3
    four_c = (r4 + link_34 * three_c) / d4
    return UnfoldedBed(
        one_c,
        two_c,
        three_c,
        four_c,
        (r5 + link_45 * four_c) / d5,
        (rc + bed.cable_w_k * two_c) / dc,
    )


def settled_layers(
    bed: Bed, state: FrameState, top_c: float, under: UnfoldedBed, *, outside_c: float, dt_s: float
) -> tuple[float, float, float, float]:
    """°C and ice of the second and third layer after the step."""
    one_c, two_c = under.one_c, under.two_c
    if one_c >= 0.0 and two_c >= 0.0 and state.bed1_ice_frac == state.bed2_ice_frac == 0.0:
        return one_c, 0.0, two_c, 0.0
    link_01, link_12, link_23, _, _, _ = bed.links_w_k
    gained_k = one_c - state.bed1_c
    if 0.0 < state.bed1_ice_frac < 1.0:
        gained_w = link_01 * (top_c - one_c) + link_12 * (two_c - one_c)
        gained_w += bed.rims_w_k[1] * (outside_c - one_c)
        gained_k = gained_w * dt_s / bed.stores_j_k[1]
    first = settled_store(state.bed1_c, state.bed1_ice_frac, one_c, gained_k, bed.ice_k)
    gained_k = two_c - state.bed2_c
    if 0.0 < state.bed2_ice_frac < 1.0:
        gained_w = link_12 * (one_c - two_c) + link_23 * (under.three_c - two_c)
        gained_w += bed.cable_w_k * (under.cable_c - two_c) + bed.rims_w_k[2] * (outside_c - two_c)
        gained_k = gained_w * dt_s / bed.stores_j_k[2]
    second = settled_store(state.bed2_c, state.bed2_ice_frac, two_c, gained_k, bed.ice_k)
    return *first, *second
