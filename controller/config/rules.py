"""Contradictions inside one frame of a settings file, each told with both names. Pure.

The rules read plain tables in which faulty keys are absent and defaults are filled in, so that one
slip does not hide another. A rule that misses one of its keys says nothing.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator

from controller.config.lines import KeyPath
from controller.config.plain import Conflict, Table, items_in, number_in, table_in

LEAF_ALLOWANCE_FILM_K = 1.5
"""Leaves under a thin dry film run colder than the air on a clear night: common practice, no source."""

_WIDEST_OPENING = 1.2
"""Open area over the slope's own area: ends and a raised light add a little, a slip of units much."""
_LEAP_YEAR = 2024


def frame_conflicts(name: str, frame: Table, raw: Table) -> Iterator[Conflict]:
    """Contradictions inside one frame; ``raw`` is its table as the file has it."""
    here: KeyPath = ("frame", name)
    front_m, back_m = number_in(frame, "front_height_m"), number_in(frame, "back_height_m")
    if front_m is not None and back_m is not None and back_m < front_m:
        yield Conflict(
            path=(*here, "back_height_m"),
            problem=f"{back_m:g} m is lower than front_height_m ({front_m:g} m)",
            remedy="the front is the low, sunny side; swap the two, or turn faces_deg round",
        )
    yield from _opening_conflicts(here, frame)
    yield from _repeated_names((*here, "covering"), items_in(frame, "covering"))
    if "heat" in raw:
        yield from _limit_conflicts((*here, "heat"), table_in(frame, "heat"))
        yield from _fitting_conflicts(here, table_in(frame, "heat"), raw)
    elif "cover_switch_pin" in raw:
        yield Conflict(
            path=(*here, "cover_switch_pin"),
            problem="is looked at only where the frame has heat",
            remedy=f"add [frame.{name}.heat], or remove cover_switch_pin",
        )


def leaf_allowance_k(cover: object) -> float:
    """Default allowance by the kind of cover, in kelvin."""
    return LEAF_ALLOWANCE_FILM_K if cover == "film" else 0.0


def _limit_conflicts(here: KeyPath, heat: Table) -> Iterator[Conflict]:
    """The aim must stay below the limits, and switching times below the proof."""
    keep_c, width_k = number_in(heat, "keep_above_c"), number_in(heat, "differential_k")
    leaf_k, air_c = number_in(heat, "leaf_allowance_k"), number_in(heat, "air_max_c")
    if keep_c is not None and width_k is not None and leaf_k is not None and air_c is not None:
        off_c = keep_c + leaf_k + width_k
        if off_c >= air_c:
            yield Conflict(
                path=(*here, "air_max_c"),
                problem=f"{air_c:g} °C is not above {off_c:g} °C, "
                "which is keep_above_c + leaf_allowance_k + differential_k",
                remedy="heat would stop before it reached its aim; raise air_max_c or lower keep_above_c",
            )
    min_on_s, proof_s = number_in(heat, "min_on_s"), number_in(heat, "on_proof_s")
    if min_on_s is not None and proof_s is not None and min_on_s >= proof_s:
        yield Conflict(
            path=(*here, "on_proof_s"),
            problem=f"{proof_s:g} s is not longer than min_on_s ({min_on_s:g} s)",
            remedy="raise on_proof_s or lower min_on_s",
        )
    bottom = table_in(heat, "bottom")
    bed_c, root_c = number_in(bottom, "bed_keep_c"), number_in(heat, "root_max_c")
    if bed_c is not None and root_c is not None and bed_c >= root_c:
        yield Conflict(
            path=(*here, "bottom", "bed_keep_c"),
            problem=f"{bed_c:g} °C is not below root_max_c ({root_c:g} °C)",
            remedy="lower bed_keep_c or raise root_max_c",
        )
    for key in ("from", "to"):
        written = bottom.get(key)
        if isinstance(written, str) and not _is_month_day(written):
            yield Conflict(
                path=(*here, "bottom", key),
                problem=f'"{written}" is no day of the year',
                remedy='write a month and day such as "02-15"',
            )


