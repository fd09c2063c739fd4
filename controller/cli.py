"""The one command, ``frameward``; each sub-command is loaded only when it is asked for."""

from __future__ import annotations

import importlib
import sys

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
    try:
        code = main_group.main(standalone_mode=False)
    except click.exceptions.Abort:
        sys.exit(130)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except ConfigError as error:
        click.echo(f"The settings cannot be used ({len(error.faults)} to mend):\n{error}", err=True)
        sys.exit(error.exit_code)
    except ControllerError as error:
        click.echo(f"frameward: {error}", err=True)
        sys.exit(error.exit_code)
    sys.exit(code if isinstance(code, int) else 0)


if __name__ == "__main__":
    main()
