"""What is true in this tick that a person may have to hear of. Pure.

Common causes come first: a dead bus is told once, not once per probe.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

from controller.config.records import FrameSettings
from controller.loop.frame import FrameDecision
from controller.notices.words import LOCKOUT_WORDS, PLACE_WORDS, REASON_WORDS, REJECTION_WORDS
from controller.units import count_text
from controller.vocabulary import (
    AIR_PLACES,
    FULL_RESOLUTION_BITS,
    LOST_PROTECTION,
    ROOT_PLACES,
    SITE,
    Condition,
    HeatReason,
    HeatReport,
    LockoutCause,
    Place,
    Readings,
    Rejected,
    Sample,
    Urgency,
)

UNHEATED_SPARE_S = 60.0
"""A cold frame may wait for heat a rest of its relay and this long; then it is told, whatever the reason."""
UNHEATED_SHARED_S = 1200.0
"""The same where frames take turns with one supply: a turn and a little."""
OUTSIDE_LOST_S = 86400.0
"""A lost outside probe is shown only; after a day it is a day's matter."""
BELOW_KEEP_K = 0.5
"""Told when the coldest trusted air is this far below keep above; what the design allows itself."""


class FrameView(NamedTuple):
    """One frame at the end of its tick."""

    frame: FrameSettings
    readings: Readings
    decision: FrameDecision
    report: HeatReport
    keep_above_c: float
    rest_left_s: float
    unheated_s: float
    """For how long the frame has been cold with its relay off."""
    held_by: HeatReason | None
    """The refusal of the last ten minutes that does not end by itself."""
    now_s: float
    commission_gap: str
    """Why the frame does not count as commissioned; empty when it does."""


def frame_conditions(view: FrameView, say_c: Callable[[float], str]) -> list[Condition]:
    """Every condition of one frame; ``say_c`` writes a temperature in the owner's unit."""
    found = [*_frost(view, say_c), *_probes(view), *_heat(view)]
    if view.rest_left_s > 0:
        found += _rest(view, say_c)
    return found


def _frost(view: FrameView, say_c: Callable[[float], str]) -> Iterator[Condition]:
    basis = view.decision.basis
    name = view.frame.name
    if basis.frost_c is not None and basis.frost_c < view.keep_above_c - BELOW_KEEP_K:
        yield Condition(
            code="below_keep",
            frame=name,
            facts={
                "coldest": say_c(basis.frost_c),
                "against": f"below the {say_c(view.keep_above_c)} it should hold;"
                f" heat is {'on' if view.report.relay_on else 'off'}"
                if view.frame.heat is not None
                else "and has no heat",
            },
        )
    why = _unprotected_because(view)
    if why:
        yield Condition(
            code="unprotected",
            frame=name,
            facts={
                "why": why,
                "last": "No air probe can be read."
                if basis.frost_c is None or basis.stands_in
                else f"It is at {say_c(basis.frost_c)} now.",
            },
        )


def _unprotected_because(view: FrameView) -> str:
    """Why the frame has no protection though frost is likely; empty when it has, or needs none."""
    if not view.decision.frost_likely or view.frame.heat is None:
        return ""
    for reason in view.report.reasons:
        if reason in LOST_PROTECTION:
            return REASON_WORDS[reason]
    basis = view.decision.basis
    if basis.frost_c is None:
        return "no probe can be trusted"
    if basis.stands_in:
        return "no air probe can be trusted and the bed stands in for it"
    shared = HeatReason.OVER_BUDGET in view.report.reasons
    if view.unheated_s <= (UNHEATED_SHARED_S if shared else view.frame.heat.min_off_s + UNHEATED_SPARE_S):
        return ""
    named = view.held_by or next(iter(view.report.reasons), None)
    return "heat does not come on" if named is None else REASON_WORDS[named]


def _probes(view: FrameView) -> Iterator[Condition]:
    amiss = [
        (place, reading)
        for place, reading in view.readings.items()
        if isinstance(reading, Rejected) or reading.resolution_bits < FULL_RESOLUTION_BITS
    ]
    if not amiss:
        return
    rejected = [reading for _, reading in amiss if isinstance(reading, Rejected)]
    if len(rejected) == len(view.readings) > 1:
        since_s = max(reading.since_at_s for reading in rejected)
        yield Condition(
            code="bus_dead",
            frame=view.frame.name,
            facts={"minutes": max(1, round((view.now_s - since_s) / 60))},
        )
        return
    for place, reading in amiss:
        if isinstance(reading, Rejected):
            yield _lost_probe(view, place, reading, left=len(view.readings) - len(rejected))
        else:
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
        long_lost = view.now_s - reading.since_at_s > OUTSIDE_LOST_S
        facts["urgency"] = (Urgency.DAY if long_lost else Urgency.PAGE).value
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
            facts={
                "why": LOCKOUT_WORDS[report.lockout.cause],
                "detail": report.lockout.detail,
                "urgency": _lockout_urgency(view, report.lockout.cause).value,
            },
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


def _lockout_urgency(view: FrameView, cause: LockoutCause) -> Urgency:
    """A lockout is told at once; one that merely cannot be read can wait for the day while it is mild."""
    mild = cause is LockoutCause.UNREADABLE and not view.decision.frost_likely
    return Urgency.DAY if mild else Urgency.NOW


def _rest(view: FrameView, say_c: Callable[[float], str]) -> Iterator[Condition]:
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


def with_common_causes(conditions: list[Condition], frames: int) -> list[Condition]:
    """One dead bus is one notice of the site, however many frames hang on it."""
    if frames < 2 or not conditions:  # noqa: PLR2004  # one frame has nothing in common with another
        return conditions
    dead = [condition for condition in conditions if condition.code == "bus_dead"]
    if len(dead) < frames:
        return conditions
    names = " and ".join(condition.frame for condition in dead)
    rest = [condition for condition in conditions if condition.code != "bus_dead"]
    return [*rest, Condition(code="bus_dead_everywhere", frame=SITE, facts={**dead[0].facts, "names": names})]
