"""A rehearsal with the real processes: a director that owns time, frames, growers and probes.

It sets one instant after another, and each only when the keeper has done its round at the one before:
time waits for the keeper, so that a stall of the machine makes no reading old. The director hears the
keeper as a service manager does, by the word that feeds its watchdog at the end of a complete tick.
"""

from __future__ import annotations

import json
import shutil
import socket
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, closing, contextmanager
from importlib import resources
from pathlib import Path
from typing import Any

from controller.bounded_read import UnfitFile, read_bounded
from controller.config.parse import LARGEST_FILE_BYTES
from controller.durable import replace_quickly
from controller.errors import CommandRejected, StorageError
from controller.folders import Folders, boot_id
from controller.heat.pins import REHEARSAL
from controller.loop.commission import record_commission
from controller.loop.inbox import send_command
from controller.loop.safety_list import POINTS
from controller.record.snapshot import Unusable, read_snapshot
from controller.record.switch_memory import SwitchFiles
from controller.rehearse.field import Field
from controller.rehearse.files import EXAMPLE_NAME
from controller.rehearse.pacedchild import Child, ChildLost, ChildOrder, running
from controller.rehearse.pacednotices import NoticeFeed
from controller.rehearse.pacedresult import tick_result
from controller.rehearse.plan import Plan
from controller.rehearse.probes import SimulatedProbes
from controller.rehearse.run import Moment, heard
from controller.rehearse.w1tree import ProbeTree
from controller.sense.stepped import HANGS_AFTER_S
from controller.tell.policy import DeliveryPolicy
from controller.vocabulary import NoticeEvent, ProbeId
from controller.weatherseries import EPOCH
from controller.wire import WIRE_VERSION, Order

START_S = 60.0
"""Real seconds for the keeper's start and its first round; a small board needs a good part of it."""
ANSWER_S = 10.0
"""Real seconds for any later round, besides what reads that begin to hang may take in it."""
_SLICE_S = 0.05
"""Patience is counted in slices, so that a director that was stopped itself loses one at most."""
_MONO_BEGINS_S = 1000.0
_ORDER_LASTS_S = 30.0
_ROUND_DONE = b"WATCHDOG=1"
_WATCHDOG_USEC = str(round(START_S * 1e6))
_WORD_BYTES_MAX = 256


class PacedRehearsal:
    """One keeper process, its frames, their weather and their gardeners; see ``paced_rehearsal``."""

    def __init__(
        self, plan: Plan, field: Field, folders: Folders, *, stack: ExitStack, config: Path | None
    ) -> None:
        """Make the keeper's surroundings and start it; all of it ends with ``stack``."""
        self.plan = plan
        self.field = field
        self._folders = folders
        self._mono_s, self._utc_s = _MONO_BEGINS_S, (plan.from_utc - EPOCH).total_seconds()
        self._probes = SimulatedProbes(
            plan.settings.frames, seed=plan.seed, faults=plan.faults, natures=plan.natures
        )
        self._heat_on = dict.fromkeys(plan.settings.frames, False)
        self._policy = DeliveryPolicy()
        self._zone = plan.people_zone
        self._orders_sent = 0
        _answer_safety_list(plan, folders)
        self._tree = stack.enter_context(closing(_probe_tree(plan, folders)))
        self._manager = stack.enter_context(_manager_socket(_manager_path(folders)))
        self._feed = stack.enter_context(closing(NoticeFeed(folders.history)))
        settings = folders.run / "rehearsal.toml"
        replace_quickly(settings, _settings_bytes(config))
        self.children = [stack.enter_context(running(order)) for order in self._child_orders(settings)]
        """The keeper, then whatever runs beside it."""
        self._hangs_s = HANGS_AFTER_S * len(self._tree.probes)
        self._patience_s = START_S + self._hangs_s

    def moments(self) -> Iterator[Moment]:
        """Step until the end of the plan; each moment is handed out once the keeper has done its round.

        Raises ChildLost when a process leaves or does not answer.
        """
        field, total_s = self.field, (self.plan.until_utc - self.plan.from_utc).total_seconds()
        while field.elapsed_s < total_s:
            moment = self._step(min(self.plan.step_s, total_s - field.elapsed_s))
            yield moment
            for order in field.visit(heard(moment)):
                self._report(order)

    def _step(self, dt_s: float) -> Moment:
        field = self.field
        frames = field.step(dt_s, self._heat_on)
        self._mono_s += dt_s
        self._utc_s += dt_s
        self._probes.take(field.true, dt_s, self._mono_s)
        self._tree.show(self._probes.latest())
        for child in self.children:
            child.set_instant(mono_s=self._mono_s, utc_s=self._utc_s)
        self._await_round(self.children[0])
        document = self._snapshot()
        result = tick_result(document, self._feed.take(document["notices"], self._utc_s))
        for name, tick in result.frames.items():
            self._heat_on[name] = tick.report.relay_on
        pushed: tuple[NoticeEvent, ...] = ()
        if result.notices or self._policy.has_waiting:
            pushed = self._policy.due(result.notices, field.now_utc.astimezone(self._zone))
        return Moment(field.now_utc, dt_s, frames, result, pushed)

    def _await_round(self, keeper: Child) -> None:
        """Wait until the keeper says that a tick is complete."""
        for _ in range(round(self._patience_s / _SLICE_S)):
            try:
                word = self._manager.recv(_WORD_BYTES_MAX)
            except TimeoutError:
                word = b""
            if word == _ROUND_DONE:
                self._patience_s = ANSWER_S + self._hangs_s
                return
            for child in self.children:
                child.insist_alive()
        raise keeper.silent(self._patience_s)

    def _snapshot(self) -> Mapping[str, Any]:
        """What the keeper published at this very instant."""
        found = read_snapshot(self._folders.snapshot, boot_id_now=boot_id(), mono_now_s=self._mono_s)
        if isinstance(found, Unusable):
            raise ChildLost(f"the rehearsed keeper published nothing that can be used: {found.reason}")
        if found.document["mono_s"] != self._mono_s:
            raise ChildLost("the rehearsed keeper did its round and published an older one")
        return found.document

    def _report(self, order: Order) -> None:
        """Tell the keeper what a grower did, as a person's page does; raises CommandRejected."""
        self._orders_sent += 1
        command = {
            "v": WIRE_VERSION,
            "id": f"grower-{self._orders_sent}",
            "expires_s": _ORDER_LASTS_S,
            "cmd": order.cmd,
            "args": order.model_dump(exclude={"cmd"}),
        }
        try:
            reply = json.loads(send_command(self._folders.socket, json.dumps(command).encode()))
        except CommandRejected:
            self.children[0].insist_alive()
            raise
        if not reply["ok"]:
            raise CommandRejected(str(reply["reason"]))

    def _child_orders(self, settings: Path) -> Sequence[ChildOrder]:
        """Every process, the keeper first; more of them are more entries here."""
        folders = self._folders
        where = ("--state", str(folders.state), "--run", str(folders.run))
        keep = ChildOrder(
            name="keep",
            options=(
                "--rehearsal",
                *("--step-s", repr(self.plan.step_s)),
                *("--config", str(settings), "--w1", str(self._tree.folder)),
                *where,
            ),
            environment={"NOTIFY_SOCKET": str(_manager_path(folders)), "WATCHDOG_USEC": _WATCHDOG_USEC},
            log=folders.run / "rehearsal-keep.log",
            mono_s=self._mono_s,
            utc_s=self._utc_s,
            stop_action=("relays-off", "--pins", REHEARSAL, *where),
            stop_needs=folders.pins,
        )
        return (keep,)


