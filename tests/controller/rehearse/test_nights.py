"""Nights as rows: when they begin and end, and the same frame without its heat."""

from __future__ import annotations

import copy
from dataclasses import replace
from datetime import date, timedelta

import pytest

from controller.rehearse.nights import NightRow, NightWatch
from controller.rehearse.run import Moment, Rehearsal
from controller.vocabulary import FrameName
from tests.controller.rehearse.lab import LONGITUDE_DEG, SOUTH, START, HysteresisKeeper, plan

SOLAR = timedelta(hours=LONGITUDE_DEG / 15.0)


def watched(**changes: object) -> tuple[list[NightRow], list[Moment], Rehearsal]:
    rehearsal = Rehearsal(plan(**changes), HysteresisKeeper)  # type: ignore[arg-type]  # a test's own words
    rows: list[NightRow] = []
    watch = NightWatch(rehearsal.field, rows.append)
    moments = []
    for moment in rehearsal.moments():
        watch.add(moment)
        moments.append(moment)
    return rows, moments, rehearsal


def test_a_night_is_solar_15_to_9_and_named_by_its_dusk() -> None:
    """Three days from midnight hold two whole nights; the actuals are the minima between the hours."""
    rows, moments, _ = watched(days=3.0)
    assert [row.night for row in rows] == [date(2027, 2, 5), date(2027, 2, 6)]
    for row in rows:
        dusk = START.replace(day=row.night.day) + timedelta(hours=15) - SOLAR
        within = [m for m in moments if dusk <= m.utc <= dusk + timedelta(hours=18, seconds=60)]
        assert row.outside_actual_c == min(m.frames[SOUTH].true_c["outside"] for m in within)
        assert row.frame_actual_c == min(m.frames[SOUTH].true_c["air"] for m in within)
        heated_s = sum(m.frames[SOUTH].heated_s for m in within[1:])
        assert row.heat_h * 3600.0 == pytest.approx(heated_s, abs=60.0)


def test_without_its_heat_the_frame_is_colder_on_a_night_that_was_heated() -> None:
    """And never warmer; the outside has nothing to do with it."""
    rows, _, _ = watched(days=3.0)
    assert all(row.heat_h > 0.5 for row in rows)
    assert all(row.frame_unheated_actual_c < row.frame_actual_c for row in rows)
    assert min(row.frame_unheated_actual_c - row.frame_actual_c for row in rows) < -0.5
    assert all(row.outside_actual_c < row.frame_unheated_actual_c for row in rows)


def test_the_unheated_frame_is_that_of_a_run_without_heat() -> None:
    """Against a copy advanced minute by minute, unheated, from the same dusk: to the last digit."""
    rehearsal = Rehearsal(plan(days=1.8, grower="attentive"), HysteresisKeeper)
    rows: list[NightRow] = []
    watch = NightWatch(rehearsal.field, rows.append)
    dusk = START + timedelta(hours=15) - SOLAR
    fine, coldest_c = None, 99.0
    for moment in rehearsal.moments():
        watch.add(moment)
        if fine is not None and not rows:
            weather = rehearsal.plan.weather.mean_over(moment.utc - timedelta(seconds=60), 60.0)
            stood = moment.frames[SOUTH].stood
            coldest_c = min(coldest_c, fine.advance(60.0, weather, False, stood)["air"])  # noqa: FBT003  # seam
        if fine is None and moment.utc >= dusk:
            fine = copy.deepcopy(rehearsal.field.frames[SOUTH].stand_in)
    assert rows[0].frame_unheated_actual_c == coldest_c


def test_watching_changes_nothing_of_what_is_watched() -> None:
    """The same temperatures to the last digit with and without."""
    bare = [m.frames[SOUTH].true_c["air"] for m in Rehearsal(plan(days=2.0), HysteresisKeeper).moments()]
    assert [m.frames[SOUTH].true_c["air"] for m in watched(days=2.0)[1]] == bare


def test_a_night_that_the_run_does_not_hold_whole_leaves_no_row() -> None:
    """Half a day, or one that ends before nine: nothing."""
    assert watched(days=0.5)[0] == []
    assert watched(days=1.2)[0] == []


def test_every_frame_has_its_own_row() -> None:
    """Two frames: two rows a night."""
    given = plan(days=1.5)
    settings = given.settings
    north = FrameName("north")
    frames = {SOUTH: settings.frames[SOUTH], north: replace(settings.frames[SOUTH], name=north, heat=None)}
    both = replace(settings, frames=frames, tables=dict.fromkeys(frames, settings.tables[SOUTH]))
    rows, _, _ = watched(days=1.5, settings=both)
    assert [row.frame for row in rows] == [SOUTH, north]
