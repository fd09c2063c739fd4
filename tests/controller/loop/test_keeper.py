"""The whole tick: what comes of readings, contacts, clocks and orders, with the real judge and gate."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from controller.errors import CommandRejected, StorageError
from controller.loop.assemble import sample_interval_s
from controller.loop.bottom import bottom_heat_c
from controller.loop.orders import OrderDesk
from controller.loop.overlay import FrameOverlay, Overlay
from controller.record.rows import RecordHealth
from controller.sense.contacts import FrameContacts
from controller.vocabulary import HeatReason, Level, LockoutCause, Place, Rejected, Sample
from controller.wire import ReportCovering, ReportOpening, RestHeat, ResumeHeat, SetKeepAbove
from tests.controller.loop.keeperbed import COLD, MILD, NORTH, SOUTH, START_UTC_S, KeeperBed, settings_of

WARMING_UP_S = 240.0


@pytest.fixture
def bed(tmp_path: Path) -> KeeperBed:
    return KeeperBed(tmp_path)


def test_cold_air_is_heated_after_the_rest_and_mild_air_is_not(bed: KeeperBed) -> None:
    bed.build()
    assert not bed.run(170.0).relay_on
    assert bed.run(70.0).relay_on
    bed.set_c(MILD)
    assert not bed.run(600.0).relay_on
    assert bed.open_codes() <= {"below_keep"}


def test_the_coldest_trusted_air_rules_for_frost(bed: KeeperBed) -> None:
    """P26: one warm and one cold air probe: the cold one is believed for frost."""
    bed.build()
    bed.set_c({**MILD, Place.AIR_SECOND: 1.0})
    assert bed.run(600.0).relay_on


def test_without_air_probes_the_bed_rules_with_a_higher_aim(bed: KeeperBed) -> None:
    """P02: the aim is raised by a kelvin and the level says reduced."""
    bed.build()
    bed.lose(Place.AIR, Place.AIR_SECOND)
    bed.set_c({Place.BED: 2.5})
    report = bed.run(600.0)
    assert report.relay_on
    assert report.level is Level.REDUCED
    assert bed.last is not None
    assert bed.last.frames[SOUTH].aim_c == pytest.approx(3.0)


def test_a_calibration_offset_reaches_the_decision(bed: KeeperBed) -> None:
    offsets = dict.fromkeys(bed.settings.frames[SOUTH].probes.values(), 0.5)
    bed.build(offsets_k=offsets)
    bed.run(10.0)
    assert bed.last is not None
    air = bed.last.frames[SOUTH].readings[Place.AIR]
    assert isinstance(air, Sample)
    assert air.temp_c == pytest.approx(1.0)


def test_a_tick_keeps_its_own_readings(bed: KeeperBed) -> None:
    """What one tick found stays as it was while later ticks find something else."""
    bed.build()
    bed.run(10.0)
    first = bed.last
    bed.set_c(MILD)
    bed.run(30.0)
    assert first is not None
    assert bed.last is not None
    then, now = (tick.frames[SOUTH].readings[Place.AIR] for tick in (first, bed.last))
    assert isinstance(then, Sample)
    assert isinstance(now, Sample)
    assert (then.temp_c, now.temp_c) == (COLD[Place.AIR], MILD[Place.AIR])


def test_a_new_aim_rules_from_the_next_tick_on(bed: KeeperBed) -> None:
    """By order for the air, by the calendar for the bed, after ticks with the old ones."""
    keeper = bed.build()
    bed.set_c(MILD)
    assert not bed.run(WARMING_UP_S).heat_wanted
    keeper.parts.attendances[SOUTH].keep_above_c = MILD[Place.AIR] + 1.0
    assert bed.run(10.0).heat_wanted
    assert bed.last is not None
    assert bed.last.frames[SOUTH].aim_c == pytest.approx(MILD[Place.AIR] + 1.0)
    keeper.parts.attendances[SOUTH].keep_above_c = 2.0
    bed.run(WARMING_UP_S)
    keeper.parts.attendances[SOUTH].bed_keep_c = MILD[Place.BED] + 1.0
    bed.run(WARMING_UP_S)
    assert bed.last.frames[SOUTH].wish == "bed_below_aim"


def test_protection_lost_in_frost_is_told_within_a_minute(bed: KeeperBed) -> None:
    """I5: neither bed nor cable trusted while frost is possible."""
    bed.build()
    assert bed.run(WARMING_UP_S).relay_on
    bed.lose(Place.BED, Place.CABLE)
    report = bed.run(100.0)
    assert not report.relay_on
    assert ("raised", "unprotected", "now") in bed.told
    bed.find(Place.BED, Place.CABLE)
    assert bed.run(300.0).relay_on, "it comes back by itself"
    bed.run(900.0)
    assert bed.told.count(("cleared", "unprotected", "now")) == 1


def test_protection_lost_on_a_mild_day_is_a_matter_for_the_day(bed: KeeperBed) -> None:
    bed.set_c(MILD)
    bed.build()
    bed.lose(Place.BED, Place.CABLE)
    bed.run(600.0)
    assert "unprotected" not in bed.open_codes()
    assert {("raised", "probe_lost", "day")} == {each for each in bed.told if each[1] == "probe_lost"}


def test_blind_heat_needs_recorded_conditions_and_keeps_to_its_share(bed: KeeperBed) -> None:
    """P04, L2: with every probe lost in frost, blind heat runs at most 30 % of an hour; else none."""
    bed.build(blind_duty={SOUTH: True})
    bed.run(WARMING_UP_S)
    bed.lose(*COLD)
    bed.run(120.0)
    on_s = 0.0
    for _ in range(720):
        on_s += 10.0 * bed.run(10.0).relay_on
    assert 0.0 < on_s <= 0.30 * 7200.0 + 1e-6
    assert bed.report().level is Level.BLIND
    assert {"bus_dead", "unprotected"} <= bed.open_codes()


def test_every_probe_lost_without_those_conditions_means_off(bed: KeeperBed) -> None:
    bed.build()
    bed.run(WARMING_UP_S)
    bed.lose(*COLD)
    bed.run(600.0)
    assert not bed.report().relay_on
    assert HeatReason.NO_ROOT_READING in bed.report().reasons


def test_an_uncommissioned_frame_is_never_heated(tmp_path: Path) -> None:
    bed = KeeperBed(tmp_path)
    bed.build(commission_gaps={SOUTH: "the safety list has not been answered"})
    assert not bed.run(1200.0).relay_on
    assert {"not_commissioned", "unprotected"} <= bed.open_codes()


def test_the_stop_button_is_off_at_once_and_told(bed: KeeperBed) -> None:
    """R12: safety off never waits for the minimum on time."""
    bed.build()
    bed.run(WARMING_UP_S)
    bed.inputs.stop_pressed = True
    assert not bed.run(10.0).relay_on
    assert "stop_pressed" in bed.open_codes()
    bed.inputs.stop_pressed = False
    assert bed.run(400.0).relay_on


def test_a_cable_live_though_switched_off_locks_and_stays_locked_over_a_restart(tmp_path: Path) -> None:
    """R01: welded contact by feedback within a minute; the lock outlives the process."""
    bed = KeeperBed(tmp_path)
    bed.set_c(MILD)
    bed.inputs.frames = {SOUTH: FrameContacts(feedback_live=False)}
    bed.build()
    bed.run(WARMING_UP_S)
    bed.inputs.frames = {SOUTH: FrameContacts(feedback_live=True)}
    report = bed.run(60.0)
    assert report.lockout is not None
    assert report.lockout.cause is LockoutCause.LIVE_WHEN_OFF
    assert ("raised", "lockout", "now") in bed.told
    again = KeeperBed(tmp_path)
    again.build()
    report = again.run(600.0)
    assert not report.relay_on
    assert report.level is Level.LOCKED


def test_mains_lost_to_the_cable_is_told_at_once(bed: KeeperBed) -> None:
    """M09: the board runs, the cable's supply is gone."""
    bed.inputs.frames = {SOUTH: FrameContacts(supply_present=True)}
    bed.build()
    bed.run(WARMING_UP_S)
    bed.inputs.frames = {SOUTH: FrameContacts(supply_present=False)}
    assert not bed.run(60.0).relay_on
    assert {"supply_lost", "unprotected"} <= bed.open_codes()


