"""The one command, ``frameward``; each sub-command is loaded only when it is asked for."""

from __future__ import annotations

import errno
import importlib
import os
import sys
from contextlib import suppress
from typing import TextIO

import click

from controller import __version__
from controller.errors import ConfigError, ControllerError

COMMANDS = {
    "keep": "Hold the frames frost free: the keeper itself.",
    "rehearse": "Run the real keeper on a simulated frame.",
    "check": "Read the settings, ask the hardware, say what would happen next.",
    "probes": "List probes, watch them live, correct them in melting ice.",
    "commission": "Go through the safety list that heat waits for.",
    "clear-lockout": "End a lockout, at the board, once its cause is gone.",
    "relays-off": "Drive every relay off; needs no settings.",
}

_OUTPUT_ERRORS = (errno.EPIPE, errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
"""What a pipe or a disk under the output says; files of our own are written where such errors are told."""


class LazyGroup(click.Group):
    """Imports a sub-command's file on first use, so that each starts light."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Names in the order a newcomer would need them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """The sub-command, or None where there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"controller.commands.{cmd_name.replace('-', '_')}")
        command = module.command
        if not isinstance(command, click.Command):
            raise TypeError(f"controller.commands.{cmd_name}: offers no click command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Print the list without importing a single sub-command."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(
    cls=LazyGroup,
    epilog="Exit codes: 0 done, 1 refused or failed, 2 wrong usage, 78 settings unusable, "
    "130 or 143 interrupted.",
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(__version__, prog_name="frameward")
def main_group() -> None:
    """Keep a garden cold frame frost free, and say so."""


def main() -> None:
    """Run one command; every expected error ends in one clear text and its exit code."""
    output, fault = sys.stdout, ""
    try:
        code = _run_command()
    except SystemExit as leaving:
        code = leaving.code if isinstance(leaving.code, int) else int(leaving.code is not None)
        if sys.stdout is not output:  # so does click leave, in silence, when a pipe is closed on it
            fault = os.strerror(errno.EPIPE)
    except OSError as error:
        if error.errno not in _OUTPUT_ERRORS or error.filename is not None:
            raise
        code, fault = ControllerError.exit_code, str(error.strerror)
    fault = _output_fault(output) or fault
    if fault:
        _say(f"frameward: the output could not be written ({fault})")
        _discard(output)
        code = code or ControllerError.exit_code
    if _output_fault(sys.stderr):
        _discard(sys.stderr)
    sys.exit(code)


def _run_command() -> int:
    """The command's exit code, its expected errors told."""
    try:
        code = main_group.main(standalone_mode=False)
    except click.exceptions.Abort:
        return 130
    except click.ClickException as error:
        with suppress(OSError):
            error.show()
        return error.exit_code
    except ConfigError as error:
        _say(f"The settings cannot be used ({len(error.faults)} to mend):\n{error}")
        return error.exit_code
    except ControllerError as error:
        _say(f"frameward: {error}")
        return error.exit_code
    return code if isinstance(code, int) else 0


def _say(words: str) -> None:
    """To the error output, where anybody is left to read it."""
    with suppress(OSError):
        click.echo(words, err=True)


def _output_fault(output: TextIO | None) -> str:
    """Why what was printed does not arrive: a closed pipe, a full disk; empty when it has arrived."""
    if output is None:  # closed from the start, so that nobody waits for it
        return ""
    try:
        output.flush()
    except OSError as error:
        return error.strerror or str(error)
    return ""


def _discard(output: TextIO) -> None:
    """Let what is left in the buffer go nowhere, so that the interpreter has nothing to add at its end."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, output.fileno())
        os.close(nowhere)


if __name__ == "__main__":
    main()
