"""All that changes in the built-in simulated frame, and how a freezing store follows its heat.

Pure.
"""

from __future__ import annotations

from typing import NamedTuple


class FrameState(NamedTuple):
    """°C, except where the name says else; a tuple, so that copies of a frame share it."""

    air_c: float
    vapour_kg_m3: float
    """In the frame's air."""
    dew_kg_m2: float
    """On the inner face of the covers."""
    leaf_c: float
    """Leaves and the skins of pots."""
    pot_c: float
    """Root balls."""
    pot_ice_frac: float
    inner_c: float
    """Inner and outer face of the covers."""
    outer_c: float
    bed0_c: float
    bed0_ice_frac: float
    bed1_c: float
    bed1_ice_frac: float
    bed2_c: float
    bed2_ice_frac: float
    bed3_c: float
    bed4_c: float
    bed5_c: float
    cable_c: float
    wall0_c: float
    wall1_c: float
    wall2_c: float
    wall3_c: float
    top0_c: float
    """The wall above the frame, face first."""
    top1_c: float
    top2_c: float
    top3_c: float


class Faces(NamedTuple):
    """The five that face each other at the step's end, and the two folded into them, °C."""

    wall_c: float
    bed_c: float
    leaf_c: float
    inner_c: float
    air_c: float
    outer_c: float
    pot_c: float


PINNED_W_K = 1e18
"""Conductance that holds a store at 0 °C in a solution while ice and water are both in it."""


def settled_store(
    was_c: float, ice_frac: float, solved_c: float, gained_k: float, ice_k: float
) -> tuple[float, float]:
    """°C and share of ice of a store that held ``was_c`` and ``ice_frac`` before it gained ``gained_k``.

    Heat is in kelvins of the store, counted from water at 0 °C; ``ice_k`` of them freeze it through. A
    store that neither freezes nor thaws is where the solution has it.
    """
    if ice_frac == 0.0:
        if solved_c >= 0.0:
            return solved_c, 0.0
    elif ice_frac == 1.0 and solved_c <= 0.0:
        return solved_c, 1.0
    held_k = was_c - ice_k * ice_frac + gained_k
    if held_k >= 0.0:
        return held_k, 0.0
    if held_k <= -ice_k:
        return held_k + ice_k, 1.0
    return 0.0, -held_k / ice_k
