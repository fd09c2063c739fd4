"""A notice's life: held in, told once, made worse, cleared once."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.notices import life
from controller.notices.catalogue import CATALOGUE
from controller.notices.life import FRESH, NoticeMemory, Words, step_notices
from controller.vocabulary import Condition, FrameName, NoticeEvent

SOUTH = FrameName("south")
PROBE = Condition(code="probe_lost", frame=SOUTH, facts={"place": "air"})
STUCK = Condition(code="below_keep", frame=SOUTH, facts={"n": 1.0})


WORDS = Words(
    raised=lambda condition: f"{condition.code} {dict(condition.facts)}",
    over=lambda condition: f"over {condition.code}",
)


def step(
    memory: NoticeMemory, conditions: list[Condition], now_s: float
) -> tuple[NoticeMemory, tuple[NoticeEvent, ...]]:
    return step_notices(memory, conditions, now_s, WORDS, id_prefix="t")


def test_a_condition_is_told_only_after_its_hold_in() -> None:
    hold_in_s = CATALOGUE["below_keep"].hold_in_s
    memory, events = step(FRESH, [STUCK], 0.0)
    assert events == ()
    memory, events = step(memory, [STUCK], hold_in_s - 1)
    assert events == ()
    memory, events = step(memory, [STUCK], hold_in_s)
    assert [event.event for event in events] == ["raised"]
    memory, events = step(memory, [STUCK], hold_in_s + 10)
    assert events == ()
    assert [event.code for event in memory.open()] == ["below_keep"]


def test_a_condition_that_passes_before_its_hold_in_was_never_there() -> None:
    memory, _ = step(FRESH, [STUCK], 0.0)
    memory, _ = step(memory, [STUCK], 10.0)
    memory, events = step(memory, [], 60.0)
    assert (events, memory.threads) == ((), {})


def test_it_is_cleared_once_after_its_hold_out_under_the_same_id() -> None:
    entry = CATALOGUE["below_keep"]
    memory, _ = step(FRESH, [STUCK], 0.0)
    memory, raised = step(memory, [STUCK], entry.hold_in_s)
    memory, events = step(memory, [], entry.hold_in_s + entry.hold_out_s - 1)
    assert events == ()
    memory, events = step(memory, [], entry.hold_in_s + entry.hold_out_s)
    assert [(event.event, event.notice_id) for event in events] == [("cleared", raised[0].notice_id)]
    assert events[0].text == "over below_keep", "what is over no longer tells anybody what to do"
    assert memory.open() == ()


def test_rising_urgency_is_told_as_worse_and_falling_is_not_told() -> None:
    mild = Condition(code="probe_lost", frame=SOUTH, facts={"place": "air", "urgency": "day"})
    grave = replace(mild, facts={"place": "air", "urgency": "now"})
    memory, _ = step(FRESH, [mild], 0.0)
    memory, events = step(memory, [mild], 60.0)
    assert [event.event for event in events] == ["raised"]
    memory, events = step(memory, [grave], 70.0)
    assert [(event.event, event.urgency.value) for event in events] == [("worse", "now")]
    memory, events = step(memory, [mild], 80.0)
    assert events == ()


def test_two_places_are_two_notices_and_the_most_urgent_stands_first() -> None:
    day = Condition(code="probe_lost", frame=SOUTH, facts={"place": "bed", "urgency": "day"})
    now = Condition(code="probe_lost", frame=SOUTH, facts={"place": "air", "urgency": "now"})
    memory, _ = step(FRESH, [day, now], 0.0)
    memory, events = step(memory, [day, now], 60.0)
    assert len({event.notice_id for event in events}) == 2
    assert [event.urgency.value for event in memory.open()] == ["now", "day"]


@given(st.lists(st.tuples(st.booleans(), st.floats(1.0, 900.0)), min_size=40, max_size=120))
def test_raised_and_cleared_alternate_and_never_outrun_the_holds(spells: list[tuple[bool, float]]) -> None:
    """N16, I6: whatever flaps, a raise and its clear alternate; each clear needs its own longer absence."""
    stop = Condition(code="stop_pressed", frame=SOUTH)
    hold_out_s = CATALOGUE["stop_pressed"].hold_out_s
    memory, told, now_s, last_seen_s = FRESH, [], 0.0, 0.0
    for there, for_s in spells:
        memory, events = step(memory, [stop] if there else [], now_s)
        last_seen_s = now_s if there else last_seen_s
        told += [(event.event, now_s, last_seen_s) for event in events]
        now_s += for_s
    kinds = [kind for kind, _, _ in told]
    assert kinds == ["raised", "cleared"] * (len(kinds) // 2) + ["raised"] * (len(kinds) % 2)
    absences_s = [at_s - seen_s for kind, at_s, seen_s in told if kind == "cleared"]
    assert all(absence_s >= hold_out_s * 2**index for index, absence_s in enumerate(absences_s[:4]))


def test_what_keeps_coming_back_is_told_less_and_less() -> None:
    """A probe away for two minutes in every nine: no chatter through a night."""
    events = []
    memory = FRESH
    for minute in range(12 * 60):
        memory, now = step(memory, [PROBE] if minute % 9 < 2 else [], minute * 60.0)
        events += [event.event for event in now]
    assert events.count("raised") <= 4
    assert events.count("cleared") <= 4


def test_flicker_is_weighed_and_not_forgotten() -> None:
    """Ten seconds there and twenty away, for long enough, is told; one spike an hour is not."""
    memory, told = FRESH, []
    for tick in range(360):
        memory, events = step(memory, [PROBE] if tick % 3 == 0 else [], tick * 10.0)
        told += events
    assert [event.event for event in told] == ["raised"]
    memory, told = FRESH, []
    for tick in range(3600):
        memory, events = step(memory, [PROBE] if tick % 360 == 0 else [], tick * 10.0)
        told += events
    assert told == []


def test_after_a_quiet_time_it_is_a_first_one_again() -> None:
    stop = Condition(code="stop_pressed", frame=SOUTH)
    memory, at_s = FRESH, 0.0
    for _ in range(6):
        memory, _ = step(memory, [stop], at_s)
        memory, events = step(memory, [], at_s + 6 * 3600.0)
        assert [event.event for event in events] == ["cleared"]
        at_s += 13 * 3600.0
    memory, _ = step(memory, [stop], at_s)
    memory, events = step(memory, [], at_s + CATALOGUE["stop_pressed"].hold_out_s)
    assert [event.event for event in events] == ["cleared"]


def test_an_open_notice_follows_its_facts_without_an_event() -> None:
    memory, _ = step(FRESH, [STUCK], 0.0)
    memory, _ = step(memory, [STUCK], CATALOGUE["below_keep"].hold_in_s)
    memory, events = step(memory, [replace(STUCK, facts={"n": 2.0})], CATALOGUE["below_keep"].hold_in_s + 10)
    assert events == ()
    assert "2.0" in memory.open()[0].text


def test_an_unknown_code_is_our_bug_and_is_not_swallowed() -> None:
    with pytest.raises(KeyError):
        step(FRESH, [Condition(code="no_such")], 0.0)


def test_of_equal_urgency_the_oldest_stands_first() -> None:
    old = Condition(code="probe_lost", frame=SOUTH, facts={"place": "bed"})
    new = Condition(code="probe_lost", frame=SOUTH, facts={"place": "air"})
    memory, _ = step(FRESH, [old], 0.0)
    memory, _ = step(memory, [old], 60.0)
    memory, _ = step(memory, [new, old], 100.0)
    memory, _ = step(memory, [new, old], 160.0)
    assert ["bed" in event.text for event in memory.open()] == [True, False]


def test_life_has_no_more_memory_than_open_threads() -> None:
    memory = life.FRESH
    for index in range(500):
        memory, _ = step(memory, [STUCK] if index % 2 else [], index * 10_000.0)
    assert len(memory.threads) <= 1
