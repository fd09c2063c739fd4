"""One implicit step of the whole simulated frame.

Pure. Everything that exchanges heat is linear over the step, with temperatures of its end: stable at any
length, and energy is kept to rounding. Bed, walls, covers' outer face and root balls are folded into the five
temperatures that face each other - wall, bed, leaves, covers, air - which are then solved at one go.
"""

from __future__ import annotations

from controller.rehearse.standinchains import (
    FoldedBed,
    FoldedWall,
    fold_bed,
    fold_wall,
    settled_layers,
    unfold_bed,
    unfold_wall,
)
from controller.rehearse.standincouplings import Couplings, couplings_now
from controller.rehearse.standinframe import AIR_J_PER_M3K, FrameParts
from controller.rehearse.standinledger import Flows, Ledger
from controller.rehearse.standinlight import Lid, SunPowers
from controller.rehearse.standinmoisture import Moisture, moisture_step
from controller.rehearse.standinouter import Outer
from controller.rehearse.standinstate import PINNED_W_K, Faces, FrameState, settled_store

_Entry = float
"""One entry of the five balances: W/K, or W."""


def solve_faces(
    parts: FrameParts,
    state: FrameState,
    *,
    outer: Outer,
    near: Couplings,
    sun: SunPowers,
    water: Moisture,
    bed: FoldedBed,
    wall: FoldedWall,
    rate_per_s: float,
) -> Faces:
    """Set the five balances up, each a sum of conductances and a flow, and solve them."""
    (la, ba, wa, sa, ls, bs, ws, wl, wb, lb, lo, bo, wo, open_c, exchange_m3_s, face, face_c, _, _) = near
    # the outer face of the covers, folded into the inner one
    skin = parts.skin_j_k * rate_per_s
    through = parts.skin_w_k
    do, ro = skin + through + face, skin * state.outer_c + face * face_c + 0.5 * sun.skin_w
    share = through / do
    ds = skin + through * (1.0 - share) + sa + ls + bs + ws
    rs = skin * state.inner_c + share * ro + 0.5 * sun.skin_w + water.skin_w
    # root balls, folded into leaves, bed and air
    by_leaf, by_bed, by_air = parts.pot_leaf_w_k, parts.pot_base_w_k, parts.pot_air_w_k
    if 0.0 < state.pot_ice_frac < 1.0:
        dp, rp = PINNED_W_K, 0.0
    else:
        store = parts.pot_j_k * rate_per_s
        dp = store + by_leaf + by_bed + by_air
        rp = store * state.pot_c + sun.pot_w
    from_leaf, from_bed, from_air = by_leaf / dp, by_bed / dp, by_air / dp
    kept = 1.0 - from_leaf - from_bed - from_air
    lb, la, ba = lb + by_leaf * from_bed, la + by_leaf * from_air, ba + by_bed * from_air
    store = parts.leaf_j_k * rate_per_s
    dl = store + la + ls + wl + lo + lb + by_leaf * kept
    rl = store * state.leaf_c + lo * open_c + sun.leaf_w - water.leaf_w + from_leaf * rp
    if 0.0 < state.bed0_ice_frac < 1.0:
        db, rb = PINNED_W_K, 0.0
    else:
        store = parts.bed.stores_j_k[0] * rate_per_s
        db = store + bed.top_w_k + ba + bs + wb + bo + lb + by_bed * kept
        rb = store * state.bed0_c + bed.top_w + bo * open_c + sun.bed_w - water.bed_w + from_bed * rp
    store = parts.wall.stores_j_k[0] * rate_per_s
    dw = store + wall.face_w_k + wa + ws + wl + wb + wo
    rw = store * state.wall0_c + wall.face_w + wo * open_c + sun.wall_w
    store = parts.air_j_k * rate_per_s
    away = AIR_J_PER_M3K * exchange_m3_s + parts.sides_w_k
    da = store + la + ba + wa + sa + away + by_air * kept
    ra = store * state.air_c + away * outer.air_c + from_air * rp
    wall_c, bed_c, leaf_c, inner_c, air_c = _eliminated(
        *(dw, rw, db, rb, dl, rl, ds, rs, da, ra), *(wb, wl, ws, wa, lb, bs, ba, ls, la, sa)
    )
    return Faces(
        wall_c,
        bed_c,
        leaf_c,
        inner_c,
        air_c,
        (ro + through * inner_c) / do,
        (rp + by_leaf * leaf_c + by_bed * bed_c + by_air * air_c) / dp,
    )


