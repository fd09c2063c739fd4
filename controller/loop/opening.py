"""What a keeper process is opened from, and how: pins, buses, files and stored state."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from controller.config.records import Settings
from controller.errors import HardwareError
from controller.folders import Folders, boot_id
from controller.heat.pins import GpioSwitch, PinRefused, open_factory
from controller.loop.assemble import Hardware, Standing
from controller.loop.calendar import BoardCalendar, Calendar, RehearsalCalendar
from controller.loop.calibration_file import load_calibration
from controller.loop.clock import Clock
from controller.loop.commission import commission_states
from controller.loop.keeper import Keeper
from controller.loop.overlay import Reported, misfits, overlay_from
from controller.loop.overlay_file import load_overlay, save_overlay
from controller.loop.settings_file import LoadedSettings
from controller.loop.site import SiteHealth
from controller.loop.starts import StartCount
from controller.loop.supervisor import Supervisor
from controller.notices.life import NoticeMemory
from controller.record.eventlog import EventLog
from controller.record.lockouts import LockoutFiles
from controller.record.pins_file import write_pins
from controller.record.snapshot import SnapshotWriter
from controller.record.switch_memory import SwitchFiles
from controller.record.writer import HistoryWriter
from controller.sense.inputs import BoardContacts
from controller.sense.probes import READ_DEADLINE_S, BusReaders
from controller.sense.stepped import SteppedReaders
from controller.vocabulary import ProbeId

LOG = logging.getLogger("frameward")
CLOSE_DEADLINE_S = 3.0
"""For saving the record on the way out; a stop takes no more than 5 s in all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Directed:
    """A rehearsal directs this process: one round for each instant that it sets, none before the first."""

    step_s: float
    """The period, in place of the settings' own tick."""
    pipe_fd: int
    """Readable when the next instant has come."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardOrder:
    """What a keeper process was asked to run on."""

    config: Path
    folders: Folders
    w1: Path
    pins: str
    """``lgpio`` on a board, ``rehearsal`` for recorded pins."""
    clock: Clock
    log: EventLog
    environment: Mapping[str, str]
    directed: Directed | None = None
    """None where time goes on by itself."""

    def tick_s(self, settings: Settings) -> float:
        """The period of the tick."""
        return settings.site.tick_s if self.directed is None else self.directed.step_s


@dataclass(frozen=True, slots=True, kw_only=True)
class RunStart:
    """What one run of one settings file begins with."""

    order: BoardOrder
    loaded: LoadedSettings
    supervisor: Supervisor
    count: StartCount
    taken: bool
    """A changed settings file led here."""
    notices: NoticeMemory


def open_hardware(
    order: BoardOrder, settings: Settings, supervisor: Supervisor, stack: ExitStack
) -> Hardware:
    """Open pins, buses and files; the stack closes them in reverse, after heat is off."""
    folders, clock = order.folders, order.clock
    try:
        factory = open_factory(order.pins, record=folders.rehearsal_pins, environment=order.environment)
    except PinRefused as error:
        raise HardwareError(str(error)) from error
    stack.callback(factory.close)
    recorder = HistoryWriter(folders.history, folders.pending, utc_s=clock.utc_s)
    recorder.start()
    stack.callback(recorder.close, CLOSE_DEADLINE_S)
    calendar: Calendar = BoardCalendar() if order.directed is None else RehearsalCalendar()
    stack.callback(calendar.close)
    probes = _open_probes(order, settings)
    stack.callback(probes.close)
    board = BoardContacts(settings, factory)
    stack.callback(board.close)
    return Hardware(
        clock=clock,
        probes=probes,
        board=board,
        make_switch=lambda pin, active_high: GpioSwitch(pin, active_high=active_high, factory=factory),
        lockouts=LockoutFiles(folders.lockouts, settings.heat_pins, run=folders.run),
        switchings=SwitchFiles(folders.run, boot_id()),
        recorder=recorder,
        snapshots=SnapshotWriter(folders.snapshot),
        calendar=calendar,
        supervisor=supervisor,
        boot_id=boot_id(),
    )


def _open_probes(order: BoardOrder, settings: Settings) -> BusReaders:
    """Readers of every probe: at their own pace, or at each round of a directed rehearsal."""
    clock = order.clock
    if order.directed is not None:
        return SteppedReaders(_probe_ids(settings), order.w1, mono=clock.mono_s)
    return BusReaders(
        _probe_ids(settings),
        order.w1,
        interval_s=settings.site.tick_s,
        deadline_s=READ_DEADLINE_S,
        mono=clock.mono_s,
        real_wait_s=clock.real_wait_s,
    )


def keep_reported(keeper: Keeper, start: RunStart) -> None:
    """Store what people reported, on top of what was stored for other frames."""
    path = start.order.folders.overlay
    told = {
        name: Reported(keep_above_c=each.keep_above_c, opening=each.opening, coverings=each.coverings)
        for name, each in keeper.parts.attendances.items()
    }
    save_overlay(path, overlay_from(start.loaded.settings, told, load_overlay(path).overlay))


def read_standing(start: RunStart) -> Standing:
    """Read all stored state of this site; what cannot be read is told, never guessed."""
    order, settings = start.order, start.loaded.settings
    calibration = load_calibration(order.folders.calibration)
    stored = load_overlay(order.folders.overlay)
    states = commission_states(settings, order.folders)
    faults = tuple(str(fault) for fault in start.loaded.faults)
    in_use = start.loaded.source == "file"
    return Standing(
        notices=start.notices,
        overlay=stored.overlay,
        offsets_k={probe: calibration.offset_k(probe) for probe in _probe_ids(settings)},
        commission_gaps={name: state.gap for name, state in states.items()},
        blind_duty={name: state.blind_duty for name, state in states.items()},
        site=SiteHealth(
            started_at_s=order.clock.mono_s(),
            guarded=start.supervisor.guarded,
            starts=start.count,
            settings_faults=() if in_use else faults,
            settings_copy_fault=faults[0] if in_use and faults else "",
            settings_taken=start.taken,
            state_remarks=(*calibration.faults, *stored.remarks, *misfits(stored.overlay, settings)),
        ),
    )


def store_pins(settings: Settings, folders: Folders) -> str:
    """Store the relays for the stop action; to be done before any of them is claimed.

    Returns what a person must know when an older file had to serve; empty when all is stored.
    """
    pins = [
        each
        for frame in settings.frames.values()
        if frame.heat is not None
        for each in (
            (frame.heat.pins.relay, frame.heat.pins.relay_active_high),
            (frame.heat.pins.isolating, frame.heat.pins.isolating_active_high),
        )
    ]
    return write_pins(folders.pins, [(pin, high) for pin, high in pins if pin is not None])


def _probe_ids(settings: Settings) -> list[ProbeId]:
    """Every probe once, in the order of the settings."""
    return list(dict.fromkeys(probe for frame in settings.frames.values() for probe in frame.probes.values()))
