"""Which notices go out to people, and when. Pure.

``now`` goes out at once, at any hour; ``day`` waits for waking hours and is dropped when what it was about
is over by then; ``page`` never goes out. Each step in a notice's life that tells something new goes out:
raised, worse, reminded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, time

from controller.vocabulary import NoticeEvent, Urgency

WAKING_FROM, WAKING_UNTIL = time(7, 0), time(22, 0)
"""Hours in which a notice of the day may disturb."""
TELLING = frozenset({"raised", "worse", "reminded"})


@dataclass(slots=True)
class DeliveryPolicy:
    """Holds what waits for the morning; one for all people of a site."""

    _waiting: dict[str, NoticeEvent] = field(default_factory=dict)

    @property
    def has_waiting(self) -> bool:
        """Whether something waits, so that ``due`` is worth a call without news."""
        return bool(self._waiting)

    def due(self, events: Sequence[NoticeEvent], local: datetime) -> tuple[NoticeEvent, ...]:
        """What goes out at this local time, as events ``pushed``, after ``events`` have happened."""
        at_once = []
        for event in events:
            if event.event == "cleared":
                self._waiting.pop(event.notice_id, None)
            elif event.event in TELLING and event.urgency is not Urgency.PAGE:
                if event.urgency is Urgency.NOW:
                    self._waiting.pop(event.notice_id, None)
                    at_once.append(event)
                else:
                    self._waiting[event.notice_id] = event
        if self._waiting and WAKING_FROM <= local.time() < WAKING_UNTIL:
            at_once += self._waiting.values()
            self._waiting.clear()
        return tuple(replace(event, event="pushed") for event in at_once)
