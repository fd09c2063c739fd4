"""The picture as a watcher: what it remembers of a run, and the file that it leaves."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from controller.config.records import Settings
from controller.errors import StorageError
from controller.loop.results import TickResult
from controller.rehearse.contract import OpeningNow
from controller.rehearse.field import FrameMoment
from controller.rehearse.picture import DAYS_MAX, WinterPicture
from controller.rehearse.pictureink import SHEET_BEGINS
from controller.rehearse.probes import FaultKind, ProbeFault
from controller.rehearse.run import Moment, Rehearsal
from controller.vocabulary import FrameName, Kind, NoticeEvent, Place, Urgency
from tests.controller.rehearse.lab import SOUTH, START, HysteresisKeeper, example, plan

STOOD = OpeningNow(name="shut", area_m2=0.0, height_m=0.0)
NORTH = FrameName("north")


def frame(
    air_c: float = 5.0,
    outside_c: float = 1.0,
    heated_s: float = 0.0,
    opening: str = "shut",
    covering: str = "",
) -> FrameMoment:
    return FrameMoment({"air": air_c, "outside": outside_c, "bed": 6.0}, heated_s, opening, covering, STOOD)


def moment(
    utc: datetime,
    frames: Mapping[FrameName, FrameMoment] | None = None,
    *notices: NoticeEvent,
    dt_s: float = 3600.0,
) -> Moment:
    return Moment(utc, dt_s, frames or {SOUTH: frame()}, TickResult(seq=1, frames={}, notices=notices))


def notice(urgency: Urgency, event: str = "raised", of: str = "south") -> NoticeEvent:
    return NoticeEvent(
        notice_id="n1",
        event=event,
        code="frost_in_frame",
        kind=Kind.FROST,
        urgency=urgency,
        frame=FrameName(of),
        text="",
    )


def in_zone(zone: str) -> Settings:
    settings = example()
    return replace(settings, site=replace(settings.site, zone=zone))


def two_frames() -> Settings:
    settings = example()
    south = settings.frames[SOUTH]
    return replace(settings, frames={SOUTH: south, NORTH: replace(south, name=NORTH)})


def hours(from_utc: datetime, count: int) -> Iterator[datetime]:
    """The ends of so many hours."""
    return (from_utc + timedelta(hours=hour + 1) for hour in range(count))


def test_a_real_run_is_remembered_day_by_day() -> None:
    """Lows, highs, heat and covers are those that the moments themselves add up to."""
    rehearsal = Rehearsal(plan(days=3, grower="attentive"), HysteresisKeeper)
    picture, moments = WinterPicture(rehearsal.plan), []
    for each in rehearsal.moments():
        picture.add(each)
        moments.append(each)
    days = picture.winters[SOUTH].days
    assert [day.day for day in days] == [date(2027, 2, 5), date(2027, 2, 6), date(2027, 2, 7)]
    for number, day in enumerate(days):
        of_day = [each.frames[SOUTH] for each in moments[number * 1440 : (number + 1) * 1440]]
        assert day.air_low_c == min(each.true_c["air"] for each in of_day)
        assert day.air_high_c == max(each.true_c["air"] for each in of_day)
        assert day.outside_low_c == min(each.true_c["outside"] for each in of_day)
        assert day.outside_high_c == max(each.true_c["outside"] for each in of_day)
        assert day.heated_s == sum(each.heated_s for each in of_day)
        assert day.open_s == 60.0 * sum(each.opening != "shut" for each in of_day)
        assert day.laid_s == 60.0 * sum(each.covering != "" for each in of_day)
        assert day.frost_s == 60.0 * sum(each.true_c["air"] < 0.0 for each in of_day)
        assert day.below_keep_s == 60.0 * sum(each.true_c["air"] < 2.0 for each in of_day)
        assert day.warm_s == 60.0 * sum(each.true_c["air"] > 30.0 for each in of_day)
    assert picture.winters[SOUTH].heated_s > 0.0
    assert sum(day.open_s for day in days) > 0.0
    assert sum(day.laid_s for day in days) > 0.0


@pytest.mark.parametrize("zone", ["Europe/Dublin", "America/New_York", "Asia/Kolkata", "Pacific/Auckland"])
def test_days_are_those_of_the_sites_zone(zone: str) -> None:
    """Each record holds exactly what ended after its midnight and up to the next, clock changes included."""
    settings = in_zone(zone)
    picture = WinterPicture(plan(settings=settings))
    for index, utc in enumerate(hours(datetime(2027, 2, 5, tzinfo=UTC), 24 * 80)):
        picture.add(moment(utc, {SOUTH: frame(air_c=5.0 + index)}))
    seen: dict[date, list[float]] = {}
    for index, utc in enumerate(hours(datetime(2027, 2, 5, tzinfo=UTC), 24 * 80)):
        began = utc - timedelta(seconds=1)
        seen.setdefault(began.astimezone(ZoneInfo(zone)).date(), []).append(5.0 + index)
    assert {day.day: (day.air_low_c, day.air_high_c) for day in picture.winters[SOUTH].days} == {
        day: (min(air), max(air)) for day, air in seen.items()
    }
    assert max(map(len, seen.values())) == (25 if zone == "Pacific/Auckland" else 24)


def test_memory_goes_with_the_days_and_ends_at_a_bound(tmp_path: Path) -> None:
    """Beyond so many days nothing more is kept, and the picture says so."""
    picture = WinterPicture(plan(settings=two_frames()))
    for utc in hours(START, 24 * (DAYS_MAX + 3)):
        picture.add(moment(utc, {SOUTH: frame(), NORTH: frame()}))
    assert {len(winter.days) for winter in picture.winters.values()} == {DAYS_MAX}
    picture.write(tmp_path / "winter.svg")
    assert f"first {DAYS_MAX} days" in (tmp_path / "winter.svg").read_text(encoding="utf-8")


def test_urgent_notices_mark_their_day_and_frame() -> None:
    """Raised or worse with urgency now; the whole site's mark every frame; others mark nothing."""
    picture = WinterPicture(plan(settings=two_frames()))
    frames = {SOUTH: frame(), NORTH: frame()}
    first, second = START + timedelta(hours=5), START + timedelta(hours=30)
    picture.add(
        moment(first, frames, notice(Urgency.NOW), notice(Urgency.DAY), notice(Urgency.NOW, "cleared"))
    )
    picture.add(moment(second, frames, notice(Urgency.NOW, "worse"), notice(Urgency.NOW, of="")))
    assert [day.urgent for day in picture.winters[SOUTH].days] == [1, 2]
    assert [day.urgent for day in picture.winters[NORTH].days] == [0, 1]


