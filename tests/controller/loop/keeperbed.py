"""A whole keeper in one process: pretended pins, probes set by hand, a clock that is advanced."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from controller.config.parse import parse_settings
from controller.config.records import Settings
from controller.folders import Folders
from controller.heat.pins import GpioSwitch, RehearsalFactory
from controller.loop.assemble import Hardware, Standing, assemble_keeper
from controller.loop.calendar import RehearsalCalendar
from controller.loop.clock import RehearsalClock
from controller.loop.keeper import Keeper
from controller.loop.overlay import Overlay
from controller.loop.results import TickResult
from controller.loop.site import SiteHealth
from controller.loop.starts import StartCount
from controller.loop.supervisor import Supervisor
from controller.record.lockouts import LockoutFiles
from controller.record.rows import EventRow, RecordHealth, SampleRow
from controller.record.snapshot import SnapshotWriter
from controller.sense.contacts import BoardState, FrameContacts
from controller.sense.scratchpad import RawReading, ReadFailure, Scratchpad, encode_scratchpad
from controller.vocabulary import FrameName, HeatReport, Place, ProbeId, Rejection

SOUTH = FrameName("south")
NORTH = FrameName("north")

_FRAME = """
[frame.{name}]
length_m = 2.0
depth_m = 1.0
front_height_m = 0.3
back_height_m = 0.5
cover = "glass"
wall = "brick"
faces_deg = 180
[frame.{name}.heat]
power_w = 150
relay_pin = {pin}
cable_max_c = 45
{heat}
[frame.{name}.probe.air]
id = "28-00000{code}01"
[frame.{name}.probe.air_second]
id = "28-00000{code}02"
[frame.{name}.probe.bed]
id = "28-00000{code}03"
[frame.{name}.probe.cable]
id = "28-00000{code}04"
[[frame.{name}.opening]]
name = "shut"
area_m2 = 0
height_m = 0
[[frame.{name}.opening]]
name = "half"
area_m2 = 0.8
height_m = 0.3
[[frame.{name}.covering]]
name = "mat"
r_m2k_w = 0.3
"""

_SITE = """
[site]
name = "Test bed"
latitude = 53.0
longitude = -7.0
zone = "Europe/Dublin"
{site}
[site.probe.outside]
id = "28-0000000000ff"
"""

COLD: Mapping[Place, float] = {
    Place.AIR: 0.5,
    Place.AIR_SECOND: 1.0,
    Place.BED: 4.0,
    Place.CABLE: 6.0,
    Place.OUTSIDE: -4.0,
}
MILD: Mapping[Place, float] = {
    Place.AIR: 9.0,
    Place.AIR_SECOND: 9.5,
    Place.BED: 10.0,
    Place.CABLE: 10.0,
    Place.OUTSIDE: 8.0,
}
START_UTC_S = 1_768_500_000.0
"""15 January 2026, 18:00 UTC."""


def settings_of(*, frames: int = 1, heat: str = "", site: str = "") -> Settings:
    """One or two frames on one board."""
    text = _SITE.format(site=site) + _FRAME.format(name="south", pin=17, code="aaaaa", heat=heat)
    if frames > 1:
        text += _FRAME.format(name="north", pin=22, code="bbbbb", heat=heat)
    return parse_settings(text, "test.toml")


class HandProbes:
    """Probes whose readings are set by hand; each ``fresh`` is a new conversion."""

    def __init__(self, clock: RehearsalClock) -> None:
        self.clock = clock
        self.raws: dict[ProbeId, RawReading] = {}
        self.lost: dict[ProbeId, Rejection] = {}
        self.temps: dict[ProbeId, float] = {}

    def latest(self) -> Mapping[ProbeId, RawReading]:
        """A new conversion of every probe, at this instant."""
        now_s = self.clock.mono_s()
        for probe, temp_c in self.temps.items():
            reason = self.lost.get(probe)
            self.raws[probe] = (
                Scratchpad(data=encode_scratchpad(temp_c), taken_at_s=now_s)
                if reason is None
                else ReadFailure(reason=reason, detail="by hand", taken_at_s=now_s)
            )
        return self.raws

    def close(self) -> None:
        """Nothing to close."""


class HandInputs:
    """Contacts set by hand."""

    def __init__(self) -> None:
        self.stop_pressed: bool | None = None
        self.frames: dict[FrameName, FrameContacts] = {}
        self.faults: tuple[str, ...] = ()

    def read(self) -> BoardState:
        """The contacts as they were set."""
        return BoardState(stop_pressed=self.stop_pressed, frames=self.frames, faults=self.faults)


class ListRecorder:
    """Keeps rows in memory."""

    def __init__(self) -> None:
        self.samples: list[SampleRow] = []
        self.events: list[EventRow] = []
        self.state = RecordHealth(recording=True, detail="", pending=0, dropped=0, set_aside=None)
        self.thinned: list[float] = []

    def first_seq(self) -> int:
        """The first free number."""
        return 1

    def add_sample(self, row: SampleRow) -> None:
        """Keep it."""
        self.samples.append(row)

    def add_event(self, row: EventRow) -> int:
        """Keep it."""
        self.events.append(row)
        return len(self.events)

    def is_saved(self, ticket: int) -> bool:
        """Always."""
        return ticket <= len(self.events)

    def request_thinning(self, *, now_utc_s: float, utc_confirmed: bool) -> None:
        """Note that it was asked for."""
        assert utc_confirmed
        self.thinned.append(now_utc_s)

    def health(self) -> RecordHealth:
        """As set."""
        return self.state

    def close(self, deadline_s: float) -> bool:  # noqa: ARG002  # the recorder's form
        """Nothing to close."""
        return True


class KeeperBed:
    """A keeper with everything round it in reach."""

    def __init__(self, root: Path, settings: Settings | None = None, *, tick_s: float = 10.0) -> None:
        self.settings = settings or settings_of()
        self.tick_s = tick_s
        self.clock = RehearsalClock(utc_s=START_UTC_S)
        self.probes = HandProbes(self.clock)
        self.inputs = HandInputs()
        self.recorder = ListRecorder()
        self.folders = Folders(state=root / "state", run=root / "run")
        self.folders.run.mkdir(parents=True, exist_ok=True)
        self.factory = RehearsalFactory(None)
        self.site = SiteHealth(
            started_at_s=self.clock.mono_s(),
            guarded=True,
            starts=StartCount(last_was_unclean=False, unclean_in_hour=0, unclean_in_day=0),
        )
        self.standing = Standing(
            overlay=Overlay(), offsets_k={}, commission_gaps={}, blind_duty={}, site=self.site
        )
        self.told: list[tuple[str, str, str]] = []
        self.last: TickResult | None = None
        for name in self.settings.frames:
            self.set_c(COLD, name)

    def build(self, **changes: object) -> Keeper:
        """Assemble; ``changes`` replace parts of what was known before."""
        self.standing = replace(self.standing, **changes)  # type: ignore[arg-type]
        heat_pins = {
            name: frame.heat.pins.relay for name, frame in self.settings.frames.items() if frame.heat
        }
        self.keeper = assemble_keeper(
            self.settings,
            Hardware(
                clock=self.clock,
                probes=self.probes,
                board=self.inputs,
                make_switch=lambda pin, high: GpioSwitch(pin, active_high=high, factory=self.factory),
                lockouts=LockoutFiles(self.folders.lockouts, heat_pins),
                switchings=None,
                recorder=self.recorder,
                snapshots=SnapshotWriter(self.folders.snapshot),
                calendar=RehearsalCalendar(),
                supervisor=Supervisor({}),
                boot_id="boot",
            ),
            self.standing,
            tick_s=self.tick_s,
        )
        return self.keeper

    def set_c(self, temps: Mapping[Place, float], name: FrameName = SOUTH) -> None:
        """Set the true temperature of some places of one frame."""
        for place, temp_c in temps.items():
            self.probes.temps[self.settings.frames[name].probes[place]] = temp_c

    def lose(self, *places: Place, name: FrameName = SOUTH) -> None:
        """Take probes away."""
        for place in places:
            self.probes.lost[self.settings.frames[name].probes[place]] = Rejection.ABSENT

    def find(self, *places: Place, name: FrameName = SOUTH) -> None:
        """Bring probes back."""
        for place in places:
            self.probes.lost.pop(self.settings.frames[name].probes[place], None)

    def run(self, for_s: float) -> HeatReport:
        """Tick for that long; returns the first frame's last report."""
        for _ in range(round(for_s / self.tick_s)):
            self.clock.advance(self.tick_s)
            self.last = self.keeper.tick()
            self.told += [(event.event, event.code, event.urgency.value) for event in self.last.notices]
        assert self.last is not None
        return self.last.frames[SOUTH].report

    def report(self, name: FrameName = SOUTH) -> HeatReport:
        """A frame's last report."""
        assert self.last is not None
        return self.last.frames[name].report

    def open_codes(self) -> set[str]:
        """Codes of open notices."""
        return {event.code for event in self.keeper.open_notices}
