"""What the keeper costs: memory, processor, bytes written and start of the real process; µs per tick.

Run: ``FRAMEWARD_LAPSE=1 .venv/bin/python -m tests.bench.keeper --seconds 300``.
The first part watches the shipped process at the wall clock's own pace, the second rehearses a week
with the real keeper at full speed and times each stage of its tick. Nothing is asserted here.
"""

from __future__ import annotations

import argparse
import os
import re
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from controller.cli import main_group
from controller.loop.keeper import Keeper
from tests.processes.keeperlab import LAPSE, KeeperLab

MIB = 1024.0
STAGES = ("tick", "_begin", "_sense_and_decide", "_tell", "_record", "_publish", "_result")


def watch_process(seconds: float) -> None:
    """Memory, processor time and written bytes of one heated frame's keeper."""
    lab = KeeperLab(Path(tempfile.mkdtemp()))
    try:
        lab.commission()
        began_s = time.monotonic()
        process = lab.start()
        lab.ready()
        print(f"first complete tick after {time.monotonic() - began_s:.2f} s")
        before, began_s = _used(process.pid), time.monotonic()
        time.sleep(seconds)
        after, span_s = _used(process.pid), time.monotonic() - began_s
        status = Path(f"/proc/{process.pid}/status").read_text()
        resident = int(re.findall(r"VmRSS:\s+(\d+)", status)[0]) / MIB
        print(f"over {span_s:.0f} s at {LAPSE:g} times the wall clock's pace:")
        print(f"  resident {resident:.1f} MiB, threads {re.findall(r'Threads:.(.*)', status)[0].strip()}")
        print(f"  processor {100 * (after[0] - before[0]) / span_s:.3f} % of one core")
        a_day_mb = (after[1] - before[1]) / span_s * 86400 / 1e6
        print(f"  write calls {a_day_mb:.1f} MB a day, snapshots in memory included")
    finally:
        lab.close()


def _used(pid: int) -> tuple[float, int]:
    """Processor seconds and bytes handed to write calls so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    processor_s = (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    io = Path(f"/proc/{pid}/io").read_text()
    return processor_s, int(re.findall(r"wchar: (\d+)", io)[0])


def time_stages() -> None:
    """Microseconds per stage of the tick, over a rehearsed week."""
    spent: dict[str, float] = dict.fromkeys(STAGES, 0.0)
    ticks = 0

    def timed(name: str, whole: Callable[..., Any]) -> Callable[..., Any]:
        def method(*arguments: object, **named: object) -> object:
            nonlocal ticks
            began_s = time.perf_counter()
            result = whole(*arguments, **named)
            spent[name] += time.perf_counter() - began_s
            ticks += name == "tick"
            return result

        return method

    for name in STAGES:
        setattr(Keeper, name, timed(name, getattr(Keeper, name)))
    began_s = time.perf_counter()
    done = CliRunner().invoke(main_group, ["rehearse", "--fast", "--days", "7"])
    whole_s = time.perf_counter() - began_s
    print(done.output.strip().splitlines()[-1])
    each_us = 1e6 * whole_s / max(1, ticks)
    print(f"{ticks} steps, {each_us:.0f} µs a step with stand-in, probes and weather; of it")
    for name in STAGES:
        print(f"  {name.strip('_'):17} {1e6 * spent[name] / max(1, ticks):6.1f} µs")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=120.0)
    options = parser.parse_args()
    watch_process(options.seconds)
    time_stages()
