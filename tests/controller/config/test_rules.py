"""Contradictions are refused with both names (G04, G09, F09)."""

from __future__ import annotations

import pytest

from controller.config.records import CoverKind
from controller.vocabulary import FrameName, Place
from tests.controller.config.texts import EXAMPLE, SMALL, fault_lines, read

BED = FrameName("bed")


def _heat(lines: str) -> str:
    return SMALL.replace("relay_pin = 17", f"relay_pin = 17\n{lines}")


def _told(text: str) -> str:
    told = fault_lines(text)
    assert len(told) == 1, told
    return told[0]


def test_the_aim_stays_below_the_air_limit_and_all_four_names_are_given() -> None:
    told = _told(_heat("keep_above_c = 12\ndifferential_k = 1.5\nair_max_c = 15"))
    for name in ("air_max_c", "keep_above_c", "leaf_allowance_k", "differential_k"):
        assert name in told
    read(_heat("keep_above_c = 12\ndifferential_k = 1.4\nair_max_c = 15"))


def test_equality_of_aim_and_limit_is_refused() -> None:
    _told(_heat("keep_above_c = 12\nleaf_allowance_k = 0\ndifferential_k = 3\nair_max_c = 15"))
    read(_heat("keep_above_c = 12\nleaf_allowance_k = 0\ndifferential_k = 2.999\nair_max_c = 15"))


def test_the_shortest_run_is_shorter_than_the_longest() -> None:
    told = _told(_heat("min_on_s = 1800\non_proof_s = 1800"))
    assert "on_proof_s" in told
    assert "min_on_s" in told


def test_the_beds_aim_is_below_the_root_limit() -> None:
    bottom = '\n[frame.bed.heat.bottom]\nbed_keep_c = 20\nfrom = "11-15"\nto = "02-29"\n'
    read(SMALL + bottom)
    told = _told(_heat("root_max_c = 20") + bottom)
    assert "bed_keep_c" in told
    assert "root_max_c" in told


@pytest.mark.parametrize("day", ["02-30", "04-31"])
def test_a_day_that_never_comes_is_refused(day: str) -> None:
    told = _told(SMALL + f'\n[frame.bed.heat.bottom]\nbed_keep_c = 16\nfrom = "01-01"\nto = "{day}"\n')
    assert "no day of the year" in told


def test_heat_needs_a_probe_in_the_air() -> None:
    told = _told(SMALL.replace("probe.air]", "probe.wall]"))
    assert "no probe hangs in the air" in told
    read(SMALL.replace("probe.air]", "probe.air_second]"))


def test_heat_needs_a_probe_at_bed_or_cable() -> None:
    told = _told(SMALL.replace("probe.bed]", "probe.wall]"))
    assert "no probe watches the bed or the cable" in told
    read(SMALL.replace("probe.bed]", "probe.guard]"))
    read(_heat("cable_max_c = 45").replace("probe.bed]", "probe.cable]"))


def test_a_frame_without_heat_needs_no_probe() -> None:
    cut = SMALL[: SMALL.index("[frame.bed.heat]")]
    frame = read(cut).frames[BED]
    assert frame.heat is None
    assert not frame.probes


def test_a_cover_switch_needs_a_frame_with_heat() -> None:
    """What nobody looks at is refused rather than passed over in silence."""
    switched = SMALL.replace("faces_deg = 180", "faces_deg = 180\ncover_switch_pin = 20")
    heat = read(switched).frames[BED].heat
    assert heat is not None
    assert heat.pins.cover_switch == 20
    assert "cover_switch_pin" in _told(switched[: switched.index("[frame.bed.heat]")])


def test_a_cable_probe_and_its_limit_go_together() -> None:
    with_probe = SMALL + '\n[frame.bed.probe.cable]\nid = "28-000000000003"\n'
    assert "cable_max_c: is missing, though probe.cable is fitted" in _told(with_probe)
    assert "no probe.cable to watch it" in _told(_heat("cable_max_c = 45"))
    read(with_probe.replace("relay_pin = 17", "relay_pin = 17\ncable_max_c = 45"))


def test_a_faulty_cable_probe_is_one_fault_and_not_a_missing_probe_too() -> None:
    text = _heat("cable_max_c = 45") + '\n[frame.bed.probe.cable]\nid = "28-3"\n'
    assert "probe.cable.id: cannot be" in _told(text)


def test_a_cable_on_the_surface_needs_a_guard_probe() -> None:
    told = _told(_heat('lay = "surface"'))
    assert "guard" in told
    read(_heat('lay = "surface"').replace("probe.bed]", "probe.guard]"))


def test_the_back_is_not_lower_than_the_front() -> None:
    told = _told(SMALL.replace("back_height_m = 0.5", "back_height_m = 0.2"))
    assert "front_height_m" in told
    read(SMALL.replace("back_height_m = 0.5", "back_height_m = 0.3"))


