"""``frameward keep``: the keeper itself."""

from __future__ import annotations

import faulthandler
import os
from contextlib import AbstractContextManager
from pathlib import Path

import click

from controller.commands.options import NumberRange, config_option, run_option, state_option, w1_option
from controller.commands.whose import insist_readable, refuse_root
from controller.heat.limits import TICK_CEILING_S


@click.command(
    "keep",
    epilog="Example: frameward keep --config frameward.toml\n\n"
    "Exit codes: 0 told to stop, 1 hardware or folder refused, 78 no usable settings.",
)
@config_option
@state_option
@run_option
@w1_option
@click.option(
    "--rehearsal",
    is_flag=True,
    help="Drive recorded pins in place of the board's; needs --state and --run of its own.",
)
@click.option(
    "--lapse",
    type=NumberRange(1.0, 3600.0),
    default=1.0,
    show_default=True,
    metavar="N",
    help="With --rehearsal: every clock runs N times as fast.",
)
@click.option("--director", "director_fd", type=click.IntRange(0), hidden=True)  # a rehearsal's own use only
@click.option("--step-s", type=NumberRange(1.0, TICK_CEILING_S), hidden=True)
def command(
    *,
    config: Path,
    state: Path | None,
    run: Path | None,
    w1: Path,
    rehearsal: bool,
    lapse: float,
    director_fd: int | None,
    step_s: float | None,
) -> None:
    """Hold every frame of the settings frost free until told to stop.

    Heat is refused until `frameward commission` has been answered. Mains beside wet soil kills:
    RCD, fuse and an independent thermal cut-out protect; this program does not.
    """
    if rehearsal and (state is None or run is None):
        raise click.UsageError("--rehearsal needs --state and --run, so that it cannot meet a live keeper's")
    if lapse != 1.0 and not rehearsal:
        raise click.UsageError("--lapse is for --rehearsal only")
    if lapse != 1.0 and director_fd is not None:
        raise click.UsageError("--lapse and --director contradict each other: a director sets the pace")
    if (director_fd is None) != (step_s is None) or (director_fd is not None and not rehearsal):
        raise click.UsageError("--director and --step-s go together, and with --rehearsal")
    faulthandler.enable()
    directing = None if director_fd is None or step_s is None else (director_fd, step_s)
    _keep(config=config, state=state, run=run, w1=w1, rehearsal=rehearsal, lapse=lapse, directing=directing)


def _keep(
    *,
    config: Path,
    state: Path | None,
    run: Path | None,
    w1: Path,
    rehearsal: bool,
    lapse: float,
    directing: tuple[int, float] | None,
) -> None:
    """Import the heavy parts only now, so that ``--help`` stays light."""
    from controller.folders import FolderKind, claim_folders, find_folders  # noqa: PLC0415
    from controller.heat.pins import BOARD, REHEARSAL  # noqa: PLC0415
    from controller.loop.board import run_board  # noqa: PLC0415
    from controller.loop.clock import BoardClock, Clock, DirectedClock, LapseClock  # noqa: PLC0415
    from controller.loop.opening import BoardOrder, Directed  # noqa: PLC0415
    from controller.loop.starts import refusals_are_clean  # noqa: PLC0415
    from controller.loop.supervisor import only_one  # noqa: PLC0415
    from controller.record.eventlog import set_up_log  # noqa: PLC0415
    from controller.rehearse.paceddirector import beside_director, insist_directed  # noqa: PLC0415

    folders = find_folders(state, run, os.environ)
    insist_readable(folders.state)
    refuse_root(folders.state)
    if directing is not None:
        insist_directed(folders)
    claim_folders(folders, kind=FolderKind.REHEARSAL if rehearsal else FolderKind.LIVE)
    clock: Clock
    directed: Directed | None = None
    holding: AbstractContextManager[None] = only_one(folders)
    if directing is not None:
        clock = DirectedClock(directing[0])
        directed = Directed(step_s=directing[1], pipe_fd=clock.pipe_fd)
        holding = beside_director(folders)
    elif rehearsal:
        clock = LapseClock(lapse=lapse, step_file=folders.rehearsal_clock_step)
    else:
        clock = BoardClock()
    log = set_up_log(mono_s=clock.mono_s, utc_s=clock.utc_s, environment=os.environ)
    try:
        with holding, refusals_are_clean(folders.starts):
            run_board(
                BoardOrder(
                    config=config,
                    folders=folders,
                    w1=w1,
                    pins=REHEARSAL if rehearsal else BOARD,
                    clock=clock,
                    log=log,
                    environment=os.environ,
                    directed=directed,
                )
            )
    finally:
        log.close()
