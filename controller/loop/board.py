"""The keeper as a process: one settings file, one set of pins, ticking until told to stop.

Every way out of here ends with heat off: a stop signal, a changed settings file, an error of ours.
What no code can cover (a killed process, a dead board) is the stop action's, the pull-down's and
the independent cut-out's to cover.
"""

from __future__ import annotations

import atexit
import logging
import os
import signal
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from controller.config.records import Settings
from controller.errors import ConfigError, HardwareError, InvariantBroken
from controller.folders import Folders, boot_id
from controller.heat.pins import GpioSwitch, PinRefused, open_factory
from controller.heat.relays import PinStuck
from controller.loop.assemble import Hardware, Standing, assemble_keeper
from controller.loop.calendar import BoardCalendar
from controller.loop.calibration_file import load_calibration
from controller.loop.clock import Clock
from controller.loop.commission import commission_states
from controller.loop.inbox import Inbox
from controller.loop.keeper import Keeper
from controller.loop.orders import OrderDesk
from controller.loop.overlay import Reported, misfits, overlay_from
from controller.loop.overlay_file import load_overlay, save_overlay
from controller.loop.settings_file import LoadedSettings, SettingsWatch, load_settings
from controller.loop.site import SiteHealth
from controller.loop.starts import StartCount, StartLog
from controller.loop.supervisor import Supervisor
from controller.record.eventlog import EventLog
from controller.record.lockouts import LockoutFiles
from controller.record.pins_file import write_pins
from controller.record.snapshot import SnapshotWriter
from controller.record.writer import HistoryWriter
from controller.sense.inputs import BoardContacts
from controller.sense.probes import READ_DEADLINE_S, BusReaders
from controller.vocabulary import FrameName, NoticeEvent, ProbeId, Urgency

LOG = logging.getLogger("frameward")
LOG_SETTLES_S = 60.0
"""How often the log closes repeats that have ended."""
CLOSE_DEADLINE_S = 3.0
"""For saving the record on the way out; a stop takes no more than 5 s in all."""


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


class StopSignal:
    """Notes SIGTERM and SIGINT, and wakes whoever waits on ``wake_fd``."""

    def __init__(self) -> None:
        """Take over both signals for the rest of the process."""
        self.asked = False
        self.wake_fd, self._write_fd = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        signal.set_wakeup_fd(self._write_fd, warn_on_full_buffer=False)
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            signal.signal(number, self._note)

    def _note(self, number: int, frame: object) -> None:  # noqa: ARG002  # the signal module's form
        self.asked = True


def run_board(order: BoardOrder) -> None:
    """Keep until a stop signal; raises what a restart by the service manager should follow."""
    stop = StopSignal()
    starts = StartLog(order.folders.starts)
    count = starts.note_start(order.clock.utc_s())
    supervisor = Supervisor(order.environment)
    loaded = load_settings(order.config, order.folders)
    taken = False
    while not stop.asked:
        start = _Start(order=order, loaded=loaded, supervisor=supervisor, count=count, taken=taken)
        with _running(start, stop.wake_fd) as (keeper, inbox):
            loaded = _tick_until_changed(keeper, inbox, start, stop)
        taken = True
        count = StartCount(last_was_unclean=False, unclean_in_hour=0, unclean_in_day=count.unclean_in_day)
    supervisor.stopping()
    starts.note_stop()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Start:
    """What one run of one settings file begins with."""

    order: BoardOrder
    loaded: LoadedSettings
    supervisor: Supervisor
    count: StartCount
    taken: bool
    """A changed settings file led here."""


def _tick_until_changed(keeper: Keeper, inbox: Inbox, start: _Start, stop: StopSignal) -> LoadedSettings:
    """Tick at the settings' own pace; return settings to go on with when the file has changed."""
    clock, tick_s = start.order.clock, start.loaded.settings.site.tick_s
    watch = SettingsWatch(start.order.config, start.loaded.stamp)
    said_ready = False
    next_at_s = settle_at_s = clock.mono_s()
    while not stop.asked:
        for event in keeper.tick().notices:
            _log_notice(event)
        if not said_ready:
            start.supervisor.ready()
            said_ready = True
        next_at_s = max(next_at_s + tick_s, clock.mono_s())
        while not stop.asked and (wait_s := clock.real_wait_s(next_at_s)) > 0:
            inbox.serve(wait_s)
        if clock.mono_s() >= settle_at_s:
            settle_at_s += LOG_SETTLES_S
            start.order.log.settle()
        if watch.changed(clock.mono_s()):
            fresh = _reload(keeper, start)
            if fresh is not None:
                return fresh
    return start.loaded


def _log_notice(event: NoticeEvent) -> None:
    """One line per notice; what may wake a person is a warning."""
    level = logging.WARNING if event.urgency is Urgency.NOW else logging.INFO
    LOG.log(level, "notice %s %s %s %s: %s", event.event, event.kind, event.urgency, event.code, event.text)