@contextmanager
def paced_rehearsal(plan: Plan, folders: Folders, *, config: Path | None = None) -> Iterator[PacedRehearsal]:
    """A rehearsal with the real keeper as a process; whatever ends the context ends that process too.

    ``folders`` are a rehearsal's own, claimed and held by the caller for as long as the context lasts.
    ``config`` is the file that the plan's settings were read from, None for the example; the keeper
    gets a copy. Offers ``plan``, ``field`` and ``moments()`` as ``Rehearsal`` does. Whoever takes the
    moments sets the pace.
    Raises WeatherFileError or StandInError before anything is started, StorageError where a folder
    cannot be used, ChildLost when the keeper leaves or does not answer.
    """
    field = Field(plan)
    with ExitStack() as stack:
        yield PacedRehearsal(plan, field, folders, stack=stack, config=config)


def _answer_safety_list(plan: Plan, folders: Folders) -> None:
    """Every answer yes, and no relay switched before: what a rehearsal at full speed takes for granted."""
    switchings = SwitchFiles(folders.run, boot_id())
    for name, frame in plan.settings.frames.items():
        if frame.heat is not None:
            record_commission(
                folders,
                frame,
                answers={point.code: True for point in POINTS},
                checks={},
                date_utc=plan.from_utc.isoformat(),
            )
            switchings.note(name, (), _MONO_BEGINS_S)


def _probe_tree(plan: Plan, folders: Folders) -> ProbeTree:
    """The simulated bus, anew."""
    root = folders.run / "rehearsal-w1"
    try:
        if root.exists():
            shutil.rmtree(root)
    except OSError as error:
        raise StorageError(f"{root}: cannot be emptied ({error.strerror}); remove it") from error
    probes: dict[ProbeId, None] = {}
    for frame in plan.settings.frames.values():
        probes |= dict.fromkeys(frame.probes.values())
    return ProbeTree(root, probes)


def _manager_path(folders: Folders) -> Path:
    return folders.run / "rehearsal-manager"


def _manager_socket(path: Path) -> socket.socket:
    """Where the keeper's words to its service manager arrive."""
    channel = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
    try:
        path.unlink(missing_ok=True)
        channel.bind(str(path))
    except OSError as error:
        channel.close()
        raise StorageError(
            f"{path}: no socket can be made there ({error}); choose a shorter --run"
        ) from error
    channel.settimeout(_SLICE_S)
    return channel


def _settings_bytes(config: Path | None) -> bytes:
    """The settings as they stand in their file, or the example's."""
    if config is None:
        return resources.files("controller").joinpath("data", EXAMPLE_NAME).read_bytes()
    try:
        return read_bounded(config, LARGEST_FILE_BYTES).data
    except (FileNotFoundError, UnfitFile) as error:
        raise StorageError(f"{config}: {error}; it was there a moment ago") from error
