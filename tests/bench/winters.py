"""Our keeper through a winter, beside what people use and beside the limit.

Run: ``.venv/bin/python -m tests.bench.winters``; some minutes on two cores. ``--quick`` takes a fortnight
with the coldest moment in it and leaves no file. Contestants share stand-in, weather, grower and cable watts:

* our keeper: the real one, as ``frameward rehearse`` runs it, with everything it writes;
* a plug-in thermostat: on at 1.7 °C, off at 7.2 °C;
* plain hysteresis: on at our keep above, off at that plus our differential;
* the least electricity by perfect foresight (``foresight`` says what that bound is and is not).

The thermostats feel the true air, without a probe's errors. Prints the design's rows 1, 2 and 7 as they
stand, met or not; it measures and does not judge, so it exits 0 either way, and 1 where it cannot run.
Scipy comes with the extra ``bench``.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import platform
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from controller.errors import ControllerError
from controller.rehearse.drive import Watcher
from controller.rehearse.run import Rehearsal
from tests.bench.contestants import PLUG_IN, KeeperRun, TwoPoint, run_keeper, run_thermostat
from tests.bench.foresight import Held, Least, Line, least_of, winter_through
from tests.bench.ground import BUILT_IN, Ground, adequate_watts, coldest_moment, lay_ground
from tests.bench.rows import Row, row_1, row_1_bias, row_2, row_7, sum_up
from tests.bench.stages import time_stages
from tests.bench.table import (
    RESULTS_FOLDER,
    contestant_lines,
    foresight_lines,
    keep_results,
    machine_words,
    row_lines,
    run_document,
    stage_lines,
)
from tests.bench.windows import OLD_ENOUGH_S, Piece, WindowCutter

WEATHER = Path(__file__).parent.parent / "data" / "pittsburgh_tmy3.csv.gz"
BIASES_K = (0.5, -0.5)
WEAK_FRAC = 0.7
STAGE_DAYS = 7
CHUNKS = 8
LONG_S = 60 * 3600.0
"""Windows of foresight's own winter are split only when so old, since a split ends with a cold bed."""

_JOBS: dict[str, Callable[[], Any]] = {}
"""What the processes of the pool find when they are forked: stand-ins need not be sendable."""


def run_with_windows(ground: Ground) -> tuple[KeeperRun, WindowCutter, WindowCutter]:
    """Our keeper's winter, cut into windows for the bound and into long ones for the winter held."""
    cutters: list[WindowCutter] = []

    def watch(rehearsal: Rehearsal) -> Sequence[Watcher]:
        cutters.extend(
            WindowCutter(rehearsal.field, ground.frame, old_enough_s)
            for old_enough_s in (OLD_ENOUGH_S, LONG_S)
        )
        return cutters

    run = run_keeper(ground, watch=watch)
    for cutter in cutters:
        cutter.finish()
    short, long = cutters
    return run, short, long


def solve_windows(windows: Sequence[Piece], ground: Ground) -> list[Least]:
    """The bound for some windows."""
    return [least_of(window, ground.plan.weather, _line(ground)) for window in windows]


def hold_through(cutter: WindowCutter, ground: Ground) -> list[Held]:
    """Foresight's own winter."""
    return winter_through(cutter.begins_with, cutter.pieces, ground.plan.weather, _line(ground))


def _line(ground: Ground) -> Line:
    heat = ground.heat
    return Line(keep_c=ground.keep_c, raised_k=heat.differential_k / 2, power_w=heat.power_w)


def do_all(jobs: Mapping[str, Callable[[], Any]]) -> dict[str, Any]:
    """Every job's answer, a process for each core."""
    _JOBS.clear()
    _JOBS.update(jobs)
    began_s = time.perf_counter()
    fork = multiprocessing.get_context("fork")
    with ProcessPoolExecutor(max_workers=os.cpu_count(), mp_context=fork) as pool:
        promised = {name: pool.submit(_do, name) for name in jobs}
        answers = {}
        for name, promise in promised.items():
            answers[name] = promise.result()
            _say(f"  {name}: done after {time.perf_counter() - began_s:.0f} s")
        return answers


def _do(name: str) -> Any:
    return _JOBS[name]()


def _say(words: str) -> None:
    print(words, flush=True)


