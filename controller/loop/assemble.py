"""A keeper put together from its parts; real and rehearsed keepers differ only in the parts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from controller.config.records import FrameSettings, HeatSettings, Settings
from controller.heat.limits import HeatLimits, make_limits
from controller.heat.relays import GateFrame, LockoutStore, RelayGate, SwitchMemory, SwitchPin
from controller.loop.attendance import Attendance
from controller.loop.calendar import Calendar
from controller.loop.clock import Clock
from controller.loop.keeper import ContactSource, Keeper, KeeperParts
from controller.loop.overlay import Overlay, reported
from controller.loop.publish import utc_text
from controller.loop.site import SiteHealth
from controller.loop.supervisor import Supervisor
from controller.notices.life import FRESH, NoticeMemory
from controller.record.rows import Recorder
from controller.record.snapshot import SnapshotWriter
from controller.sense.probes import ProbeSource
from controller.vocabulary import FrameName, Lay, ProbeId

SECONDS_A_PROBE = 0.8
"""A 12-bit conversion takes up to 0.75 s (DS18B20 data sheet), and one bus reads its probes in turn."""

SwitchMaker = Callable[[int, bool], SwitchPin]
"""Takes a BCM pin and whether high means on; returns the switch, already off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hardware:
    """What touches the world, real or rehearsed."""

    clock: Clock
    probes: ProbeSource
    board: ContactSource
    make_switch: SwitchMaker
    lockouts: LockoutStore
    switchings: SwitchMemory | None
    """What an earlier process of this boot did to the relays; None where there was none."""
    recorder: Recorder
    snapshots: SnapshotWriter
    calendar: Calendar
    supervisor: Supervisor
    boot_id: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What was known of this site before the first tick."""

    overlay: Overlay
    offsets_k: Mapping[ProbeId, float]
    commission_gaps: Mapping[FrameName, str]
    """Why a frame does not count as commissioned; absent or empty when it does."""
    blind_duty: Mapping[FrameName, bool]
    site: SiteHealth
    notices: NoticeMemory = FRESH
    """Notices of the run before, when changed settings led to this one."""


def assemble_keeper(settings: Settings, hardware: Hardware, standing: Standing, *, tick_s: float) -> Keeper:
    """Build gate and keeper; every relay is driven off on the way.

    ``tick_s`` is the period, or a rehearsal's step.
    """
    now_s = hardware.clock.mono_s()
    interval_s = sample_interval_s(settings, tick_s)
    gate = RelayGate(
        {
            name: _gate_frame(frame.heat, hardware, standing.blind_duty.get(name, False), interval_s)
            for name, frame in settings.frames.items()
            if frame.heat is not None
        },
        hardware.lockouts,
        heat_power_max_w=settings.site.heat_power_max_w,
        now_s=now_s,
        utc_text=lambda: utc_text(hardware.clock.utc_s()),
        switchings=hardware.switchings,
    )
    return Keeper(
        KeeperParts(
            settings=settings,
            clock=hardware.clock,
            probes=hardware.probes,
            board=hardware.board,
            gate=gate,
            recorder=hardware.recorder,
            snapshots=hardware.snapshots,
            calendar=hardware.calendar,
            supervisor=hardware.supervisor,
            site=standing.site,
            attendances={
                name: _attendance(frame, standing, now_s, interval_s)
                for name, frame in settings.frames.items()
            },
            boot_id=hardware.boot_id,
            notices=standing.notices,
            tick_s=tick_s,
        )
    )


def sample_interval_s(settings: Settings, tick_s: float) -> float:
    """Time between two readings of one probe: the tick, or a round over all probes if that takes longer."""
    probes = {probe for frame in settings.frames.values() for probe in frame.probes.values()}
    return max(tick_s, SECONDS_A_PROBE * len(probes))


def heat_limits(heat: HeatSettings, *, tick_s: float, blind_duty: bool) -> HeatLimits:
    """The judge's limits of one frame from its settings; raises ValueError past a ceiling."""
    return make_limits(
        tick_s=tick_s,
        air_max_c=heat.air_max_c,
        root_max_c=heat.root_max_c,
        cable_max_c=heat.cable_max_c,
        min_on_s=heat.min_on_s,
        min_off_s=heat.min_off_s,
        on_proof_s=heat.on_proof_s,
        guard_required=heat.lay is Lay.SURFACE,
        blind_duty_allowed=blind_duty,
    )


def _gate_frame(heat: HeatSettings, hardware: Hardware, blind_duty: bool, tick_s: float) -> GateFrame:  # noqa: FBT001
    pins = heat.pins
    return GateFrame(
        limits=heat_limits(heat, tick_s=tick_s, blind_duty=blind_duty),
        heat=hardware.make_switch(pins.relay, pins.relay_active_high),
        isolating=None
        if pins.isolating is None
        else hardware.make_switch(pins.isolating, pins.isolating_active_high),
        power_w=heat.power_w,
    )


def _attendance(frame: FrameSettings, standing: Standing, now_s: float, tick_s: float) -> Attendance:
    told = reported(standing.overlay, frame)
    return Attendance(
        frame=frame,
        offsets_k=standing.offsets_k,
        now_s=now_s,
        tick_s=tick_s,
        keep_above_c=told.keep_above_c,
        opening=told.opening,
        coverings=told.coverings,
        commission_gap=standing.commission_gaps.get(frame.name, ""),
    )
