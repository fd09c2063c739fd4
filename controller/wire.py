"""What crosses a process border: commands in, snapshot out. Pure.

A command is one JSON line of at most 4096 bytes::

    {"v": 1, "id": "a1", "expires_s": 30, "cmd": "rest_heat", "args": {"frame": "south", "for_s": 600}}

and is answered by ``{"id": "a1", "ok": true, "reason": "…"}``.
``expires_s`` is how long the order may wait. A sender that adds ``sent_at_s``, the machine's monotonic
clock when it sent the line, has it refused once it has waited longer.
Nothing here can clear a lockout, name a pin or lift a ceiling.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from controller.errors import CommandRejected
from controller.vocabulary import HeatReport, NoticeEvent, Readings, Sample

WIRE_VERSION = 1
SNAPSHOT_SCHEMA = 1
COMMAND_BYTES_MAX = 4096
REST_HEAT_S_MAX = 7200.0
"""Longest time for which a person may hold heat off by one command."""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


_Name = Annotated[str, Field(min_length=1, max_length=64)]


class ReportOpening(_Strict):
    """Where the covers stand now."""

    cmd: Literal["report_opening"] = "report_opening"
    frame: _Name
    opening: _Name


class ReportCovering(_Strict):
    """What lies over the covers now; an empty list means nothing."""

    cmd: Literal["report_covering"] = "report_covering"
    frame: _Name
    coverings: Annotated[list[_Name], Field(max_length=8)]


class SetKeepAbove(_Strict):
    """The air temperature that the frame must not fall below."""

    cmd: Literal["set_keep_above"] = "set_keep_above"
    frame: _Name
    keep_above_c: float
    """Bounded as in the settings file, by whoever takes the order."""


class RestHeat(_Strict):
    """Hold heat off for a while; ends by itself and at every restart."""

    cmd: Literal["rest_heat"] = "rest_heat"
    frame: _Name
    for_s: Annotated[float, Field(gt=0, le=REST_HEAT_S_MAX)]


class ResumeHeat(_Strict):
    """End a rest early."""

    cmd: Literal["resume_heat"] = "resume_heat"
    frame: _Name


Order = ReportOpening | ReportCovering | SetKeepAbove | RestHeat | ResumeHeat


class Command(_Strict):
    """One command as it crossed the socket."""

    v: Literal[1]
    id: Annotated[str, Field(min_length=1, max_length=64)]
    expires_s: Annotated[float, Field(gt=0, le=3600)]
    sent_at_s: float | None = None
    cmd: str
    args: Mapping[str, object]


_ORDER = TypeAdapter[Order](Annotated[Order, Field(discriminator="cmd")])


def parse_command(line: bytes) -> tuple[Command, Order]:
    """Read one line; raises CommandRejected with a reason that names what is wrong."""
    if len(line) > COMMAND_BYTES_MAX:
        raise CommandRejected(f"a command has at most {COMMAND_BYTES_MAX} bytes")
    try:
        document = json.loads(
            line.decode("utf-8"), parse_constant=refuse_constant, object_pairs_hook=_refuse_twice
        )
    except (ValueError, RecursionError) as error:
        raise CommandRejected(f"not one JSON object in UTF-8: {error}") from error
    try:
        command = Command.model_validate(document)
        order = _ORDER.validate_python({**command.args, "cmd": command.cmd})
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise CommandRejected(f"{where or 'command'}: {first['msg']}") from error
    return command, order


def is_expired(command: Command, now_s: float) -> bool:
    """Whether the order has waited too long, or claims to come from the future.

    ``now_s`` is the machine's own monotonic clock, never a rehearsal's.
    """
    return command.sent_at_s is not None and not 0.0 <= now_s - command.sent_at_s <= command.expires_s


def answer(command_id: str, *, ok: bool, reason: str) -> bytes:
    """The line that goes back."""
    return json.dumps({"id": command_id, "ok": ok, "reason": reason}).encode() + b"\n"


def reading_documents(readings: Readings, now_s: float) -> dict[str, dict[str, object]]:
    """Each place as ``{value, age_s}`` or ``{rejected}``; a rejected place shows no number."""
    return {
        place.value: (
            {"value": round(reading.temp_c, 4), "age_s": round(max(0.0, now_s - reading.taken_at_s), 1)}
            if isinstance(reading, Sample)
            else {"rejected": reading.reason.value}
        )
        for place, reading in readings.items()
    }


def heat_document(report: HeatReport) -> dict[str, object]:
    """One frame's heat as the gate reported it."""
    lockout = report.lockout
    return {
        "wanted": report.heat_wanted,
        "allowed": report.heat_allowed,
        "relay_on": report.relay_on,
        "level": int(report.level),
        "reasons": [reason.value for reason in report.reasons],
        "switch_on_count": report.switch_on_count,
        "isolated": report.isolated,
        "lockout": None
        if lockout is None
        else {"cause": lockout.cause.value, "detail": lockout.detail, "raised_utc": lockout.raised_utc},
    }


def notice_documents(open_notices: Iterable[NoticeEvent]) -> list[dict[str, str]]:
    """Open notices in the order given."""
    return [
        {
            "id": notice.notice_id,
            "code": notice.code,
            "kind": notice.kind.value,
            "urgency": notice.urgency.value,
            "frame": notice.frame,
            "text": notice.text,
        }
        for notice in open_notices
    ]


def refuse_constant(token: str) -> float:
    """For ``json.loads``: JSON has no NaN and no infinity, and a text that says so is not ours."""
    raise ValueError(f"{token} is not JSON")


def _refuse_twice(pairs: list[tuple[str, object]]) -> dict[str, object]:
    document = dict(pairs)
    if len(document) != len(pairs):
        raise ValueError("a key stands twice")
    return document
