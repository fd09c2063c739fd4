"""Sunlight in the built-in stand-in: never more than falls on it, and where a low sun puts it."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.rehearse.contract import OpeningNow
from controller.rehearse.irradiance import Irradiance
from controller.rehearse.standinframe import build_parts
from controller.rehearse.standinlight import NO_BEAM, beam_from, lid_of, sun_powers
from controller.rehearse.sunpath import Direction
from tests.controller.rehearse.lab import SHUT, frame_table

PARTS = build_parts(frame_table(faces_deg=180.0))
CLEAR = Irradiance(300.0, 700.0, 60.0)


def sun(height_deg: float, west_deg: float = 0.0) -> Direction:
    up, round_ = math.radians(height_deg), math.radians(west_deg)
    return Direction(math.sin(up), math.cos(up) * math.cos(round_), math.cos(up) * math.sin(round_))


@given(
    height_deg=st.floats(0.5, 80.0),
    west_deg=st.floats(-180.0, 180.0),
    area_m2=st.floats(0.0, 3.0),
    covering_m2k_w=st.sampled_from([0.0, 0.02, 0.3]),
    cover=st.sampled_from(["glass", "film", "twin_wall"]),
    wall=st.sampled_from(["brick", "none"]),
)
def test_no_more_is_kept_than_falls_on_the_frame(
    *, height_deg: float, west_deg: float, area_m2: float, covering_m2k_w: float, cover: str, wall: str
) -> None:
    """Beam, all of the sky, what ground and wall throw on the slope; no part keeps less than none."""
    parts = build_parts(frame_table(faces_deg=180.0, cover=cover, wall=wall))
    stands = sun(height_deg, west_deg)
    lid = lid_of(parts, OpeningNow(name="", area_m2=area_m2, height_m=0.1, covering_r_m2k_w=covering_m2k_w))
    kept = sun_powers(parts, lid, beam_from(parts, stands), CLEAR)
    normal = parts.normal
    square = max(0.0, stands.up_frac * normal.up_frac + stands.south_frac * normal.south_frac)
    wall_w_m2 = 700.0 * max(stands.south_frac, 0.0) + 0.5 * 60.0 + 0.1 * 300.0
    falls_w = parts.cover_m2 * (700.0 * square + 60.0 + 0.2 * 300.0 + parts.wall_view_frac * wall_w_m2)
    assert min(kept) >= 0.0
    assert sum(kept) - kept.top_w <= falls_w


def test_a_low_sun_shines_on_the_wall_and_a_high_one_on_the_bed() -> None:
    """At 10° nearly all of the beam is bound for the wall, at 75° a tenth; between, ever less."""
    shares = [beam_from(PARTS, sun(height_deg)).to_wall_frac for height_deg in (10, 20, 30, 45, 60, 75)]
    assert shares == sorted(shares, reverse=True)
    assert shares[0] == pytest.approx(1.0)
    assert shares[-1] < 0.2


def test_the_ray_to_the_foot_of_the_wall() -> None:
    """A box as high in front as behind, sun at 45°: 0.3 m of 0.9 m of depth light the wall, by hand."""
    box = build_parts(frame_table(faces_deg=180.0, front_height_m=0.3, back_height_m=0.3))
    assert beam_from(box, sun(45.0)).to_wall_frac == pytest.approx(0.3 / 0.9)


def test_a_wall_throws_its_shadow() -> None:
    """Sun behind the wall gives no beam; without a wall it comes over the back; below the horizon never."""
    free = build_parts(frame_table(faces_deg=180.0, wall="none"))
    assert beam_from(PARTS, sun(30.0, 150.0)) == NO_BEAM
    assert beam_from(free, sun(30.0, 150.0)).cover_frac > 0.0
    assert beam_from(free, sun(-1.0)) == NO_BEAM


def test_coverings_and_covers_dim() -> None:
    """Mat far more than fleece, fleece more than nothing; covers off let in more than covers on."""
    noon = beam_from(PARTS, sun(30.0))
    fleece, mat = replace(SHUT, covering_r_m2k_w=0.02), replace(SHUT, covering_r_m2k_w=0.3)
    off = OpeningNow(name="off", area_m2=9.0, height_m=0.5)
    stands = (mat, fleece, SHUT, off)
    leaf_w = [sun_powers(PARTS, lid_of(PARTS, stood), noon, CLEAR).leaf_w for stood in stands]
    assert leaf_w == sorted(leaf_w)
    assert leaf_w[0] == pytest.approx(0.05 * leaf_w[2])
    assert leaf_w[1] == pytest.approx(0.8 * leaf_w[2])
    # twin wall passes 0.80, and bars and dirt take their share of that
    assert leaf_w[2] < 0.8 * leaf_w[3]
