"""The planted mishap: where it goes, and that it owns up."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from controller.rehearse.invented import FORTNIGHT
from controller.rehearse.planted import plant
from controller.rehearse.probes import FaultKind
from controller.rehearse.span import Dates, invented_span
from controller.vocabulary import Place
from tests.controller.rehearse.lab import SOUTH, example


def test_it_falls_into_the_hardest_night_of_the_invented_fortnight() -> None:
    """From two to four in the morning before the coldest dawn, in the site's own time."""
    planted = plant(example())
    assert planted is not None
    zone = ZoneInfo(example().site.zone)
    begin_utc, _ = invented_span(Dates(), zone)
    out, back = (
        (begin_utc + timedelta(seconds=at_s)).astimezone(zone)
        for at_s in (planted.fault.from_s, planted.fault.until_s)
    )
    coldest = min(range(len(FORTNIGHT)), key=lambda index: FORTNIGHT[index].low_c)
    assert out == datetime(2027, 2, 1 + coldest, 2, tzinfo=zone)
    assert back - out == timedelta(hours=2)


def test_it_takes_a_probe_that_another_can_stand_in_for_and_says_so() -> None:
    """The front corner's, with a remark at either end that calls it planted."""
    planted = plant(example())
    assert planted is not None
    assert planted.fault.probe == example().frames[SOUTH].probes[Place.AIR]
    assert planted.fault.kind is FaultKind.ABSENT
    assert [remark.at_s for remark in planted.remarks] == [planted.fault.from_s, planted.fault.until_s]
    assert all("Planted" in remark.words for remark in planted.remarks)
    assert "planted" in planted.beforehand


def test_nothing_is_planted_where_one_probe_rules_alone() -> None:
    """A frame with one air probe is left in peace."""
    settings = example()
    frame = settings.frames[SOUTH]
    probes = {place: probe for place, probe in frame.probes.items() if place is not Place.AIR_SECOND}
    assert plant(replace(settings, frames={SOUTH: replace(frame, probes=probes)})) is None
