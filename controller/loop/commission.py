"""The record of commissioning: which frame's heat was checked, when, by which answers, with what wiring.

Heat waits for it. A frame whose wiring has changed since, or whose record cannot be read, counts as
not commissioned, and it is said what changed.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from controller.bounded_read import UnfitFile, read_bounded
from controller.config.records import FrameSettings, HeatSettings, Settings
from controller.durable import write_durably
from controller.errors import StorageError
from controller.folders import Folders
from controller.loop.safety_list import BLIND_DUTY_CODES, ESSENTIAL_CODES
from controller.vocabulary import FrameName, Place

SCHEMA = 1
_LARGEST_BYTES = 256 * 1024
_INSIDE_PLACES = (Place.AIR, Place.AIR_SECOND, Place.BED, Place.GUARD, Place.CABLE)
"""Probes on which the judge or the thermostat leans; outside and wall may be changed freely."""


class Commissioning(StrEnum):
    """Where a frame's commissioning stands."""

    DONE = "done"
    NEVER = "never"
    STALE = "stale"
    """The wiring is no longer the one that was checked."""
    UNREADABLE = "unreadable"


class FrameRecord(BaseModel):
    """What was recorded of one frame."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    date_utc: str = Field(pattern=r"^\d{4}-\d\d-\d\dT")
    answers: dict[str, bool]
    """By code of the safety list."""
    checks: dict[str, str]
    """What was seen: by probe place a reading, by relay what the person saw it do."""
    wiring: dict[str, str]
    fingerprint: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CommissionState:
    """One frame's commissioning against the settings of the day."""

    standing: Commissioning
    changed: tuple[str, ...] = ()
    """Keys whose wiring differs from the checked one."""
    date_utc: str = ""
    blind_duty: bool = False
    """Recorded: cable rated to run without pause and an independent cut-out fitted."""
    detail: str = ""

    @property
    def done(self) -> bool:
        """Heat may be earned."""
        return self.standing is Commissioning.DONE

    @property
    def gap(self) -> str:
        """Why heat is refused, in words; empty when it is not."""
        match self.standing:
            case Commissioning.DONE:
                return ""
            case Commissioning.NEVER:
                return "the safety list has not been answered"
            case Commissioning.STALE:
                return f"changed since it was checked: {', '.join(self.changed)}"
            case Commissioning.UNREADABLE:
                return self.detail


def wiring_of(heat: HeatSettings, frame: FrameSettings) -> Mapping[str, str]:
    """Everything that commissioning has checked by eye or hand, as plain words by settings key."""
    pins = heat.pins
    wiring: dict[str, object] = {
        "relay_pin": pins.relay,
        "relay_active_high": pins.relay_active_high,
        "isolating_pin": pins.isolating,
        "isolating_active_high": pins.isolating_active_high,
        "feedback_pin": pins.feedback,
        "supply_pin": pins.supply,
        "cut_out_pin": pins.cut_out,
        "lay": heat.lay.value,
        "power_w": heat.power_w,
        "cable_max_c": heat.cable_max_c,
    }
    for place in _INSIDE_PLACES:
        wiring[f"probe.{place}"] = frame.probes.get(place)
    return {key: "none" if found is None else str(found) for key, found in wiring.items()}


def fingerprint(record: Mapping[str, Any]) -> str:
    """SHA-256 over all of a record but the fingerprint itself, so that an edit by hand is seen."""
    covered = {key: found for key, found in record.items() if key != "fingerprint"}
    return hashlib.sha256(json.dumps(covered, sort_keys=True).encode()).hexdigest()


def commission_states(settings: Settings, folders: Folders) -> Mapping[FrameName, CommissionState]:
    """The standing of every frame that has heat."""
    heated = [name for name, frame in settings.frames.items() if frame.heat is not None]
    try:
        stored = _load(folders)
    except CommissionUnreadable as error:
        detail = f"{folders.commission}: {error}; run frameward commission again"
        return {name: CommissionState(standing=Commissioning.UNREADABLE, detail=detail) for name in heated}
    return {name: _state_of(settings.frames[name], stored.get(name)) for name in heated}


