"""Who runs on the bench: our keeper with everything it writes, and thermostats that people could plug in."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from controller.rehearse.drive import Interrupt, Pace, Watcher, drive
from controller.rehearse.field import Field
from controller.rehearse.keepers import give_order, put_away, real_keeper
from controller.rehearse.nights import NightWatch
from controller.rehearse.outputs import OutputFolder, Tallies
from controller.rehearse.place import rehearsal_folders
from controller.rehearse.run import Rehearsal
from controller.rehearse.tally import FrameTally
from tests.bench.ground import Ground


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoPoint:
    """A thermostat with two points: on at or below one, off at or above the other."""

    on_c: float
    off_c: float

    def wants_heat(self, air_c: float, *, on: bool) -> bool:
        """Whether heat is on after this reading, given how it was."""
        return air_c <= self.on_c or (on and air_c < self.off_c)


PLUG_IN = TwoPoint(on_c=1.7, off_c=7.2)
"""A frost thermostat for a socket; both points are the design's (35 and 45 °F)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeeperRun:
    """One winter of our keeper."""

    tally: FrameTally
    steps: int
    wall_s: float
    processor_s: float
    """Of this process: what the run takes on a core that it has to itself."""


def run_keeper(
    ground: Ground, *, watch: Callable[[Rehearsal], Sequence[Watcher]] = lambda _: ()
) -> KeeperRun:
    """One rehearsal of the real keeper with every stage and every output of ``frameward rehearse --out``.

    ``watch`` may add watchers, which count towards the time taken. The files are gone afterwards.
    """
    with TemporaryDirectory(prefix="frameward-bench-") as out, ExitStack() as stack:
        began_wall_s, began_processor_s = time.perf_counter(), time.process_time()
        folders = rehearsal_folders(stack, state=None, run=None, out=Path(out))
        rehearsal = Rehearsal(ground.plan, real_keeper(folders), give_order)
        tallies = Tallies(ground.plan.settings)
        with ExitStack() as inner:
            inner.callback(put_away, rehearsal.keeper)
            files = OutputFolder(Path(out), ground.plan.settings, rehearsal.field.places)
            inner.enter_context(files)
            watchers: list[Watcher] = [
                tallies,
                files,
                NightWatch(rehearsal.field, files.add_night),
                *watch(rehearsal),
            ]
            drive(rehearsal, watchers, Pace(lapse=None), Interrupt())
        wall_s = time.perf_counter() - began_wall_s
        files.write_summary(tallies, {"seed": ground.plan.seed}, wall_s)
        return KeeperRun(
            tally=tallies.frames[ground.frame],
            steps=round(ground.span_s / ground.plan.step_s),
            wall_s=time.perf_counter() - began_wall_s,
            processor_s=time.process_time() - began_processor_s,
        )


def run_thermostat(ground: Ground, thermostat: TwoPoint) -> FrameTally:
    """The same winter with a thermostat that feels the true air at once, without noise, lag or limits.

    The same grower tends the covers, by habit alone, since nothing tells him anything.
    """
    field, heat, frame = Field(ground.plan), ground.heat, ground.frame
    tally = FrameTally(power_w=heat.power_w, keep_above_c=heat.keep_above_c, air_max_c=heat.air_max_c)
    on = False
    while field.elapsed_s < ground.span_s:
        step_s = min(ground.plan.step_s, ground.span_s - field.elapsed_s)
        moment = field.step(step_s, {frame: on})[frame]
        air_c = moment.true_c["air"]
        tally.add(step_s, air_c, moment.true_c["outside"], moment.heated_s)
        was, on = on, thermostat.wants_heat(air_c, on=on)
        tally.switch_on_count += on and not was
        field.visit(())
    return tally
