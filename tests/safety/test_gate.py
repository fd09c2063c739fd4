"""The gate over pretended pins: what is driven, in which order, and what is told."""

from __future__ import annotations

import math
from typing import Any

import pytest

from controller.heat.relays import GateFrame, PinStuck, RelayGate
from controller.vocabulary import FrameName, HeatReason, HeatReport, Level, Lockout, LockoutCause
from tests.safety.lab import (
    NORTH,
    SOUTH,
    WHEN,
    FakePin,
    FakeStore,
    FakeSwitchings,
    GateLab,
    evidence,
    limits,
    lost,
)

R = HeatReason
TWO = {SOUTH: limits(), NORTH: limits()}


def test_a_start_drives_every_relay_off_and_isolates() -> None:
    """R14: re-asserted first thing, whatever the pin was."""
    lab = GateLab(TWO, isolating=True)
    assert lab.journal == [
        ("south heat", "off"),
        ("south isolating", "off"),
        ("north heat", "off"),
        ("north isolating", "off"),
    ]


def test_heat_goes_on_when_earned_and_off_when_no_longer_wanted() -> None:
    """The report says what was wanted, allowed and read back."""
    lab = GateLab()
    assert lab.tick() == HeatReport(
        heat_wanted=True,
        heat_allowed=False,
        relay_on=False,
        level=Level.HEAT_OFF,
        reasons=(R.EARNING, R.RESTING),
    )
    assert lab.ticks(17) == HeatReport(
        heat_wanted=True,
        heat_allowed=True,
        relay_on=True,
        level=Level.NORMAL,
        reasons=(),
        switch_on_count=1,
    )
    assert lab.ticks(5).switch_on_count == 1
    assert lab.heat[SOUTH].history == [False, True]
    assert lab.tick(heat_wanted=False) == HeatReport(
        heat_wanted=False,
        heat_allowed=False,
        relay_on=False,
        level=Level.NORMAL,
        reasons=(R.NOTHING_WANTED,),
        switch_on_count=1,
    )
    assert lab.heat[SOUTH].history == [False, True, False]
    assert lab.ticks(17).reasons == (R.RESTING,)
    assert lab.tick().switch_on_count == 2


def test_the_isolating_relay_closes_first_and_stays_closed_over_a_rest() -> None:
    """It closes only once the judge has allowed heat, before the heat relay does."""
    lab = GateLab(isolating=True)
    assert lab.tick().isolated
    lab.journal.clear()
    assert not lab.ticks(17).isolated
    assert lab.journal == [("south isolating", "on"), ("south heat", "on")]
    lab.journal.clear()
    assert not lab.tick(heat_wanted=False).isolated
    assert lab.journal == [("south heat", "off")]


def test_without_an_isolating_relay_nothing_is_isolated() -> None:
    """Not fitted is not open."""
    lab = GateLab()
    assert not lab.tick().isolated


def test_a_frame_without_evidence_is_driven_off_and_owes_a_rest() -> None:
    """A frame that is forgotten is a frame that is off."""
    lab = GateLab()
    lab.warm_up()
    report = lab.frame_ticks(1, {SOUTH: None})[SOUTH]
    assert report == HeatReport(
        heat_wanted=False,
        heat_allowed=False,
        relay_on=False,
        level=Level.HEAT_OFF,
        reasons=(R.BAD_EVIDENCE,),
        switch_on_count=1,
    )
    assert R.RESTING in lab.ticks(18).reasons
    assert lab.tick().relay_on


def test_evidence_that_breaks_the_judge_is_off() -> None:
    """Whatever object is handed in."""
    lab = GateLab()
    lab.warm_up()
    for wrong in ("heat please", object()):
        report = lab.gate.apply({SOUTH: wrong})[SOUTH]  # type: ignore[dict-item]
        assert report.reasons == (R.BAD_EVIDENCE,)
        assert not report.relay_on


