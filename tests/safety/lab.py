"""Pretended pins, a store in memory, evidence by the spoonful: what the safety tests are made with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from controller.heat.limits import HeatLimits, make_limits
from controller.heat.relays import GateFrame, RelayGate
from controller.vocabulary import (
    FrameName,
    HeatEvidence,
    HeatReport,
    Lockout,
    Reading,
    Rejected,
    Rejection,
    Sample,
)

SOUTH = FrameName("south")
NORTH = FrameName("north")
WHEN = "2031-01-17T03:00:00+00:00"

Journal = list[tuple[str, str]]


class FakePin:
    """A pin that remembers every drive and can be told to misbehave."""

    def __init__(self, name: str = "heat", journal: Journal | None = None) -> None:
        self.name = name
        self.level = False
        self.history: list[bool] = []
        self.journal: Journal = [] if journal is None else journal
        self.fail_drive: set[bool] = set()
        self.fail_read = False
        self.welded: bool | None = None
        self.closed = 0
        self.fail_close = False

    def drive(self, on: bool) -> None:  # noqa: FBT001  # the form of the seam
        """Note the order; fail if told to."""
        self.journal.append((self.name, "on" if on else "off"))
        if on in self.fail_drive:
            raise OSError(5, f"{self.name} would not")
        self.history.append(on)
        self.level = on

    def read(self) -> bool:
        """The level, or where a weld holds it."""
        if self.fail_read:
            raise OSError(5, f"{self.name} is mute")
        return self.level if self.welded is None else self.welded

    def close(self) -> None:
        """Count it; fail if told to."""
        self.journal.append((self.name, "close"))
        self.closed += 1
        if self.fail_close:
            raise OSError(5, f"{self.name} holds on")


class FakeStore:
    """Lockouts that outlive a gate, as files would."""

    def __init__(self, journal: Journal | None = None) -> None:
        self.kept: dict[FrameName, Lockout] = {}
        self.journal: Journal = [] if journal is None else journal
        self.prepared: list[FrameName] = []
        self.fail_prepare = False
        self.fail_keep = False
        self.fail_find = False
        self.half_kept = False

    def prepare(self, frame: FrameName) -> None:
        """Note it; fail if told to."""
        if self.fail_prepare:
            raise OSError(28, "no space left")
        self.prepared.append(frame)

    def find(self, frame: FrameName) -> Lockout | None:
        """What was kept; fail if told to."""
        if self.fail_find:
            raise OSError(5, "no such luck")
        return self.kept.get(frame)

    def keep(self, lockout: Lockout) -> bool:
        """Keep it; fail, or keep one copy alone, if told to."""
        self.journal.append(("store", lockout.cause.value))
        if self.fail_keep:
            raise OSError(28, "no space left")
        self.kept[lockout.frame] = lockout
        return not self.half_kept


class FakeSwitchings:
    """What outlives a process but not a boot."""

    def __init__(self) -> None:
        self.noted: dict[FrameName, tuple[tuple[float, ...], float | None]] = {}
        self.history: list[tuple[tuple[float, ...], float | None]] = []
        self.fail = False

    def load(self, frame: FrameName, now_s: float) -> tuple[tuple[float, ...], float] | None:
        """What was noted; heat that never ended is on until now."""
        if self.fail:
            raise OSError(5, "no such luck")
        if frame not in self.noted:
            return None
        switch_ons, ended_at_s = self.noted[frame]
        return switch_ons, now_s if ended_at_s is None else ended_at_s

    def note(self, frame: FrameName, switch_ons: tuple[float, ...], heat_ended_at_s: float | None) -> None:
        """Note it; fail if told to."""
        if self.fail:
            raise OSError(28, "no space left")
        self.noted[frame] = (switch_ons, heat_ended_at_s)
        self.history.append((switch_ons, heat_ended_at_s))


def limits(**changes: Any) -> HeatLimits:
    """Limits of a ten-second loop."""
    return make_limits(**{"tick_s": 10.0, **changes})


def sample(sample_c: float, at_s: float = 0.0) -> Sample:
    """A trusted reading."""
    return Sample(temp_c=sample_c, taken_at_s=at_s)


def lost(at_s: float = 0.0) -> Rejected:
    """A probe that gave no reading."""
    return Rejected(reason=Rejection.ABSENT, since_at_s=at_s)


def evidence(now_s: float, **changes: Any) -> HeatEvidence:
    """A cold night with everything in order; numbers among the readings become fresh samples."""
    plain: dict[str, Any] = {
        "now_s": now_s,
        "heat_wanted": True,
        "air": (1.0,),
        "root": (4.0,),
        "guard": None,
        "cable": None,
        "frost_likely": True,
        "commissioned": True,
        "late": False,
        "coldest_c": 1.0,
        **changes,
    }
    for name in ("air", "root"):
        plain[name] = tuple(_reading(entry, now_s) for entry in plain[name])
    for name in ("guard", "cable"):
        if plain[name] is not None:
            plain[name] = _reading(plain[name], now_s)
    return HeatEvidence(**plain)


def _reading(entry: Reading | float | None, now_s: float) -> Reading:
    if entry is None:
        return lost(now_s)
    return entry if isinstance(entry, Sample | Rejected) else sample(entry, now_s)


class GateLab:
    """One gate over pretended pins, with its own clock and as many lives as a test needs."""

    def __init__(
        self,
        frames: Mapping[FrameName, HeatLimits] | None = None,
        *,
        isolating: bool = False,
        heat_power_max_w: float | None = None,
        power_w: float = 150.0,
        start_s: float = 1000.0,
        switchings: FakeSwitchings | None = None,
    ) -> None:
        self.journal: Journal = []
        self.now_s = start_s
        self.limits = dict(frames or {SOUTH: limits()})
        self.heat = {name: FakePin(f"{name} heat", self.journal) for name in self.limits}
        self.isolating = (
            {name: FakePin(f"{name} isolating", self.journal) for name in self.limits} if isolating else {}
        )
        self.store = FakeStore(self.journal)
        self.heat_power_max_w = heat_power_max_w
        self.power_w = power_w
        self.switchings = switchings
        self.gate = self.start()

    def start(self) -> RelayGate:
        """A new process over the same pins and the same store."""
        self.gate = RelayGate(
            {
                name: GateFrame(
                    limits=frame_limits,
                    heat=self.heat[name],
                    isolating=self.isolating.get(name),
                    power_w=self.power_w,
                )
                for name, frame_limits in self.limits.items()
            },
            self.store,
            heat_power_max_w=self.heat_power_max_w,
            now_s=self.now_s,
            utc_text=lambda: WHEN,
            switchings=self.switchings,
        )
        return self.gate

    def tick(self, **changes: Any) -> HeatReport:
        """Ten seconds later, the same evidence for every frame; the first frame's report."""
        return self.ticks(1, **changes)

    def ticks(self, count: int, **changes: Any) -> HeatReport:
        """Several ticks alike; the first frame's last report."""
        return self.frame_ticks(count, dict.fromkeys(self.limits, changes))[next(iter(self.limits))]

    def frame_ticks(
        self, count: int, changes: Mapping[FrameName, Mapping[str, Any] | None]
    ) -> Mapping[FrameName, HeatReport]:
        """Several ticks, each frame with its own evidence or with none."""
        reports: Mapping[FrameName, HeatReport] = {}
        for _ in range(count):
            self.now_s += 10.0
            reports = self.gate.apply(
                {name: evidence(self.now_s, **frame) for name, frame in changes.items() if frame is not None}
            )
        return reports

    def warm_up(self) -> HeatReport:
        """Through the rest that every start owes, until heat is on."""
        report = self.ticks(18)
        assert report.relay_on
        return report
