"""The keeper as a process: one settings file, one set of pins, ticking until told to stop.

Every way out of here ends with heat off: a stop signal, a changed settings file, an error of ours.
What no code can cover (a killed process, a dead board) is the stop action's, the pull-down's and
the independent cut-out's to cover.
"""

from __future__ import annotations

import atexit
import os
import signal
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from controller.config.records import Settings
from controller.errors import ConfigError, HardwareError
from controller.folders import Folders
from controller.heat.pins import GpioSwitch, open_factory
from controller.loop.assemble import Hardware, Standing, assemble_keeper
from controller.loop.calendar import BoardCalendar
from controller.loop.calibration_file import load_calibration
from controller.loop.clock import Clock
from controller.loop.commission import commission_states
from controller.loop.inbox import Inbox
from controller.loop.keeper import Keeper
from controller.loop.orders import OrderDesk
from controller.loop.overlay import load_overlay, save_reported
from controller.loop.settings_file import LoadedSettings, SettingsWatch, load_settings
from controller.loop.site import SiteHealth
from controller.loop.starts import StartCount, StartLog
from controller.loop.supervisor import Supervisor
from controller.record.eventlog import EventLog
from controller.record.lockouts import LockoutFiles
from controller.record.pins_file import write_pins
from controller.record.snapshot import SnapshotWriter
from controller.record.writer import HistoryWriter
from controller.sense.inputs import BoardInputs
from controller.sense.probes import BusReaders
from controller.vocabulary import NoticeEvent

BOOT_ID_FILE = Path("/proc/sys/kernel/random/boot_id")
READ_DEADLINE_S = 5.0
"""A read that takes longer is hung: the kernel driver itself gives up after five tries of 0.75 s."""
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


def run_board(order: BoardOrder, log: EventLog) -> None:
    """Keep until a stop signal; raises what a restart by the service manager should follow."""
    stop = StopSignal()
    starts = StartLog(order.folders.starts)
    count = starts.note_start(order.clock.utc_s())
    supervisor = Supervisor(order.environment)
    loaded = load_settings(order.config, order.folders)
    taken = False
    while not stop.asked:
        with _running(order, loaded, supervisor, count, log, taken=taken, wake_fd=stop.wake_fd) as (keeper, inbox):
            loaded = _tick_until_changed(keeper, inbox, order, loaded, stop, supervisor, log)
        taken = True
        count = StartCount(last_was_unclean=False, unclean_in_hour=0, unclean_in_day=count.unclean_in_day)
    supervisor.stopping()
    starts.note_stop()


def _tick_until_changed(
    keeper: Keeper,
    inbox: Inbox,
    order: BoardOrder,
    loaded: LoadedSettings,
    stop: StopSignal,
    supervisor: Supervisor,
    log: EventLog,
) -> LoadedSettings:
    """Tick at the settings' own pace; return settings to go on with when the file has changed."""
    clock, tick_s = order.clock, loaded.settings.site.tick_s
    watch = SettingsWatch(order.config)
    said_ready = False
    next_at_s = clock.mono_s()
    while not stop.asked:
        for event in keeper.tick().notices:
            _log_notice(log, event)
        if not said_ready:
            supervisor.ready()
            said_ready = True
        next_at_s = max(next_at_s + tick_s, clock.mono_s())
        while not stop.asked and (wait_s := clock.real_wait_s(next_at_s)) > 0:
            inbox.serve(wait_s)
        if watch.changed():
            fresh = _reload(order, keeper, loaded, log)
            if fresh is not None:
                return fresh
    return loaded


def _reload(order: BoardOrder, keeper: Keeper, loaded: LoadedSettings, log: EventLog) -> LoadedSettings | None:
    """Look at the changed file: new settings, or None to go on as before with what was found told."""
    try:
        fresh = load_settings(order.config, order.folders)
    except ConfigError as error:
        keeper.parts.site.settings_faults = tuple(str(fault) for fault in error.faults)
        return None
    keeper.parts.site.settings_faults = tuple(str(fault) for fault in fresh.faults)
    if fresh.digest == loaded.digest:
        return None
    keeper.note("settings", {"digest_before": loaded.digest, "digest_after": fresh.digest})
    log.say("settings", f"changed settings taken from {order.config}")
    return fresh


