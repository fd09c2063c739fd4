"""From a settings table to the parts of the built-in stand-in."""

from __future__ import annotations

import math

import pytest

from controller.rehearse.standinframe import build_parts
from tests.controller.rehearse.lab import frame_table


@pytest.mark.parametrize("cover", ["glass", "rigid_sheet", "twin_wall", "film"])
@pytest.mark.parametrize("wall", ["brick", "timber", "none"])
def test_every_kind_of_cover_and_wall_is_known(cover: str, wall: str) -> None:
    """Each word of the settings has its numbers; two skins pass less heat and less light than one."""
    single = build_parts(frame_table(cover=cover, wall=wall, skins=1))
    double = build_parts(frame_table(cover=cover, wall=wall, skins=2))
    assert double.skin_w_k < single.skin_w_k
    assert double.light_passed_frac < single.light_passed_frac
    assert (single.top_m2 > 0.0) == (single.wall_view_frac > 0.0) == (wall != "none")


@pytest.mark.parametrize(
    ("change", "error"),
    [({"cover": "paper"}, KeyError), ({"wall": "hedge"}, KeyError), ({"length_m": "long"}, ValueError)],
)
def test_what_is_not_known_is_refused(change: dict[str, str], error: type[Exception]) -> None:
    """Never replaced by something else."""
    with pytest.raises(error):
        build_parts(frame_table(**change))


def test_areas_are_those_of_the_worked_lean_to() -> None:
    """3 m by 1.2 m, 0.3 m in front and 0.9 m at the back: sums of the worked sizing example (computed)."""
    parts = build_parts(frame_table(length_m=3.0, depth_m=1.2, front_height_m=0.3, back_height_m=0.9))
    assert (parts.cover_m2, parts.wall_m2, parts.bed_m2, parts.volume_m3) == pytest.approx(
        (4.024922, 2.7, 3.6, 2.16), abs=1e-6
    )
    assert math.degrees(math.acos(parts.normal.up_frac)) == pytest.approx(26.5651, abs=1e-3)
