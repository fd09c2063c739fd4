"""The keeper: one complete tick over every frame, on one thread.

probes → samples → step → gate → pins → notices → record → snapshot → watchdog, in that order.
A failure to record or to publish never reaches the control above it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from controller.config.records import Settings
from controller.heat.limits import LATE_TICKS
from controller.heat.relays import RelayGate
from controller.loop.attendance import NO_HEAT_REPORT, Attendance, Stamp
from controller.loop.bottom import bottom_heat_c
from controller.loop.calendar import DAY_TURNS, THIN_HISTORY, Calendar
from controller.loop.clock import Clock, StepWatch
from controller.loop.conditions import FrameView, frame_conditions, with_common_causes
from controller.loop.frame import FrameDecision, FrameInputs
from controller.loop.publish import frame_document, snapshot_document
from controller.loop.results import FrameTick, TickResult
from controller.loop.site import SiteHealth
from controller.loop.supervisor import Supervisor
from controller.notices.life import FRESH, NoticeMemory, Words, step_notices
from controller.notices.words import notice_words, over_words
from controller.record.rows import EventRow, Json, Recorder
from controller.record.snapshot import SnapshotWriter
from controller.sense.contacts import BoardState
from controller.sense.probes import ProbeSource
from controller.sense.scratchpad import RawReading
from controller.units import temperature_text
from controller.vocabulary import SITE, Condition, FrameName, HeatReport, NoticeEvent, ProbeId

WORDS = Words(raised=notice_words, over=over_words)


class ContactSource(Protocol):
    """The optional contacts: feedback, supply, cut-out, covers, stop."""

    def read(self) -> BoardState:
        """All contacts now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeeperParts:
    """Everything a keeper is built from; nothing in it knows whether it is real or rehearsed."""

    settings: Settings
    clock: Clock
    probes: ProbeSource
    board: ContactSource
    gate: RelayGate
    recorder: Recorder
    snapshots: SnapshotWriter
    calendar: Calendar
    supervisor: Supervisor
    site: SiteHealth
    attendances: Mapping[FrameName, Attendance]
    boot_id: str
    tick_s: float
    notices: NoticeMemory = FRESH
    """Notices of the run before, when changed settings led to this one."""


@dataclass(slots=True)
class _Round:
    """One tick while it is being made."""

    stamp: Stamp
    dt_s: float
    late: bool
    decisions: dict[FrameName, FrameDecision] = field(default_factory=dict)
    reports: Mapping[FrameName, HeatReport] = field(default_factory=dict)
    views: dict[FrameName, FrameView] = field(default_factory=dict)
    events: tuple[NoticeEvent, ...] = ()