def test_a_fault_in_one_frame_leaves_the_other_as_it_was(tmp_path: Path) -> None:
    """F01: B's wishes, verdicts and notices are those of a run without A's faults."""
    runs = []
    for faulty in (False, True):
        bed = KeeperBed(tmp_path / str(faulty), settings_of(frames=2))
        bed.build()
        seen = []
        for minute in range(40):
            if faulty and minute == 10:
                bed.lose(*[place for place in COLD if place is not Place.OUTSIDE])
            bed.run(60.0)
            report = bed.report(NORTH)
            assert bed.last is not None
            events = [event.code for event in bed.last.notices if event.frame == NORTH]
            seen.append((report.relay_on, report.level, report.reasons, events))
        runs.append(seen)
        assert bed.report(SOUTH).relay_on is not faulty
    assert runs[0] == runs[1]


def test_frames_share_a_power_budget_and_each_gets_its_turn(tmp_path: Path) -> None:
    """F04: the sum never passes the budget; both frames are served within an hour."""
    bed = KeeperBed(tmp_path, settings_of(frames=2, site="heat_power_max_w = 200"))
    bed.build()
    served = {SOUTH: 0, NORTH: 0}
    for _ in range(720):
        bed.run(10.0)
        on = [name for name in served if bed.report(name).relay_on]
        assert len(on) <= 1
        for name in on:
            served[name] += 1
    assert min(served.values()) > 60


