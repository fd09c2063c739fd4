"""The board's own health, and what a start makes of the starts before it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from controller.loop.calibration_file import load_calibration
from controller.loop.site import SiteHealth
from controller.loop.starts import StartCount, StartLog
from controller.notices.words import notice_words, over_words
from controller.record.rows import RecordHealth

CLEAN = StartCount(last_was_unclean=False, unclean_in_hour=0, unclean_in_day=0)


def codes(site: SiteHealth, now_s: float) -> set[str]:
    return {condition.code for condition in site.conditions(now_s)}


def test_a_well_guarded_board_has_nothing_to_say() -> None:
    assert codes(SiteHealth(started_at_s=0.0, guarded=True, starts=CLEAN), 1000.0) == set()


def test_standing_faults_stand_until_mended() -> None:
    site = SiteHealth(
        started_at_s=0.0, guarded=False, starts=CLEAN, settings_faults=("a", "b"), state_remarks=("x", "y")
    )
    for now_s in (0.0, 1e6):
        assert codes(site, now_s) == {"unguarded", "settings_refused", "stored_state_lost"}
    assert len(site.conditions(0.0)) == 4
    site.settings_faults = ()
    assert "settings_refused" not in codes(site, 0.0)


def test_an_unconfirmed_clock_counts_its_hours() -> None:
    """C03."""
    site = SiteHealth(started_at_s=0.0, guarded=True, starts=CLEAN, confirmed=False)
    (condition,) = site.conditions(7 * 3600.0)
    assert (condition.code, condition.facts["hours"]) == ("clock_unconfirmed", 7)


def test_small_clock_steps_are_not_told() -> None:
    """C01: told from five minutes on."""
    site = SiteHealth(started_at_s=-1000.0, guarded=True, starts=CLEAN)
    site.note_clock_step(0.0, 299.0)
    assert codes(site, 1.0) == set()
    site.note_clock_step(0.0, -301.0)
    assert codes(site, 1.0) == {"clock_stepped"}
    assert codes(site, 61.0) == set()


@pytest.mark.parametrize(
    ("starts", "expected"),
    [
        (CLEAN, set()),
        (StartCount(last_was_unclean=True, unclean_in_hour=1, unclean_in_day=1), {("restarted", "page")}),
        (StartCount(last_was_unclean=True, unclean_in_hour=1, unclean_in_day=3), {("restarted", "day")}),
        (StartCount(last_was_unclean=True, unclean_in_hour=6, unclean_in_day=6), {("crash_loop", None)}),
    ],
)
def test_unclean_ends_are_told_by_how_often(
    starts: StartCount, expected: set[tuple[str, str | None]]
) -> None:
    """R13, X01: once on the page, a day's matter from three a day, at once beyond five an hour."""
    site = SiteHealth(started_at_s=0.0, guarded=True, starts=starts)
    found = {(each.code, each.facts.get("urgency")) for each in site.conditions(1.0)}
    assert found == expected
    assert codes(site, 100.0) == set(), "said at the start only"


def test_a_clean_stop_is_not_counted_and_a_crash_is(tmp_path: Path) -> None:
    path = tmp_path / "starts.json"
    first = StartLog(path)
    assert first.note_start(1000.0) == CLEAN
    first.note_stop()
    assert StartLog(path).note_start(2000.0) == CLEAN
    assert StartLog(path).note_start(3000.0) == StartCount(
        last_was_unclean=True, unclean_in_hour=1, unclean_in_day=1
    )
    assert StartLog(path).note_start(3000.0 + 4000.0).unclean_in_hour == 0 + 0
    assert StartLog(path).note_start(3000.0 + 4001.0).unclean_in_day == 3


def test_the_list_of_starts_is_bounded_and_survives_rubbish(tmp_path: Path) -> None:
    path = tmp_path / "starts.json"
    for number in range(200):
        StartLog(path).note_start(float(number))
    assert len(json.loads(path.read_text())["starts"]) <= 60
    for rubbish in (b"", b"{", b"[]", b'{"starts": [1]}', b"\xff"):
        path.write_bytes(rubbish)
        assert StartLog(path).note_start(5.0) == CLEAN


def test_a_folder_that_takes_no_file_does_not_stop_a_start(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    assert StartLog(tmp_path / "file" / "starts.json").note_start(1.0) == CLEAN


def test_what_a_damaged_file_says_makes_a_sentence(tmp_path: Path) -> None:
    """The remark of a real damaged file, read as a person would."""
    (tmp_path / "calibration.json").write_text("{")
    faults = load_calibration(tmp_path / "calibration.json").faults
    site = SiteHealth(started_at_s=0.0, guarded=True, starts=CLEAN, state_remarks=faults)
    (condition,) = site.conditions(1e6)
    assert notice_words(condition) == f"Look at what was stored: {faults[0]}."


def test_a_copy_that_could_not_be_kept_and_a_state_not_published_are_told() -> None:
    site = SiteHealth(started_at_s=0.0, guarded=True, starts=CLEAN, settings_copy_fault="disk full")
    site.publish_fault = "no such folder"
    site.socket_fault = "path too long"
    site.settings_waiting = True
    assert codes(site, 1e6) == {
        "settings_copy_lost",
        "not_publishing",
        "not_listening",
        "settings_waiting",
    }


def test_every_site_notice_finds_its_facts() -> None:
    """No notice of the site can fail for want of a fact."""
    site = SiteHealth(
        started_at_s=0.0,
        guarded=False,
        starts=StartCount(last_was_unclean=True, unclean_in_hour=1, unclean_in_day=1),
        settings_faults=("a",),
        settings_copy_fault="b",
        settings_taken=True,
        state_remarks=("c",),
        contact_faults=("d",),
        confirmed=False,
        publish_fault="e",
    )
    site.note_late(0.0, 21.0)
    site.note_clock_step(0.0, -3600.0)
    site.note_record(RecordHealth(recording=False, detail="f", pending=1, dropped=0, set_aside="g"))
    told = {condition.code: notice_words(condition) for condition in site.conditions(1.0)}
    assert len(told) == 13, "one of each of the site's own"
    assert told["clock_stepped"] == (
        "Nothing to do: the clock was set back by 60 min. Heat does not depend on it."
    )
    assert "came 21 s late" in told["late"]
    assert "without a clean stop, 1 time within a day" in told["restarted"]
    assert all(over_words(condition) for condition in site.conditions(1.0))