def bench(ground: Ground) -> tuple[dict[str, Any], list[str]]:
    """Everything that the bench finds, to keep and to read."""
    began_s = time.perf_counter()
    power_w = adequate_watts(ground)
    ground = ground.with_watts(power_w)
    weak = ground.with_watts(WEAK_FRAC * power_w)
    heat = ground.heat
    plain = TwoPoint(on_c=ground.keep_c, off_c=ground.keep_c + heat.differential_k)
    _say(f"Adequate: {power_w:g} W, the smallest of round watts that holds the coldest week by thermostat.")
    _say("Our keeper alone on the machine ...")
    run, short, long = run_with_windows(ground)
    windows = short.windows
    stages_us = time_stages(_stretch(ground))
    _say("The others ...")
    answers = do_all(
        {
            "foresight's own winter": partial(hold_through, long, ground),
            **{
                f"bias {off_by_k:+}": partial(run_keeper, ground.with_air_off_by(off_by_k))
                for off_by_k in BIASES_K
            },
            "weak": partial(run_keeper, weak),
            "plug-in": partial(run_thermostat, ground, PLUG_IN),
            "plain": partial(run_thermostat, ground, plain),
            "weak plain": partial(run_thermostat, weak, plain),
            **{
                f"foresight {part}": partial(solve_windows, windows[part::CHUNKS], ground)
                for part in range(CHUNKS)
            },
        }
    )
    least = [each for part in range(CHUNKS) for each in answers[f"foresight {part}"]]
    foresight = sum_up(least, answers["foresight's own winter"], run.tally.energy_wh / 1000.0)
    tallies = {
        "our keeper": run.tally,
        **{
            f"our keeper, air probes {off_by_k:+g} K": answers[f"bias {off_by_k:+}"].tally
            for off_by_k in BIASES_K
        },
        "plug-in thermostat": answers["plug-in"],
        "plain hysteresis": answers["plain"],
        f"our keeper, cable × {WEAK_FRAC:g}": answers["weak"].tally,
        f"plain hysteresis, cable × {WEAK_FRAC:g}": answers["weak plain"],
    }
    rows: list[Row] = [
        *row_1(run.tally, answers["plug-in"], foresight, keep_c=heat.keep_above_c),
        *(row_1_bias(off_by_k, answers[f"bias {off_by_k:+}"].tally) for off_by_k in BIASES_K),
        row_2(answers["weak"].tally, answers["weak plain"]),
        row_7(run),
    ]
    facts = {
        "adequate_w": power_w,
        "steps": run.steps,
        "wall_s": run.wall_s,
        "processor_s": run.processor_s,
        "bench_wall_s": time.perf_counter() - began_s,
    }
    document = run_document(
        setup=_setup(ground),
        facts=facts,
        tallies=tallies,
        foresight=foresight,
        stages_us=stages_us,
        rows=rows,
    )
    lines = [
        "",
        *contestant_lines(tallies),
        "",
        *foresight_lines(foresight, raised_k=heat.differential_k / 2),
        "",
        *row_lines(rows),
        "",
        *stage_lines(stages_us),
        _speed_words(run),
    ]
    return document, lines


def _stretch(ground: Ground) -> Ground:
    """The days about the coldest moment, on which the stages are timed."""
    plan = ground.plan
    coldest = coldest_moment(plan.weather, plan.from_utc, plan.until_utc)
    half = timedelta(days=STAGE_DAYS / 2)
    return ground.between(max(plan.from_utc, coldest - half), min(plan.until_utc, coldest + half))


def _speed_words(run: KeeperRun) -> str:
    return (
        f"Our keeper's winter: {run.wall_s:.1f} s by the wall clock, {run.processor_s:.1f} s of processor,"
        f" {1e6 * run.wall_s / max(1, run.steps):.0f} µs a step; {machine_words()},"
        f" Python {platform.python_version()}."
    )


def _setup(ground: Ground) -> dict[str, object]:
    plan = ground.plan
    return {
        "weather": plan.weather.header.get("station") or Path(plan.weather.file_name).name,
        "from": plan.from_utc.isoformat(),
        "to": plan.until_utc.isoformat(),
        "stand_in": plan.stand_in_name,
        "settings": plan.settings.site.name,
        "seed": plan.seed,
        "keep_above_c": ground.heat.keep_above_c,
        "growers": list(plan.growers),
    }


def _options() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--weather", type=Path, default=WEATHER, metavar="FILE")
    parser.add_argument("--from", dest="first", type=date.fromisoformat, metavar="DATE")
    parser.add_argument("--to", dest="last", type=date.fromisoformat, metavar="DATE")
    parser.add_argument("--stand-in", default=BUILT_IN, metavar="MODULE:FACTORY")
    parser.add_argument("--config", type=Path, metavar="FILE")
    parser.add_argument("--seed", type=int, default=1, metavar="N")
    parser.add_argument("--quick", action="store_true", help="a fortnight; leaves no file")
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the bench; 0 when it ran, 1 when it could not."""
    options = _options().parse_args(arguments)
    try:
        ground = lay_ground(
            weather=options.weather,
            config=options.config,
            first=options.first,
            last=options.last,
            stand_in=options.stand_in,
            seed=options.seed,
            quick=options.quick,
        )
        document, lines = bench(ground)
    except ControllerError as error:
        print(error, file=sys.stderr)
        return 1
    print("\n".join(lines))
    if not options.quick:
        kept = keep_results(RESULTS_FOLDER, date.today(), document)  # noqa: DTZ011  # the day that the reader knows
        print(f"Kept in {kept.relative_to(Path.cwd()) if kept.is_relative_to(Path.cwd()) else kept.name}.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
