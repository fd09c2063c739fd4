"""Calendar jobs: each due at most once, whatever the clock does."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from controller.loop.calendar import DAY_TURNS, THIN_HISTORY, BoardCalendar, RehearsalCalendar, job_triggers

START = datetime(2026, 10, 24, 22, 0, tzinfo=UTC)


def test_a_rehearsed_day_turns_each_hour_and_thins_once() -> None:
    """C05: the night of the clock change has no missing or doubled job, since all run in UTC."""
    calendar = RehearsalCalendar()
    due: list[str] = []
    for minute in range(24 * 60 * 2):
        due += calendar.due((START + timedelta(minutes=minute)).timestamp())
    assert due.count(DAY_TURNS) == 48
    assert due.count(THIN_HISTORY) == 2


def test_a_jump_of_180_days_makes_each_job_due_once() -> None:
    """C01: no burst after a winter's jump."""
    calendar = RehearsalCalendar()
    calendar.due(START.timestamp())
    due = calendar.due((START + timedelta(days=180)).timestamp())
    assert sorted(due) == sorted([DAY_TURNS, THIN_HISTORY])
    assert calendar.due((START + timedelta(days=180, seconds=1)).timestamp()) == ()


def test_after_a_step_back_a_restart_plans_anew() -> None:
    """C02: without the restart the job would wait until the old time comes round again."""
    calendar = RehearsalCalendar()
    calendar.due(START.timestamp())
    earlier = START - timedelta(days=1)
    calendar.restart()
    calendar.due(earlier.timestamp())
    assert DAY_TURNS in calendar.due((earlier + timedelta(hours=1, minutes=1)).timestamp())


def test_the_boards_scheduler_only_names_what_is_due() -> None:
    calendar = BoardCalendar()
    try:
        assert calendar.due(0.0) == ()
        calendar._due.put(DAY_TURNS)
        calendar._due.put(DAY_TURNS)
        assert calendar.due(0.0) == (DAY_TURNS,)
        calendar.restart()
        planned = {job.id: job.next_run_time for job in calendar._scheduler.get_jobs()}
        assert set(planned) == set(job_triggers())
        assert all(at is not None and at.utcoffset() == timedelta(0) for at in planned.values())
    finally:
        calendar.close()
