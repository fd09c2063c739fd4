"""Who stands in for the gardener: when they are there, what they do by habit and what they do when told.

Pure. Habits go by the light and the thermometer, since nothing advises on covers yet. A push is acted on
ten minutes after it came, or as soon as the grower is there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, time
from typing import Protocol

from controller.rehearse.sunpath import Direction
from controller.vocabulary import Kind, NoticeEvent, Urgency

LOOK_EVERY_S = 1200.0
ACT_AFTER_S = 600.0
"""From a push to the deed, for somebody who is there."""
OPEN_WIDER_C = 16.0
OPEN_WIDE_C = 22.0
CLOSE_NARROWER_C = 9.0
FIRST_LIGHT_FRAC = 0.05
LOW_SUN_FRAC = 0.15
"""Sines of 3° and 9°: when the day begins and when it is time to shut and keep its warmth."""
UNCOVER_ABOVE_C = 5.0
"""Colder outside than this, the covers are never taken off altogether."""
FROST_C = 0.0
"""Colder outside than this, covers are opened a crack at most, and only when it is hot inside."""
MATS_BELOW_C = 2.0
"""Colder outside than this at nightfall, whatever there is to lay over the covers is laid."""
MATS_OFF_ABOVE_C = -2.0
"""In daylight coverings come off above this: plants need the light."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What a person sees standing at the frame."""

    local: datetime
    sun: Direction
    """Where the sun stands over the place that the weather comes from."""
    air_c: float
    outside_c: float
    opening: int
    """Index of the present opening, 0 is shut."""
    openings: int
    """How many there are; the last is the widest."""
    laid: tuple[str, ...] = ()
    """What lies over the covers."""
    coverings: tuple[str, ...] = ()
    """What there is to lay over them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """How a grower leaves a frame."""

    opening: int
    laid: tuple[str, ...]


class Grower(Protocol):
    """One person's hours and habits."""

    def is_there(self, at: time) -> bool:
        """Whether this person can get to the frame at this local time."""

    def choose(self, look: Look) -> Stand:
        """What to leave behind after a look that nothing asked for."""


class AbsentGrower:
    """Never comes."""

    def is_there(self, at: time) -> bool:  # noqa: ARG002  # as the others
        """At no time."""
        return False

    def choose(self, look: Look) -> Stand:
        """Whatever it was."""
        return Stand(opening=look.opening, laid=look.laid)


class AttentiveGrower:
    """At home from seven to ten at night: looks every twenty minutes, and shuts when the sun gets low."""

    here_from, here_until = time(7, 0), time(22, 0)

    def is_there(self, at: time) -> bool:
        """From seven in the morning to ten at night."""
        return self.here_from <= at < self.here_until

    def choose(self, look: Look) -> Stand:
        """Wider when warm, narrower when cool, shut and covered from the low sun of the afternoon on."""
        if look.sun.west_frac > 0.0 and look.sun.up_frac < LOW_SUN_FRAC:
            return _for_the_night(look)
        if look.sun.up_frac < FIRST_LIGHT_FRAC:
            return Stand(opening=0, laid=look.laid)
        laid = look.laid if look.outside_c <= MATS_OFF_ABOVE_C and look.sun.up_frac < LOW_SUN_FRAC else ()
        return Stand(opening=self._by_day(look), laid=laid)

    def _by_day(self, look: Look) -> int:
        widest = look.openings - 1
        if look.outside_c < FROST_C:
            widest = min(widest, 1)
        elif look.outside_c < UNCOVER_ABOVE_C:
            widest = max(0, widest - 1)
        if look.air_c >= OPEN_WIDE_C:
            return min(look.opening + 2, widest)
        if look.air_c >= OPEN_WIDER_C and look.outside_c >= FROST_C:
            return min(look.opening + 1, widest)
        if look.air_c <= CLOSE_NARROWER_C:
            return max(look.opening - 1, 0)
        return min(look.opening, widest)


class BusyGrower:
    """At work: props the covers one step before leaving on a morning without frost, shuts them at six."""

    leaves = time(7, 0)
    here = ((time(6, 30), time(7, 30)), (time(18, 0), time(22, 0)))

    def is_there(self, at: time) -> bool:
        """Half past six to half past seven, and six to ten in the evening."""
        return any(begins <= at < ends for begins, ends in self.here)

    def choose(self, look: Look) -> Stand:
        """One step open for the whole day, by habit; shut and covered from the evening on."""
        now = look.local.time()
        if now >= self.here[1][0]:
            return _for_the_night(look)
        if now < self.leaves:
            return Stand(opening=0, laid=look.laid)
        ajar = 1 if look.outside_c > 0.0 and look.openings > 1 else 0
        return Stand(opening=ajar, laid=())


def asked_for(notice: NoticeEvent, look: Look, openings: Mapping[str, int]) -> Stand:
    """What a person leaves behind who does what a notice says; ``openings`` are indices by name.

    A notice that asks for nothing in particular leaves things as they are, but for frost: whoever hears
    of it shuts the covers and lays over them what there is.
    """
    ask = notice.ask
    if ask is not None:
        return Stand(
            opening=look.opening if ask.opening is None else openings.get(ask.opening, look.opening),
            laid=look.laid
            if ask.laid is None
            else tuple(name for name in look.coverings if name in ask.laid),
        )
    if notice.kind is Kind.FROST and notice.urgency is not Urgency.PAGE:
        return Stand(opening=0, laid=look.coverings)
    return Stand(opening=look.opening, laid=look.laid)


def _for_the_night(look: Look) -> Stand:
    """Shut; coverings on below the line, and what lies there stays."""
    return Stand(opening=0, laid=look.coverings if look.outside_c < MATS_BELOW_C else look.laid)


GROWERS: Mapping[str, Grower] = {
    "attentive": AttentiveGrower(),
    "busy": BusyGrower(),
    "absent": AbsentGrower(),
}