def test_a_late_round_switches_off_and_is_told(bed: KeeperBed) -> None:
    """X06: beyond three periods heat is off until it is earned anew."""
    bed.build()
    assert bed.run(WARMING_UP_S).relay_on
    bed.clock.advance(50.0)
    assert not bed.run(10.0).relay_on
    assert HeatReason.LATE in bed.report().reasons
    assert "late" in bed.open_codes()
    assert bed.run(300.0).relay_on


def test_a_stepped_clock_is_recorded_told_and_leaves_heat_alone(bed: KeeperBed) -> None:
    bed.build()
    assert bed.run(WARMING_UP_S).relay_on
    for by_s in (86400.0, -2 * 86400.0, 30.0):
        bed.clock.step_wall(by_s)
        assert bed.run(10.0).relay_on
    steps = [event.detail["by_s"] for event in bed.recorder.events if event.what == "clock_stepped"]
    assert steps == [pytest.approx(86400.0), pytest.approx(-2 * 86400.0)], "a small slew is no step"


def test_rows_cover_the_time_without_gap_or_double_and_count_heat(bed: KeeperBed) -> None:
    """I7: one row a minute, spans add up, heat is counted by what was read back."""
    bed.build()
    on_s = sum(10.0 * bed.run(10.0).relay_on for _ in range(360))
    rows = bed.recorder.samples
    assert sum(row.span_s for row in rows) == pytest.approx(3600.0, abs=60.0)
    assert all(row.span_s == pytest.approx(60.0) for row in rows)
    assert sum(row.heat_on_s for row in rows) == pytest.approx(on_s, abs=60.0)
    seqs = [row.seq for row in [*rows, *bed.recorder.events]]
    assert len(set(seqs)) == len(seqs)
    assert rows[0].sixteenths[Place.AIR] == round(0.5 * 16)


def test_the_snapshot_says_what_is_true_with_ages_and_no_number_for_a_lost_probe(bed: KeeperBed) -> None:
    bed.build()
    bed.run(10.0)
    bed.lose(Place.BED)
    bed.run(WARMING_UP_S)
    document = json.loads(bed.folders.snapshot.read_bytes())
    frame = document["frames"]["south"]
    assert frame["readings"]["air"] == {"value": 0.5, "age_s": 0.0}
    assert frame["readings"]["bed"] == {"rejected": "absent"}
    assert frame["heat"]["relay_on"] is True
    assert document["schema"] == 1
    assert {"boot_id", "seq", "mono_s", "utc", "utc_confirmed"} <= set(document)
    assert any(notice["code"] == "probe_lost" for notice in document["notices"])


def test_trouble_with_the_record_is_told_and_harms_nothing(bed: KeeperBed) -> None:
    """INV-3: not recording is a notice, not a reason to stop controlling."""
    bed.build()
    bed.recorder.state = RecordHealth(
        recording=False, detail="disk full", pending=9, dropped=0, set_aside=None
    )
    assert bed.run(WARMING_UP_S).relay_on
    assert "not_recording" in bed.open_codes()
    bed.recorder.state = RecordHealth(recording=True, detail="", pending=0, dropped=0, set_aside="old-1")
    bed.run(600.0)
    assert "not_recording" not in bed.open_codes()
    assert "record_set_aside" in bed.open_codes()


def test_a_snapshot_that_cannot_be_written_harms_nothing(bed: KeeperBed) -> None:
    bed.build()
    bed.folders.snapshot.mkdir()
    assert bed.run(WARMING_UP_S).relay_on
    assert bed.keeper.parts.snapshots.detail


