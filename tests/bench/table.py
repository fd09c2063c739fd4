"""The bench's table in plain text, and the file of results that it leaves."""

from __future__ import annotations

import json
import os
import platform
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

from controller.rehearse.tally import S_PER_H, FrameTally
from tests.bench.rows import Foresight, Row, kwh

RESULTS_SCHEMA = 1
RESULTS_FOLDER = Path(__file__).parent / "results"
_COUNTS = {1: "one", 2: "two", 4: "four", 6: "six", 8: "eight"}
_SETUP = ("weather", "from", "to", "stand_in", "settings", "seed")
"""Two runs of one day that agree in these are the same: the later one stands."""


def columns(rows: Sequence[Sequence[str]]) -> list[str]:
    """Cells under each other, the first column to the left, the rest to the right."""
    widths = [max(len(row[place]) for row in rows) for place in range(len(rows[0]))]
    return [
        "  ".join(
            cell.ljust(width) if place == 0 else cell.rjust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def contestant_lines(tallies: Mapping[str, FrameTally]) -> list[str]:
    """Each contestant's winter on a line."""
    head = ("", "kWh", "coldest", "below 0", "Kh below 0", "below keep", "on", "switched")
    return columns(
        [
            head,
            *(
                (
                    name,
                    f"{kwh(tally):.1f}",
                    f"{tally.coldest_c:.2f} °C",
                    f"{tally.below_0_s / S_PER_H:.1f} h",
                    f"{tally.below_0_k_s / S_PER_H:.1f}",
                    f"{tally.below_keep_s / S_PER_H:.1f} h",
                    f"{tally.heated_s / S_PER_H:.1f} h",
                    str(tally.switch_on_count),
                )
                for name, tally in tallies.items()
            ),
        ]
    )


def foresight_lines(foresight: Foresight, *, raised_k: float) -> list[str]:
    """The limit beside our keeper, in the same windows, and where the gap comes from."""
    return [
        f"Perfect foresight, {foresight.windows} spells with shut covers, {foresight.needing} with need:",
        *columns(
            [
                ("  bound: each spell from what our keeper left", f"{foresight.least_kwh:.1f} kWh"),
                ("  held: each spell from what foresight left", f"{foresight.through_kwh:.1f} kWh"),
                (f"  bound for a line {raised_k:g} K higher", f"{foresight.raised_kwh:.1f} kWh"),
                ("  our keeper in the same spells", f"{foresight.ours_kwh:.1f} kWh"),
                ("    of it where nothing was needed", f"{foresight.ours_needless_kwh:.1f} kWh"),
                ("    of it after a spell's last need", f"{foresight.ours_late_kwh:.1f} kWh"),
                ("  our keeper outside these spells", f"{foresight.outside_kwh:.1f} kWh"),
            ]
        ),
        f"  Its schedules, tried, fell short of the line by {foresight.short_k:.2f} K at most,",
        f"  {foresight.short_kh:.2f} Kh in all.",
        "  The least possible lies between the two: the bound gets what the ground holds for nothing.",
    ]


def row_lines(rows: Sequence[Row]) -> list[str]:
    """Rows of the design, met or not."""
    head = ("row", "measure", "found", "bar", "")
    cells = [head, *((row.number, row.measure, row.found, row.bar, row.verdict) for row in rows)]
    widths = [max(len(row[place]) for row in cells) for place in range(len(head))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in cells
    ]


def stage_lines(stages_us: Mapping[str, float]) -> list[str]:
    """Microseconds of each stage, and all of them together."""
    rows = [(f"  {stage}", f"{us:.1f}") for stage, us in stages_us.items()]
    return ["µs per step, by stage:", *columns([*rows, ("  together", f"{sum(stages_us.values()):.1f}")])]


def machine_words() -> str:
    """What kind of machine this is, without its name."""
    count = os.cpu_count() or 1
    kind = platform.machine()
    return f"{_COUNTS.get(count, str(count))}-core {'x86' if kind in ('x86_64', 'AMD64') else kind}"


def rounded(found: Any) -> Any:
    """The same with every number to six figures behind the point, for people who compare files."""
    if isinstance(found, float):
        return round(found, 6)
    if isinstance(found, Mapping):
        return {name: rounded(each) for name, each in found.items()}
    if isinstance(found, list | tuple):
        return [rounded(each) for each in found]
    return found


def run_document(
    *,
    setup: Mapping[str, object],
    facts: Mapping[str, object],
    tallies: Mapping[str, FrameTally],
    foresight: Foresight,
    stages_us: Mapping[str, float],
    rows: Sequence[Row],
) -> dict[str, Any]:
    """One run of the bench as it is kept."""
    document: dict[str, Any] = rounded(
        {
            **setup,
            "machine": machine_words(),
            "python": platform.python_version(),
            **facts,
            "contestants": {name: tally.document() for name, tally in tallies.items()},
            "foresight": asdict(foresight),
            "stages_us": dict(stages_us),
            "rows": [{**asdict(row), "verdict": row.verdict} for row in rows],
        }
    )
    return document


def keep_results(folder: Path, day: date, run: Mapping[str, Any]) -> Path:
    """Put a run into its day's file; one with the same setup gives way to it."""
    path = folder / f"{day.isoformat()}.json"
    runs: list[Mapping[str, Any]] = []
    if path.exists():
        runs = json.loads(path.read_text(encoding="utf-8"))["runs"]
    runs = [each for each in runs if any(each.get(key) != run.get(key) for key in _SETUP)]
    folder.mkdir(exist_ok=True)
    document = {"schema": RESULTS_SCHEMA, "runs": [*runs, run]}
    path.write_text(json.dumps(document, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    return path