@pytest.mark.parametrize("cover", list(CoverKind))
def test_leaf_allowance_by_cover(cover: CoverKind) -> None:
    """Common practice, no source: 1.5 K under film, none under other covers; a written one rules."""
    text = SMALL.replace('"film"', f'"{cover}"')
    heat = read(text).frames[BED].heat
    assert heat is not None
    assert heat.leaf_allowance_k == (1.5 if cover is CoverKind.FILM else 0.0)
    written = read(text.replace("relay_pin", "leaf_allowance_k = 0.5\nrelay_pin")).frames[BED].heat
    assert written is not None
    assert written.leaf_allowance_k == 0.5


def _openings(*rows: tuple[str, float]) -> str:
    return SMALL + "".join(
        f'\n[[frame.bed.opening]]\nname = "{name}"\narea_m2 = {area}\nheight_m = 0.1\n' for name, area in rows
    )


def test_openings_run_from_shut_to_off() -> None:
    read(_openings(("shut", 0), ("crack", 0.1), ("also", 0.1), ("off", 2)))
    assert "first opening is not shut" in _told(_openings(("crack", 0.1), ("off", 2)))
    assert "only the first opening is shut" in _told(_openings(("shut", 0), ("closed", 0)))
    assert "less than the opening before it (0.5 m²)" in _told(_openings(("shut", 0), ("a", 0.5), ("b", 0.4)))
    assert "more than length_m by depth_m" in _told(_openings(("shut", 0), ("off", 20)))
    assert "is also the name of no. 1" in _told(_openings(("shut", 0), ("Shut", 1)))


def test_a_frame_that_lists_no_opening_is_always_shut() -> None:
    (opening,) = read(SMALL).frames[BED].openings
    assert (opening.name, opening.area_m2) == ("shut", 0)


def test_two_coverings_of_one_name_are_refused() -> None:
    assert "frame.south.covering no. 2.name" in _told(EXAMPLE.replace('name = "fleece"', 'name = "mat"'))


SECOND = (
    SMALL[SMALL.index("[frame.bed]") :]
    .replace("frame.bed", "frame.north")
    .replace("relay_pin = 17", "relay_pin = 27")
    .replace("00001", "00003")
    .replace("00002", "00004")
)


def test_two_frames_live_on_one_board() -> None:
    assert list(read(SMALL + SECOND).frames) == ["bed", "north"]


def test_heat_pins_are_those_of_the_frames_that_can_be_heated() -> None:
    without = SECOND[: SECOND.index("[frame.north.heat]")] + SECOND[SECOND.index("[frame.north.probe") :]
    assert read(SMALL + SECOND).heat_pins == {"bed": 17, "north": 27}
    assert read(SMALL + without).heat_pins == {"bed": 17}


def test_a_pin_given_to_two_frames_is_refused_with_both_names() -> None:
    told = _told(SMALL + SECOND.replace("= 27", "= 17"))
    assert "frame.north.heat.relay_pin: GPIO 17 is also frame.bed.heat.relay_pin" in told


def test_a_pin_of_the_site_counts_too() -> None:
    told = _told(SMALL.replace("longitude", "stop_button_pin = 17\nlongitude"))
    assert "frame.bed.heat.relay_pin: GPIO 17 is also site.stop_button_pin" in told


def test_a_probe_given_to_two_frames_is_refused_with_both_names() -> None:
    told = _told(SMALL + SECOND.replace("00003", "00001"))
    assert "28-000000000001 is also frame.bed.probe.air.id" in told


def test_an_outside_probe_of_the_site_is_shared_and_a_frames_own_comes_first() -> None:
    shared = '[site.probe.outside]\nid = "28-000000000009"\n'
    own = '[frame.north.probe.outside]\nid = "28-00000000000a"\n'
    frames = read(SMALL + SECOND + shared + own).frames
    assert frames[BED].probes[Place.OUTSIDE] == "28-000000000009"
    assert frames[FrameName("north")].probes[Place.OUTSIDE] == "28-00000000000a"


def test_a_cable_larger_than_the_sites_budget_is_refused_with_both_names() -> None:
    told = _told(SMALL.replace("longitude", "heat_power_max_w = 99\nlongitude"))
    assert "frame.bed.heat.power_w" in told
    assert "site.heat_power_max_w" in told
    read(SMALL.replace("longitude", "heat_power_max_w = 100\nlongitude"))


def test_one_slip_does_not_hide_another() -> None:
    """A faulty key leaves the rules that do not need it at work."""
    text = _heat('lead_s = "x"\nroot_max_c = 16\nmin_on_s = 1800\non_proof_s = 1800') + (
        '\n[frame.bed.heat.bottom]\nbed_keep_c = 18\nfrom = "01-01"\nto = "13-01"\n'
    )
    keys = {line.split(": ")[1].rsplit(".", 1)[1] for line in fault_lines(text)}
    assert keys == {"lead_s", "on_proof_s", "bed_keep_c", "to"}


@pytest.mark.parametrize(
    ("family", "taken"),
    [("28", True), ("22", True), ("42", True), ("10", False), ("3b", False), ("00", False), ("ff", False)],
)
def test_only_probe_families_that_can_be_decoded_are_taken(family: str, taken: bool) -> None:  # noqa: FBT001
    text = SMALL.replace("28-000000000001", f"{family}-000000000001")
    if taken:
        assert read(text).frames[BED].probes[Place.AIR] == f"{family}-000000000001"
    else:
        assert "probe.air.id: cannot be" in _told(text)