class Keeper:
    """Owns the pins and the tick; ``tick`` may be called at any pace."""

    def __init__(self, parts: KeeperParts) -> None:
        """Take the parts; nothing is driven before the first tick but off."""
        self.parts = parts
        self.notices = parts.notices
        """Every notice that is not over; handed on when changed settings start a new run."""
        self._steps = StepWatch()
        self._last_at_s: float | None = None
        self._seq = parts.recorder.first_seq()
        self._tick_count = 0
        self._id_prefix = f"n{self._seq}"
        self._heated = frozenset(
            name for name, frame in parts.settings.frames.items() if frame.heat is not None
        )
        self._say_c = lambda temp_c: temperature_text(temp_c, parts.settings.site.units)
        self._day_turns(parts.clock.utc_s())
        self.note("started", {"frames": list(parts.settings.frames)})

    @property
    def open_notices(self) -> tuple[NoticeEvent, ...]:
        """Notices told and not over, most urgent first."""
        return self.notices.open()

    def tick(self) -> TickResult:
        """Do one complete round; raises only what the process must not survive."""
        raws = self.parts.probes.latest()  # before the clock is read, so that no reading is from the future
        self._tick_count += 1
        this = self._begin()
        self._sense_and_decide(this, raws)
        this.reports = self.parts.gate.apply(
            {name: decision.evidence for name, decision in this.decisions.items() if name in self._heated}
        )
        for name, report in this.reports.items():
            self.parts.attendances[name].note_heat(
                report, cold=this.decisions[name].cold, now_s=this.stamp.mono_s
            )
        self._tell(this)
        self._record(this)
        self._publish(this)
        result = self._result(this)
        self.parts.supervisor.feed()
        return result

    def note(self, what: str, detail: Mapping[str, Json], frame: FrameName = SITE) -> None:
        """Record an event of the keeper's own."""
        clock = self.parts.clock
        self._add_event(self._stamp(clock.mono_s(), clock.utc_s()), what, detail, frame)

    def _begin(self) -> _Round:
        clock = self.parts.clock
        now_s, utc_s = clock.mono_s(), clock.utc_s()
        last_at_s, self._last_at_s = self._last_at_s, now_s
        dt_s = 0.0 if last_at_s is None else now_s - last_at_s
        late = dt_s > LATE_TICKS * self.parts.tick_s
        if late:
            self.parts.site.note_late(now_s, dt_s - self.parts.tick_s)
        this = _Round(stamp=self._stamp(now_s, utc_s), dt_s=dt_s, late=late)
        self.parts.site.confirmed = this.stamp.utc_confirmed
        step_s = self._steps.step_s(mono_s=now_s, utc_s=utc_s)
        if step_s:
            self.parts.site.note_clock_step(now_s, step_s)
            self.parts.calendar.restart()
            self._add_event(this.stamp, "clock_stepped", {"by_s": round(step_s, 1)})
            self._day_turns(utc_s)
        for job in self.parts.calendar.due(utc_s):
            self._run_job(job, this.stamp)
        return this

    def _run_job(self, job: str, stamp: Stamp) -> None:
        if job == DAY_TURNS:
            self._day_turns(stamp.utc_s)
        elif job == THIN_HISTORY:
            self.parts.recorder.request_thinning(now_utc_s=stamp.utc_s, utc_confirmed=stamp.utc_confirmed)

    def _day_turns(self, utc_s: float) -> None:
        for name, attendance in self.parts.attendances.items():
            attendance.bed_keep_c = bottom_heat_c(self.parts.settings, name, utc_s)

    def _sense_and_decide(self, this: _Round, raws: Mapping[ProbeId, RawReading]) -> None:
        board = self.parts.board.read()
        self.parts.site.contact_faults = board.faults
        now_s = this.stamp.mono_s
        for name, attendance in self.parts.attendances.items():
            attendance.sense(raws, now_s)
            wired = board.frames.get(name)
            attendance.contacts = wired
            this.decisions[name] = attendance.decide(
                FrameInputs(
                    now_s=now_s,
                    late=this.late,
                    commissioned=not attendance.commission_gap,
                    keep_above_c=attendance.keep_above_c,
                    bed_keep_c=attendance.bed_keep_c,
                    relay_on=attendance.relay_on,
                    rest_until_s=attendance.rest_until_s,
                    feedback_live=None if wired is None else wired.feedback_live,
                    supply_present=None if wired is None else wired.supply_present,
                    cut_out_closed=None if wired is None else wired.cut_out_closed,
                    stop_pressed=board.stop_pressed,
                )
            )

    def _tell(self, this: _Round) -> None:
        conditions: list[Condition] = self.parts.site.conditions(this.stamp.mono_s)
        for name in self.parts.attendances:
            view = this.views[name] = self._view(name, this)
            conditions += frame_conditions(view, self._say_c)
        conditions = with_common_causes(conditions, len(self.parts.attendances))
        self.notices, this.events = step_notices(
            self.notices, conditions, this.stamp.mono_s, WORDS, id_prefix=self._id_prefix
        )

    def _view(self, name: FrameName, this: _Round) -> FrameView:
        attendance, now_s = self.parts.attendances[name], this.stamp.mono_s
        return FrameView(
            frame=attendance.frame,
            readings=attendance.readings,
            decision=this.decisions[name],
            report=this.reports.get(name, NO_HEAT_REPORT),
            keep_above_c=attendance.keep_above_c,
            rest_left_s=attendance.rest_left_s(now_s),
            unheated_s=attendance.unheated_s(now_s),
            held_by=attendance.recently_held_by(now_s),
            now_s=now_s,
            commission_gap=attendance.commission_gap if name in self._heated else "",
        )

    def _record(self, this: _Round) -> None:
        for event in this.events:
            self._add_event(this.stamp, "notice", notice_detail(event), event.frame)
        for name, attendance in self.parts.attendances.items():
            report = this.reports.get(name, NO_HEAT_REPORT)
            attendance.count(report, this.dt_s)
            if attendance.row_due(this.stamp.mono_s):
                self.parts.recorder.add_sample(attendance.row(report, this.stamp, self._seq))
                self._seq += 1
        self.parts.site.note_record(self.parts.recorder.health())

    def _publish(self, this: _Round) -> None:
        snapshots, stamp = self.parts.snapshots, this.stamp
        if not snapshots.due(stamp.mono_s):
            return
        snapshots.write(
            snapshot_document(
                self.parts.settings,
                stamp,
                tick_count=self._tick_count,
                notices=self.open_notices,
                record=self.parts.site.record_document(),
                frames={
                    name: frame_document(view, self.parts.attendances[name])
                    for name, view in this.views.items()
                },
            ),
            now_s=stamp.mono_s,
        )
        self.parts.site.publish_fault = snapshots.detail

    def _result(self, this: _Round) -> TickResult:
        return TickResult(
            seq=this.stamp.seq,
            frames={
                name: FrameTick(
                    readings=attendance.readings,
                    report=this.reports.get(name, NO_HEAT_REPORT),
                    aim_c=this.decisions[name].wish.aim_c,
                    wish=this.decisions[name].wish.why,
                    opening=attendance.opening,
                    covering="+".join(attendance.coverings),
                )
                for name, attendance in self.parts.attendances.items()
            },
            notices=this.events,
        )

    def _stamp(self, mono_s: float, utc_s: float) -> Stamp:
        return Stamp(
            seq=self._seq,
            boot_id=self.parts.boot_id,
            mono_s=mono_s,
            utc_s=utc_s,
            utc_confirmed=self.parts.clock.utc_confirmed(),
        )

    def _add_event(
        self, stamp: Stamp, what: str, detail: Mapping[str, Json], frame: FrameName = SITE
    ) -> None:
        self.parts.recorder.add_event(
            EventRow(
                seq=self._seq,
                boot_id=stamp.boot_id,
                mono_s=stamp.mono_s,
                utc_s=stamp.utc_s,
                utc_confirmed=stamp.utc_confirmed,
                frame=frame,
                what=what,
                detail=detail,
            )
        )
        self._seq += 1


def notice_detail(event: NoticeEvent) -> Mapping[str, Json]:
    """A notice's step as the record keeps it beside the frame; ``ask`` only where it asks something."""
    detail: dict[str, Json] = {
        "id": event.notice_id,
        "event": event.event,
        "code": event.code,
        "kind": event.kind.value,
        "urgency": event.urgency.value,
        "text": event.text,
    }
    if event.ask is not None:
        laid = event.ask.laid
        detail["ask"] = {"opening": event.ask.opening, "laid": None if laid is None else list(laid)}
    return detail