def _eliminated(  # noqa: PLR0917  # twenty bare numbers: naming them costs as much as the arithmetic
    dw: _Entry,
    rw: _Entry,
    db: _Entry,
    rb: _Entry,
    dl: _Entry,
    rl: _Entry,
    ds: _Entry,
    rs: _Entry,
    da: _Entry,
    ra: _Entry,
    wb: _Entry,
    wl: _Entry,
    ws: _Entry,
    wa: _Entry,
    lb: _Entry,
    bs: _Entry,
    ba: _Entry,
    ls: _Entry,
    la: _Entry,
    sa: _Entry,
) -> tuple[float, float, float, float, float]:
    """Wall, bed, leaf, cover, air: symmetric elimination in that order, written out.

    ``d`` and ``r`` are each one's sum of conductances and its flow, two letters the link between two.
    """
    # without the wall
    share = wb / dw
    db, rb, lb, bs, ba = db - share * wb, rb + share * rw, lb + share * wl, bs + share * ws, ba + share * wa
    share = wl / dw
    dl, rl, ls, la = dl - share * wl, rl + share * rw, ls + share * ws, la + share * wa
    share = ws / dw
    ds, rs, sa = ds - share * ws, rs + share * rw, sa + share * wa
    share = wa / dw
    da, ra = da - share * wa, ra + share * rw
    # without the bed
    share = lb / db
    dl, rl, ls, la = dl - share * lb, rl + share * rb, ls + share * bs, la + share * ba
    share = bs / db
    ds, rs, sa = ds - share * bs, rs + share * rb, sa + share * ba
    share = ba / db
    da, ra = da - share * ba, ra + share * rb
    # without the leaves
    share = ls / dl
    ds, rs, sa = ds - share * ls, rs + share * rl, sa + share * la
    share = la / dl
    da, ra = da - share * la, ra + share * rl
    # without the covers, and back again
    share = sa / ds
    air_c = (ra + share * rs) / (da - share * sa)
    inner_c = (rs + sa * air_c) / ds
    leaf_c = (rl + ls * inner_c + la * air_c) / dl
    bed_c = (rb + lb * leaf_c + bs * inner_c + ba * air_c) / db
    wall_c = (rw + wb * bed_c + wl * leaf_c + ws * inner_c + wa * air_c) / dw
    return wall_c, bed_c, leaf_c, inner_c, air_c


def substep(
    parts: FrameParts,
    state: FrameState,
    *,
    lid: Lid,
    outer: Outer,
    sun: SunPowers,
    heat_w: float,
    dt_s: float,
    ledger: Ledger | None = None,
) -> FrameState:
    """The frame ``dt_s`` seconds later, under inputs that do not change."""
    rate_per_s = 1.0 / dt_s
    outside_c = outer.air_c
    near = couplings_now(parts, lid, outer, state, sun.covering_w)
    water = moisture_step(
        parts,
        state,
        skin_film_w_k=near.skin_air_w_k,
        exchange_m3_s=near.exchange_m3_s,
        outside_kg_m3=outer.vapour_kg_m3,
        leaf_sun_w=sun.leaf_w,
        dt_s=dt_s,
    )
    sideways_w = parts.top_link_w_k * (state.top2_c - state.wall2_c)
    bed = fold_bed(
        parts.bed, state, outside_c=outside_c, deep_c=outer.deep_c, heat_w=heat_w, rate_per_s=rate_per_s
    )
    held_c = state.wall1_c, state.wall2_c, state.wall3_c
    wall = fold_wall(parts.wall, held_c, outside_c, sideways_w, rate_per_s)
    solved = solve_faces(
        parts, state, outer=outer, near=near, sun=sun, water=water, bed=bed, wall=wall, rate_per_s=rate_per_s
    )
    under = unfold_bed(parts.bed, bed, solved.bed_c)
    behind = unfold_wall(parts.wall, wall, solved.wall_c)
    if ledger is not None:
        flows = Flows(outer, near, sun, water, sideways_w, heat_w)
        ledger.book(parts, flows, solved, under, behind, dt_s=dt_s)
    pot, top = (solved.pot_c, 0.0), (solved.bed_c, 0.0)
    if solved.pot_c < 0.0 or state.pot_ice_frac:
        pot = _settled_pot(parts, state, solved, sun.pot_w, dt_s)
    if solved.bed_c < 0.0 or state.bed0_ice_frac:
        other_w = sun.bed_w - water.bed_w + parts.bed.rims_w_k[0] * (outside_c - solved.bed_c)
        top = _settled_top(parts, state, near, solved, below_c=under.one_c, other_w=other_w, dt_s=dt_s)
    return FrameState(
        solved.air_c,
        water.vapour_kg_m3,
        water.dew_kg_m2,
        solved.leaf_c,
        *pot,
        solved.inner_c,
        solved.outer_c,
        *top,
        *settled_layers(parts.bed, state, solved.bed_c, under, outside_c=outside_c, dt_s=dt_s),
        *under[2:],
        solved.wall_c,
        *behind,
        *_top_wall(parts, state, near, sun.top_w, outside_c=outside_c, given_w=sideways_w, dt_s=dt_s),
    )


