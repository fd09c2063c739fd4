"""Options that the commands share, so that each means the same everywhere."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from controller.folders import SERVICE_RUN, SERVICE_STATE

DEFAULT_CONFIG = Path("/etc/frameward/frameward.toml")
DEFAULT_W1 = Path("/sys/bus/w1/devices")

_PATH = click.Path(path_type=Path, readable=False)
"""Whether it can be read is found out, and said better, by the command that reads it."""

_Command = TypeVar("_Command", bound=Callable[..., Any])


class NumberRange(click.FloatRange):
    """A number between two ends; what is no number at all lies between none."""

    def convert(self, given: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The number; fails as wrong usage for ``nan``, which passes every comparison."""
        number = super().convert(given, param, ctx)
        if math.isnan(number):
            self.fail(f"{given!r} is no number.", param, ctx)
        return number


def config_option(command: _Command) -> _Command:
    """Give the command ``config``: the settings file, never read here."""
    return click.option(
        "--config",
        type=_PATH,
        envvar="FRAMEWARD_CONFIG",
        default=DEFAULT_CONFIG,
        show_default=True,
        show_envvar=True,
        metavar="FILE",
        help="Settings file.",
    )(command)


def state_option(command: _Command) -> _Command:
    """Give the command ``state``: a folder, or None for the usual one."""
    return click.option(
        "--state",
        type=_PATH,
        default=None,
        metavar="DIR",
        help="Folder that survives a power cut: history, lockouts.  "
        f"[default: {SERVICE_STATE} where it is there, else your own]",
    )(command)


def run_option(command: _Command) -> _Command:
    """Give the command ``run``: a folder in memory, or None for the usual one."""
    return click.option(
        "--run",
        type=_PATH,
        default=None,
        metavar="DIR",
        help="Folder in memory: snapshot, lock, command socket.  "
        f"[default: {SERVICE_RUN} beside that, else your own]",
    )(command)


def w1_option(command: _Command) -> _Command:
    """Give the command ``w1``: the folder where the kernel shows 1-Wire devices."""
    return click.option(
        "--w1",
        type=_PATH,
        default=DEFAULT_W1,
        show_default=True,
        metavar="DIR",
        help="Folder in which the kernel shows 1-Wire devices.",
    )(command)