@pytest.mark.parametrize("locked", [False, True])
def test_a_judge_that_fails_allows_nothing(monkeypatch: pytest.MonkeyPatch, locked: bool) -> None:  # noqa: FBT001
    """X01: no verdict is a refusal, and the next sound tick owes the full rest."""
    lab = locked_lab() if locked else GateLab()
    if not locked:
        lab.warm_up()

    def failing(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    with monkeypatch.context() as patch:
        patch.setattr("controller.heat.line.judge", failing)
        report = lab.tick()
    assert not report.relay_on
    assert report.reasons == ((R.LOCKED, R.BAD_EVIDENCE) if locked else (R.BAD_EVIDENCE,))
    assert R.RESTING in lab.ticks(18).reasons


def test_evidence_that_breaks_the_judge_of_a_locked_frame_leaves_it_locked() -> None:
    """The level does not fall because the evidence got worse."""
    lab = locked_lab()
    report = lab.gate.apply({SOUTH: object()})[SOUTH]  # type: ignore[dict-item]
    assert (report.level, report.reasons) == (Level.LOCKED, (R.LOCKED, R.BAD_EVIDENCE))
    assert lab.frame_ticks(1, {SOUTH: None})[SOUTH].level is Level.LOCKED


def test_a_wish_that_is_no_bool_is_reported_as_none() -> None:
    """What is shown must be true."""
    lab = GateLab()
    report = lab.tick(heat_wanted="yes")
    assert report.heat_wanted is False


# Lockouts.

ROOT_HOT: dict[str, Any] = {"root": (30.0,)}


def locked_lab(**options: Any) -> GateLab:
    """Heated, then the root zone 5 K past its limit."""
    lab = GateLab(**options)
    lab.warm_up()
    lab.journal.clear()
    lab.tick(**ROOT_HOT)
    return lab


LOCKED = Lockout(
    frame=SOUTH,
    cause=LockoutCause.OVERHEATED_ROOT,
    detail="root zone at 30.0 °C, limit 25.0 °C",
    raised_utc=WHEN,
)


def test_a_lockout_drives_off_and_isolates_before_it_is_written_and_is_written_before_it_is_told() -> None:
    """INV-2: Off never waits for a disk; telling does."""
    lab = locked_lab(isolating=True)
    assert lab.journal == [
        ("south heat", "off"),
        ("south isolating", "off"),
        ("store", "overheated_root"),
    ]
    assert lab.store.kept == {SOUTH: LOCKED}


def test_the_lockout_is_told_in_the_tick_that_raised_it() -> None:
    """With its reasons, at the highest level."""
    lab = GateLab(isolating=True)
    lab.warm_up()
    report = lab.tick(**ROOT_HOT)
    assert report == HeatReport(
        heat_wanted=True,
        heat_allowed=False,
        relay_on=False,
        level=Level.LOCKED,
        reasons=(R.LOCKED, R.ROOT_TOO_WARM),
        lockout=LOCKED,
        switch_on_count=1,
        isolated=True,
    )


def test_a_lockout_outlives_the_process() -> None:
    """I7, L4: a restart is never a way round."""
    lab = locked_lab(isolating=True)
    lab.start()
    report = lab.ticks(400)
    assert (report.level, report.lockout, report.isolated) == (Level.LOCKED, LOCKED, True)
    assert report.reasons == (R.LOCKED,)
    assert lab.heat[SOUTH].history[-1] is False


def test_a_cleared_lockout_switches_nothing_on_and_owes_a_full_rest() -> None:
    """Cleared at the board while the keeper runs; three good cycles and the rest start there."""
    lab = locked_lab(isolating=True)
    lab.ticks(100)
    lab.store.kept.clear()
    report = lab.tick()
    assert (report.lockout, report.reasons, report.isolated) == (None, (R.EARNING, R.RESTING), True)
    lab.ticks(17)
    report = lab.tick()
    assert report.relay_on
    assert not report.isolated


def test_a_cause_that_remains_locks_again_at_once() -> None:
    """R01 and W18: clearing is no cure."""
    lab = GateLab()
    lab.ticks(3, feedback_live=True)
    assert lab.store.kept[SOUTH].cause is LockoutCause.LIVE_WHEN_OFF
    lab.store.kept.clear()
    report = lab.tick(feedback_live=True)
    assert report.lockout is not None
    assert lab.store.kept[SOUTH].cause is LockoutCause.LIVE_WHEN_OFF


def test_a_second_cause_does_not_overwrite_the_first() -> None:
    """The record says what came first."""
    lab = locked_lab()
    lab.ticks(3, feedback_live=True)
    assert lab.store.kept == {SOUTH: LOCKED}
    assert [entry for entry in lab.journal if entry[0] == "store"] == [("store", "overheated_root")]


def test_a_lockout_that_cannot_be_written_locks_all_the_same_and_is_tried_again() -> None:
    """S01: a full disk undoes no lockout; the report says that it is not on disk."""
    lab = GateLab()
    lab.warm_up()
    lab.store.fail_keep = True
    report = lab.tick(**ROOT_HOT)
    assert report.lockout is not None
    assert report.lockout.detail == f"{LOCKED.detail}; not on disk yet: OSError: [Errno 28] no space left"
    assert lab.heat[SOUTH].level is False
    lab.journal.clear()
    assert lab.ticks(5).level is Level.LOCKED
    assert lab.journal == []
    lab.tick()
    assert lab.journal == [("store", "overheated_root")]
    lab.ticks(5)
    assert lab.journal == [("store", "overheated_root")]
    lab.store.fail_keep = False
    report = lab.tick()
    assert lab.store.kept == {SOUTH: LOCKED}
    assert report.lockout == LOCKED
    lab.store.kept.clear()
    assert lab.tick().lockout is None


def test_a_store_that_cannot_be_read_locks_from_the_start() -> None:
    """S13: unreadable counts as locked; readable again and empty is not."""
    lab = GateLab()
    lab.store.fail_find = True
    lab.start()
    report = lab.ticks(30)
    assert report.lockout == Lockout(
        frame=SOUTH,
        cause=LockoutCause.UNREADABLE,
        detail="the lockouts could not be read",
        raised_utc="",
    )
    assert report.level is Level.LOCKED
    lab.store.fail_find = False
    assert lab.tick().lockout is None


def test_a_store_that_fails_later_keeps_the_lockout_that_was_known() -> None:
    """No disk trouble may undo a lockout, nor hide its cause."""
    lab = locked_lab()
    lab.store.fail_find = True
    assert lab.ticks(3).lockout == LOCKED


def test_the_store_is_followed_while_locked() -> None:
    """What stands on disk is what is told."""
    lab = locked_lab()
    other = Lockout(frame=SOUTH, cause=LockoutCause.UNREADABLE, detail="torn", raised_utc="")
    lab.store.kept[SOUTH] = other
    assert lab.tick().lockout == other


def test_a_lockout_without_a_date_is_still_a_lockout() -> None:
    """The clock's trouble is not the cable's."""
    pin, store = FakePin(), FakeStore()

    def broken_clock() -> str:
        raise ValueError("no time")

    gate = RelayGate(
        {SOUTH: GateFrame(limits=limits(), heat=pin, isolating=None, power_w=150.0)},
        store,
        heat_power_max_w=None,
        now_s=0.0,
        utc_text=broken_clock,
    )
    for tick in range(1, 4):
        gate.apply({SOUTH: evidence(10.0 * tick, feedback_live=True)})
    assert store.kept[SOUTH].raised_utc == ""


def test_a_lockout_opens_an_isolating_relay_that_somebody_closed() -> None:
    """While locked it is looked at in every tick."""
    lab = locked_lab(isolating=True)
    lab.journal.clear()
    lab.isolating[SOUTH].level = True
    assert lab.tick().isolated
    assert lab.journal == [("south heat", "off"), ("south isolating", "off")]
    lab.journal.clear()
    lab.tick()
    assert lab.journal == []


def test_room_for_a_lockout_is_made_at_the_start_and_tried_for_until_there_is_some() -> None:
    """S01: a disk that is full at the start costs no heat; room is made as soon as it can be."""
    lab = GateLab(TWO)
    assert lab.store.prepared == [SOUTH, NORTH]
    lab.store.prepared.clear()
    lab.ticks(30)
    assert lab.store.prepared == []
    lab.store.fail_prepare = True
    lab.start()
    assert lab.ticks(23).relay_on
    lab.store.fail_prepare = False
    lab.tick()
    assert lab.store.prepared == [SOUTH, NORTH]
    lab.ticks(30)
    assert lab.store.prepared == [SOUTH, NORTH]


def test_a_lockout_in_too_few_places_is_kept_again_until_it_is_in_all() -> None:
    """S06: and a person may clear it all the while."""
    lab = GateLab()
    lab.warm_up()
    lab.store.half_kept = True
    lab.journal.clear()
    report = lab.tick(**ROOT_HOT)
    assert report.lockout == LOCKED
    kept = ("store", "overheated_root")
    assert lab.journal.count(kept) == 1
    lab.ticks(5)
    assert lab.journal.count(kept) == 1
    lab.tick()
    assert lab.journal.count(kept) == 2
    lab.store.half_kept = False
    lab.ticks(60)
    assert lab.journal.count(kept) == 3
    lab.store.half_kept = True
    lab.start()
    lab.store.kept.clear()
    assert lab.tick().lockout is None


def test_a_lockout_found_at_the_start_is_written_where_it_is_missing() -> None:
    """S01: one that stood in RUN alone gets to the disk; one that cannot be read is left as evidence."""
    lab = locked_lab()
    lab.journal.clear()
    lab.start()
    assert lab.journal == [("south heat", "off"), ("store", "overheated_root")]
    lab.ticks(30)
    assert lab.journal == [("south heat", "off"), ("store", "overheated_root")]
    lab.store.kept[SOUTH] = Lockout(frame=SOUTH, cause=LockoutCause.UNREADABLE, detail="torn", raised_utc="")
    lab.journal.clear()
    lab.start()
    lab.ticks(30)
    assert lab.journal == [("south heat", "off")]


def test_after_a_clearing_room_is_made_for_the_next_lockout() -> None:
    """A folder that was set right by hand is set up again."""
    lab = locked_lab()
    lab.store.prepared.clear()
    lab.store.kept.clear()
    lab.tick()
    lab.ticks(6)
    assert lab.store.prepared == [SOUTH]


# Across processes of one boot.


def test_a_start_without_a_memory_of_switchings_counts_none() -> None:
    """A rehearsal: there was no process before."""
    assert GateLab().warm_up().switch_on_count == 1


def test_switchings_are_noted_before_the_relay_moves_and_their_end_after_it() -> None:
    """R13: killed anywhere between, the next process knows no less than what happened."""
    switchings = FakeSwitchings()
    lab = GateLab(switchings=switchings)
    assert switchings.history == [((1000.0, 1000.0, 1000.0), 1000.0)]
    seen: list[bool] = []
    plain_note = switchings.note

    def note(frame: FrameName, switch_ons: tuple[float, ...], heat_ended_at_s: float | None) -> None:
        seen.append(lab.heat[SOUTH].level)
        plain_note(frame, switch_ons, heat_ended_at_s)

    switchings.note = note  # type: ignore[method-assign]
    lab.warm_up()
    lab.tick(heat_wanted=False)
    assert seen == [False, False]
    assert switchings.history[1:] == [
        ((1000.0, 1000.0, 1000.0, 1180.0), None),
        ((1000.0, 1000.0, 1000.0, 1180.0), 1190.0),
    ]
    assert lab.tick().lockout is None


def test_an_on_that_fails_is_noted_as_ended() -> None:
    """It counts as a switching; heat may have come for a moment."""
    switchings = FakeSwitchings()
    lab = GateLab(switchings=switchings)
    lab.heat[SOUTH].fail_drive = {True}
    lab.ticks(18)
    assert switchings.noted[SOUTH] == ((1000.0, 1000.0, 1000.0, 1180.0), 1180.0)


def test_a_restart_is_no_way_round_the_switchings_of_an_hour() -> None:
    """I10: three at the most after an unknown past, six in the hour over any number of processes."""
    lab = GateLab(switchings=FakeSwitchings(), start_s=100_000.0)
    ons = 0
    while lab.now_s < 103_590.0:
        if lab.tick().relay_on:
            ons += 1
            lab.gate.all_off()
            lab.start()
    assert ons == 3
    ons = 0
    while lab.now_s < 107_180.0:
        if lab.tick().relay_on:
            ons += 1
            lab.gate.all_off()
            lab.start()
    assert ons == 6


@pytest.mark.parametrize("fail", [False, True])
def test_what_is_not_known_of_the_hour_before_is_taken_as_half_used(fail: bool) -> None:  # noqa: FBT001
    """Another boot or a broken RUN: heat all the same, within an hour's other half."""
    switchings = FakeSwitchings()
    switchings.fail = fail
    lab = GateLab(switchings=switchings)
    for _ in range(3):
        assert lab.ticks(18).relay_on
        lab.tick(heat_wanted=False)
    assert lab.ticks(18).reasons == (R.SWITCH_LIMIT,)


@pytest.mark.parametrize(("rest_ticks", "locks"), [(360, True), (361, False)])
def test_a_root_zone_that_coasts_past_its_limit_over_a_restart_locks(rest_ticks: int, locks: bool) -> None:  # noqa: FBT001
    """A restart forgets no heat of the last hour, and remembers none that is older."""
    lab = GateLab(switchings=FakeSwitchings())
    lab.warm_up()
    lab.tick(heat_wanted=False)
    lab.ticks(rest_ticks - 1, heat_wanted=False)
    lab.start()
    assert (lab.tick(**ROOT_HOT).lockout is not None) is locks


def test_heat_that_was_on_when_its_process_ended_counts_up_to_the_next_start() -> None:
    """Killed while on: nobody noted the end."""
    lab = GateLab(switchings=FakeSwitchings())
    lab.warm_up()
    lab.now_s += 7200.0
    lab.start()
    assert lab.tick(**ROOT_HOT).lockout is not None


def test_heat_that_only_feedback_saw_counts_over_a_restart() -> None:
    """A cable live with its relay off: noted when it begins and when it ends, each once."""
    switchings = FakeSwitchings()
    lab = GateLab(switchings=switchings)
    lab.ticks(3, feedback_live=True, heat_wanted=False)
    lab.ticks(3, feedback_live=False, heat_wanted=False)
    assert [ended_at_s for _, ended_at_s in switchings.history] == [1000.0, None, 1030.0]
    lab.now_s += 3500.0
    lab.start()
    assert lab.tick(feedback_live=False, **ROOT_HOT).lockout is not None


def test_heat_that_feedback_saw_until_its_process_ended_counts_up_to_the_next_start() -> None:
    """Nobody noted the end."""
    lab = GateLab(switchings=FakeSwitchings())
    lab.ticks(2, feedback_live=True, heat_wanted=False)
    lab.now_s += 7200.0
    lab.start()
    assert lab.tick(feedback_live=False, **ROOT_HOT).lockout is not None


def test_feedback_that_follows_its_relay_notes_nothing_more() -> None:
    """On and live: the note is that of the relay; live on after it went off is noted anew, until it ends."""
    switchings = FakeSwitchings()
    lab = GateLab(switchings=switchings)
    lab.ticks(17, feedback_live=False)
    assert lab.tick(feedback_live=False).relay_on
    lab.ticks(20, feedback_live=True)
    assert [ended_at_s for _, ended_at_s in switchings.history] == [1000.0, None]
    lab.tick(feedback_live=True, heat_wanted=False)
    off_at_s = lab.now_s
    assert [ended_at_s for _, ended_at_s in switchings.history[2:]] == [off_at_s, None]
    lab.tick(feedback_live=True, heat_wanted=False)
    lab.tick(feedback_live=False, heat_wanted=False)
    assert [ended_at_s for _, ended_at_s in switchings.history[4:]] == [off_at_s + 10.0]


# Pins that fail.


def test_a_relay_that_reads_on_unasked_is_driven_off() -> None:
    """Read back, not assumed."""
    lab = GateLab()
    lab.tick()
    lab.heat[SOUTH].level = True
    report = lab.tick()
    assert not report.relay_on
    assert lab.heat[SOUTH].history == [False, False]


def test_off_that_fails_is_tried_through_the_isolating_relay_and_heat_is_refused() -> None:
    """R07: by every path; the cut cable is no reason to leave."""
    lab = GateLab(isolating=True)
    lab.warm_up()
    lab.heat[SOUTH].fail_drive = {False}
    lab.journal.clear()
    report = lab.tick(heat_wanted=False)
    assert lab.journal == [("south heat", "off"), ("south isolating", "off")]
    assert report == HeatReport(
        heat_wanted=False,
        heat_allowed=False,
        relay_on=True,
        level=Level.HEAT_OFF,
        reasons=(R.NOTHING_WANTED, R.PIN_FAULT),
        switch_on_count=1,
        isolated=True,
        pin_fault="heat relay could not be driven off: OSError: [Errno 5] south heat would not",
    )
    lab.journal.clear()
    report = lab.ticks(30)
    assert not report.heat_allowed
    assert R.PIN_FAULT in report.reasons
    assert lab.journal == [("south heat", "off"), ("south isolating", "off")] * 30
    lab.heat[SOUTH].fail_drive = set()
    report = lab.tick()
    assert report.pin_fault == ""
    assert not report.relay_on
    assert lab.ticks(17).reasons == (R.RESTING,)
    assert lab.ticks(2).relay_on


def test_off_that_reads_off_in_spite_of_an_error_is_a_fault_but_not_stuck() -> None:
    """The pin's own word counts."""
    lab = GateLab()
    lab.warm_up()
    pin = lab.heat[SOUTH]

    def drive_and_complain(on: bool) -> None:  # noqa: FBT001  # the form of the seam
        pin.level = on
        raise OSError(5, "done, but not happy")

    pin.drive = drive_and_complain  # type: ignore[method-assign]
    report = lab.tick(heat_wanted=False)
    assert report.reasons == (R.NOTHING_WANTED, R.PIN_FAULT)
    assert not report.relay_on


@pytest.mark.parametrize("isolating", [False, True])
def test_a_relay_that_cannot_be_shown_off_ends_the_gate(isolating: bool) -> None:  # noqa: FBT001
    """R07: not confirmed by any path means leave, so that the line is let go; all others off first."""
    lab = GateLab(TWO, isolating=isolating)
    lab.warm_up()
    lab.heat[SOUTH].fail_read = True
    lab.heat[SOUTH].fail_drive = {False}
    if isolating:
        lab.isolating[SOUTH].fail_drive = {False}
    with pytest.raises(PinStuck) as caught:
        lab.tick(heat_wanted=False)
    words = "south: heat relay could not be driven off: OSError: [Errno 5] south heat would not"
    if isolating:
        words += "; isolating relay could not be driven off: OSError: [Errno 5] south isolating would not"
    assert str(caught.value) == words
    assert lab.heat[NORTH].level is False
    lab.heat[SOUTH].fail_read = False
    lab.heat[SOUTH].fail_drive = set()
    assert not any(report.relay_on for report in lab.frame_ticks(40, {NORTH: {}}).values())


def test_a_relay_welded_at_the_pin_is_stuck() -> None:
    """Driven off without an error and still reading on."""
    lab = GateLab()
    lab.warm_up()
    lab.heat[SOUTH].welded = True
    with pytest.raises(PinStuck, match=r"^south: heat relay was driven off and does not read off$"):
        lab.tick(heat_wanted=False)


def test_stuck_at_the_start_is_refused_at_the_start() -> None:
    """R08, R14: no gate over a relay that does not read off, and the others are off."""
    pins = {SOUTH: FakePin(), NORTH: FakePin()}
    pins[SOUTH].welded = True
    with pytest.raises(PinStuck):
        RelayGate(
            {
                name: GateFrame(limits=limits(), heat=pin, isolating=None, power_w=150.0)
                for name, pin in pins.items()
            },
            FakeStore(),
            heat_power_max_w=None,
            now_s=0.0,
            utc_text=lambda: WHEN,
        )
    assert pins[NORTH].history[-1] is False


def test_a_relay_that_sticks_while_it_is_switched_on_ends_the_gate() -> None:
    """The last look of a tick is at the pins."""
    lab = GateLab()
    lab.ticks(17)
    lab.heat[SOUTH].fail_drive = {True, False}
    lab.heat[SOUTH].fail_read = True
    with pytest.raises(PinStuck):
        lab.tick()


def test_an_unreadable_pin_counts_as_on() -> None:
    """Unknown is the worse of both, so it is driven off by every path."""
    lab = GateLab(isolating=True)
    lab.ticks(5)
    lab.heat[SOUTH].fail_read = True
    report = lab.tick()
    assert report.relay_on
    assert report.isolated
    assert report.pin_fault == "heat relay could not be driven off: OSError: [Errno 5] south heat is mute"


@pytest.mark.parametrize(
    ("breakage", "words"),
    [
        ("heat drive", "heat relay could not be driven on: OSError: [Errno 5] south heat would not"),
        ("heat reads", "heat relay was driven on and does not read on"),
        (
            "isolating drive",
            "isolating relay could not be driven on: OSError: [Errno 5] south isolating would not",
        ),
        ("isolating reads", "isolating relay was driven on and does not read on"),
    ],
)
def test_on_that_fails_ends_off_and_costs_a_rest(breakage: str, words: str) -> None:
    """Half a switching is none; the attempt is told until one succeeds, and counts as a switching."""
    lab = GateLab(isolating=True)
    lab.ticks(17)
    pin = (lab.heat if breakage.startswith("heat") else lab.isolating)[SOUTH]
    if breakage.endswith("drive"):
        pin.fail_drive = {True}
    else:
        pin.welded = False
    lab.journal.clear()
    report = lab.tick()
    assert report == HeatReport(
        heat_wanted=True,
        heat_allowed=False,
        relay_on=False,
        level=Level.HEAT_OFF,
        reasons=(R.PIN_FAULT,),
        isolated=True,
        pin_fault=words,
    )
    assert lab.journal[-2:] == [("south heat", "off"), ("south isolating", "off")]
    assert (("south heat", "on") in lab.journal) is breakage.startswith("heat")
    report = lab.ticks(18)
    assert report.reasons == (R.RESTING, R.PIN_FAULT)
    assert report.level is Level.HEAT_OFF
    pin.fail_drive, pin.welded = set(), None
    report = lab.tick()
    assert (report.relay_on, report.pin_fault, report.level) == (True, "", Level.NORMAL)
    assert report.switch_on_count == 1


def test_an_on_that_failed_is_over_once_nothing_is_wanted_and_off_obeys() -> None:
    """It does not stand for ever through the mild weather after it."""
    lab = GateLab()
    lab.heat[SOUTH].fail_drive = {True}
    assert lab.ticks(18).pin_fault
    assert lab.tick().pin_fault
    lab.heat[SOUTH].fail_drive = {False}
    lab.journal.clear()
    report = lab.tick(heat_wanted=False)
    assert report.pin_fault.count("south heat would not") == 2
    lab.heat[SOUTH].fail_drive = set()
    lab.journal.clear()
    report = lab.tick(heat_wanted=False)
    assert lab.journal == [("south heat", "off"), ("south heat", "off")]
    assert (report.pin_fault, R.PIN_FAULT in report.reasons) == ("", False)
    lab.journal.clear()
    lab.ticks(20, heat_wanted=False)
    assert lab.journal == []
    assert lab.tick().relay_on


def test_failed_attempts_count_as_switchings() -> None:
    """Six an hour, also for a relay that will not."""
    lab = GateLab()
    lab.heat[SOUTH].fail_drive = {True}
    lab.ticks(360)
    assert lab.journal.count(("south heat", "on")) == 6


def test_one_frames_pin_fault_leaves_the_other_alone() -> None:
    """F01: B's pins and reports are as in a run without the fault."""
    plain, faulty = GateLab(TWO, isolating=True), GateLab(TWO, isolating=True)
    faulty.heat[SOUTH].fail_drive = {True}
    for _ in range(60):
        want = plain.frame_ticks(1, {SOUTH: {}, NORTH: {}})[NORTH]
        assert faulty.frame_ticks(1, {SOUTH: {}, NORTH: {}})[NORTH] == want
    assert faulty.heat[NORTH].history == plain.heat[NORTH].history


# The end.


def test_all_off_is_final_and_tries_every_pin() -> None:
    """X14: after it nothing goes on again, however good the evidence; what failed is told."""
    lab = GateLab(TWO, isolating=True)
    lab.warm_up()
    lab.heat[SOUTH].fail_drive = {False}
    assert lab.gate.all_off() == (
        "south: heat relay could not be driven off: OSError: [Errno 5] south heat would not",
    )
    assert not lab.heat[NORTH].level
    assert not lab.isolating[NORTH].level
    assert not lab.isolating[SOUTH].level
    lab.heat[SOUTH].fail_drive = set()
    assert lab.gate.all_off() == ()
    assert not lab.ticks(100).relay_on
    assert R.RESTING in lab.tick().reasons


def test_all_off_in_a_signal_handler_wins_over_the_switching_it_broke_into() -> None:
    """X14: the signal arrives while the pin is being driven on."""
    lab = GateLab(isolating=True)
    lab.ticks(17)
    pin = lab.heat[SOUTH]
    plain_drive = pin.drive

    def drive(on: bool) -> None:  # noqa: FBT001  # the form of the seam
        if on:
            lab.gate.all_off()
        plain_drive(on)

    pin.drive = drive  # type: ignore[method-assign]
    report = lab.tick()
    assert not report.relay_on
    assert not pin.level
    assert not lab.isolating[SOUTH].level


def test_all_off_between_judgement_and_switching_keeps_heat_off() -> None:
    """The other place where a signal can fall: before the first pin of the switching is touched."""
    lab = GateLab({SOUTH: limits()}, isolating=True)
    lab.ticks(17)
    share = lab.gate._share

    def share_then_stop(allowed: list[Any]) -> frozenset[FrameName]:
        served = share(allowed)
        lab.gate.all_off()
        lab.journal.clear()
        return served

    lab.gate._share = share_then_stop  # type: ignore[method-assign]
    assert not lab.tick().relay_on
    assert lab.journal == []


def test_close_drives_off_before_it_lets_go_and_tries_every_pin() -> None:
    """Off before close on every path."""
    lab = GateLab(TWO, isolating=True)
    lab.warm_up()
    lab.heat[SOUTH].fail_close = True
    lab.isolating[NORTH].fail_close = True
    lab.journal.clear()
    assert lab.gate.close() == (
        "south: heat relay could not be let go: OSError: [Errno 5] south heat holds on",
        "north: isolating relay could not be let go: OSError: [Errno 5] north isolating holds on",
    )
    pins = ["south heat", "south isolating", "north heat", "north isolating"]
    assert lab.journal == [(pin, "off") for pin in pins] + [(pin, "close") for pin in pins]


def test_close_tells_what_would_not_go_off_as_well() -> None:
    """Nothing that failed is swallowed."""
    lab = GateLab()
    lab.warm_up()
    lab.heat[SOUTH].fail_drive = {False}
    lab.heat[SOUTH].fail_close = True
    assert lab.gate.close() == (
        "south: heat relay could not be driven off: OSError: [Errno 5] south heat would not",
        "south: heat relay could not be let go: OSError: [Errno 5] south heat holds on",
    )


# Shared power.


def test_all_frames_cold_at_once_share_the_budget_coldest_first() -> None:
    """F04: never above the budget, the coldest first, each gets a turn."""
    lab = GateLab(TWO, heat_power_max_w=200.0)
    cold: dict[FrameName, dict[str, Any]] = {SOUTH: {"coldest_c": 1.0}, NORTH: {"coldest_c": 0.5}}
    reports = lab.frame_ticks(18, cold)
    assert reports[NORTH].relay_on
    assert reports[SOUTH] == HeatReport(
        heat_wanted=True,
        heat_allowed=False,
        relay_on=False,
        level=Level.NORMAL,
        reasons=(R.OVER_BUDGET,),
    )
    seen = set()
    for _ in range(720):
        reports = lab.frame_ticks(1, cold)
        on = {name for name, report in reports.items() if report.relay_on}
        assert len(on) <= 1
        seen |= on
    assert seen == {SOUTH, NORTH}


def test_a_frame_that_gives_way_is_off_before_the_other_goes_on() -> None:
    """Break before make; the one that gave way rests."""
    lab = GateLab(TWO, heat_power_max_w=200.0)
    lab.frame_ticks(18, {SOUTH: {"coldest_c": 0.0}, NORTH: {}})
    lab.journal.clear()
    reports = lab.frame_ticks(90, {SOUTH: {"coldest_c": 0.0}, NORTH: {}})
    assert lab.journal == [("south heat", "off"), ("north heat", "on")]
    assert reports[SOUTH].reasons == (R.OVER_BUDGET,)
    assert lab.frame_ticks(1, {SOUTH: {}, NORTH: {}})[SOUTH].reasons == (R.RESTING,)


def test_without_a_bound_or_within_it_all_may_heat() -> None:
    """Two of 150 W within 300 W."""
    for budget_w in (None, 300.0):
        lab = GateLab(TWO, heat_power_max_w=budget_w)
        assert all(report.relay_on for report in lab.frame_ticks(18, {SOUTH: {}, NORTH: {}}).values())


@pytest.mark.parametrize(
    ("live", "isolating", "welds", "others"),
    [
        (True, False, True, True),
        (None, False, True, False),
        (None, True, False, False),
        (False, False, False, False),
        (True, True, True, True),
    ],
)
@pytest.mark.parametrize("cause", list(LockoutCause))
def test_a_locked_frame_uses_the_budget_where_its_cable_may_be_live(
    live: bool | None,  # noqa: FBT001
    isolating: bool,  # noqa: FBT001
    welds: bool,  # noqa: FBT001
    others: bool,  # noqa: FBT001
    cause: LockoutCause,
) -> None:
    """F06: A's weld takes its load out of B's permission; a cable locked for its warmth is off."""
    counts = welds if cause in {LockoutCause.LIVE_WHEN_OFF, LockoutCause.UNREADABLE} else others
    lab = GateLab(TWO, heat_power_max_w=200.0, isolating=isolating)
    lab.store.kept[SOUTH] = Lockout(frame=SOUTH, cause=cause, detail="", raised_utc="")
    lab.start()
    report = lab.frame_ticks(18, {SOUTH: {"feedback_live": live}, NORTH: {}})[NORTH]
    assert report.relay_on is not counts
    assert (R.OVER_BUDGET in report.reasons) is counts


def test_a_cable_seen_live_while_off_uses_the_budget_before_it_locks() -> None:
    """F06 from the first sign on; a frame that is merely off uses none."""
    lab = GateLab(TWO, heat_power_max_w=200.0)
    idle: dict[str, Any] = {"heat_wanted": False, "feedback_live": False}
    assert lab.frame_ticks(18, {SOUTH: idle, NORTH: {}})[NORTH].relay_on
    lab = GateLab(TWO, heat_power_max_w=200.0)
    lab.frame_ticks(17, {SOUTH: idle, NORTH: {}})
    reports = lab.frame_ticks(1, {SOUTH: {"heat_wanted": False, "feedback_live": True}, NORTH: {}})
    assert reports[NORTH].reasons == (R.OVER_BUDGET,)
    assert lab.frame_ticks(1, {SOUTH: idle, NORTH: {}})[NORTH].relay_on


def test_a_frame_without_evidence_and_off_uses_no_budget() -> None:
    """Nothing suggests that it is live."""
    lab = GateLab(TWO, heat_power_max_w=200.0)
    assert lab.frame_ticks(18, {SOUTH: None, NORTH: {}})[NORTH].relay_on


def test_a_frame_locked_for_a_weld_without_evidence_uses_the_budget() -> None:
    """What cannot be seen counts as live."""
    lab = GateLab(TWO, heat_power_max_w=200.0)
    lab.store.kept[SOUTH] = Lockout(frame=SOUTH, cause=LockoutCause.LIVE_WHEN_OFF, detail="", raised_utc="")
    lab.start()
    assert not lab.frame_ticks(18, {SOUTH: None, NORTH: {}})[NORTH].relay_on


def test_a_relay_on_behind_an_open_isolating_relay_uses_no_budget() -> None:
    """Cut is cut, but only as long as the cable is not seen live."""
    lab = GateLab(TWO, heat_power_max_w=200.0, isolating=True)
    lab.heat[SOUTH].welded = True
    for live, north_on in ((None, True), (True, False)):
        lab.start()
        reports = lab.frame_ticks(18, {SOUTH: {"heat_wanted": False, "feedback_live": live}, NORTH: {}})
        assert reports[NORTH].relay_on is north_on


def test_a_lost_reading_of_the_coldest_goes_first() -> None:
    """Unknown may be the worst."""
    lab = GateLab(TWO, heat_power_max_w=200.0)
    reports = lab.frame_ticks(18, {SOUTH: {"coldest_c": -9.0}, NORTH: {"coldest_c": None, "air": (lost(),)}})
    assert reports[NORTH].relay_on


def test_turns_go_by_the_frames_own_time() -> None:
    """A turn lasts 15 min by the monotonic clock of the evidence."""
    lab = GateLab(TWO, heat_power_max_w=200.0, start_s=5000.0)
    lab.frame_ticks(18, {SOUTH: {"coldest_c": 0.0}, NORTH: {}})
    assert lab.frame_ticks(89, {SOUTH: {"coldest_c": 0.0}, NORTH: {}})[SOUTH].relay_on
    assert lab.frame_ticks(1, {SOUTH: {"coldest_c": 0.0}, NORTH: {}})[NORTH].relay_on
    assert math.isclose(lab.now_s, 5000.0 + 1080.0)
