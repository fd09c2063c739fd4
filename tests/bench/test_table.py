"""What the bench prints and keeps."""

from __future__ import annotations

import json
import platform
import socket
from datetime import date
from pathlib import Path

from tests.bench.rows import Row
from tests.bench.table import (
    columns,
    contestant_lines,
    foresight_lines,
    keep_results,
    machine_words,
    row_lines,
    run_document,
    stage_lines,
)
from tests.bench.test_rows import foresight, tally

ROWS = (
    Row(number="1", measure="coldest", found="1.80 °C", bar="≥ 1.50 °C", met=True),
    Row(number="2", measure="kelvin-hours", found="0.9", bar="≤ 0.60", met=False),
    Row(number="7", measure="seconds", found="4 s", bar="≤ 60 s", met=None),
)


def document(seed: int = 1, kwh: float = 10.0) -> dict[str, object]:
    return run_document(
        setup={"weather": "toy", "from": "a", "to": "b", "stand_in": "c", "settings": "d", "seed": seed},
        facts={"wall_s": 1 / 3},
        tallies={"our keeper": tally(kwh=kwh)},
        foresight=foresight(),
        stages_us={"tick": 1.0},
        rows=ROWS,
    )


def test_cells_stand_under_each_other() -> None:
    """First column to the left, the others to the right."""
    assert columns([("a", "bb"), ("ccc", "d")]) == ["a    bb", "ccc   d"]


def test_rows_say_met_or_not_in_words() -> None:
    """Head and three verdicts, each at the end of its line."""
    lines = row_lines(ROWS)
    assert len(lines) == 4
    assert lines[1].endswith("≥ 1.50 °C  met")
    assert lines[2].endswith("NOT MET")
    assert lines[3].endswith("cannot be told")


def test_every_contestant_has_a_line_with_its_figures() -> None:
    """Energy, the coldest, frost and switching."""
    _, line = contestant_lines({"our keeper": tally(kwh=12.34, coldest_c=-0.5, below_0_k_h=1.5)})
    assert line.split() == [
        "our",
        "keeper",
        "12.3",
        "-0.50",
        "°C",
        "1.0",
        "h",
        "1.5",
        "0.0",
        "h",
        "12.3",
        "h",
        "0",
    ]


def test_the_limit_is_told_with_both_sides_and_its_misses() -> None:
    """Bound and winter held, ours beside them, and what the schedules missed."""
    text = "\n".join(foresight_lines(foresight(ours_kwh=12.3, least_kwh=9.8, through_kwh=10.7), raised_k=0.5))
    for figure in ("9.8 kWh", "10.7 kWh", "12.3 kWh", "0.00 K at most", "0.5 K higher"):
        assert figure in text


def test_stages_are_added_up() -> None:
    """The last line is the sum."""
    assert stage_lines({"tick": 140.0, "probes": 15.25})[-1].split() == ["together", "155.2"]


def test_the_machine_is_told_by_kind_and_not_by_name() -> None:
    """Cores and kind; neither host nor path, here or in what is kept."""
    words = machine_words()
    assert "-core " in words
    kept = json.dumps(document())
    for name in {socket.gethostname(), platform.node(), str(Path.home()), str(Path.cwd())} - {"", "/"}:
        assert name not in words
        assert name not in kept


def test_a_days_file_keeps_every_setup_once(tmp_path: Path) -> None:
    """The same setup again replaces its run; another seed stands beside it."""
    folder = tmp_path / "results"
    for seed, kwh in ((1, 10.0), (2, 11.0), (1, 12.0)):
        path = keep_results(folder, date(2027, 1, 10), document(seed, kwh))
    assert path.name == "2027-01-10.json"
    kept = json.loads(path.read_text(encoding="utf-8"))
    assert kept["schema"] == 1
    assert [run["seed"] for run in kept["runs"]] == [2, 1]
    assert kept["runs"][1]["contestants"]["our keeper"]["kwh"] == 12.0
    assert kept["runs"][1]["wall_s"] == 0.333333
    assert [row["verdict"] for row in kept["runs"][1]["rows"]] == ["met", "NOT MET", "cannot be told"]
