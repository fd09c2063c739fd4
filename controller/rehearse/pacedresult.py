"""What a keeper process published of one round, as the round's result. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from controller.loop.attendance import NO_HEAT_REPORT
from controller.loop.results import FrameTick, TickResult
from controller.vocabulary import (
    FrameName,
    HeatReason,
    HeatReport,
    Level,
    Lockout,
    LockoutCause,
    NoticeEvent,
    Place,
    Reading,
    Rejected,
    Rejection,
    Sample,
)


def tick_result(document: Mapping[str, Any], notices: Iterable[NoticeEvent]) -> TickResult:
    """The result of the round that this snapshot shows; ``notices`` are the events that it brought.

    ``seq`` counts rounds, since the record's own number is not published. A rejected reading counts from
    this instant.
    """
    now_s = float(document["mono_s"])
    return TickResult(
        seq=int(document["seq"]),
        frames={
            FrameName(name): _frame_tick(FrameName(name), frame, now_s)
            for name, frame in document["frames"].items()
        },
        notices=tuple(notices),
    )


def _frame_tick(name: FrameName, frame: Mapping[str, Any], now_s: float) -> FrameTick:
    return FrameTick(
        readings={Place(place): _reading(shown, now_s) for place, shown in frame["readings"].items()},
        report=NO_HEAT_REPORT if frame["heat"] is None else _heat_report(name, frame["heat"]),
        aim_c=float(frame["aim_c"]),
        wish=str(frame["wish"]),
        opening=str(frame["opening"]),
        covering="+".join(frame["coverings"]),
    )


def _reading(shown: Mapping[str, Any], now_s: float) -> Reading:
    if "value" in shown:
        return Sample(temp_c=float(shown["value"]), taken_at_s=now_s - float(shown["age_s"]))
    return Rejected(reason=Rejection(shown["rejected"]), since_at_s=now_s)


def _heat_report(name: FrameName, heat: Mapping[str, Any]) -> HeatReport:
    """Without the pin's own fault in words, which a notice tells."""
    return HeatReport(
        heat_wanted=bool(heat["wanted"]),
        heat_allowed=bool(heat["allowed"]),
        relay_on=bool(heat["relay_on"]),
        level=Level(heat["level"]),
        reasons=tuple(HeatReason(reason) for reason in heat["reasons"]),
        lockout=None if heat["lockout"] is None else _lockout(name, heat["lockout"]),
        switch_on_count=int(heat["switch_on_count"]),
        isolated=bool(heat["isolated"]),
    )


def _lockout(name: FrameName, lockout: Mapping[str, Any]) -> Lockout:
    return Lockout(
        frame=name,
        cause=LockoutCause(lockout["cause"]),
        detail=str(lockout["detail"]),
        raised_utc=str(lockout["raised_utc"]),
    )
