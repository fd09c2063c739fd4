"""The keeper as a process: one settings file, one set of pins, ticking until told to stop.

Every way out of here ends with heat off: a stop signal, a changed settings file, an error of ours.
What no code can cover (a killed process, a dead board) is the stop action's, the pull-down's and
the independent cut-out's to cover.
"""

from __future__ import annotations

import atexit
import logging
import os
import select
import signal
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace

from controller.errors import ConfigError, Fault, HardwareError, InvariantBroken
from controller.heat.pins import PinRefused
from controller.heat.relays import PinStuck
from controller.loop.assemble import assemble_keeper
from controller.loop.clock import Clock
from controller.loop.inbox import Deaf, Inbox, open_inbox
from controller.loop.keeper import Keeper
from controller.loop.opening import (
    BoardOrder,
    RunStart,
    keep_reported,
    open_hardware,
    read_standing,
    store_pins,
)
from controller.loop.orders import OrderDesk
from controller.loop.settings_file import LoadedSettings, SettingsWatch, load_settings
from controller.loop.starts import StartCount, StartLog
from controller.loop.supervisor import Supervisor
from controller.loop.told_log import log_start, log_tick
from controller.notices.life import FRESH
from controller.vocabulary import FrameName

LOG = logging.getLogger("frameward")
RELOADS_AT_ONCE = 2
RELOAD_MEMORY_S = 3600.0
"""More changed settings files than two are taken one an hour."""
LOG_SETTLES_S = 60.0
"""How often the log closes repeats that have ended."""
CLOSE_DEADLINE_S = 3.0
"""For saving the record on the way out; a stop takes no more than 5 s in all."""


class StopSignal:
    """Notes SIGTERM and SIGINT, and wakes whoever waits on ``wake_fd``."""

    def __init__(self, also_fd: int | None = None) -> None:
        """Take over both signals for the rest of the process; ``also_fd`` being readable wakes as well."""
        self.asked = False
        self.wake_fd, self._write_fd = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        if also_fd is not None:
            self._either = select.epoll()
            self._either.register(self.wake_fd, select.EPOLLIN)
            self._either.register(also_fd, select.EPOLLIN)
            self.wake_fd = self._either.fileno()
        signal.set_wakeup_fd(self._write_fd, warn_on_full_buffer=False)
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            signal.signal(number, self._note)

    def _note(self, number: int, frame: object) -> None:  # noqa: ARG002  # the signal module's form
        self.asked = True


def run_board(order: BoardOrder) -> None:
    """Keep until a stop signal; raises what a restart by the service manager should follow."""
    stop = StopSignal(None if order.directed is None else order.directed.pipe_fd)
    starts = StartLog(order.folders.starts)
    count = starts.note_start(order.clock.utc_s())
    supervisor = Supervisor(order.environment)
    loaded = load_settings(order.config, order.folders)
    taken = False
    notices, patience = FRESH, ReloadPatience()
    before: LoadedSettings | None = None
    while not stop.asked:
        start = RunStart(
            order=order, loaded=loaded, supervisor=supervisor, count=count, taken=taken, notices=notices
        )
        try:
            with _running(start, stop.wake_fd) as (keeper, inbox):
                before, loaded = loaded, _tick_until_changed(keeper, inbox, start, stop, patience)
                notices = keeper.notices
        except HardwareError as error:
            if before is None:
                raise
            loaded = _back_to(before, loaded, error)
            before = None
        taken = True
        count = StartCount(last_was_unclean=False, unclean_in_hour=0, unclean_in_day=count.unclean_in_day)
    supervisor.stopping()
    LOG.info("told to stop: every relay is off")
    starts.note_stop()


def _back_to(before: LoadedSettings, refused: LoadedSettings, error: HardwareError) -> LoadedSettings:
    """The settings that ran before, when the hardware will not have the new ones; to be told."""
    LOG.error("changed settings cannot run, those before go on: %s", error)
    fault = Fault(
        file="the changed settings",
        line=None,
        key="",
        problem=str(error),
        remedy="mend the file; the settings before it go on",
    )
    return replace(before, source="last_good", faults=(fault,), stamp=refused.stamp)