def test_what_was_reported_and_set_before_holds_after_a_restart(bed: KeeperBed) -> None:
    told = FrameOverlay(keep_above_c=4.0, opening="half", coverings=("mat",))
    bed.build(overlay=Overlay(frames={SOUTH: told}))
    bed.run(60.0)
    assert bed.last is not None
    frame = bed.last.frames[SOUTH]
    assert (frame.aim_c, frame.opening, frame.covering) == (4.0, "half", "mat")


def test_thinning_is_asked_for_once_a_day(bed: KeeperBed) -> None:
    bed.build()
    for _ in range(2 * 24):
        bed.clock.advance(3600.0)
        bed.keeper.tick()
    assert len(bed.recorder.thinned) == 2


def test_a_frame_without_heat_is_watched_and_never_driven(tmp_path: Path) -> None:
    settings = settings_of()
    cold = replace(settings.frames[SOUTH], heat=None)
    bed = KeeperBed(tmp_path, replace(settings, frames={SOUTH: cold}))
    bed.build()
    report = bed.run(1200.0)
    assert (report.relay_on, report.heat_wanted) == (False, False)
    assert not bed.factory.pins
    assert "not_commissioned" not in bed.open_codes()


@pytest.mark.parametrize(
    ("day", "expected"),
    [("02-19", None), ("02-20", 16.0), ("04-10", 16.0), ("04-11", None)],
)
def test_bottom_heat_runs_between_its_dates_in_the_sites_own_zone(day: str, expected: float | None) -> None:
    settings = settings_of(heat='[frame.south.heat.bottom]\nbed_keep_c = 16\nfrom = "02-20"\nto = "04-10"')
    from datetime import datetime  # noqa: PLC0415  # for this test alone
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    moment = datetime.fromisoformat(f"2026-{day}T00:30").replace(tzinfo=ZoneInfo("Europe/Dublin"))
    assert bottom_heat_c(settings, SOUTH, moment.timestamp()) == expected


def test_bottom_heat_may_run_over_the_new_year() -> None:
    settings = settings_of(heat='[frame.south.heat.bottom]\nbed_keep_c = 16\nfrom = "11-15"\nto = "02-01"')
    assert bottom_heat_c(settings, SOUTH, START_UTC_S) == 16.0
    assert bottom_heat_c(settings, SOUTH, START_UTC_S + 120 * 86400) is None


def test_bottom_heat_warms_the_bed_of_a_frame_that_is_not_cold(tmp_path: Path) -> None:
    heat = '[frame.south.heat.bottom]\nbed_keep_c = 16\nfrom = "01-01"\nto = "12-31"'
    bed = KeeperBed(tmp_path, settings_of(heat=heat))
    bed.set_c(MILD)
    bed.build()
    assert bed.run(WARMING_UP_S).relay_on
    bed.set_c({Place.BED: 17.0})
    assert not bed.run(900.0).relay_on


class TestOrders:
    """Commands: bounded, recorded, answered in words."""

    def desk(self, bed: KeeperBed, *, failing: bool = False) -> OrderDesk:
        def keep() -> None:
            if failing:
                raise StorageError("the card is full")

        return OrderDesk(bed.build(), keep)

    def test_a_rest_ends_by_itself_and_warns_in_frost(self, bed: KeeperBed) -> None:
        """W12, W13."""
        desk = self.desk(bed)
        assert bed.run(WARMING_UP_S).relay_on
        assert "rests for 10 minutes" in desk.take(RestHeat(frame="south", for_s=600.0), 1000)
        assert not bed.run(10.0).relay_on
        assert {"heat_rested", "rested_in_frost"} <= bed.open_codes()
        assert bed.run(900.0).relay_on
        assert "heat_rested" not in bed.open_codes()

    def test_a_rest_can_be_ended_early(self, bed: KeeperBed) -> None:
        desk = self.desk(bed)
        bed.run(WARMING_UP_S)
        desk.take(RestHeat(frame="south", for_s=7200.0), 0)
        bed.run(60.0)
        desk.take(ResumeHeat(frame="south"), 0)
        assert bed.run(300.0).relay_on

    def test_what_is_reported_is_kept_shown_and_recorded(self, bed: KeeperBed) -> None:
        desk = self.desk(bed)
        desk.take(ReportOpening(frame="south", opening="half"), 7)
        desk.take(ReportCovering(frame="south", coverings=["mat"]), 7)
        desk.take(SetKeepAbove(frame="south", keep_above_c=5.0), 7)
        bed.run(10.0)
        assert bed.last is not None
        frame = bed.last.frames[SOUTH]
        assert (frame.opening, frame.covering, frame.aim_c) == ("half", "mat", 5.0)
        commands = [event.detail for event in bed.recorder.events if event.what == "command"]
        assert [detail["uid"] for detail in commands] == [7, 7, 7]

    @pytest.mark.parametrize(
        "order",
        [
            ReportOpening(frame="south", opening="ajar"),
            ReportOpening(frame="east", opening="shut"),
            ReportCovering(frame="south", coverings=["fleece"]),
            ReportCovering(frame="south", coverings=["mat", "mat"]),
        ],
    )
    def test_what_does_not_exist_is_refused_and_changes_nothing(
        self, bed: KeeperBed, order: ReportOpening | ReportCovering
    ) -> None:
        desk = self.desk(bed)
        with pytest.raises(CommandRejected):
            desk.take(order, 0)
        attendance = bed.keeper.parts.attendances[SOUTH]
        assert (attendance.opening, attendance.coverings) == ("shut", ())

    def test_an_order_that_cannot_be_stored_is_done_and_says_so(self, bed: KeeperBed) -> None:
        answer = self.desk(bed, failing=True).take(SetKeepAbove(frame="south", keep_above_c=5.0), 0)
        assert "until the next restart only" in answer


