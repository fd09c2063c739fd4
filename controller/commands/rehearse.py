"""``frameward rehearse``: the real keeper on a simulated frame."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from controller.commands.day import read_day
from controller.commands.options import NumberRange
from controller.commands.rehearsal import Wanted, rehearse
from controller.heat.limits import TICK_CEILING_S
from controller.rehearse.grower import GROWERS
from controller.rehearse.mishaps import FAULT_EXAMPLE, NATURE_EXAMPLE
from controller.rehearse.show import BUILT_IN
from controller.rehearse.span import Dates


@click.command(
    "rehearse",
    epilog="Example: frameward rehearse --weather winter.csv.gz --from 2001-11-01 --days 30 --out autumn\n\n"
    "Exit codes: 0 done, 1 a file, folder or stand-in cannot be used, 2 wrong usage, 78 settings unusable, "
    "130 or 143 interrupted, after writing what there is.",
)
@click.option(
    "--config",
    type=click.Path(path_type=Path, readable=False),
    metavar="FILE",
    help="Settings file.  [default: the example that comes along]",
)
@click.option(
    "--weather",
    type=click.Path(path_type=Path, readable=False),
    metavar="FILE",
    help="Weather file, CSV, gzipped or not.  [default: an invented frosty fortnight]",
)
@click.option(
    "--from",
    "first",
    type=read_day,
    metavar="DATE",
    help="First day in the site's zone, such as 2027-02-14.",
)
@click.option("--to", "last", type=read_day, metavar="DATE", help="Last day, included.")
@click.option(
    "--days", type=click.IntRange(1, 400), metavar="N", help="Days from the first one on, in place of --to."
)
@click.option(
    "--stand-in",
    default=BUILT_IN,
    show_default=True,
    metavar="MODULE:FACTORY",
    help="Simulated frame; a module in the current folder will do.",
)
@click.option(
    "--grower",
    "growers",
    type=click.Choice(list(GROWERS)),
    multiple=True,
    default=("attentive",),
    show_default=True,
    help="Who moves the covers; more than one may share the frames.",
)
@click.option(
    "--slips",
    "slip_frac",
    type=NumberRange(0.0, 1.0),
    default=0.0,
    metavar="FRAC",
    help="Share of the growers' deeds that they report and have not done.",
)
@click.option(
    "--fault",
    "faults",
    multiple=True,
    metavar="WORDS",
    help=f"A probe's fault by place and local start, such as {FAULT_EXAMPLE}; may be given again.",
)
@click.option(
    "--probe",
    "natures",
    multiple=True,
    metavar="WORDS",
    help=f"How far a probe is from the truth, such as {NATURE_EXAMPLE}; may be given again.",
)
@click.option(
    "--step-s",
    type=NumberRange(1.0, TICK_CEILING_S),
    metavar="N",
    help="Simulated seconds per step.  [default: 60; at --lapse 60 or less the keeper's own tick]",
)
@click.option("--seed", type=int, default=1, show_default=True, metavar="N", help="For every invented draw.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, readable=False),
    metavar="DIR",
    help="Leave trace.csv, nights.csv, notices.csv and summary.json there, and the keeper's folder;"
    " runs at full speed.",
)
@click.option(
    "--picture",
    type=click.Path(path_type=Path, readable=False),
    metavar="FILE",
    help="Draw the run, day by day, as an SVG picture there.",
)
@click.option("--lapse", type=NumberRange(0.1), metavar="N", help="Simulated seconds per real second.")
@click.option("--fast", is_flag=True, help="As fast as it goes, with a progress line only.")
@click.option(
    "--state",
    type=click.Path(path_type=Path, readable=False),
    metavar="DIR",
    help="Keep the keeper's lasting folder there; one that a real keeper uses is refused.",
)
@click.option(
    "--run",
    type=click.Path(path_type=Path, readable=False),
    metavar="DIR",
    help="Keep the keeper's passing folder there.",
)
def command(*, first: Any, last: Any, days: int | None, **options: Any) -> None:
    """Run the real keeper on a simulated frame; no relay is touched.

    With nothing given: an invented fortnight of frost on the example frame, in about two minutes.
    With --out it runs at full speed unless --lapse sets a pace.
    """
    if options["fast"] and options["lapse"] is not None:
        raise click.UsageError("--fast and --lapse contradict each other; give one")
    if days is not None and last is not None:
        raise click.UsageError("--days and --to contradict each other; give one")
    exit_code = rehearse(Wanted(dates=Dates(first=first, last=last, days=days), **options))
    if exit_code:
        sys.exit(exit_code)
