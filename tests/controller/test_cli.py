"""The one command: light to start, one text and one exit code for everything expected."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

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


LONG = [sys.executable, "-m", "controller.cli", "check", "--example"]


@pytest.fixture(params=["", "1"], ids=["buffered", "unbuffered"])
def _buffering(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONUNBUFFERED", request.param)


@pytest.mark.usefixtures("_buffering")
def test_a_full_disk_under_the_output_is_one_line_and_exit_code_1() -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(LONG, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.stderr == "frameward: the output could not be written (No space left on device)\n"
    assert done.returncode == 1


@pytest.mark.usefixtures("_buffering")
def test_a_pipe_closed_at_the_other_end_is_one_line_and_exit_code_1() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(LONG, stdout=writing, stderr=subprocess.PIPE, text=True, check=False)
    os.close(writing)
    assert done.stderr == "frameward: the output could not be written (Broken pipe)\n"
    assert done.returncode == 1


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["probes", "watch", "--help"]])
def test_help_into_a_full_disk_is_no_traceback_either(arguments: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [*LONG[:3], *arguments], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.stderr.count("\n") == 1
    assert done.returncode == 1


@pytest.mark.usefixtures("_buffering")
def test_with_output_and_errors_both_full_only_the_exit_code_is_left() -> None:
    with Path("/dev/full").open("w") as full:
        for arguments, code in ((["check", "--example"], 1), (["check", "--config", "/nowhere"], 78)):
            done = subprocess.run([*LONG[:3], *arguments], stdout=full, stderr=full, check=False)
            assert done.returncode == code


def test_an_error_of_the_system_that_is_not_the_outputs_is_not_hidden(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for error in (OSError(5, "gone"), OSError(28, "gone", "/a/file")):
        with pytest.raises(OSError, match="gone"):
            run(monkeypatch, raising(error))


@pytest.mark.parametrize("heavy", ["pydantic", "apscheduler", "w1thermsensor", "sqlite3"])
def test_the_stop_action_starts_light(heavy: str) -> None:
    """``relays-off`` must not pay for what it does not need."""
    code = (
        "import sys\nfrom controller.cli import main_group\nimport click\n"
        "main_group.get_command(click.Context(main_group), 'relays-off')\n"
        f"sys.exit('{heavy}' in sys.modules)\n"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
