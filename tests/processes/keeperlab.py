"""The shipped keeper as a real process on a 1-Wire tree of files, recorded pins and a time-lapse clock."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from controller.config.parse import parse_settings
from controller.folders import FolderKind, Folders, claim_folders
from controller.loop.commission import record_commission
from controller.loop.inbox import send_command
from controller.loop.safety_list import POINTS
from controller.record.read import open_reader
from tests.fakes import W1Tree

AIR, SECOND, BED, CABLE, OUTSIDE = (
    "28-000000000a01",
    "28-000000000a02",
    "28-000000000b01",
    "28-000000000c01",
    "28-000000000d01",
)
RELAY_PIN = 17
LAPSE = float(os.environ.get("FRAMEWARD_LAPSE", "15"))
"""Clocks of a keeper under test run this many times as fast; 1 is the wall clock's own pace."""
PATIENCE_S = 20.0 + 900.0 / LAPSE
"""Real seconds until something must have come true: a quarter of an hour of the keeper's time."""

SETTINGS = f"""
[site]
name = "Test bed"
latitude = 53.0
longitude = -7.0
zone = "Europe/Dublin"

[site.probe.outside]
id = "{OUTSIDE}"

[frame.south]
length_m = 2.0
depth_m = 1.0
front_height_m = 0.3
back_height_m = 0.5
cover = "glass"
wall = "brick"
faces_deg = 180

[frame.south.heat]
power_w = 150
relay_pin = {RELAY_PIN}
cable_max_c = 45

[frame.south.probe.air]
id = "{AIR}"
[frame.south.probe.air_second]
id = "{SECOND}"
[frame.south.probe.bed]
id = "{BED}"
[frame.south.probe.cable]
id = "{CABLE}"

[[frame.south.opening]]
name = "shut"
area_m2 = 0
height_m = 0
[[frame.south.opening]]
name = "half"
area_m2 = 0.8
height_m = 0.3
"""

COLD = {AIR: 0.5, SECOND: 1.0, BED: 4.0, CABLE: 6.0, OUTSIDE: -4.0}
MILD = {AIR: 9.0, SECOND: 9.5, BED: 10.0, CABLE: 10.0, OUTSIDE: 8.0}


class KeeperLab:
    """One keeper process and everything round it."""

    def __init__(self, root: Path, *, state: Path | None = None) -> None:
        self.root = root
        self.folders = Folders(state=state or root / "state", run=root / "run")
        self.config = root / "frameward.toml"
        self.config.write_text(SETTINGS)
        self.tree = W1Tree(root)
        for probe, temp_c in COLD.items():
            self.tree.add(probe, temp_c)
        self.process: subprocess.Popen[str] | None = None
        self.manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.manager.bind(str(root / "notify"))
        self.manager.settimeout(PATIENCE_S)
        self.log = root / "log"

    def commission(self, *, blind_duty: bool = False) -> None:
        """Answer the safety list as a person would have."""
        claim_folders(self.folders, kind=FolderKind.REHEARSAL)
        frame = parse_settings(self.config.read_text(), "test")
        answers = {point.code: point.essential or blind_duty for point in POINTS}
        for each in frame.frames.values():
            record_commission(
                self.folders, each, answers=answers, checks={}, date_utc="2026-01-01T00:00:00+00:00"
            )

    def start(self, *more: str) -> subprocess.Popen[str]:
        """Start the shipped command; it is not waited for."""
        environment = {
            **os.environ,
            "NOTIFY_SOCKET": str(self.root / "notify"),
            "WATCHDOG_USEC": "30000000",
            "PYTHONUNBUFFERED": "1",
        }
        with self.log.open("a") as log:
            self.process = subprocess.Popen(
                [
                    sys.executable,
                    "-m",
                    "controller.cli",
                    "keep",
                    "--rehearsal",
                    "--lapse",
                    str(LAPSE),
                    "--config",
                    str(self.config),
                    "--state",
                    str(self.folders.state),
                    "--run",
                    str(self.folders.run),
                    "--w1",
                    str(self.tree.folder),
                    *more,
                ],
                stdout=log,
                stderr=log,
                env=environment,
                text=True,
            )
        return self.process

    def ready(self) -> None:
        """Wait for the first complete tick."""
        while self.manager.recv(200) != b"READY=1":
            pass

    def set_c(self, temps: Mapping[str, float]) -> None:
        for probe, temp_c in temps.items():
            self.tree.set_c(probe, temp_c)

    def snapshot(self) -> dict[str, Any]:
        """What the keeper says is true now; empty before the first tick."""
        try:
            document: dict[str, Any] = json.loads(self.folders.snapshot.read_bytes())
        except FileNotFoundError:
            return {}
        return document

    def frame(self) -> dict[str, Any]:
        frame: dict[str, Any] = self.snapshot().get("frames", {}).get("south", {})
        return frame

    def heat(self) -> dict[str, Any]:
        return self.frame().get("heat") or {}

    def until(self, truth: Callable[[], object], *, patience_s: float = PATIENCE_S) -> None:
        """Wait until something is true; says what the keeper thought when it never was."""
        until_s = time.monotonic() + patience_s
        while time.monotonic() < until_s:
            if truth():
                return
            if self.process is not None and self.process.poll() is not None:
                raise AssertionError(
                    f"the keeper left with {self.process.returncode}:\n{self.log.read_text()}"
                )
            time.sleep(0.02)
        raise AssertionError(f"never came true; snapshot {self.snapshot()}\n{self.log.read_text()[-3000:]}")

    def ticks(self, count: int) -> None:
        """Let that many more ticks complete."""
        seq = self.snapshot().get("mono_s", 0.0)
        self.until(lambda: self.snapshot().get("mono_s", 0.0) >= seq + count * 10.0)

    def notices(self) -> set[tuple[str, str, str]]:
        """Open notices as kind, urgency, code."""
        return {(each["kind"], each["urgency"], each["code"]) for each in self.snapshot().get("notices", [])}

    def told(self) -> list[tuple[str, str]]:
        """Every notice event that reached the record, as event and code, in order."""
        with open_reader(self.folders.history) as reader:
            return [
                (str(row.detail["event"]), str(row.detail["code"])) for row in reader.events(what="notice")
            ]

    def relay_history(self) -> list[int]:
        """Every level of the relay's pin, in order."""
        lines = self.folders.rehearsal_pins.read_text().splitlines()
        return [each["level"] for each in map(json.loads, lines) if each["pin"] == RELAY_PIN]

    def send(self, cmd: str, command_id: str = "1", **args: object) -> dict[str, Any]:
        """One command to the keeper's socket."""
        line = json.dumps({"v": 1, "id": command_id, "expires_s": 30.0, "cmd": cmd, "args": args})
        reply: dict[str, Any] = json.loads(send_command(self.folders.socket, line.encode()))
        return reply

    def stop(self, number: int = signal.SIGTERM) -> int:
        """Send a signal and wait; returns the exit code."""
        assert self.process is not None
        self.process.send_signal(number)
        code = self.process.wait(20)
        self.process = None
        return code

    def close(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        self.tree.release()
        self.manager.close()


def lab_in(root: Path) -> Iterator[KeeperLab]:
    """A lab that is put away afterwards, whatever happened."""
    lab = KeeperLab(root)
    try:
        yield lab
    finally:
        lab.close()