def test_a_probe_that_reads_coarsely_is_told_and_used(bed: KeeperBed) -> None:
    """P18: 9-bit readings still count."""
    from controller.sense.scratchpad import Scratchpad, encode_scratchpad  # noqa: PLC0415  # for this test alone

    bed.build()
    air = bed.settings.frames[SOUTH].probes[Place.AIR]
    del bed.probes.temps[air]
    for _ in range(90):
        bed.probes.raws[air] = Scratchpad(data=encode_scratchpad(0.5, 9), taken_at_s=bed.clock.mono_s() + 10)
        bed.run(10.0)
    assert "probe_coarse" in bed.open_codes()
    assert bed.report().relay_on


def test_readings_before_the_first_are_rejected_not_zero(bed: KeeperBed) -> None:
    bed.probes.temps.clear()
    bed.build()
    bed.run(10.0)
    assert bed.last is not None
    assert all(isinstance(reading, Rejected) for reading in bed.last.frames[SOUTH].readings.values())


def test_a_contact_that_cannot_be_read_is_told(bed: KeeperBed) -> None:
    bed.build()
    bed.inputs.faults = ("stop button: cannot be read (EIO); taken as a broken wire",)
    bed.run(60.0)
    assert "contact_unreadable" in bed.open_codes()


def test_the_cover_switch_is_published(bed: KeeperBed) -> None:
    bed.inputs.frames = {SOUTH: FrameContacts(covers_shut=False)}
    bed.build()
    bed.run(10.0)
    assert (
        json.loads(bed.folders.snapshot.read_bytes())["frames"]["south"]["contacts"]["covers_shut"] is False
    )


def test_a_cold_frame_that_is_not_heated_is_told_whatever_the_reason(bed: KeeperBed) -> None:
    """I5: a cable at its limit holds heat off; the frame freezes, and somebody hears of it."""
    bed.build()
    bed.run(WARMING_UP_S)
    for cable_c in (12.0, 18.0, 24.0, 30.0, 36.0, 42.0, 46.0):
        bed.set_c({Place.CABLE: cable_c})
        bed.run(60.0)
    bed.told.clear()
    bed.set_c({Place.AIR: -1.0, Place.AIR_SECOND: -0.5})
    bed.run(300.0)
    assert HeatReason.CABLE_TOO_WARM in bed.report().reasons
    assert ("raised", "unprotected", "now") in bed.told
    (text,) = [event.text for event in bed.keeper.open_notices if event.code == "unprotected"]
    assert "the cable is at its limit" in text


@pytest.mark.parametrize("loose", [(Place.BED, Place.CABLE), tuple(COLD)], ids=["bed and cable", "all"])
def test_loose_leads_that_flicker_are_told_though_each_loss_is_short(
    bed: KeeperBed, loose: tuple[Place, ...]
) -> None:
    """Fifty seconds lost, ten good: permission is never earned, and that must be heard."""
    bed.build()
    bed.run(WARMING_UP_S)
    heated_s = 0.0
    for _ in range(60):
        bed.lose(*loose)
        heated_s += sum(10.0 * bed.run(10.0).relay_on for _ in range(5))
        bed.find(*loose)
        heated_s += 10.0 * bed.run(10.0).relay_on
    assert heated_s < 0.2 * 3600.0
    assert ("raised", "unprotected", "now") in bed.told
    assert bed.told.count(("raised", "unprotected", "now")) == 1, "one fault, one notice"


