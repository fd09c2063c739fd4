"""The judge's small parts one by one: exact records, exact bounds."""

from __future__ import annotations

import math

import pytest

from controller.heat.contacts import Contacts
from controller.heat.interlock import judge
from controller.heat.memory import JudgeMemory, fresh_memory, note_off, note_on
from controller.heat.relays import PinStuck
from controller.heat.running import (
    Past,
    Running,
    fresh_running,
    heated_s,
    may_heat_blind,
    may_switch,
    switch_off,
    switch_on,
    unknown_past,
)
from controller.heat.sight import Sight, look
from controller.heat.watch import Watch, fresh_watch, look_out, must_wait
from controller.vocabulary import HeatReason
from tests.safety.lab import NORTH, SOUTH, FakePin, GateLab, evidence, limits, lost

NO_PAST = Past(switch_ons=(), heated_at_s=None)
FRESH = JudgeMemory(
    seen_at_s=5.0,
    good_cycles=0,
    rest_owed=False,
    heated_at_s=5.0,
    air_hot=False,
    root_hot=False,
    cable_hot=False,
    root_seen_at_s=5.0,
    cable_seen_at_s=5.0,
    running=Running(on_since_s=None, off_since_s=5.0, switch_ons=(), runs=((-1075.0, 5.0),)),
    watch=Watch(
        live_since_s=None,
        open_since_s=None,
        answered_at_s=5.0,
        tries=0,
        tried_at_s=5.0,
        supply_lost=False,
    ),
)


def test_a_fresh_memory_is_this_and_no_more() -> None:
    """Every field of a start, so that none is forgotten."""
    assert fresh_memory(5.0) == FRESH


def test_a_known_past_goes_on_counting() -> None:
    """I10: its last six switch-ons, and when heat was last on; without one, hot counts as heated."""
    past = Past(switch_ons=(1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0), heated_at_s=8.0)
    memory = fresh_memory(9.0, past)
    assert memory.running.switch_ons == (2.0, 3.0, 4.0, 5.0, 6.0, 7.0)
    assert memory.heated_at_s == 8.0
    assert fresh_memory(9.0, Past(switch_ons=(), heated_at_s=None)).heated_at_s is None
    assert unknown_past(9.0) == Past(switch_ons=(9.0, 9.0, 9.0), heated_at_s=9.0)


def test_a_sound_tick_in_order_changes_this_and_no_more() -> None:
    """The whole record after one good tick."""
    after, _ = judge(limits(), fresh_memory(5.0), evidence(15.0), relay_on=False, locked=False)
    assert after == JudgeMemory(
        seen_at_s=15.0,
        good_cycles=1,
        rest_owed=False,
        heated_at_s=5.0,
        air_hot=False,
        root_hot=False,
        cable_hot=False,
        root_seen_at_s=15.0,
        cable_seen_at_s=5.0,
        running=FRESH.running,
        watch=FRESH.watch,
    )


@pytest.mark.parametrize("hot", [True, False])
def test_a_switching_is_noted_at_the_tick_that_was_judged_and_changes_nothing_else(hot: bool) -> None:  # noqa: FBT001
    """On and off alike; what is hot stays hot."""
    memory = JudgeMemory(
        seen_at_s=500.0,
        good_cycles=3,
        rest_owed=hot,
        heated_at_s=7.0,
        air_hot=hot,
        root_hot=hot,
        cable_hot=hot,
        root_seen_at_s=3.0,
        cable_seen_at_s=4.0,
        running=FRESH.running,
        watch=FRESH.watch,
    )
    for note, change in ((note_on, switch_on), (note_off, switch_off)):
        assert note(memory) == JudgeMemory(
            seen_at_s=500.0,
            good_cycles=3,
            rest_owed=hot,
            heated_at_s=500.0,
            air_hot=hot,
            root_hot=hot,
            cable_hot=hot,
            root_seen_at_s=3.0,
            cable_seen_at_s=4.0,
            running=change(FRESH.running, 500.0),
            watch=FRESH.watch,
        )


# Running.


def test_runs_and_rests_follow_one_another() -> None:
    """Each record whole: start, switch-on, switch-off, and a rest begun anew."""
    fresh = fresh_running(2000.0, NO_PAST)
    assert fresh == Running(on_since_s=None, off_since_s=2000.0, switch_ons=(), runs=((920.0, 2000.0),))
    on = switch_on(fresh, 2200.0)
    assert on == Running(on_since_s=2200.0, off_since_s=2000.0, switch_ons=(2200.0,), runs=((920.0, 2000.0),))
    off = switch_off(on, 2500.0)
    assert off == Running(
        on_since_s=None, off_since_s=2500.0, switch_ons=(2200.0,), runs=((920.0, 2000.0), (2200.0, 2500.0))
    )
    assert switch_off(off, 2600.0) == Running(
        on_since_s=None, off_since_s=2600.0, switch_ons=(2200.0,), runs=((920.0, 2000.0), (2200.0, 2500.0))
    )


