"""The life of a notice: raised after its hold-in, worse, cleared after its hold-out. Pure.

One notice per code, frame and subject. Flicker is weighed, not forgotten: while a condition is there
its charge grows with the clock, while it is away it drains four times slower, and it is told once
the charge reaches the hold-in. What keeps coming back has to stay away longer each time before it
counts as over, so that one fault never chatters.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import NamedTuple

from controller.notices.catalogue import CATALOGUE
from controller.vocabulary import Condition, NoticeEvent, Urgency

NoticeKey = tuple[str, str, str]
"""Code, frame, subject (the ``place`` of the facts, or empty)."""

DRAIN = 4.0
"""A charge drains this many times slower than it grows."""
STEP_S_MAX = 600.0
"""No single step counts for more, so that a gap between two ticks cannot charge or drain at once."""
HOLD_OUT_S_MAX = 4 * 3600.0
FORGOTTEN_S = 6 * 3600.0
"""After so long without it, a notice that comes again is a first one."""

_RANK = {Urgency.PAGE: 0, Urgency.DAY: 1, Urgency.NOW: 2}


class _Thread(NamedTuple):
    """One notice from the first sign to its end."""

    charge_s: float
    seen_at_s: float
    condition: Condition
    """As last seen."""
    hold_out_s: float = 0.0
    told: NoticeEvent | None = None
    told_at_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Past:
    """A notice that is over, remembered in case it comes back."""

    cleared_at_s: float
    hold_out_s: float


class NoticeMemory(NamedTuple):
    """All threads that are not over, and what was over lately."""

    threads: Mapping[NoticeKey, _Thread]
    past: Mapping[NoticeKey, _Past] = MappingProxyType({})
    stepped_at_s: float | None = None
    next_number: int = 1

    def open(self) -> tuple[NoticeEvent, ...]:
        """Told and not cleared, most urgent first, then oldest first."""
        told = [
            (-_RANK[thread.told.urgency], thread.told_at_s, thread.told)
            for thread in self.threads.values()
            if thread.told is not None
        ]
        return tuple(event for _, _, event in sorted(told, key=lambda each: each[:2]))


FRESH = NoticeMemory(threads={})


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """How a condition is told, and how it is told that it is over."""

    raised: Callable[[Condition], str]
    over: Callable[[Condition], str]


def step_notices(
    memory: NoticeMemory, conditions: Iterable[Condition], now_s: float, words: Words, *, id_prefix: str
) -> tuple[NoticeMemory, tuple[NoticeEvent, ...]]:
    """Take this tick's conditions; return the events that follow from them.

    ``id_prefix`` makes ids unique over restarts. An unknown code raises KeyError: that is our bug.
    """
    present = {_key(condition): condition for condition in conditions}
    if not present and not memory.threads:
        quiet = NoticeMemory(
            threads=memory.threads, past=memory.past, stepped_at_s=now_s, next_number=memory.next_number
        )
        return quiet, ()
    since_s = now_s if memory.stepped_at_s is None else memory.stepped_at_s
    dt_s = min(max(0.0, now_s - since_s), STEP_S_MAX)
    step = _Step(memory=memory, now_s=now_s, dt_s=dt_s, words=words, number=memory.next_number)
    for key, condition in present.items():
        step.present(key, condition, id_prefix)
    for key, thread in memory.threads.items():
        if key not in present:
            step.absent(key, thread)
    after = NoticeMemory(threads=step.threads, past=step.past, stepped_at_s=now_s, next_number=step.number)
    return after, tuple(step.events)


@dataclass(slots=True, kw_only=True)
class _Step:
    """One step while it is being made."""

    memory: NoticeMemory
    now_s: float
    dt_s: float
    words: Words
    number: int
    threads: dict[NoticeKey, _Thread] = field(default_factory=dict)
    past: dict[NoticeKey, _Past] = field(init=False)
    events: list[NoticeEvent] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.past = {
            key: each
            for key, each in self.memory.past.items()
            if self.now_s - each.cleared_at_s < FORGOTTEN_S
        }

    def present(self, key: NoticeKey, condition: Condition, id_prefix: str) -> None:
        """A condition that is true now."""
        before = self.memory.threads.get(key)
        thread = _Thread(
            charge_s=self.dt_s + (0.0 if before is None else before.charge_s),
            seen_at_s=self.now_s,
            condition=condition,
            hold_out_s=self._hold_out_s(key) if before is None else before.hold_out_s,
            told=None if before is None else before.told,
            told_at_s=0.0 if before is None else before.told_at_s,
        )
        entry, told = CATALOGUE[condition.code], thread.told
        asked = condition.facts.get("urgency")
        urgency = entry.urgency if asked is None else Urgency(str(asked))
        if told is None:
            if thread.charge_s >= entry.hold_in_s:
                told = self._event(f"{id_prefix}-{self.number}", "raised", condition, urgency)
                self.number += 1
                thread = thread._replace(told=told, told_at_s=self.now_s)
        elif _RANK[urgency] > _RANK[told.urgency]:
            thread = thread._replace(told=self._event(told.notice_id, "worse", condition, urgency))
        elif before is not None and before.condition.facts != condition.facts:
            thread = thread._replace(told=replace(told, text=self.words.raised(condition)))
        self.threads[key] = thread

    def absent(self, key: NoticeKey, thread: _Thread) -> None:
        """A condition that was there and is not now."""
        if thread.told is None:
            left_s = thread.charge_s - self.dt_s / DRAIN
            if left_s > 0.0:
                self.threads[key] = thread._replace(charge_s=left_s)
        elif self.now_s - thread.seen_at_s < thread.hold_out_s:
            self.threads[key] = thread
        else:
            over = self.words.over(thread.condition)
            self.events.append(replace(thread.told, event="cleared", text=over))
            self.past[key] = _Past(cleared_at_s=self.now_s, hold_out_s=thread.hold_out_s)

    def _hold_out_s(self, key: NoticeKey) -> float:
        """The catalogue's own, doubled for each time it has come back lately."""
        past = self.past.get(key)
        hold_out_s = CATALOGUE[key[0]].hold_out_s
        return hold_out_s if past is None else max(hold_out_s, min(2 * past.hold_out_s, HOLD_OUT_S_MAX))

    def _event(self, notice_id: str, what: str, condition: Condition, urgency: Urgency) -> NoticeEvent:
        event = NoticeEvent(
            notice_id=notice_id,
            event=what,
            code=condition.code,
            kind=CATALOGUE[condition.code].kind,
            urgency=urgency,
            frame=condition.frame,
            text=self.words.raised(condition),
        )
        self.events.append(event)
        return event


def _key(condition: Condition) -> NoticeKey:
    return condition.code, condition.frame, str(condition.facts.get("place", ""))