def _fitting_conflicts(here: KeyPath, heat: Table, raw: Table) -> Iterator[Conflict]:
    """Heat needs probes that can show it to be safe."""
    probes, raw_heat = table_in(raw, "probe"), table_in(raw, "heat")
    if "air" not in probes and "air_second" not in probes:
        yield Conflict(
            path=(*here, "probe"),
            problem="heat is set, but no probe hangs in the air",
            remedy=f"add [frame.{here[1]}.probe.air] with its id, or remove [frame.{here[1]}.heat]",
        )
    if not {"bed", "guard", "cable"} & probes.keys():
        yield Conflict(
            path=(*here, "probe"),
            problem="heat is set, but no probe watches the bed or the cable",
            remedy=f"add [frame.{here[1]}.probe.bed] with its id, or remove [frame.{here[1]}.heat]",
        )
    if heat.get("lay") == "surface" and "guard" not in probes:
        yield Conflict(
            path=(*here, "heat", "lay"),
            problem='is "surface", but there is no guard probe',
            remedy=f"add [frame.{here[1]}.probe.guard], under the densest pots, "
            'or lay the cable in sand (lay = "sand")',
        )
    if "cable" in probes and "cable_max_c" not in raw_heat:
        yield Conflict(
            path=(*here, "heat", "cable_max_c"),
            problem="is missing, though probe.cable is fitted",
            remedy="add the cable maker's highest sheath temperature, 25 to 80 °C",
        )
    if "cable_max_c" in raw_heat and "cable" not in probes:
        yield Conflict(
            path=(*here, "heat", "cable_max_c"),
            problem="is set, but there is no probe.cable to watch it",
            remedy=f"add [frame.{here[1]}.probe.cable] with its id, or remove cable_max_c",
        )


def _opening_conflicts(here: KeyPath, frame: Table) -> Iterator[Conflict]:
    """From shut to off, each named once."""
    openings = items_in(frame, "opening")
    yield from _repeated_names((*here, "opening"), openings)
    length_m, depth_m = number_in(frame, "length_m"), number_in(frame, "depth_m")
    front_m, back_m = number_in(frame, "front_height_m"), number_in(frame, "back_height_m")
    widest_m2 = math.inf
    if length_m is not None and depth_m is not None and front_m is not None and back_m is not None:
        widest_m2 = _WIDEST_OPENING * length_m * math.hypot(depth_m, back_m - front_m)
    before_m2 = 0.0
    for index, opening in enumerate(openings):
        path = (*here, "opening", index, "area_m2")
        area_m2 = number_in(opening, "area_m2")
        if area_m2 is None:
            continue
        if index == 0 and area_m2 != 0:
            yield Conflict(
                path=path,
                problem="the first opening is not shut",
                remedy="list openings from shut (area_m2 = 0) to off",
            )
        if index > 0 and area_m2 == 0:
            yield Conflict(
                path=path,
                problem="only the first opening is shut",
                remedy="give each later one its open area",
            )
        if area_m2 < before_m2:
            yield Conflict(
                path=path,
                problem=f"{area_m2:g} m² is less than the opening before it ({before_m2:g} m²)",
                remedy="list openings from shut to off, each at least as wide as the one before",
            )
        if area_m2 > widest_m2:
            yield Conflict(
                path=path,
                problem=f"{area_m2:g} m² is more than length_m by depth_m of this frame can open",
                remedy=f"at most {widest_m2:.2f} m²; mind square metres",
            )
        before_m2 = area_m2


def _repeated_names(here: KeyPath, items: list[Table]) -> Iterator[Conflict]:
    seen: dict[str, int] = {}
    for index, item in enumerate(items):
        name = item.get("name")
        if not isinstance(name, str):
            continue
        first = seen.setdefault(name.casefold(), index)
        if first != index:
            yield Conflict(
                path=(*here, index, "name"),
                problem=f'"{name}" is also the name of no. {first + 1}',
                remedy="give each its own name",
            )


def _is_month_day(written: str) -> bool:
    """29 February counts: the dates come round every year."""
    try:
        dt.date.fromisoformat(f"{_LEAP_YEAR}-{written}")
    except ValueError:
        return False
    return True