def _settled_pot(
    parts: FrameParts, state: FrameState, solved: Faces, sun_w: float, dt_s: float
) -> tuple[float, float]:
    """°C and ice of the root balls."""
    pot_c = solved.pot_c
    gained_k = pot_c - state.pot_c
    if 0.0 < state.pot_ice_frac < 1.0:
        gained_w = (
            sun_w
            + parts.pot_leaf_w_k * (solved.leaf_c - pot_c)
            + parts.pot_base_w_k * (solved.bed_c - pot_c)
            + parts.pot_air_w_k * (solved.air_c - pot_c)
        )
        gained_k = gained_w * dt_s / parts.pot_j_k
    return settled_store(state.pot_c, state.pot_ice_frac, pot_c, gained_k, parts.pot_ice_k)


def _settled_top(
    parts: FrameParts,
    state: FrameState,
    near: Couplings,
    solved: Faces,
    *,
    below_c: float,
    other_w: float,
    dt_s: float,
) -> tuple[float, float]:
    """°C and ice of the bed's uppermost layer; ``other_w`` is what it gained from no neighbour."""
    bed, bed_c = parts.bed, solved.bed_c
    gained_k = bed_c - state.bed0_c
    if 0.0 < state.bed0_ice_frac < 1.0:
        gained_w = (
            other_w
            + bed.links_w_k[0] * (below_c - bed_c)
            + parts.pot_base_w_k * (solved.pot_c - bed_c)
            + near.leaf_bed_w_k * (solved.leaf_c - bed_c)
            + near.bed_air_w_k * (solved.air_c - bed_c)
            + near.bed_skin_w_k * (solved.inner_c - bed_c)
            + near.wall_bed_w_k * (solved.wall_c - bed_c)
            + near.bed_open_w_k * (near.open_c - bed_c)
        )
        gained_k = gained_w * dt_s / bed.stores_j_k[0]
    return settled_store(state.bed0_c, state.bed0_ice_frac, bed_c, gained_k, bed.ice_k)


def _top_wall(
    parts: FrameParts,
    state: FrameState,
    near: Couplings,
    sun_w: float,
    *,
    outside_c: float,
    given_w: float,
    dt_s: float,
) -> tuple[float, float, float, float]:
    """The wall above the frame, which gives ``given_w`` to the wall behind it."""
    if parts.top_m2 <= 0.0:
        return outside_c, outside_c, outside_c, outside_c
    wall, rate_per_s = parts.top, 1.0 / dt_s
    folded = fold_wall(wall, (state.top1_c, state.top2_c, state.top3_c), outside_c, -given_w, rate_per_s)
    store = wall.stores_j_k[0] * rate_per_s
    face_c = (store * state.top0_c + folded.face_w + near.top_w_k * near.top_c + sun_w) / (
        store + folded.face_w_k + near.top_w_k
    )
    return face_c, *unfold_wall(wall, folded, face_c)
