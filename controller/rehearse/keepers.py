"""The real keeper as a rehearsal builds it: its own code, on pretended pins and a clock that is advanced."""

from __future__ import annotations

from controller.config.records import Settings
from controller.errors import StorageError
from controller.folders import Folders
from controller.heat.pins import REHEARSAL, GpioSwitch, open_factory
from controller.loop.assemble import Hardware, Standing, assemble_keeper
from controller.loop.calendar import RehearsalCalendar
from controller.loop.clock import RehearsalClock
from controller.loop.keeper import Keeper
from controller.loop.orders import OrderDesk
from controller.loop.overlay import Overlay
from controller.loop.site import SiteHealth
from controller.loop.starts import StartCount
from controller.loop.supervisor import Supervisor
from controller.record.lockouts import LockoutFiles
from controller.record.snapshot import SnapshotWriter
from controller.record.writer import DirectWriter
from controller.rehearse.probes import SimulatedProbes
from controller.rehearse.run import BuildKeeper, KeeperLike
from controller.sense.inputs import BoardContacts
from controller.wire import Order

BOOT_ID = "00000000-0000-0000-0000-000000000000"
"""The same in every rehearsal, so that the same seed leaves the same record."""
SNAPSHOT_GAP_S = 3600.0
"""Simulated seconds between two snapshots at full speed."""
REHEARSAL_UID = 0


def real_keeper(folders: Folders) -> BuildKeeper:
    """Builds keepers in these folders, commissioned for rehearsal with every answer given."""

    def build(
        settings: Settings, clock: RehearsalClock, probes: SimulatedProbes, step_s: float
    ) -> KeeperLike:
        factory = open_factory(REHEARSAL, record=None)
        hardware = Hardware(
            clock=clock,
            probes=probes,
            board=BoardContacts(settings, factory),
            make_switch=lambda pin, active_high: GpioSwitch(pin, active_high=active_high, factory=factory),
            lockouts=LockoutFiles(folders.lockouts, settings.heat_pins),
            switchings=None,
            recorder=DirectWriter(folders.history, utc_s=clock.utc_s),
            snapshots=SnapshotWriter(folders.snapshot, gap_s=SNAPSHOT_GAP_S),
            calendar=RehearsalCalendar(),
            supervisor=Supervisor({}),
            boot_id=BOOT_ID,
        )
        standing = Standing(
            overlay=Overlay(),
            offsets_k={},
            commission_gaps={},
            blind_duty=dict.fromkeys(settings.frames, True),
            site=SiteHealth(
                started_at_s=clock.mono_s(),
                guarded=True,
                starts=StartCount(last_was_unclean=False, unclean_in_hour=0, unclean_in_day=0),
            ),
        )
        return assemble_keeper(settings, hardware, standing, tick_s=step_s)

    return build


def put_away(keeper: KeeperLike) -> None:
    """Heat off, pins let go, record saved; raises StorageError when it could not be saved."""
    if isinstance(keeper, Keeper):
        keeper.parts.gate.close()
        if not keeper.parts.recorder.close(0.0):
            raise StorageError(
                f"the rehearsal's history could not be saved ({keeper.parts.recorder.health().detail})"
            )


def give_order(keeper: KeeperLike, order: Order) -> None:
    """Give the keeper an order or report, through the same desk that a person's reaches."""
    if isinstance(keeper, Keeper):
        OrderDesk(keeper, lambda: None).take(order, REHEARSAL_UID)
