"""One frame as the keeper attends to it: its probes' memories, its state as reported, its row. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import InitVar, dataclass, field
from typing import NamedTuple

from controller.config.records import FrameSettings
from controller.loop.frame import (
    FrameDecision,
    FrameInputs,
    FrameMemory,
    fresh_frame,
    never_seen,
    step_frame,
)
from controller.record.rows import SIXTEENTHS_PER_K, SampleRow
from controller.sense.contacts import FrameContacts
from controller.sense.samples import ProbeMemory, SampleLimits, fresh_memory, judge_reading, limits_for
from controller.sense.scratchpad import RawReading
from controller.vocabulary import (
    LOST_PROTECTION,
    HeatReason,
    HeatReport,
    Level,
    Place,
    ProbeId,
    Reading,
    Readings,
    Sample,
)

HELD_BY_S = 600.0
"""For how long a refusal that comes and goes is named as the reason."""
ROW_SPAN_S = 60.0
"""One sample row stands for this long, or for one tick where the tick is longer."""

NO_HEAT_REPORT = HeatReport(
    heat_wanted=False, heat_allowed=False, relay_on=False, level=Level.NORMAL, reasons=()
)


class Stamp(NamedTuple):
    """When something was true, on every clock that matters."""

    seq: int
    boot_id: str
    mono_s: float
    utc_s: float
    utc_confirmed: bool


@dataclass(slots=True)
class Attendance:
    """Everything of one frame that lives from tick to tick; owned by the keeper's one thread."""

    frame: FrameSettings
    offsets_k: Mapping[ProbeId, float]
    now_s: InitVar[float]
    tick_s: InitVar[float]
    keep_above_c: float
    opening: str
    coverings: tuple[str, ...]
    rest_until_s: float | None = None
    bed_keep_c: float | None = None
    commission_gap: str = ""
    unheated_since_s: float | None = None
    """Cold, and the relay off, without a break since then; None when not."""
    held_by: tuple[HeatReason, float] | None = None
    """The last refusal that does not end by itself, and when."""
    contacts: FrameContacts | None = None
    """As read in the last tick."""
    relay_on: bool = False
    """As read back in the last tick."""
    readings: Readings = field(init=False)
    """Of every fitted place; made anew in each tick, so that whoever keeps it keeps that tick's."""
    _limits: dict[Place, SampleLimits] = field(init=False)
    _probes: dict[Place, ProbeMemory] = field(init=False)
    _memory: FrameMemory = field(init=False)
    _row_from_s: float = field(init=False)
    _heat_on_s: float = field(init=False, default=0.0)

    def __post_init__(self, now_s: float, tick_s: float) -> None:
        """Start with no reading at all, which is the worst case."""
        places = self.frame.probes
        self.readings = never_seen(places, now_s)
        self._limits = {place: limits_for(place, tick_s) for place in places}
        self._probes = {place: fresh_memory(now_s) for place in places}
        self._memory = fresh_frame(now_s)
        self._row_from_s = now_s

    def sense(self, raws: Mapping[ProbeId, RawReading], now_s: float) -> None:
        """Judge the latest reading of every probe."""
        memories, limits, offsets_k = self._probes, self._limits, self.offsets_k
        readings: dict[Place, Reading] = {}
        for place, probe in self.frame.probes.items():
            memories[place], readings[place] = judge_reading(
                memories[place], raws.get(probe), now_s, limits[place], offsets_k.get(probe, 0.0)
            )
        self.readings = readings

    def decide(self, inputs: FrameInputs) -> FrameDecision:
        """Step this frame's control on the readings just judged."""
        self._memory, decision = step_frame(self.frame, self._memory, self.readings, inputs)
        return decision

    def note_heat(self, report: HeatReport, *, cold: bool, now_s: float) -> None:
        """Take in what came of this tick's wish."""
        self.relay_on = report.relay_on
        if report.relay_on or not cold:
            self.unheated_since_s = None
        elif self.unheated_since_s is None:
            self.unheated_since_s = now_s
        for reason in report.reasons:
            if reason in LOST_PROTECTION:
                self.held_by = (reason, now_s)
                return

    def unheated_s(self, now_s: float) -> float:
        """For how long the frame has been cold with its relay off."""
        return 0.0 if self.unheated_since_s is None else now_s - self.unheated_since_s

    def recently_held_by(self, now_s: float) -> HeatReason | None:
        """The refusal of the last ten minutes that does not end by itself."""
        if self.held_by is None or now_s - self.held_by[1] > HELD_BY_S:
            return None
        return self.held_by[0]

    def rest_left_s(self, now_s: float) -> float:
        """Seconds for which heat still rests by request; 0 when it does not."""
        return 0.0 if self.rest_until_s is None else max(0.0, self.rest_until_s - now_s)

    def count(self, report: HeatReport, dt_s: float) -> None:
        """Count this tick into the row that is being gathered."""
        if report.relay_on:
            self._heat_on_s += dt_s

    def row_due(self, now_s: float) -> bool:
        """Whether the row's span is full."""
        return now_s - self._row_from_s >= ROW_SPAN_S

    def row(self, report: HeatReport, stamp: Stamp, seq: int) -> SampleRow:
        """The row that has been gathered, under this number; the next one begins."""
        span_s = stamp.mono_s - self._row_from_s
        row = SampleRow(
            seq=seq,
            boot_id=stamp.boot_id,
            mono_s=stamp.mono_s,
            utc_s=stamp.utc_s,
            utc_confirmed=stamp.utc_confirmed,
            frame=self.frame.name,
            sixteenths={
                place: round(reading.temp_c * SIXTEENTHS_PER_K)
                for place, reading in self.readings.items()
                if isinstance(reading, Sample)
            },
            span_s=span_s,
            heat_on_s=min(self._heat_on_s, span_s),
            heat_wanted=report.heat_wanted,
            heat_allowed=report.heat_allowed,
            level=int(report.level),
            opening=self.opening,
            covering="+".join(self.coverings),
        )
        self._row_from_s, self._heat_on_s = stamp.mono_s, 0.0
        return row