def stored_records(folders: Folders) -> Mapping[str, FrameRecord]:
    """Every record that can be read, also of frames that the settings no longer hold.

    Raises CommissionUnreadable where the file or any record in it cannot be used.
    """
    try:
        return {name: FrameRecord.model_validate(table) for name, table in _load(folders).items()}
    except ValidationError as error:
        raise CommissionUnreadable("a record in it is damaged") from error


def record_commission(
    folders: Folders,
    frame: FrameSettings,
    *,
    answers: Mapping[str, bool],
    checks: Mapping[str, str],
    date_utc: str,
) -> None:
    """Store one frame's record beside the others, durably.

    Raises ValueError for a frame without heat or an answer that heat cannot be allowed with, and
    StorageError when the disk will not take it. Records that cannot be read are dropped with it.
    """
    if frame.heat is None:
        raise ValueError(f"{frame.name} has no heat to commission")
    short = [code for code in ESSENTIAL_CODES if answers.get(code) is not True]
    if short:
        raise ValueError(f"{frame.name}: not answered with yes: {', '.join(short)}")
    try:
        tables = dict(_load(folders))
    except CommissionUnreadable:
        tables = {}
    covered = {
        "date_utc": date_utc,
        "answers": dict(answers),
        "checks": dict(checks),
        "wiring": dict(wiring_of(frame.heat, frame)),
    }
    record = FrameRecord.model_validate({**covered, "fingerprint": fingerprint(covered)})
    tables[frame.name] = record.model_dump()
    _store(folders, tables)


def withdraw_commission(folders: Folders, name: FrameName) -> bool:
    """Take one frame's record out, durably; False where there was none to take.

    A file that cannot be read allows no heat and is left as it is.
    Raises StorageError where the record still stands because the disk will not take the change.
    """
    try:
        tables = dict(_load(folders))
    except CommissionUnreadable:
        return False
    if tables.pop(name, None) is None:
        return False
    try:
        _store(folders, tables)
    except StorageError as error:
        raise StorageError(
            f"{error}; the earlier record of {name} still stands, so leave the mains plug out"
        ) from error
    return True


class CommissionUnreadable(ValueError):  # noqa: N818  # said of the file
    """The record cannot be used as a whole; the text says why."""


def _load(folders: Folders) -> dict[str, Any]:
    """The stored tables by frame, none where nothing was ever recorded."""
    try:
        document = json.loads(read_bounded(folders.commission, _LARGEST_BYTES).data)
    except FileNotFoundError:
        return {}
    except UnfitFile as error:
        raise CommissionUnreadable(str(error)) from error
    except (ValueError, RecursionError) as error:
        raise CommissionUnreadable("is not JSON") from error
    if not isinstance(document, dict) or document.get("schema") != SCHEMA:
        raise CommissionUnreadable(f"its schema is not {SCHEMA}")
    tables = document.get("frames")
    if not isinstance(tables, dict):
        raise CommissionUnreadable("it has no table of frames")
    return tables


def _store(folders: Folders, tables: Mapping[str, Any]) -> None:
    document = json.dumps({"schema": SCHEMA, "frames": tables}, indent=1, sort_keys=True)
    write_durably(folders.commission, f"{document}\n".encode())


def _state_of(frame: FrameSettings, table: object) -> CommissionState:
    if table is None or frame.heat is None:
        return CommissionState(standing=Commissioning.NEVER)
    try:
        record = FrameRecord.model_validate(table)
    except ValidationError:
        return _unreadable("its record is damaged")
    if record.fingerprint != fingerprint(record.model_dump()):
        return _unreadable("its record was changed by hand")
    if any(record.answers.get(code) is not True for code in ESSENTIAL_CODES):
        return _unreadable("its record lacks an answer that heat waits for")
    wiring = wiring_of(frame.heat, frame)
    changed = [key for key, now in wiring.items() if record.wiring.get(key) != now]
    changed += [key for key in record.wiring if key not in wiring]
    return CommissionState(
        standing=Commissioning.STALE if changed else Commissioning.DONE,
        changed=tuple(changed),
        date_utc=record.date_utc,
        blind_duty=not changed and all(record.answers.get(code) is True for code in BLIND_DUTY_CODES),
    )


def _unreadable(problem: str) -> CommissionState:
    return CommissionState(
        standing=Commissioning.UNREADABLE, detail=f"{problem}; run frameward commission again"
    )
