"""What is true now, laid out for other processes: the snapshot's document. Pure.

``utc`` is ISO 8601 for people; ``mono_s`` is the machine's monotonic clock, which every process of
the same boot shares. ``seq`` counts the keeper's ticks.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

from controller.config.records import Settings
from controller.loop.attendance import Attendance, Stamp
from controller.loop.conditions import FrameView
from controller.vocabulary import NoticeEvent
from controller.wire import SNAPSHOT_SCHEMA, heat_document, notice_documents, reading_documents


def snapshot_document(
    settings: Settings,
    stamp: Stamp,
    *,
    tick_count: int,
    notices: tuple[NoticeEvent, ...],
    record: Mapping[str, object],
    frames: Mapping[str, object],
) -> dict[str, object]:
    """The whole document."""
    return {
        "schema": SNAPSHOT_SCHEMA,
        "boot_id": stamp.boot_id,
        "seq": tick_count,
        "mono_s": stamp.mono_s,
        "utc": utc_text(stamp.utc_s),
        "utc_confirmed": stamp.utc_confirmed,
        "site": settings.site.name,
        "notices": notice_documents(notices),
        "record": record,
        "frames": frames,
    }


def frame_document(view: FrameView, attendance: Attendance) -> dict[str, object]:
    """One frame's part of it."""
    heat, wish = view.frame.heat, view.decision.wish
    return {
        "readings": reading_documents(view.readings, view.now_s),
        "keep_above_c": view.keep_above_c,
        "aim_c": wish.aim_c,
        "wish": wish.why,
        "frost_likely": view.decision.frost_likely,
        "opening": attendance.opening,
        "contacts": _contacts(attendance),
        "coverings": list(attendance.coverings),
        "rest_left_s": view.rest_left_s,
        "heat": None if heat is None else heat_document(view.report),
        "limits": None
        if heat is None
        else {"air_max_c": heat.air_max_c, "root_max_c": heat.root_max_c, "cable_max_c": heat.cable_max_c},
    }


def _contacts(attendance: Attendance) -> dict[str, bool | None]:
    """Contacts as read; null where none is fitted."""
    contacts = attendance.contacts
    return {
        "covers_shut": None if contacts is None else contacts.covers_shut,
        "feedback_live": None if contacts is None else contacts.feedback_live,
        "supply_present": None if contacts is None else contacts.supply_present,
        "cut_out_closed": None if contacts is None else contacts.cut_out_closed,
    }


def utc_text(utc_s: float) -> str:
    """ISO 8601 to the second, with Z; a clock beyond all calendars reads as the nearest end of them."""
    bounded_s = min(max(utc_s, 0.0), 253402300799.0)
    return datetime.fromtimestamp(bounded_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
