"""The listed few settings that a command may change, laid over the settings file. Pure.

A frame's ``keep_above_c``, and its opening and coverings as a person reported them. Whatever does
not fit the settings of the day is left aside, never forced: an overlay can loosen no limit.
"""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from controller.config.records import FrameSettings, Settings
from controller.config.schema import KEEP_ABOVE_DEFAULT_C, KEEP_ABOVE_HIGHEST_C, KEEP_ABOVE_LOWEST_C
from controller.vocabulary import FrameName

SCHEMA = 1
_LARGEST_INTEGER = 10**9


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameOverlay:
    """What was changed for one frame; None means as in the settings file."""

    keep_above_c: float | None = None
    opening: str | None = None
    coverings: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlay:
    """What was changed, by frame; frames that the settings no longer hold are kept for their return."""

    frames: Mapping[FrameName, FrameOverlay] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reported:
    """What holds for one frame, overlay or not."""

    keep_above_c: float
    opening: str
    coverings: tuple[str, ...]


class OverlayUnreadable(ValueError):  # noqa: N818  # said of the file
    """The stored overlay cannot be used as a whole; the text says why."""


def reported(overlay: Overlay, frame: FrameSettings) -> Reported:
    """What holds for ``frame``: the overlay where it fits, else the settings; shut and bare unless told."""
    told = overlay.frames.get(frame.name, FrameOverlay())
    names = [opening.name for opening in frame.openings]
    keep_above_c = KEEP_ABOVE_DEFAULT_C if frame.heat is None else frame.heat.keep_above_c
    if told.keep_above_c is not None and keep_above_problem(frame, told.keep_above_c) is None:
        keep_above_c = told.keep_above_c
    return Reported(
        keep_above_c=keep_above_c,
        opening=told.opening if told.opening in names else names[0],
        coverings=() if _covering_problem(frame, told.coverings) else told.coverings or (),
    )


def misfits(overlay: Overlay, settings: Settings) -> tuple[str, ...]:
    """What of the overlay does not fit these settings, in words; it is not used."""
    words: list[str] = []
    for name, told in overlay.frames.items():
        frame = settings.frames.get(name)
        if frame is None:
            words.append(f"{name}: changes are kept, but the settings have no such frame")
            continue
        if told.keep_above_c is not None:
            words.append(keep_above_problem(frame, told.keep_above_c) or "")
        if told.opening is not None and told.opening not in [each.name for each in frame.openings]:
            words.append(f"{name}: has no opening {told.opening!r} any more; taken as shut")
        words.append(_covering_problem(frame, told.coverings) or "")
    return tuple(word for word in words if word)


def keep_above_problem(frame: FrameSettings, keep_above_c: float) -> str | None:
    """Why ``keep_above_c`` cannot hold for ``frame``, by the bounds of the settings file; None if it can."""
    heat = frame.heat
    if heat is None:
        return f"{frame.name}: has no heat, so keep_above_c cannot be changed"
    if not KEEP_ABOVE_LOWEST_C <= keep_above_c <= KEEP_ABOVE_HIGHEST_C:
        return (
            f"{frame.name}: keep_above_c cannot be {keep_above_c:g}; "
            f"it lies between {KEEP_ABOVE_LOWEST_C:g} and {KEEP_ABOVE_HIGHEST_C:g} °C"
        )
    off_c = keep_above_c + heat.leaf_allowance_k + heat.differential_k
    if off_c >= heat.air_max_c:
        return (
            f"{frame.name}: keep_above_c {keep_above_c:g} + leaf_allowance_k + differential_k "
            f"is {off_c:g} °C, not below air_max_c ({heat.air_max_c:g} °C)"
        )
    return None


def apply_overlay(settings: Settings, overlay: Overlay) -> Settings:
    """The settings with each fitting ``keep_above_c`` of the overlay in place."""
    frames = {}
    for name, frame in settings.frames.items():
        heat = frame.heat
        if heat is not None:
            heat = dataclasses.replace(heat, keep_above_c=reported(overlay, frame).keep_above_c)
        frames[name] = dataclasses.replace(frame, heat=heat)
    return dataclasses.replace(settings, frames=frames)


def overlay_from(settings: Settings, told: Mapping[FrameName, Reported], before: Overlay) -> Overlay:
    """The overlay that makes ``told`` hold; what equals the settings file is left to the file."""
    frames = {name: kept for name, kept in before.frames.items() if name not in settings.frames}
    for name, state in told.items():
        heat = settings.frames[name].heat
        as_in_file = heat is None or heat.keep_above_c == state.keep_above_c
        frames[name] = FrameOverlay(
            keep_above_c=None if as_in_file else state.keep_above_c,
            opening=state.opening,
            coverings=state.coverings,
        )
    return Overlay(frames=frames)


def encode_overlay(overlay: Overlay) -> bytes:
    """The stored form."""
    frames = {
        name: {key: found for key, found in dataclasses.asdict(told).items() if found is not None}
        for name, told in overlay.frames.items()
    }
    return f"{json.dumps({'schema': SCHEMA, 'frames': frames}, indent=1, sort_keys=True)}\n".encode()


def decode_overlay(data: bytes) -> tuple[Overlay, tuple[str, ...]]:
    """The overlay and what was wrong with single entries; OverlayUnreadable where nothing can be used."""
    try:
        document = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise OverlayUnreadable("it is not JSON") from error
    if not isinstance(document, dict) or document.get("schema") != SCHEMA:
        raise OverlayUnreadable(f"its schema is not {SCHEMA}")
    tables = document.get("frames")
    if not isinstance(tables, dict):
        raise OverlayUnreadable("it has no table of frames")
    words: list[str] = []
    frames = {FrameName(name): _decode_frame(name, table, words) for name, table in tables.items()}
    return Overlay(frames=frames), tuple(words)


def _decode_frame(name: str, table: object, words: list[str]) -> FrameOverlay:
    """Sound entries of one frame; each other one is said and left out."""
    found: dict[str, Any] = dict(table) if isinstance(table, dict) else {"table": table}
    keep_above_c, opening = found.pop("keep_above_c", None), found.pop("opening", None)
    coverings = found.pop("coverings", None)
    if keep_above_c is not None and not _is_number(keep_above_c):
        words.append(f"{name}: keep_above_c is not a number")
        keep_above_c = None
    if opening is not None and not isinstance(opening, str):
        words.append(f"{name}: opening is not a name")
        opening = None
    if coverings is not None and not (
        isinstance(coverings, list) and all(isinstance(each, str) for each in coverings)
    ):
        words.append(f"{name}: coverings are not a list of names")
        coverings = None
    words += [f"{name}: {key} is not known" for key in found]
    return FrameOverlay(
        keep_above_c=None if keep_above_c is None else float(keep_above_c),
        opening=opening,
        coverings=None if coverings is None else tuple(coverings),
    )


def _is_number(found: object) -> bool:
    """A finite number that a float can hold; true and false are none."""
    if isinstance(found, bool) or not isinstance(found, int | float):
        return False
    return math.isfinite(found) if isinstance(found, float) else abs(found) < _LARGEST_INTEGER


def _covering_problem(frame: FrameSettings, coverings: tuple[str, ...] | None) -> str | None:
    known = [covering.name for covering in frame.coverings]
    strange = [name for name in coverings or () if name not in known]
    if strange:
        return f"{frame.name}: has no covering {', '.join(map(repr, strange))} any more; taken as bare"
    return None
