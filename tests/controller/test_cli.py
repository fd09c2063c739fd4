"""The one command: light to start, one text and one exit code for everything expected."""

from __future__ import annotations

import subprocess
import sys

import click
import pytest

from controller import cli
from controller.errors import ConfigError, Fault, HardwareError


def run(monkeypatch: pytest.MonkeyPatch, body: object, *arguments: str) -> int:
    """Run the command line with ``check`` replaced; returns the exit code."""

    @click.command("check")
    def command() -> object:
        return body() if callable(body) else body

    monkeypatch.setattr(cli.LazyGroup, "get_command", lambda self, ctx, name: command)
    monkeypatch.setattr(sys, "argv", ["frameward", "check", *arguments])
    with pytest.raises(SystemExit) as left:
        cli.main()
    return int(left.value.code or 0)


def raising(error: BaseException) -> object:
    def body() -> None:
        raise error

    return body


FAULT = Fault(file="f.toml", line=3, key="site.zone", problem="is not a zone", remedy="write one")


@pytest.mark.parametrize(
    ("body", "code"),
    [
        (lambda: None, 0),
        (lambda: click.get_current_context().exit(5), 5),
        (raising(HardwareError("no pin")), 1),
        (raising(ConfigError((FAULT,))), 78),
        (raising(click.UsageError("odd")), 2),
        (raising(click.exceptions.Abort()), 130),
    ],
)
def test_every_expected_end_has_its_exit_code(
    body: object, code: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run(monkeypatch, body) == code


def test_settings_faults_are_printed_in_full(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    run(monkeypatch, raising(ConfigError((FAULT, FAULT))))
    shown = capsys.readouterr().err
    assert shown.count("f.toml:3: site.zone: is not a zone; write one") == 2
    assert "2 to mend" in shown


def test_a_bug_is_not_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(ZeroDivisionError):
        run(monkeypatch, lambda: 1 // 0)


def test_an_unknown_command_is_a_usage_error() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "controller.cli", "nothing"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "nothing" in done.stderr


@pytest.mark.parametrize("heavy", ["pydantic", "apscheduler", "w1thermsensor", "sqlite3"])
def test_the_stop_action_starts_light(heavy: str) -> None:
    """``relays-off`` must not pay for what it does not need."""
    code = (
        "import sys\nfrom controller.cli import main_group\nimport click\n"
        "main_group.get_command(click.Context(main_group), 'relays-off')\n"
        f"sys.exit('{heavy}' in sys.modules)\n"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