@dataclass(slots=True)
class ReloadPatience:
    """Lets a changed settings file in at once twice, then once an hour: each costs a rest of heat."""

    _taken_at_s: list[float] = field(default_factory=list)

    def allows(self, now_s: float) -> bool:
        """Whether a changed file may be taken now; a file that is taken counts."""
        self._taken_at_s = [at_s for at_s in self._taken_at_s if now_s - at_s < RELOAD_MEMORY_S]
        if len(self._taken_at_s) >= RELOADS_AT_ONCE:
            return False
        self._taken_at_s.append(now_s)
        return True


def _tick_until_changed(
    keeper: Keeper, inbox: Inbox | Deaf, start: RunStart, stop: StopSignal, patience: ReloadPatience
) -> LoadedSettings:
    """Tick at the settings' own pace; return settings to go on with when the file has changed."""
    clock, tick_s = start.order.clock, start.order.tick_s(start.loaded.settings)
    watch = SettingsWatch(start.order.config, start.loaded.stamp)
    waiting: LoadedSettings | None = None
    said_ready = False
    log_start(start.loaded.settings)
    relays: dict[FrameName, bool] = {}
    next_at_s = settle_at_s = clock.mono_s()
    if start.order.directed is not None and not start.taken:
        _wait(clock, next_at_s, inbox, stop)  # a later run begins within an instant that is already set
    while not stop.asked:
        result = keeper.tick()
        log_tick(result, relays)
        if not said_ready:
            start.supervisor.ready()
            said_ready = True
        next_at_s = max(next_at_s + tick_s, clock.mono_s())
        _wait(clock, next_at_s, inbox, stop)
        if clock.mono_s() >= settle_at_s:
            settle_at_s += LOG_SETTLES_S
            start.order.log.settle()
        if watch.changed(clock.mono_s()):
            waiting = _reload(keeper, start)
        if waiting is not None and patience.allows(clock.mono_s()):
            keeper.note("settings", {"before": start.loaded.digest, "after": waiting.digest})
            LOG.info("settings changed: %s is taken, heat rests first", start.order.config)
            return waiting
        keeper.parts.site.settings_waiting = waiting is not None
    return start.loaded


def _wait(clock: Clock, until_mono_s: float, inbox: Inbox | Deaf, stop: StopSignal) -> None:
    """Serve commands until the next round is due or somebody asks to stop."""
    while not stop.asked and (wait_s := clock.real_wait_s(until_mono_s)) > 0:
        inbox.serve(wait_s)


def _reload(keeper: Keeper, start: RunStart) -> LoadedSettings | None:
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
    return fresh


@contextmanager
def _running(start: RunStart, wake_fd: int) -> Iterator[tuple[Keeper, Inbox | Deaf]]:
    """Everything open for one run of one settings file; whatever happens, off first, then closed."""
    order, settings, folders = start.order, start.loaded.settings, start.order.folders
    with ExitStack() as stack:
        pins_fault = store_pins(settings, folders)
        hardware = open_hardware(order, settings, start.supervisor, stack)
        try:
            keeper = assemble_keeper(settings, hardware, read_standing(start), tick_s=order.tick_s(settings))
        except (PinRefused, PinStuck) as error:
            raise HardwareError(str(error)) from error
        stack.callback(_off, keeper)
        atexit.register(keeper.parts.gate.all_off)
        stack.callback(atexit.unregister, keeper.parts.gate.all_off)
        desk = OrderDesk(keeper, lambda: keep_reported(keeper, start))
        inbox = open_inbox(folders.socket, desk.take, wake_fd=wake_fd)
        keeper.parts.site.socket_fault = inbox.fault
        if pins_fault:
            keeper.parts.site.state_remarks += (pins_fault,)
        stack.callback(inbox.close)
        try:
            yield keeper, inbox
        except PinStuck as error:
            keeper.note("pin_stuck", {"detail": str(error)})
            raise InvariantBroken(f"a relay does not go off: unplug the cable ({error})") from error


def _off(keeper: Keeper) -> None:
    """Heat off and pins let go; whatever would not obey is said."""
    for fault in keeper.parts.gate.close():
        LOG.error("a pin did not obey on the way out: %s", fault)
