"""The mutation run over judge and gate, by one command from the top of the checkout.

::

    python -m tests.safety.run_mutants

Works on a copy, so the checkout stays as it is. Prints how many mutants there were, how many were
killed, and the change of each one that was not. Exits 1 when any mutant survives, is not reached by a
test or could not be judged. Needs the extra ``mutants``.

The state machine and the drill take no part: a mutant must die by a test that says what is wrong.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
MUTATED = [
    f"controller/heat/{name}.py"
    for name in ("interlock", "memory", "relays", "line", "contacts", "running", "sight", "watch", "budget")
]
TESTS = [f"tests/safety/test_{name}.py" for name in ("truth_table", "gate", "parts", "budget")]
_SETTINGS = """\
[tool.mutmut]
source_paths = ["controller"]
only_mutate = {mutated}
pytest_add_cli_args = ["-q", "-p", "no:cacheprovider", "-p", "no:randomly"]
pytest_add_cli_args_test_selection = {tests}
timeout_constant = 10.0
use_git_change_detection = false

[tool.pytest.ini_options]
addopts = "-q"
"""
SHOWN_MAX = 60
"""Survivors whose change is printed."""
TAIL_MAX = 3000
"""Letters of what a failed run said last."""


def main() -> int:
    """Mutate, test, count; 0 only when every mutant was killed."""
    with tempfile.TemporaryDirectory(prefix="frameward-mutants-") as folder:
        copy = Path(folder)
        for name in ("controller", "tests/safety"):
            shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
        (copy / "tests/__init__.py").touch()
        (copy / "pyproject.toml").write_text(
            _SETTINGS.format(mutated=json.dumps(MUTATED), tests=json.dumps(TESTS))
        )
        run = _mutmut(copy, "run")
        if run.returncode != 0:
            sys.stdout.write(f"{run.stdout[-TAIL_MAX:]}\n{run.stderr[-TAIL_MAX:]}\n")
            sys.stdout.write("the mutation run itself failed\n")
            return 1
        _mutmut(copy, "export-cicd-stats")
        left = [line.strip() for line in _mutmut(copy, "results").stdout.splitlines() if line.strip()]
        for line in left[:SHOWN_MAX]:
            sys.stdout.write(f"{line}\n{_mutmut(copy, 'show', line.split(':')[0]).stdout}\n")
        counts = json.loads((copy / "mutants/mutmut-cicd-stats.json").read_text())
    killed = counts["killed"] + counts["timeout"]
    sys.stdout.write(f"{counts['total']} mutants, {killed} killed, {counts['total'] - killed} not\n")
    return 0 if counts["total"] and killed == counts["total"] else 1


def _mutmut(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """One mutmut command in the copy; what it says is kept, its progress alone fills thousands of lines."""
    return subprocess.run(
        [sys.executable, "-m", "mutmut", *words], cwd=folder, check=False, capture_output=True, text=True
    )


if __name__ == "__main__":
    sys.exit(main())