def test_only_runs_that_reach_into_the_hour_and_six_switchings_are_kept() -> None:
    """A run that ended an hour ago to the second is over."""
    fresh = fresh_running(0.0, NO_PAST)
    assert switch_off(fresh, 3599.9).runs == fresh.runs
    assert switch_off(fresh, 3600.0).runs == ()
    assert switch_on(fresh, 3599.9).runs == fresh.runs
    assert switch_on(fresh, 3600.0).runs == ()
    running = fresh
    for at_s in range(8):
        running = switch_on(running, float(at_s))
    assert running.switch_ons == (2.0, 3.0, 4.0, 5.0, 6.0, 7.0)


def test_a_seventh_switching_waits_for_the_first_to_be_an_hour_old() -> None:
    """CYC_H, to the second."""
    five = Running(on_since_s=None, off_since_s=0.0, switch_ons=(1.0, 2.0, 3.0, 4.0, 5.0), runs=())
    assert may_switch(five, 6.0)
    six = switch_on(five, 6.0)
    assert not may_switch(six, 3600.9)
    assert may_switch(six, 3601.0)


def test_heat_within_a_span_counts_each_run_as_far_as_it_reaches_in() -> None:
    """Two runs, one of them half outside, one wholly, and the present one."""
    running = Running(
        on_since_s=900.0, off_since_s=0.0, switch_ons=(), runs=((0.0, 100.0), (200.0, 300.0), (400.0, 600.0))
    )
    assert heated_s(running, 250.0, 1000.0) == 50.0 + 200.0 + 100.0
    assert heated_s(running, 950.0, 1000.0) == 50.0
    resting = Running(on_since_s=None, off_since_s=600.0, switch_ons=(), runs=running.runs)
    assert heated_s(resting, 0.0, 1000.0) == 400.0
    assert heated_s(resting, 100.0, 1000.0) == 300.0


def test_the_blind_share_is_taken_to_the_second() -> None:
    """1080 s of the hour that ends when the heat in question does."""
    running = Running(on_since_s=None, off_since_s=0.0, switch_ons=(), runs=((10_000.0, 10_900.0),))
    assert may_heat_blind(running, 11_000.0, 180.0)
    assert not may_heat_blind(running, 11_000.0, 180.1)


# Watch.


def test_the_first_tries_wait_one_tick_and_the_last_an_hour() -> None:
    """No answer: the give-up tick itself, then the rest alone; after three, an hour."""
    assert not must_wait(fresh_watch(5.0), 5.0)
    for tries, wait_s in ((1, 0.0), (2, 0.0), (3, 3600.0)):
        watch = Watch(
            live_since_s=None,
            open_since_s=None,
            answered_at_s=0.0,
            tries=tries,
            tried_at_s=100.0,
            supply_lost=False,
        )
        assert must_wait(watch, 100.0 + wait_s)
        assert not must_wait(watch, 100.0 + wait_s + 0.1)


def test_what_the_inputs_add_is_this_and_no_more() -> None:
    """The whole record: everything wrong at once, then everything in order."""
    wrong = evidence(50.0, feedback_live=True, cut_out_closed=False, supply_present=False)
    watch = look_out(limits(), fresh_watch(5.0), wrong, relay_on_since_s=None)
    assert watch == Watch(
        live_since_s=50.0, open_since_s=50.0, answered_at_s=5.0, tries=0, tried_at_s=5.0, supply_lost=True
    )
    right = evidence(60.0, feedback_live=False, cut_out_closed=True, supply_present=True)
    assert look_out(limits(), watch, right, relay_on_since_s=None) == Watch(
        live_since_s=None, open_since_s=None, answered_at_s=5.0, tries=0, tried_at_s=5.0, supply_lost=False
    )


# Sight.


def test_what_is_seen_is_this_and_no_more() -> None:
    """The warmest of each kind, and whether all that is fitted is trusted, as plain bools."""
    cable = limits(cable_max_c=60.0)
    whole = Sight(air_c=2.0, root_c=5.0, cable_c=20.0, guard_seen=True, whole=True)
    assert look(cable, evidence(9.0, air=(1.0, 2.0), root=(4.0, 5.0), guard=3.0, cable=20.0)) == whole
    assert look(cable, evidence(9.0, root=(4.0,), guard=6.0)) == Sight(
        air_c=1.0, root_c=6.0, cable_c=None, guard_seen=True, whole=False
    )
    assert look(limits(), evidence(9.0, air=(1.0, None), guard=lost(9.0), cable=20.0)) == Sight(
        air_c=1.0, root_c=4.0, cable_c=None, guard_seen=False, whole=False
    )
    assert look(limits(), evidence(9.0, air=(), root=())) == Sight(
        air_c=None, root_c=None, cable_c=None, guard_seen=False, whole=False
    )


