"""The health of the whole board, gathered tick by tick and turned into conditions."""

from __future__ import annotations

from dataclasses import dataclass, field

from controller.loop.conditions import site_condition
from controller.loop.starts import CRASH_LOOP_STARTS, REPEATED_STARTS, StartCount
from controller.record.rows import RecordHealth
from controller.units import count_text
from controller.vocabulary import Condition, Urgency

_HOUR_S = 3600.0
CLOCK_STEP_TOLD_S = 300.0
"""Smaller steps of the wall clock are recorded but not told."""
NEWS_LASTS_S = 60.0
"""For how long something that happened once counts as true, before it starts to be over."""


@dataclass(slots=True)
class SiteHealth:
    """Standing facts and passing ones; the keeper's one thread owns it."""

    started_at_s: float
    guarded: bool
    starts: StartCount
    settings_faults: tuple[str, ...] = ()
    """Why the settings file is not in use, when it is not."""
    settings_waiting: bool = False
    """A changed file passed, but the last changes were taken too lately."""
    settings_copy_fault: str = ""
    """Why the settings in use could not be copied for the next start."""
    settings_taken: bool = False
    """This run began because a changed settings file passed."""
    state_remarks: tuple[str, ...] = ()
    """What of the stored state could not be used, one sentence each."""
    socket_fault: str = ""
    """Why commands cannot reach the keeper."""
    publish_fault: str = ""
    """Why the snapshot could not be written in the last tick."""
    contact_faults: tuple[str, ...] = ()
    """Inputs that could not be read in the last tick."""
    confirmed: bool = True
    _late: tuple[float, float] | None = None
    _stepped: tuple[float, float] | None = None
    _record: RecordHealth | None = field(default=None)

    def note_late(self, now_s: float, lateness_s: float) -> None:
        """A round began ``lateness_s`` after it was due."""
        self._late = (now_s, lateness_s)

    def note_clock_step(self, now_s: float, by_s: float) -> None:
        """The wall clock was set by ``by_s``."""
        self._stepped = (now_s, by_s)

    def note_record(self, health: RecordHealth) -> None:
        """How recording goes."""
        self._record = health

    def record_document(self) -> dict[str, object]:
        """The record's health for the snapshot."""
        health = self._record
        if health is None:
            return {"recording": False, "detail": "not started", "pending": 0}
        return {"recording": health.recording, "detail": health.detail, "pending": health.pending}

    def conditions(self, now_s: float) -> list[Condition]:
        """Every condition of the whole board at this tick."""
        found = self._passing(now_s)
        if not self.guarded:
            found.append(site_condition("unguarded"))
        if not self.confirmed:
            hours = round((now_s - self.started_at_s) / _HOUR_S)
            found.append(site_condition("clock_unconfirmed", hours=hours))
        if self.settings_faults:
            found.append(
                site_condition(
                    "settings_refused",
                    count=count_text(len(self.settings_faults), "fault"),
                    detail=self.settings_faults[0],
                )
            )
        if self.settings_waiting:
            found.append(site_condition("settings_waiting"))
        if self.settings_copy_fault:
            found.append(site_condition("settings_copy_lost", detail=self.settings_copy_fault))
        if self.socket_fault:
            found.append(site_condition("not_listening", detail=self.socket_fault))
        if self.publish_fault:
            found.append(site_condition("not_publishing", detail=self.publish_fault))
        found.extend(
            site_condition("stored_state_lost", detail=remark, place=remark) for remark in self.state_remarks
        )
        found.extend(
            site_condition("contact_unreadable", detail=fault, place=fault) for fault in self.contact_faults
        )
        found.extend(self._recording())
        return found

    def _recording(self) -> list[Condition]:
        health = self._record
        if health is None:
            return []
        found = []
        if not health.recording:
            found.append(site_condition("not_recording", detail=health.detail))
        if health.set_aside is not None:
            found.append(site_condition("record_set_aside", detail=health.set_aside))
        return found

    def _passing(self, now_s: float) -> list[Condition]:
        """What happened once and fades."""
        found = []
        if self._late is not None and now_s - self._late[0] < NEWS_LASTS_S:
            found.append(site_condition("late", lateness_s=round(self._late[1])))
        if (
            self._stepped is not None
            and abs(self._stepped[1]) > CLOCK_STEP_TOLD_S
            and now_s - self._stepped[0] < NEWS_LASTS_S
        ):
            way, minutes = "forward" if self._stepped[1] > 0 else "back", round(abs(self._stepped[1]) / 60)
            found.append(site_condition("clock_stepped", way=way, minutes=minutes))
        if now_s - self.started_at_s < NEWS_LASTS_S:
            found.extend(self._start_news())
        return found

    def _start_news(self) -> list[Condition]:
        found = []
        if self.settings_taken:
            found.append(site_condition("settings_taken"))
        if self.starts.unclean_in_hour > CRASH_LOOP_STARTS:
            found.append(site_condition("crash_loop", count=self.starts.unclean_in_hour))
        elif self.starts.last_was_unclean:
            urgency = Urgency.DAY if self.starts.unclean_in_day >= REPEATED_STARTS else Urgency.PAGE
            often = f"{count_text(max(1, self.starts.unclean_in_day), 'time')} within a day"
            found.append(site_condition("restarted", count=often, urgency=urgency.value))
        return found
