"""The files of a run: their form, their sameness, their wholeness."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from controller.errors import StorageError
from controller.rehearse import outputs
from controller.rehearse.nights import NightWatch
from controller.rehearse.outputs import OutputFolder, Tallies
from controller.rehearse.probes import FaultKind, ProbeFault
from controller.rehearse.run import Plan, Rehearsal
from controller.vocabulary import Place
from tests.controller.rehearse.lab import SOUTH, HysteresisKeeper, example, plan


def write(folder: Path, given: Plan, wall_s: float = 1.0) -> Tallies:
    rehearsal = Rehearsal(given, HysteresisKeeper)
    tallies = Tallies(given.settings)
    with OutputFolder(folder, given.settings, rehearsal.field.places) as files:
        nights = NightWatch(rehearsal.field, files.add_night)
        for moment in rehearsal.moments():
            tallies.add(moment)
            files.add(moment)
            nights.add(moment)
    files.write_summary(tallies, {"seed": given.seed}, wall_s)
    return tallies


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_trace_has_its_columns_and_a_row_per_step(tmp_path: Path) -> None:
    """Truth by place, readings by probe, heat as 0 and 1, forecasts blank while there are none."""
    write(tmp_path, plan())
    rows = table(tmp_path / "trace.csv")
    assert list(rows[0]) == [
        "utc", "frame",
        "air_true_c", "bed_true_c", "outside_true_c", "wall_true_c", "cable_true_c", "pots_true_c",
        "air_read_c", "air_second_read_c", "bed_read_c", "cable_read_c", "outside_read_c",
        "heat_wanted", "heat_allowed", "relay_on", "opening", "covering",
        "outside_min_forecast_c", "frame_min_forecast_c", "schema",
    ]  # fmt: skip
    assert len(rows) == 1440
    assert (rows[0]["utc"], rows[-1]["utc"]) == ("2027-02-05T00:01:00Z", "2027-02-06T00:00:00Z")
    assert {row["relay_on"] for row in rows} == {"0", "1"}
    assert {row["schema"] for row in rows} == {"1"}
    assert {row["outside_min_forecast_c"] for row in rows} == {""}
    assert all(abs(float(row["air_true_c"]) - float(row["air_read_c"])) < 1.0 for row in rows)


def test_a_rejected_reading_is_blank(tmp_path: Path) -> None:
    """Never an old number."""
    fault = ProbeFault(
        probe=example().frames[SOUTH].probes[Place.BED], kind=FaultKind.CRC, from_s=3600.0, until_s=7200.0
    )
    write(tmp_path, plan(days=0.2, faults=[fault]))
    blanks = [row["bed_read_c"] == "" for row in table(tmp_path / "trace.csv")]
    assert sum(blanks) == 60
    assert not blanks[0]


def test_the_summary_agrees_with_the_trace(tmp_path: Path) -> None:
    """Counted anew from the rows: coldest, frost, energy (to one step), switching."""
    write(tmp_path, plan(days=2.0))
    rows = table(tmp_path / "trace.csv")
    frame = json.loads((tmp_path / "summary.json").read_text())["frames"]["south"]
    air = [float(row["air_true_c"]) for row in rows]
    relay = [row["relay_on"] == "1" for row in rows]
    assert frame["coldest_c"] == pytest.approx(min(air), abs=1e-4)
    assert frame["below_keep_h"] == pytest.approx(sum(air_c < 2.0 for air_c in air) / 60, abs=0.04)
    assert frame["kwh"] == pytest.approx(sum(relay) * 0.250 / 60, abs=0.0043)
    assert frame["kwh"] > 0.1
    assert frame["switch_on_count"] == sum(
        now and not before for now, before in zip(relay, [False, *relay], strict=False)
    )


def test_the_summary_has_its_keys(tmp_path: Path) -> None:
    """Those that other programs read, each with its kind of content."""
    tallies = write(tmp_path, plan(days=0.5), wall_s=2.3456)
    summary = json.loads((tmp_path / "summary.json").read_text())
    pushed = [row for row in table(tmp_path / "notices.csv") if row["event"] == "pushed"]
    assert summary["schema"] == 1
    assert summary["seed"] == 1
    assert summary["wall_s"] == 2.346
    assert summary["pushes"] == tallies.pushes == len(pushed)
    assert pushed
    assert summary["scores"] == {}
    assert summary["notices_by_kind"] == {"FROST": tallies.raised["FROST"]}
    assert set(summary["frames"]["south"]) == {
        "kwh", "coldest_c", "below_0_h", "below_0_kh", "below_keep_h", "below_keep_kh",
        "over_limit_h", "switch_on_count",
    }  # fmt: skip


def test_the_nights_have_their_columns_and_a_row_per_frame(tmp_path: Path) -> None:
    """What came of each night; what was told of it is blank while nothing forecasts."""
    write(tmp_path, plan(days=2.5))
    rows = table(tmp_path / "nights.csv")
    assert list(rows[0]) == [
        "night", "frame", "told_utc", "stage",
        "outside_min_c", "outside_lo80_c", "outside_hi80_c", "outside_actual_c",
        "frame_min_c", "frame_lo80_c", "frame_hi80_c", "frame_actual_c",
        "frame_unheated_min_c", "frame_unheated_lo80_c", "frame_unheated_hi80_c", "frame_unheated_actual_c",
        "heat_h", "scored", "schema",
    ]  # fmt: skip
    assert [row["night"] for row in rows] == ["2027-02-05", "2027-02-06"]
    for row in rows:
        assert float(row["outside_actual_c"]) < float(row["frame_unheated_actual_c"])
        assert float(row["frame_unheated_actual_c"]) <= float(row["frame_actual_c"])
        assert 0.0 < float(row["heat_h"]) < 18.0
        assert (row["stage"], row["frame_min_c"], row["scored"], row["schema"]) == ("", "", "0", "1")


def test_notices_are_quoted_where_they_must_be(tmp_path: Path) -> None:
    """Commas and quotation marks in a sentence do not break the table."""
    write(tmp_path, plan(days=2.0))
    rows = table(tmp_path / "notices.csv")
    assert list(rows[0]) == [
        "utc", "frame", "notice_id", "event", "kind", "urgency", "code", "deadline_utc", "text", "schema",
    ]  # fmt: skip
    assert rows[0]["text"] == 'Heat is on in south, "at last", and goes on until the air is at 3 °C.'
    assert {row["event"] for row in rows} == {"raised", "pushed", "cleared"}
    assert {row["schema"] for row in rows} == {"1"}


def test_the_same_seed_leaves_the_same_bytes(tmp_path: Path) -> None:
    """Apart from ``wall_s``; another seed leaves others."""
    for name, seed, wall_s in (("one", 5, 1.0), ("other", 5, 2.0), ("third", 6, 1.0)):
        write(tmp_path / name, plan(days=0.5, seed=seed), wall_s)
    for name in ("trace.csv", "nights.csv", "notices.csv"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "other" / name).read_bytes()
    assert (tmp_path / "one" / "trace.csv").read_bytes() != (tmp_path / "third" / "trace.csv").read_bytes()
    one, other = (json.loads((tmp_path / name / "summary.json").read_text()) for name in ("one", "other"))
    assert one.pop("wall_s") != other.pop("wall_s")
    assert one == other


def test_a_file_takes_its_name_only_when_it_is_whole(tmp_path: Path) -> None:
    """While the run goes on there is only the partial file; an error still leaves what there is."""
    given = plan(days=0.2)
    rehearsal = Rehearsal(given, HysteresisKeeper)
    moments = rehearsal.moments()

    def run_until_it_fails() -> None:
        with OutputFolder(tmp_path, given.settings, rehearsal.field.places) as files:
            for _ in range(100):
                files.add(next(moments))
            assert not (tmp_path / "trace.csv").exists()
            raise RuntimeError("in the middle")

    with pytest.raises(RuntimeError, match="in the middle"):
        run_until_it_fails()
    assert len(table(tmp_path / "trace.csv")) == 100
    assert sorted(path.name for path in tmp_path.iterdir()) == ["nights.csv", "notices.csv", "trace.csv"]


def test_lines_do_not_gather_in_memory_without_bound(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Past the bound they go to the file, and none is lost."""
    monkeypatch.setattr(outputs, "_BUFFERED_LINES", 50)
    given = plan(days=0.2)
    rehearsal = Rehearsal(given, HysteresisKeeper)
    with OutputFolder(tmp_path, given.settings, rehearsal.field.places) as files:
        for moment in rehearsal.moments():
            files.add(moment)
            assert len(files._trace._lines) < 50
    assert len(table(tmp_path / "trace.csv")) == 288


def test_the_owners_words_may_hold_a_comma(tmp_path: Path) -> None:
    """An opening called "crack, north end" is one cell."""
    assert outputs._csv_cell("crack, north end") == '"crack, north end"'
    assert outputs._csv_cell("shut") == "shut"
    assert outputs._csv_cell("") == ""
    assert not list(tmp_path.iterdir())


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    """With its path and what to do."""
    (tmp_path / "taken").write_text("a file")
    with (
        pytest.raises(StorageError, match=r"taken: cannot be used .*choose another"),
        OutputFolder(tmp_path / "taken", example(), ("air",)),
    ):
        pass


def test_a_full_disk_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The trace's path and the system's own words."""
    given = plan(days=0.01)
    rehearsal = Rehearsal(given, HysteresisKeeper)

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with (
        pytest.raises(
            StorageError, match=r"(trace|notices)\.csv: cannot be written \(No space left on device\)"
        ),
        OutputFolder(tmp_path, given.settings, rehearsal.field.places) as files,
    ):
        files.add(next(rehearsal.moments()))
