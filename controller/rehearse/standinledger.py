"""Where the simulated frame's heat came from and went to, for whoever wants it proved.

Pure. The frame ends at the outer face of its covers (or of what lies on them), at the boards' outside, at the
back of the wall behind it, at the rim and at the deep ground; the wall above it is its surroundings.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from controller.rehearse.standinchains import UnfoldedBed
from controller.rehearse.standincouplings import Couplings
from controller.rehearse.standinframe import AIR_J_PER_M3K, FrameParts
from controller.rehearse.standinlight import SunPowers
from controller.rehearse.standinmoisture import Moisture
from controller.rehearse.standinouter import EVAPORATION_J_PER_KG, Outer
from controller.rehearse.standinstate import Faces, FrameState


class Flows(NamedTuple):
    """What drove one step."""

    outer: Outer
    near: Couplings
    sun: SunPowers
    water: Moisture
    sideways_w: float
    """From the wall above into the wall behind."""
    heat_w: float


@dataclass(slots=True)
class Ledger:
    """Sums since it was opened, J by path."""

    gained_j: dict[str, float] = field(default_factory=lambda: dict.fromkeys(("sun", "cable"), 0.0))
    lost_j: dict[str, float] = field(
        default_factory=lambda: dict.fromkeys(
            ("covers", "open_sky", "air", "vapour", "sides", "rim", "ground", "wall"), 0.0
        )
    )

    @property
    def net_j(self) -> float:
        """What should have stayed, by the sums."""
        return sum(self.gained_j.values()) - sum(self.lost_j.values())

    def book(
        self,
        parts: FrameParts,
        flows: Flows,
        solved: Faces,
        under: UnfoldedBed,
        behind: tuple[float, float, float],
        *,
        dt_s: float,
    ) -> None:
        """Add one step at the temperatures that its flows were taken at."""
        outer, near, sun, water, sideways_w, heat_w = flows
        wall_c, bed_c, leaf_c, _, air_c, outer_c, _ = solved
        outside_c, bed, lost_j = outer.air_c, parts.bed, self.lost_j
        self.gained_j["sun"] += (sun.leaf_w + sun.pot_w + sun.bed_w + sun.wall_w + sun.skin_w) * dt_s
        self.gained_j["cable"] += heat_w * dt_s
        lost_j["covers"] += near.face_w_k * (outer_c - near.face_c) * dt_s
        lost_j["open_sky"] += dt_s * (
            near.leaf_open_w_k * (leaf_c - near.open_c)
            + near.bed_open_w_k * (bed_c - near.open_c)
            + near.wall_open_w_k * (wall_c - near.open_c)
        )
        lost_j["air"] += AIR_J_PER_M3K * near.exchange_m3_s * (air_c - outside_c) * dt_s
        lost_j["vapour"] += water.out_w * dt_s
        lost_j["sides"] += parts.sides_w_k * (air_c - outside_c) * dt_s
        layers_c = bed_c, under.one_c, under.two_c, under.three_c
        rims = zip(bed.rims_w_k, layers_c, strict=True)
        lost_j["rim"] += dt_s * sum(rim_w_k * (layer_c - outside_c) for rim_w_k, layer_c in rims)
        lost_j["ground"] += bed.links_w_k[5] * (under.five_c - outer.deep_c) * dt_s
        lost_j["wall"] += dt_s * (parts.wall.links_w_k[3] * (behind[2] - outside_c) - sideways_w)


def stored_wh(parts: FrameParts, state: FrameState) -> float:
    """Heat in the frame over one at 0 °C with nothing frozen and dry air, Wh."""
    bed, wall = parts.bed, parts.wall
    held_j = parts.air_j_k * state.air_c + parts.leaf_j_k * state.leaf_c
    held_j += parts.pot_j_k * (state.pot_c - parts.pot_ice_k * state.pot_ice_frac)
    held_j += parts.skin_j_k * (state.inner_c + state.outer_c)
    held_j += EVAPORATION_J_PER_KG * parts.volume_m3 * state.vapour_kg_m3
    held_j += bed.cable_j_k * state.cable_c
    layers_c = (
        state.bed0_c - bed.ice_k * state.bed0_ice_frac,
        state.bed1_c - bed.ice_k * state.bed1_ice_frac,
        state.bed2_c - bed.ice_k * state.bed2_ice_frac,
        state.bed3_c,
        state.bed4_c,
        state.bed5_c,
    )
    held_j += sum(store_j_k * layer_c for store_j_k, layer_c in zip(bed.stores_j_k, layers_c, strict=True))
    walls_c = state.wall0_c, state.wall1_c, state.wall2_c, state.wall3_c
    held_j += sum(store_j_k * layer_c for store_j_k, layer_c in zip(wall.stores_j_k, walls_c, strict=True))
    return held_j / 3600.0