@contextmanager
def _running(
    order: BoardOrder,
    loaded: LoadedSettings,
    supervisor: Supervisor,
    count: StartCount,
    log: EventLog,
    *,
    taken: bool,
    wake_fd: int,
) -> Iterator[tuple[Keeper, Inbox]]:
    """Everything open for one run of one settings file; whatever happens, off first, then closed."""
    settings, folders = loaded.settings, order.folders
    with ExitStack() as stack:
        _write_pins(settings, folders)
        factory = open_factory(order.pins, record=folders.rehearsal_pins)
        stack.callback(factory.close)
        recorder = HistoryWriter(
            folders.history, folders.pending, utc_s=order.clock.utc_s, mono_s=order.clock.mono_s
        )
        recorder.start()
        stack.callback(recorder.close, CLOSE_DEADLINE_S)
        calendar = BoardCalendar()
        stack.callback(calendar.close)
        probes = BusReaders(
            _probe_ids(settings),
            order.w1,
            interval_s=settings.site.tick_s,
            deadline_s=READ_DEADLINE_S,
            mono=order.clock.mono_s,
        )
        stack.callback(probes.close)
        board = BoardInputs(settings, factory)
        stack.callback(board.close)
        hardware = Hardware(
            clock=order.clock,
            probes=probes,
            board=board,
            make_switch=lambda pin, active_high: GpioSwitch(pin, active_high=active_high, factory=factory),
            lockouts=LockoutFiles(folders.lockouts, _heat_pins(settings)),
            recorder=recorder,
            snapshots=SnapshotWriter(folders.snapshot),
            calendar=calendar,
            supervisor=supervisor,
            boot_id=BOOT_ID_FILE.read_text(encoding="ascii").strip(),
        )
        standing = _standing(order, loaded, supervisor, count, taken=taken)
        keeper = assemble_keeper(settings, hardware, standing, tick_s=settings.site.tick_s)
        stack.callback(_off, keeper, log)
        atexit.register(keeper.parts.gate.all_off)
        stack.callback(atexit.unregister, keeper.parts.gate.all_off)
        desk = OrderDesk(keeper, lambda: save_reported(folders.overlay, keeper.parts.attendances))
        inbox = Inbox(folders.socket, desk.take, wake_fd=wake_fd)
        stack.callback(inbox.close)
        yield keeper, inbox


def _off(keeper: Keeper, log: EventLog) -> None:
    """Heat off and pins let go; whatever would not obey is said."""
    for fault in keeper.parts.gate.close():
        log.say("pin_fault", fault)


def _standing(
    order: BoardOrder, loaded: LoadedSettings, supervisor: Supervisor, count: StartCount, *, taken: bool
) -> Standing:
    """Read all stored state of this site; what cannot be read is told, never guessed."""
    calibration = load_calibration(order.folders.calibration)
    overlay = load_overlay(order.folders.overlay, loaded.settings)
    states = commission_states(loaded.settings, order.folders.commission)
    lost = [problem for problem in (calibration.problem, overlay.problem) if problem]
    return Standing(
        overlay=overlay,
        offsets_k={probe: calibration.offset_k(probe) for probe in _probe_ids(loaded.settings)},
        commission_gaps={name: state.gap for name, state in states.items()},
        blind_duty={name: state.blind_duty for name, state in states.items()},
        site=SiteHealth(
            started_at_s=order.clock.mono_s(),
            guarded=supervisor.guarded,
            starts=count,
            settings_faults=tuple(str(fault) for fault in loaded.faults),
            settings_taken=taken,
            lost_files=tuple(lost),
        ),
    )


def _probe_ids(settings: Settings) -> list:
    """Every probe once, in the order of the settings."""
    return list(dict.fromkeys(probe for frame in settings.frames.values() for probe in frame.probes.values()))


def _heat_pins(settings: Settings) -> dict:
    return {name: frame.heat.pins.relay for name, frame in settings.frames.items() if frame.heat is not None}
