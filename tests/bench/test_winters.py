"""The bench as one command."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.bench.table import RESULTS_FOLDER

ROOT = Path(__file__).parent.parent.parent


def bench(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "tests.bench.winters", *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=110,
    )


def test_a_cold_day_runs_through_every_part() -> None:
    """All contestants, foresight, rows 1, 2 and 7, every stage; --quick keeps nothing."""
    before = sorted(RESULTS_FOLDER.glob("*"))
    done = bench("--quick", "--from", "2002-01-05", "--to", "2002-01-05")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    for words in (
        "Adequate: ",
        "our keeper, air probes +0.5 K",
        "our keeper, cable × 0.7",
        "plug-in thermostat",
        "plain hysteresis",
        "Perfect foresight, ",
        "\n1    ",
        "\n2    ",
        "\n7    1440 steps of the real keeper",
        "  stand-in ",
        "  together ",
    ):
        assert words in done.stdout
    assert sorted(RESULTS_FOLDER.glob("*")) == before


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--weather", "no-such-file.csv"), "does not exist"),
        (("--stand-in", "no_such_module:make"), "cannot import"),
        (("--from", "1999-01-01", "--to", "1999-01-05"), "choose dates inside it"),
    ],
)
def test_what_cannot_be_run_is_said(arguments: tuple[str, ...], words: str) -> None:
    """Exit 1 and a line of reason, no traceback."""
    done = bench(*arguments)
    assert done.returncode == 1
    assert words in done.stderr
    assert "Traceback" not in done.stderr