def test_the_picture_is_one_whole_file_that_asks_for_nothing_else(tmp_path: Path) -> None:
    """Well-formed, with a title and a description, no script, no link but the name space."""
    path = tmp_path / "winter.svg"
    rehearsal = Rehearsal(plan(days=2), HysteresisKeeper)
    picture = WinterPicture(rehearsal.plan)
    for each in rehearsal.moments():
        picture.add(each)
    picture.write(path)
    text = path.read_text(encoding="utf-8")
    root = ET.fromstring(text)  # noqa: S314  # our own file
    said = [element.text or "" for element in root.iter() if element.tag.endswith("text")]
    assert root.find("{http://www.w3.org/2000/svg}title") is not None
    assert "5 to 6 February 2027" in said[0]
    assert "simulated frame" in " ".join(said)
    assert "seed 1" in " ".join(said)
    assert "Ended early" not in text
    assert text.startswith(SHEET_BEGINS)
    assert "schema 1" in SHEET_BEGINS
    assert text.count("http") == 1
    assert "<script" not in text
    assert "nan" not in text
    assert "inf" not in text
    assert list(tmp_path.iterdir()) == [path]


def test_the_same_seed_draws_the_same_bytes(tmp_path: Path) -> None:
    """And another one does not."""

    def drawn(seed: int) -> bytes:
        rehearsal = Rehearsal(plan(days=1, seed=seed, step_s=300.0), HysteresisKeeper)
        picture = WinterPicture(rehearsal.plan)
        for each in rehearsal.moments():
            picture.add(each)
        picture.write(tmp_path / "winter.svg")
        return (tmp_path / "winter.svg").read_bytes()

    assert drawn(1) == drawn(1)
    assert drawn(1) != drawn(2)


def test_an_interrupted_run_leaves_what_there_is_and_says_so(tmp_path: Path) -> None:
    picture = WinterPicture(plan(days=3))
    for utc in hours(START, 30):
        picture.add(moment(utc))
    picture.write(tmp_path / "winter.svg")
    text = (tmp_path / "winter.svg").read_text(encoding="utf-8")
    assert "Ended early, at 06:00 on 6 February." in text.replace("\N{NO-BREAK SPACE}", " ")


def test_a_run_that_never_began_leaves_a_sheet_that_says_so(tmp_path: Path) -> None:
    WinterPicture(plan()).write(tmp_path / "winter.svg")
    text = (tmp_path / "winter.svg").read_text(encoding="utf-8")
    assert "Nothing was rehearsed" in text
    ET.fromstring(text)  # noqa: S314  # our own file


def test_planted_mishaps_are_owned_up_to(tmp_path: Path) -> None:
    fault = ProbeFault(probe=example().frames[SOUTH].probes[Place.AIR], kind=FaultKind.CRC, from_s=0.0)
    picture = WinterPicture(plan(faults=[fault]))
    picture.add(moment(START + timedelta(hours=1)))
    picture.write(tmp_path / "winter.svg")
    assert "Planted: 1 mishap of probes." in (tmp_path / "winter.svg").read_text(encoding="utf-8")


def test_a_place_that_takes_no_file_is_said(tmp_path: Path) -> None:
    (tmp_path / "winter.svg").mkdir()
    with pytest.raises(StorageError, match=r"winter\.svg"):
        WinterPicture(plan()).write(tmp_path / "winter.svg")
