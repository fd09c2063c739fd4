"""What is true in this tick that a person may have to hear of. Pure.

Common causes come first: a dead bus is told once, not once per probe.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from controller.config.records import FrameSettings
from controller.loop.frame import FrameDecision
from controller.notices.words import LOCKOUT_WORDS, PLACE_WORDS, REASON_WORDS, REJECTION_WORDS
from controller.units import count_text
from controller.vocabulary import (
    AIR_PLACES,
    ROOT_PLACES,
    SITE,
    Condition,
    HeatReason,
    HeatReport,
    Place,
    Readings,
    Rejected,
    Sample,
    Urgency,
)

BELOW_KEEP_K = 0.5
"""Told when the coldest trusted air is this far below keep above; what the design allows itself."""
COARSE_BITS = 12

LOST_PROTECTION = frozenset(
    {
        HeatReason.NOT_COMMISSIONED,
        HeatReason.LOCKED,
        HeatReason.STOP_PRESSED,
        HeatReason.NO_ROOT_READING,
        HeatReason.NO_GUARD_READING,
        HeatReason.NO_CABLE_READING,
        HeatReason.SUPPLY_LOST,
        HeatReason.CUT_OUT_OPEN,
        HeatReason.NO_RESPONSE,
        HeatReason.PIN_FAULT,
        HeatReason.BAD_EVIDENCE,
    }
)
"""Refusals that do not end by themselves within minutes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameView:
    """One frame at the end of its tick."""

    frame: FrameSettings
    readings: Readings
    decision: FrameDecision
    report: HeatReport
    keep_above_c: float
    rest_left_s: float
    now_s: float
    commission_gap: str
    """Why the frame does not count as commissioned; empty when it does."""


def frame_conditions(view: FrameView, say_c: Callable[[float], str]) -> Iterator[Condition]:
    """Every condition of one frame; ``say_c`` writes a temperature in the owner's unit."""
    yield from _frost(view, say_c)
    yield from _probes(view)
    yield from _heat(view)
    yield from _rest(view, say_c)


def _frost(view: FrameView, say_c: Callable[[float], str]) -> Iterator[Condition]:
    basis = view.decision.basis
    name = view.frame.name
    if basis.frost_c is not None and basis.frost_c < view.keep_above_c - BELOW_KEEP_K:
        yield Condition(
            code="below_keep",
            frame=name,
            facts={
                "coldest": say_c(basis.frost_c),
                "keep_above": say_c(view.keep_above_c),
                "heat": "on" if view.report.relay_on else "off",
            },
        )
    lost = [reason for reason in view.report.reasons if reason in LOST_PROTECTION]
    blind = basis.frost_c is None
    if view.decision.frost_likely and (lost or blind):
        yield Condition(
            code="unprotected",
            frame=name,
            facts={
                "why": REASON_WORDS[lost[0]] if lost else "no probe can be trusted",
                "last": "No probe inside can be read."
                if basis.frost_c is None
                else f"It is at {say_c(basis.frost_c)} now.",
            },
        )


def _probes(view: FrameView) -> Iterator[Condition]:
    rejected = {place: reading for place, reading in view.readings.items() if isinstance(reading, Rejected)}
    if rejected and len(rejected) == len(view.readings) and len(rejected) > 1:
        since_s = max(reading.since_at_s for reading in rejected.values())
        yield Condition(
            code="bus_dead",
            frame=view.frame.name,
            facts={"minutes": max(1, round((view.now_s - since_s) / 60))},
        )
        return
    for place, reading in view.readings.items():
        if isinstance(reading, Rejected):
            yield _lost_probe(view, place, reading, left=len(view.readings) - len(rejected))
        elif reading.resolution_bits < COARSE_BITS:
            yield Condition(
                code="probe_coarse",
                frame=view.frame.name,
                facts={"place": PLACE_WORDS[place], "bits": reading.resolution_bits},
            )


def _lost_probe(view: FrameView, place: Place, reading: Rejected, *, left: int) -> Condition:
    """One probe lost: a day's matter, at once where frost is possible and no other of its kind is left."""
    facts: dict[str, str | float] = {
        "place": PLACE_WORDS[place],
        "why": REJECTION_WORDS[reading.reason],
        "left": count_text(left, "probe"),
    }
    if place in (Place.OUTSIDE, Place.WALL):
        facts["urgency"] = Urgency.PAGE.value
    elif view.decision.frost_likely and not _kin_trusted(view.readings, place):
        facts["urgency"] = Urgency.NOW.value
    return Condition(code="probe_lost", frame=view.frame.name, facts=facts)


def _kin_trusted(readings: Readings, place: Place) -> bool:
    """Another probe of the same duty still answers."""
    kin = AIR_PLACES if place in AIR_PLACES else (*ROOT_PLACES, Place.CABLE)
    return any(isinstance(readings.get(other), Sample) for other in kin if other is not place)


def _heat(view: FrameView) -> Iterator[Condition]:
    report, name = view.report, view.frame.name
    reasons = report.reasons
    if report.lockout is not None:
        yield Condition(
            code="lockout",
            frame=name,
            facts={"why": LOCKOUT_WORDS[report.lockout.cause], "detail": report.lockout.detail},
        )
    if report.pin_fault:
        yield Condition(code="pin_fault", frame=name, facts={"detail": report.pin_fault})
    if HeatReason.NO_RESPONSE in reasons:
        yield Condition(code="no_response", frame=name)
    if HeatReason.SUPPLY_LOST in reasons:
        yield Condition(code="supply_lost", frame=name)
    if HeatReason.STOP_PRESSED in reasons:
        yield Condition(code="stop_pressed", frame=name)
    if view.commission_gap:
        yield Condition(code="not_commissioned", frame=name, facts={"why": view.commission_gap})


def _rest(view: FrameView, say_c: Callable[[float], str]) -> Iterator[Condition]:
    if view.rest_left_s <= 0:
        return
    minutes = max(1, round(view.rest_left_s / 60))
    yield Condition(code="heat_rested", frame=view.frame.name, facts={"minutes": minutes})
    coldest_c = view.decision.basis.frost_c
    if view.decision.frost_likely:
        yield Condition(
            code="rested_in_frost",
            frame=view.frame.name,
            facts={"minutes": minutes, "coldest": "unknown" if coldest_c is None else say_c(coldest_c)},
        )


def site_condition(code: str, **facts: str | float) -> Condition:
    """A condition of the whole site."""
    return Condition(code=code, frame=SITE, facts=facts)
