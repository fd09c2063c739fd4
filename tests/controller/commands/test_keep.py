"""What ``frameward keep`` refuses before it opens anything."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from controller.commands.keep import command

APART = ("--state", "state", "--run", "run")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--rehearsal",), "needs --state and --run"),
        (("--lapse", "2"), "--lapse is for --rehearsal only"),
        (("--rehearsal", *APART, "--director", "3"), "--director and --step-s go together"),
        (("--rehearsal", *APART, "--step-s", "60"), "--director and --step-s go together"),
        (("--director", "3", "--step-s", "60"), "and with --rehearsal"),
        (
            ("--rehearsal", *APART, "--director", "3", "--step-s", "60", "--lapse", "2"),
            "contradict each other",
        ),
        (("--rehearsal", *APART, "--director", "3", "--step-s", "300.1"), "300"),
    ],
)
def test_options_that_do_not_fit_together_are_refused(options: tuple[str, ...], words: str) -> None:
    """Nothing that a rehearsal may do is open to a keeper with a board's pins."""
    result = CliRunner().invoke(command, options)
    assert result.exit_code == 2
    assert words in result.output


def test_help_shows_no_option_that_only_a_rehearsal_uses() -> None:
    assert "--director" not in CliRunner().invoke(command, ("--help",)).output