def test_an_endless_now_is_unsound_even_where_nothing_is_read() -> None:
    """Without readings no age gives it away."""
    for now_s, sound in ((math.inf, False), (math.nan, False), (-0.1, False), (0.0, True), (1e9, True)):
        assert (look(limits(), evidence(now_s, air=(), root=())) is not None) is sound


# Contacts.


def test_contacts_start_off_with_nothing_wrong_and_an_end_not_in_sight() -> None:
    """Every public word of a start, with and without an isolating relay."""
    for isolating in (None, FakePin("isolating")):
        contacts = Contacts(FakePin(), isolating)
        assert contacts.ended is False
        assert contacts.stuck is False
        assert (contacts.off_fault, contacts.on_fault) == ("", "")
        assert contacts.isolated() is (isolating is not None)
        assert contacts.on()
        assert (contacts.off_fault, contacts.on_fault) == ("", "")
        contacts.off()
        assert contacts.stuck is False
        assert contacts.off_fault == ""


def test_off_again_ends_the_fault_of_an_on_only_where_off_obeys() -> None:
    """A pin that neither goes on nor off keeps both faults."""
    pin = FakePin()
    contacts = Contacts(pin, None)
    pin.fail_drive = {True}
    assert not contacts.on()
    pin.fail_drive = {True, False}
    contacts.off_again()
    assert contacts.on_fault == "heat relay could not be driven on: OSError: [Errno 5] heat would not"
    assert contacts.off_fault
    pin.fail_drive = set()
    contacts.off_again()
    assert (contacts.off_fault, contacts.on_fault) == ("", "")


def test_an_isolating_relay_that_cannot_be_read_counts_as_shut() -> None:
    """With a heat relay that will not go off either, nothing shows that the cable is cut."""
    lab = GateLab(isolating=True)
    lab.warm_up()
    lab.isolating[SOUTH].fail_read = True
    assert not lab.tick().isolated
    lab.heat[SOUTH].fail_drive = {False}
    with pytest.raises(PinStuck):
        lab.tick(heat_wanted=False)


def test_every_stuck_relay_is_named() -> None:
    """Whoever is called out must know which plugs to pull."""
    lab = GateLab({SOUTH: limits(), NORTH: limits()})
    lab.warm_up()
    for pin in lab.heat.values():
        pin.welded = True
    words = "heat relay was driven off and does not read off"
    with pytest.raises(PinStuck, match=f"^south: {words}; north: {words}$"):
        lab.tick(heat_wanted=False)


def test_both_faults_of_a_failed_switching_are_told() -> None:
    """On failed, and so did off; the isolating relay cuts it."""
    lab = GateLab(isolating=True)
    lab.ticks(17)
    lab.heat[SOUTH].fail_drive = {True, False}
    report = lab.tick()
    assert report.pin_fault == (
        "heat relay could not be driven off: OSError: [Errno 5] south heat would not; "
        "heat relay could not be driven on: OSError: [Errno 5] south heat would not"
    )


def test_while_off_cannot_be_driven_cleanly_nothing_is_tried_on() -> None:
    """Heat is refused as long as the fault stands, however long that is."""
    lab = GateLab(isolating=True)
    lab.ticks(5)
    lab.heat[SOUTH].fail_drive = {False}
    lab.heat[SOUTH].level = True
    lab.tick()
    lab.heat[SOUTH].level = False
    lab.ticks(60)
    assert ("south heat", "on") not in lab.journal


def test_giving_way_to_a_colder_frame_leaves_the_isolating_relay_shut() -> None:
    """It is a second line of defence, not a second contact to wear."""
    lab = GateLab({SOUTH: limits(), NORTH: limits()}, isolating=True, heat_power_max_w=200.0)
    lab.frame_ticks(18, {SOUTH: {"coldest_c": 0.0}, NORTH: {}})
    reports = lab.frame_ticks(90, {SOUTH: {"coldest_c": 0.0}, NORTH: {}})
    assert HeatReason.OVER_BUDGET in reports[SOUTH].reasons
    assert not reports[SOUTH].isolated


def test_a_stretch_that_could_not_be_judged_counts_as_heated_from_the_last_sound_tick() -> None:
    """What is not known is taken as the worst: 900 s of heat, then 300 s unseen, leave no blind share."""
    for unseen, blind_on in ((0, True), (30, False)):
        lab = GateLab({SOUTH: limits(blind_duty_allowed=True)})
        lab.ticks(420, heat_wanted=False)
        lab.ticks(90)
        lab.frame_ticks(unseen, {SOUTH: None})
        lab.ticks(19, heat_wanted=False)
        lab.ticks(3, heat_wanted=False)
        assert lab.tick(root=(None,)).relay_on is blind_on
