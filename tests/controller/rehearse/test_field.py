"""The field: people's deeds reach the covers, their words reach the keeper, and the two may differ."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.config.records import CoveringSettings
from controller.rehearse.field import Field, opening_now
from controller.rehearse.grower import Stand
from controller.rehearse.plan import Plan
from controller.vocabulary import Ask, Kind, NoticeEvent, Urgency
from controller.wire import Order, ReportCovering, ReportOpening
from tests.controller.rehearse.lab import SOUTH, example, plan

MAT = CoveringSettings(name="mat", r_m2k_w=0.3)
FLEECE = CoveringSettings(name="fleece", r_m2k_w=0.05)


def with_coverings(given: Plan) -> Plan:
    settings = example()
    frame = replace(settings.frames[SOUTH], coverings=(MAT, FLEECE))
    return replace(given, settings=replace(settings, frames={SOUTH: frame}))


def days_of(field: Field, days: float, told: dict[int, NoticeEvent] | None = None) -> list[tuple[int, Order]]:
    """Reports by the minute of the run; ``told`` pushes a notice at a minute."""
    reports = []
    for minute in range(1, round(days * 1440) + 1):
        field.step(60.0, {})
        notices = [told[minute]] if told and minute in told else []
        reports += [(minute, order) for order in field.visit(notices)]
    return reports


def push(ask: Ask, minute: int) -> dict[int, NoticeEvent]:
    notice = NoticeEvent(
        notice_id="n1",
        event="pushed",
        code="any",
        kind=Kind.OPEN,
        urgency=Urgency.DAY,
        frame=SOUTH,
        text="",
        ask=ask,
    )
    return {minute: notice}


def test_what_is_asked_for_is_done_in_ten_minutes_and_reported() -> None:
    """At noon: both covers and coverings, in words and in truth."""
    field = Field(with_coverings(plan(grower="attentive")))
    reports = days_of(field, 12.2 / 24, push(Ask(opening="crack", laid=("fleece",)), 12 * 60))
    assert [order for minute, order in reports if minute == 12 * 60 + 10] == [
        ReportOpening(frame=SOUTH, opening="crack"),
        ReportCovering(frame=SOUTH, coverings=["fleece"]),
    ]
    frame = field.frames[SOUTH]
    assert (frame.stood.name, frame.stood.covering_r_m2k_w, frame.covering) == ("crack", 0.05, "fleece")


def test_a_slip_is_reported_and_the_covers_stay() -> None:
    """Said done, not done: every report, no change."""
    field = Field(with_coverings(plan(days=2.0, grower="attentive", slip_frac=1.0)))
    assert days_of(field, 1.0)
    assert field.frames[SOUTH].stand == Stand(opening=0, laid=())


def test_mats_lie_at_night_and_are_off_by_day() -> None:
    """An attentive grower in frosty weather: on at nightfall, off in the morning, told each time."""
    field = Field(with_coverings(plan(days=2.0, grower="attentive")))
    reports = [order for _, order in days_of(field, 2.0) if isinstance(order, ReportCovering)]
    assert [order.coverings for order in reports[:2]] == [["mat", "fleece"], []]


def test_two_growers_tend_one_frame() -> None:
    """Attentive and absent together do what attentive does; busy alone comes at other times."""
    alone = days_of(Field(plan(grower="attentive")), 1.0)
    together = days_of(Field(replace(plan(), growers=("attentive", "absent"))), 1.0)
    busy = days_of(Field(plan(grower="busy")), 1.0)
    assert together == alone != busy


def test_coverings_lie_on_each_other() -> None:
    """Their resistances add up; the opening's own area and height go with it."""
    frame = with_coverings(plan()).settings.frames[SOUTH]
    stood = opening_now(frame, Stand(opening=1, laid=("mat", "fleece")))
    assert stood.covering_r_m2k_w == pytest.approx(0.35)
    assert (stood.area_m2, stood.height_m) == (frame.openings[1].area_m2, frame.openings[1].height_m)


def test_a_frame_that_nobody_names_is_unheated() -> None:
    """Heat comes only where it is said."""
    warm, cold = Field(plan()), Field(plan())
    for _ in range(120):
        heated = warm.step(60.0, {SOUTH: True})
        unheated = cold.step(60.0, {})
    assert (heated[SOUTH].heated_s, unheated[SOUTH].heated_s) == (60.0, 0.0)
    assert heated[SOUTH].true_c["cable"] > unheated[SOUTH].true_c["cable"] + 3.0
