"""Pure: one power budget shared by the frames of a site: coldest first, and each gets a turn."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from controller.vocabulary import FrameName

TURN_S = 900.0
"""A frame that got power keeps it this long before one that waits may take it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asking:
    """One frame that the judge has allowed to heat in this tick."""

    frame: FrameName
    power_w: float
    coldest_c: float | None
    """``None`` counts as coldest: what is not known may be the worst."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Turns:
    """Who holds power since when, and who has had a turn in this round."""

    held_since_s: Mapping[FrameName, float] = field(default_factory=dict)
    served: frozenset[FrameName] = frozenset()


def share_power(
    turns: Turns, now_s: float, asking: Iterable[Asking], room_w: float
) -> tuple[Turns, frozenset[FrameName]]:
    """Who may heat now; the powers of all who may never add up to more than ``room_w``.

    A frame that holds power keeps it for its turn as long as it asks, then steps back behind
    those who have not had one in this round, coldest first.
    """
    frames = sorted(asking, key=_coldest_first)
    if sum(frame.power_w for frame in frames) <= room_w:
        everyone = frozenset(frame.frame for frame in frames)
        return Turns(held_since_s={name: turns.held_since_s.get(name, now_s) for name in everyone}), everyone
    holding = {
        frame.frame: turns.held_since_s[frame.frame]
        for frame in frames
        if now_s - turns.held_since_s.get(frame.frame, now_s - TURN_S) < TURN_S
    }
    served = turns.served | (turns.held_since_s.keys() - holding.keys())
    if all(frame.frame in served for frame in frames):
        served = frozenset()
    holders = sorted(
        (frame for frame in frames if frame.frame in holding), key=lambda frame: holding[frame.frame]
    )
    waiting = [frame for frame in frames if frame.frame not in holding and frame.frame not in served]
    after = [frame for frame in frames if frame.frame not in holding and frame.frame in served]
    granted: dict[FrameName, float] = {}
    for frame in (*holders, *waiting, *after):
        if frame.power_w <= room_w:
            room_w -= frame.power_w
            granted[frame.frame] = holding.get(frame.frame, now_s)
    return Turns(held_since_s=granted, served=served), frozenset(granted)


def _coldest_first(frame: Asking) -> tuple[float, str]:
    """Sorts the unknown first, then the coldest; the name breaks ties the same way each time."""
    return (-math.inf if frame.coldest_c is None else frame.coldest_c, frame.frame)