def _reload(keeper: Keeper, start: _Start) -> LoadedSettings | None:
    """Look at the changed file: new settings, or None to go on as before with what was found told."""
    site = keeper.parts.site
    try:
        fresh = load_settings(start.order.config, start.order.folders)
    except ConfigError as error:
        site.settings_faults = tuple(str(fault) for fault in error.faults)
        return None
    if fresh.source == "last_good":
        # The file is what is refused; what runs now is at least as new as the copy that was read.
        site.settings_faults = tuple(str(fault) for fault in fresh.faults)
        for fault in site.settings_faults:
            LOG.warning("settings refused: %s", fault)
        return None
    site.settings_faults = ()
    if fresh.digest == start.loaded.digest:
        return None
    keeper.note("settings", {"digest_before": start.loaded.digest, "digest_after": fresh.digest})
    LOG.info("settings changed: %s is taken, heat rests first", start.order.config)
    return fresh


@contextmanager
def _running(start: _Start, wake_fd: int) -> Iterator[tuple[Keeper, Inbox]]:
    """Everything open for one run of one settings file; whatever happens, off first, then closed."""
    order, settings, folders = start.order, start.loaded.settings, start.order.folders
    with ExitStack() as stack:
        hardware = _open_hardware(order, settings, start.supervisor, stack)
        try:
            keeper = assemble_keeper(settings, hardware, _standing(start), tick_s=settings.site.tick_s)
        except (PinRefused, PinStuck) as error:
            raise HardwareError(str(error)) from error
        stack.callback(_off, keeper)
        atexit.register(keeper.parts.gate.all_off)
        stack.callback(atexit.unregister, keeper.parts.gate.all_off)
        desk = OrderDesk(keeper, lambda: _keep_reported(keeper, start))
        inbox = Inbox(folders.socket, desk.take, wake_fd=wake_fd)
        stack.callback(inbox.close)
        try:
            yield keeper, inbox
        except PinStuck as error:
            keeper.note("pin_stuck", {"detail": str(error)})
            raise InvariantBroken(f"a relay does not go off: unplug the cable ({error})") from error


def _open_hardware(
    order: BoardOrder, settings: Settings, supervisor: Supervisor, stack: ExitStack
) -> Hardware:
    """Open pins, buses and files; the stack closes them in reverse, after heat is off."""
    folders, clock = order.folders, order.clock
    _write_pins(settings, folders)
    try:
        factory = open_factory(order.pins, record=folders.rehearsal_pins, environment=order.environment)
    except PinRefused as error:
        raise HardwareError(str(error)) from error
    stack.callback(factory.close)
    recorder = HistoryWriter(folders.history, folders.pending, utc_s=clock.utc_s)
    recorder.start()
    stack.callback(recorder.close, CLOSE_DEADLINE_S)
    calendar = BoardCalendar()
    stack.callback(calendar.close)
    probes = BusReaders(
        _probe_ids(settings),
        order.w1,
        interval_s=settings.site.tick_s,
        deadline_s=READ_DEADLINE_S,
        mono=clock.mono_s,
        real_wait_s=clock.real_wait_s,
    )
    stack.callback(probes.close)
    board = BoardContacts(settings, factory)
    stack.callback(board.close)
    return Hardware(
        clock=clock,
        probes=probes,
        board=board,
        make_switch=lambda pin, active_high: GpioSwitch(pin, active_high=active_high, factory=factory),
        lockouts=LockoutFiles(folders.lockouts, _heat_pins(settings)),
        recorder=recorder,
        snapshots=SnapshotWriter(folders.snapshot),
        calendar=calendar,
        supervisor=supervisor,
        boot_id=boot_id(),
    )


def _off(keeper: Keeper) -> None:
    """Heat off and pins let go; whatever would not obey is said."""
    for fault in keeper.parts.gate.close():
        LOG.error("a pin did not obey on the way out: %s", fault)


def _keep_reported(keeper: Keeper, start: _Start) -> None:
    """Store what people reported, on top of what was stored for other frames."""
    path = start.order.folders.overlay
    told = {
        name: Reported(keep_above_c=each.keep_above_c, opening=each.opening, coverings=each.coverings)
        for name, each in keeper.parts.attendances.items()
    }
    save_overlay(path, overlay_from(start.loaded.settings, told, load_overlay(path).overlay))


def _standing(start: _Start) -> Standing:
    """Read all stored state of this site; what cannot be read is told, never guessed."""
    order, settings = start.order, start.loaded.settings
    calibration = load_calibration(order.folders.calibration)
    stored = load_overlay(order.folders.overlay)
    states = commission_states(settings, order.folders)
    faults = tuple(str(fault) for fault in start.loaded.faults)
    in_use = start.loaded.source == "file"
    return Standing(
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


def _write_pins(settings: Settings, folders: Folders) -> None:
    """Store the relays for the stop action, before any of them is claimed."""
    pins = [
        each
        for frame in settings.frames.values()
        if frame.heat is not None
        for each in (
            (frame.heat.pins.relay, frame.heat.pins.relay_active_high),
            (frame.heat.pins.isolating, frame.heat.pins.isolating_active_high),
        )
    ]
    write_pins(folders.pins, [(pin, high) for pin, high in pins if pin is not None])


def _probe_ids(settings: Settings) -> list[ProbeId]:
    """Every probe once, in the order of the settings."""
    return list(dict.fromkeys(probe for frame in settings.frames.values() for probe in frame.probes.values()))


def _heat_pins(settings: Settings) -> dict[FrameName, int]:
    return {name: frame.heat.pins.relay for name, frame in settings.frames.items() if frame.heat is not None}
