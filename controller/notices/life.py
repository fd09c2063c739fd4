"""The life of a notice: raised after its hold-in, worse, cleared after its hold-out. Pure.

One notice per code, frame and subject. A condition that flickers faster than its holds
is told once and cleared once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from controller.notices.catalogue import CATALOGUE
from controller.vocabulary import Condition, NoticeEvent, Urgency

NoticeKey = tuple[str, str, str]
"""Code, frame, subject (the ``place`` of the facts, or empty)."""

_RANK = {Urgency.PAGE: 0, Urgency.DAY: 1, Urgency.NOW: 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Thread:
    """One notice from the first sign to its end."""

    since_at_s: float
    seen_at_s: float
    condition: Condition
    """As last seen."""
    told: NoticeEvent | None = None
    told_at_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class NoticeMemory:
    """All threads that are not over."""

    threads: Mapping[NoticeKey, _Thread]
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
        return memory, ()
    threads: dict[NoticeKey, _Thread] = {}
    events: list[NoticeEvent] = []
    number = memory.next_number
    for key, condition in present.items():
        thread, event = _present(memory.threads.get(key), condition, now_s, words, f"{id_prefix}-{number}")
        threads[key] = thread
        if event is not None:
            number += event.event == "raised"
            events.append(event)
    for key, thread in memory.threads.items():
        if key in present:
            continue
        if thread.told is None or now_s - thread.seen_at_s >= CATALOGUE[key[0]].hold_out_s:
            if thread.told is not None:
                events.append(replace(thread.told, event="cleared", text=words.over(thread.condition)))
        else:
            threads[key] = thread
    return NoticeMemory(threads=threads, next_number=number), tuple(events)


def _present(
    thread: _Thread | None, condition: Condition, now_s: float, words: Words, new_id: str
) -> tuple[_Thread, NoticeEvent | None]:
    """One condition that is true now."""
    entry = CATALOGUE[condition.code]
    urgency = Urgency(str(condition.facts.get("urgency", entry.urgency.value)))
    if thread is None:
        thread = _Thread(since_at_s=now_s, seen_at_s=now_s, condition=condition)
    told = thread.told
    if told is None:
        if now_s - thread.since_at_s < entry.hold_in_s:
            return replace(thread, seen_at_s=now_s, condition=condition), None
        event = _event(new_id, "raised", condition, urgency, words)
    elif _RANK[urgency] > _RANK[told.urgency]:
        event = _event(told.notice_id, "worse", condition, urgency, words)
    else:
        return replace(thread, seen_at_s=now_s, condition=condition), None
    told_at_s = now_s if told is None else thread.told_at_s
    return replace(thread, seen_at_s=now_s, condition=condition, told=event, told_at_s=told_at_s), event


def _event(notice_id: str, what: str, condition: Condition, urgency: Urgency, words: Words) -> NoticeEvent:
    return NoticeEvent(
        notice_id=notice_id,
        event=what,
        code=condition.code,
        kind=CATALOGUE[condition.code].kind,
        urgency=urgency,
        frame=condition.frame,
        text=words.raised(condition),
    )


def _key(condition: Condition) -> NoticeKey:
    return condition.code, condition.frame, str(condition.facts.get("place", ""))