@pytest.mark.parametrize("flicker", ["supply_present", "cut_out_closed", "stop"])
def test_a_flickering_contact_is_told(bed: KeeperBed, flicker: str) -> None:
    good = FrameContacts(supply_present=True, cut_out_closed=True)
    bed.inputs.frames, bed.inputs.stop_pressed = {SOUTH: good}, False
    bed.build()
    bed.run(WARMING_UP_S)
    for _ in range(60):
        if flicker == "stop":
            bed.inputs.stop_pressed = True
        else:
            bed.inputs.frames = {SOUTH: replace(good, **{flicker: False})}
        bed.run(10.0)
        bed.inputs.frames, bed.inputs.stop_pressed = {SOUTH: good}, False
        bed.run(20.0)
    assert ("raised", "unprotected", "now") in bed.told


def test_without_air_a_warm_bed_does_not_hide_the_frost(bed: KeeperBed) -> None:
    """The bed holds the day's warmth; with frost outside and no air probe, somebody must look."""
    bed.set_c({Place.BED: 6.0, Place.OUTSIDE: -8.0})
    bed.build()
    bed.run(WARMING_UP_S)
    bed.lose(Place.AIR, Place.AIR_SECOND)
    bed.run(120.0)
    assert ("raised", "unprotected", "now") in bed.told
    (text,) = [event.text for event in bed.keeper.open_notices if event.code == "unprotected"]
    assert "No air probe can be read." in text


def test_a_notice_that_stays_open_keeps_to_the_truth(bed: KeeperBed) -> None:
    """Its words follow the facts, without a new event for each change."""
    bed.build(commission_gaps={SOUTH: "the safety list has not been answered"})
    bed.run(120.0)
    bed.set_c({Place.AIR: -2.0})
    bed.run(60.0)
    (text,) = [event.text for event in bed.keeper.open_notices if event.code == "unprotected"]
    assert "−2.0 °C" in text
    assert [each for each in bed.told if each[1] == "unprotected"] == [("raised", "unprotected", "now")]


def test_an_outside_probe_lost_for_a_day_is_a_days_matter(tmp_path: Path) -> None:
    """P03."""
    bed = KeeperBed(tmp_path, tick_s=60.0)
    bed.set_c(MILD)
    bed.build()
    bed.run(600.0)
    bed.lose(Place.OUTSIDE)
    bed.run(3600.0)
    assert ("raised", "probe_lost", "page") in bed.told
    bed.run(86400.0)
    assert ("worse", "probe_lost", "day") in bed.told


def test_one_dead_bus_is_one_notice_however_many_frames_hang_on_it(tmp_path: Path) -> None:
    """F05."""
    bed = KeeperBed(tmp_path, settings_of(frames=2))
    bed.build()
    bed.run(WARMING_UP_S)
    for name in (SOUTH, NORTH):
        bed.lose(*COLD, name=name)
    bed.run(300.0)
    codes = [code for what, code, _ in bed.told if what == "raised"]
    assert codes.count("bus_dead_everywhere") == 1
    assert "bus_dead" not in codes
    assert "probe_lost" not in codes


def test_many_probes_on_one_bus_may_take_longer_than_a_quick_tick() -> None:
    """Nine probes take seven seconds a round: at a tick of two none of them may count as stale for that."""
    assert sample_interval_s(settings_of(frames=2, site="tick_s = 2"), 2.0) == pytest.approx(9 * 0.8)
    assert sample_interval_s(settings_of(), 10.0) == 10.0


def test_notices_outlive_changed_settings(tmp_path: Path) -> None:
    """I6: a new run on changed settings does not tell everything again, and still clears what ends."""
    bed = KeeperBed(tmp_path)
    bed.build(commission_gaps={SOUTH: "the safety list has not been answered"})
    bed.run(300.0)
    assert ("raised", "not_commissioned", "day") in bed.told
    bed.told.clear()
    bed.keeper.parts.gate.close()
    bed.build(notices=bed.keeper.notices)
    bed.run(300.0)
    assert not [each for each in bed.told if each[0] == "raised"]
    bed.keeper.parts.gate.close()
    bed.build(notices=bed.keeper.notices, commission_gaps={})
    bed.run(900.0)
    assert ("cleared", "not_commissioned", "day") in bed.told
