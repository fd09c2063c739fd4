"""One grower's rounds: when they come, what they do, and what they say that they did.

Every draw comes from the seed. A slip is a deed that is reported and not done.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from random import Random

from controller.rehearse.grower import ACT_AFTER_S, LOOK_EVERY_S, Grower, Look, Stand, asked_for
from controller.vocabulary import FrameName, Kind, NoticeEvent

_ASKS_OF_COVERS = frozenset({Kind.OPEN, Kind.CLOSE, Kind.FROST})


@dataclass(frozen=True, slots=True, kw_only=True)
class Deed:
    """What somebody reports after having been at one frame."""

    frame: FrameName
    stand: Stand
    """As it is reported."""
    done: bool
    """False for a slip: reported only."""


@dataclass(slots=True, kw_only=True)
class Tending:
    """One grower of one site."""

    grower: Grower
    slip_frac: float
    """Share of deeds that are reported and not done, 0 to 1."""
    draws: Random
    next_look_s: float = 0.0
    _asked: dict[tuple[FrameName, Kind], tuple[float, NoticeEvent]] = field(default_factory=dict)
    """What a push asked for and when it will be done; the newest of a kind counts."""

    def hear(self, told: Sequence[NoticeEvent], elapsed_s: float) -> None:
        """Take pushes in, and what is over; those that covers can do nothing about are only read."""
        for notice in told:
            where = notice.frame, notice.kind
            if notice.event == "cleared":
                if where in self._asked and self._asked[where][1].notice_id == notice.notice_id:
                    del self._asked[where]
            elif notice.frame and notice.kind in _ASKS_OF_COVERS:
                self._asked[where] = (elapsed_s + ACT_AFTER_S, notice)

    def is_due(self, elapsed_s: float) -> bool:
        """Whether a round may be due, told cheaply: most instants have none."""
        if elapsed_s >= self.next_look_s:
            return True
        return bool(self._asked) and any(at_s <= elapsed_s for at_s, _ in self._asked.values())

    def round(
        self,
        elapsed_s: float,
        local: datetime,
        look_at: Callable[[FrameName], Look],
        openings: Mapping[FrameName, Mapping[str, int]],
    ) -> list[Deed]:
        """What this grower does and reports now, one deed at most for each frame; none when away."""
        looks = elapsed_s >= self.next_look_s
        if looks:
            self.next_look_s += LOOK_EVERY_S
        if not self.grower.is_there(local.time()):
            return []
        deeds = []
        for name, by_name in openings.items():
            asked = self._take_asked(name, elapsed_s)
            if not (asked or looks):
                continue
            look = look_at(name)
            stand = asked_for(asked, look, by_name) if asked else self.grower.choose(look)
            if stand != Stand(opening=look.opening, laid=look.laid):
                slips = self.slip_frac > 0.0 and self.draws.random() < self.slip_frac
                deeds.append(Deed(frame=name, stand=stand, done=not slips))
        return deeds

    def _take_asked(self, frame: FrameName, elapsed_s: float) -> NoticeEvent | None:
        """The newest ask for this frame whose time has come; all such are done with then."""
        due = [
            (at_s, kind)
            for (asked_frame, kind), (at_s, _) in self._asked.items()
            if asked_frame == frame and at_s <= elapsed_s
        ]
        newest = None
        for _, kind in sorted(due):
            newest = self._asked.pop((frame, kind))[1]
        return newest
