"""``frameward rehearse``: the real keeper on a simulated frame, started as its users start it."""

from __future__ import annotations

import csv
import errno
import gzip
import json
import os
import re
import signal
import subprocess
import sys
import time
from contextlib import ExitStack, suppress
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner, Result

from controller.cli import main_group
from controller.errors import ControllerError
from controller.folders import FolderKind, Folders, claim_folders
from controller.rehearse.paper import open_paper
from controller.rehearse.place import rehearsal_folders

PITTSBURGH = Path(__file__).parent.parent.parent / "data" / "pittsburgh_tmy3.csv.gz"
COLD_DAY = ["--from", "2027-02-15", "--days", "1"]


def rehearse(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main_group, ["rehearse", *map(str, arguments)])


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_a_day_of_the_example_runs_and_sums_up(tmp_path: Path) -> None:
    """Opening words, progress, closing words; exit code 0; three files and the keeper's folder."""
    result = rehearse(*COLD_DAY, "--out", tmp_path)
    assert result.exit_code == 0, result.output
    assert "no relay is touched" in " ".join(result.output.split())
    assert "100 % rehearsed" in result.output
    assert "coldest outside" in result.output
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "keeper", "nights.csv", "notices.csv", "summary.json", "trace.csv",
    ]  # fmt: skip
    assert len(rows(tmp_path / "trace.csv")) == 1440
    assert (tmp_path / "keeper" / "history.sqlite3").stat().st_size > 0
    summary = json.loads((tmp_path / "summary.json").read_text())
    assert summary["whole"] is True
    assert (summary["from_utc"], summary["until_utc"]) == ("2027-02-15T00:00:00Z", "2027-02-16T00:00:00Z")


def test_the_same_seed_leaves_the_same_bytes_with_the_real_keeper(tmp_path: Path) -> None:
    """Twice into the same folder and once into another; only ``wall_s`` differs."""
    seen = []
    for folder in ("one", "one", "other"):
        assert rehearse(*COLD_DAY, "--out", tmp_path / folder, "--seed", "7").exit_code == 0
        summary = json.loads((tmp_path / folder / "summary.json").read_text())
        del summary["wall_s"]
        seen.append(
            (summary, *((tmp_path / folder / name).read_bytes() for name in ("trace.csv", "notices.csv")))
        )
    assert seen[0] == seen[1] == seen[2]


def test_the_cable_is_used_on_frosty_nights_and_holds(tmp_path: Path) -> None:
    """The real thermostat, judge and gate switch a pretended relay, and the frame stays above zero."""
    assert rehearse("--from", "2027-02-11", "--to", "2027-02-15", "--out", tmp_path).exit_code == 0
    frame = json.loads((tmp_path / "summary.json").read_text())["frames"]["south"]
    assert frame["kwh"] > 0.2
    assert frame["below_0_h"] == 0.0
    assert 1 <= frame["switch_on_count"] <= 20
    day = rows(tmp_path / "trace.csv")
    assert {row["relay_on"] for row in day} == {"0", "1"}
    assert all(row["relay_on"] <= row["heat_allowed"] <= row["heat_wanted"] for row in day)


def test_a_weather_file_is_run_between_dates_in_the_sites_zone(tmp_path: Path) -> None:
    """Two January days of Pittsburgh, given in the site's zone (Dublin: winter time is UTC)."""
    result = rehearse(
        "--weather", PITTSBURGH, "--from", "2002-01-03", "--to", "2002-01-04", "--grower", "absent",
        "--out", tmp_path, "--step-s", "120",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    trace = rows(tmp_path / "trace.csv")
    assert (trace[0]["utc"], trace[-1]["utc"]) == ("2002-01-03T00:02:00Z", "2002-01-05T00:00:00Z")
    assert {row["opening"] for row in trace} == {"shut"}
    assert "Pittsburgh Allegheny" in " ".join(result.output.split())


def test_a_stand_in_of_ones_own_is_taken_from_the_current_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It gets the frame's table; places it does not model are said."""
    (tmp_path / "shed_frame.py").write_text(
        "class Shed:\n"
        "    def __init__(self, frame):\n"
        "        self.air_c = frame['heat']['power_w'] / 50\n"
        "    def advance(self, dt_s, weather, heat_on, opening):\n"
        "        self.air_c += (weather.temp_c - self.air_c) * dt_s / 36000\n"
        "        return {'air': self.air_c, 'bed': self.air_c + 2, 'outside': weather.temp_c}\n"
        "def make(frame, start_utc):\n"
        "    return Shed(frame)\n",
        encoding="utf-8",
    )
    monkeypatch.chdir(tmp_path)
    result = rehearse(*COLD_DAY, "--out", "out", "--stand-in", "shed_frame:make")
    sys.modules.pop("shed_frame")
    assert result.exit_code == 0, result.output
    assert "does not model: cable" in result.output
    first = rows(tmp_path / "out" / "trace.csv")[0]
    assert float(first["air_true_c"]) == pytest.approx(5.0, abs=0.05)
    assert "cable_true_c" not in first
    assert first["cable_read_c"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--stand-in", "nowhere_at_all:make"], "cannot import nowhere_at_all"),
        (["--weather", "none.csv"], "none.csv: does not exist"),
        (["--weather", str(PITTSBURGH), "--from", "2003-01-01", "--days", "1"], "choose dates inside it"),
        (["--config", "none.toml"], "none.toml"),
        (["--from", "2027-02-03", "--to", "2027-02-01"], "run backwards"),
    ],
)
def test_what_cannot_be_used_is_told(arguments: list[str], said: str) -> None:
    """As an expected error with its own words, before anything runs."""
    result = rehearse("--fast", *arguments)
    assert isinstance(result.exception, ControllerError)
    assert said in str(result.exception)


@pytest.mark.parametrize(
    "arguments",
    [
        ["--fast", "--lapse", "10"],
        ["--days", "2", "--to", "2027-02-02"],
        ["--step-s", "0"],
        ["--step-s", "301"],
        ["--step-s", "nan"],
        ["--lapse", "nan"],
        ["--slips", "nan"],
        ["--grower", "x"],
    ],
)
def test_contradictions_are_usage_errors(arguments: list[str]) -> None:
    """Exit code 2."""
    assert rehearse(*arguments).exit_code == 2


def test_a_real_keepers_folder_is_refused(tmp_path: Path) -> None:
    """A rehearsal never writes into a real history."""
    claim_folders(Folders(state=tmp_path, run=tmp_path), kind=FolderKind.LIVE)
    result = rehearse(*COLD_DAY, "--fast", "--state", tmp_path)
    assert isinstance(result.exception, ControllerError)
    assert "belongs to a live keeper" in str(result.exception)
    assert not (tmp_path / "history.sqlite3").exists()


def test_a_time_lapse_shows_the_daybook() -> None:
    """A day in about a second: lines with readings instead of progress."""
    began_at_s = time.monotonic()
    result = rehearse(*COLD_DAY, "--lapse", "80000")
    assert result.exit_code == 0, result.output
    assert time.monotonic() - began_at_s >= 86_400 / 80_000
    assert "% rehearsed" not in result.output
    assert "Heat: on; off," in result.output
    assert " 16:00 " in result.output, "a line of readings each 0.7 s, in whole half hours"
    assert "lanted" not in result.output, "nothing is planted where days were asked for"


def test_the_example_is_held_through_the_invented_fortnight(tmp_path: Path) -> None:
    """Never more than 0.1 K below the line, under frost of eight degrees; words and numbers agree."""
    result = rehearse("--out", tmp_path)
    assert "never below 2.0 °C." in " ".join(result.output.split())
    assert "lanted" not in result.output, "what is measured has nothing planted in it"
    summary = json.loads((tmp_path / "summary.json").read_text())
    frame = summary["frames"]["south"]
    assert frame["coldest_c"] >= 2.0 - 0.1
    assert frame["below_keep_h"] <= 0.5
    assert 3.0 < frame["kwh"] < 8.0
    assert summary["notices_by_kind"] == {}
    assert min(float(row["outside_true_c"]) for row in rows(tmp_path / "trace.csv")) < -8.0


@pytest.mark.process
@pytest.mark.timeout(400)
def test_the_demo_has_a_planted_mishap_that_the_keeper_notices() -> None:
    """What whoever asks for nothing sees, only without the waiting: a fortnight with the keeper as a process.

    The mishap is said beforehand and at both ends; the notice comes within minutes, goes again, and no
    frost follows.
    """
    result = rehearse("--lapse", "100000000")
    assert result.exit_code == 0, result.output
    demo = result.output
    lines = [line.strip() for line in demo.splitlines()]
    out, told, back, over = (
        next(index for index, line in enumerate(lines) if part in line)
        for part in ("(Planted: the air probe", "▸ FAULT", "(Planted: it is", "✓ FAULT")
    )
    assert out < told < back < over
    hours = [re.search(r"([0-9]{2}):[0-9]{2} ", lines[index]) for index in (out, told, back, over)]
    assert [hour and hour[1] for hour in hours] == ["02", "02", "04", "04"]
    assert "One mishap is planted" in demo
    assert "FROST" not in demo


def test_full_speed_has_nothing_planted() -> None:
    """There would be nothing to see."""
    assert "lanted" not in rehearse("--fast", "--days", "1").output


@pytest.mark.parametrize(
    "day", ["2027-02-30", "2027-13-01", "20270214", "tomorrow", "2027-W06-7", "9999-12-31", ""]
)
@pytest.mark.parametrize("option", ["--from", "--to"])
def test_a_day_that_is_none_is_refused_with_the_form_that_is_wanted(option: str, day: str) -> None:
    """Wrong usage, in words, whatever is wrong with it."""
    result = rehearse("--fast", option, day)
    assert result.exit_code == 2
    assert f"'{day}' is not a day of the calendar" in result.output
    assert "write year-month-day, such as 2027-02-14" in result.output


def test_two_at_once_into_one_folder_are_refused(tmp_path: Path) -> None:
    """The second one says that it is in use and touches nothing."""
    with ExitStack() as stack:
        rehearsal_folders(stack, state=None, run=None, out=tmp_path)
        result = rehearse(*COLD_DAY, "--out", tmp_path)
    assert isinstance(result.exception, ControllerError)
    assert "is in use by another rehearsal" in str(result.exception)
    assert [path.name for path in tmp_path.iterdir()] == ["keeper"]


def test_a_device_that_takes_nothing_ends_the_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """The system's error goes up to whoever ends the program; it is not swallowed on the way."""
    full = Path("/dev/full").open("w", encoding="utf-8")  # noqa: SIM115  # closing it fails too
    monkeypatch.setattr("controller.commands.rehearsal.open_paper", lambda *_: open_paper(full, {}))
    result = rehearse(*COLD_DAY, "--fast")
    with suppress(OSError):
        full.close()
    assert isinstance(result.exception, OSError)
    assert result.exception.errno == errno.ENOSPC


@pytest.mark.process
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupted_run_leaves_what_there_is(tmp_path: Path, number: signal.Signals) -> None:
    """The shipped program at real time, stopped by a signal: whole files, said to be early, 128 + signal."""
    weather = tmp_path / "w.csv"
    weather.write_bytes(gzip.decompress(PITTSBURGH.read_bytes()))
    process = subprocess.Popen(
        [
            sys.executable, "-m", "controller.cli", "rehearse", "--weather", weather, "--from", "2002-01-03",
            "--days", "2", "--lapse", "3000", "--out", tmp_path / "out",
        ],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONIOENCODING": "utf-8", "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    assert process.stdout is not None
    for line in process.stdout:
        if "·" in line:  # the first reading, an hour of frost in
            break
    process.send_signal(number)
    rest, _ = process.communicate(timeout=20)
    assert process.returncode == 128 + number
    assert "(ended early)" in rest
    summary = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert summary["whole"] is False
    trace = rows(tmp_path / "out" / "trace.csv")
    assert 0 < len(trace) < 2880
    assert trace[-1]["utc"] == summary["until_utc"]


def test_mishaps_by_name_and_time_reach_the_keeper(tmp_path: Path) -> None:
    """A probe out of its plug for two hours, another that reads wrong: blank cells, an offset, a notice."""
    result = rehearse(
        *COLD_DAY, "--out", tmp_path,
        "--fault", "air:absent@2027-02-15T10:00+2h", "--probe", "bed:offset_k=1.5",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    day = rows(tmp_path / "trace.csv")
    blank = sorted(row["utc"] for row in day if not row["air_read_c"])
    assert "2027-02-15T10:00:00Z" <= blank[0] <= "2027-02-15T10:03:00Z", "once the last reading is too old"
    assert 117 <= len(blank) <= 123
    off = [float(row["bed_read_c"]) - float(row["bed_true_c"]) for row in day[60:]]
    assert sum(off) / len(off) == pytest.approx(1.5, abs=0.1)
    assert "probe_lost" in {row["code"] for row in rows(tmp_path / "notices.csv")}
    summary = json.loads((tmp_path / "summary.json").read_text())
    assert summary["faults"] == ["air:absent@2027-02-15T10:00+2h"]
    assert summary["probes"] == ["bed:offset_k=1.5"]


def test_a_date_has_the_same_invented_weather_whatever_span_it_is_asked_in(tmp_path: Path) -> None:
    """One day, and the same day in a fortnight of one's own dates."""
    seen = []
    for folder, dates in (("day", COLD_DAY), ("more", ["--from", "2027-02-02", "--days", "14"])):
        assert rehearse(*dates, "--out", tmp_path / folder).exit_code == 0
        seen.append({row["utc"]: row["outside_true_c"] for row in rows(tmp_path / folder / "trace.csv")})
    day, more = seen
    assert day.items() <= more.items()
    assert min(float(outside_c) for outside_c in day.values()) < -3.0


def test_words_that_name_no_mishap_are_wrong_usage() -> None:
    """With what would be right."""
    result = rehearse(*COLD_DAY, "--fast", "--fault", "air:sulking@2027-02-15T10:00")
    assert isinstance(result.exception, ControllerError)
    assert result.exception.exit_code == 2
    assert "sulking" in str(result.exception)
    assert "stuck" in str(result.exception)


def test_a_picture_is_drawn_on_request(tmp_path: Path) -> None:
    """One SVG of the day, and the words say where."""
    picture = tmp_path / "day.svg"
    result = rehearse(*COLD_DAY, "--fast", "--picture", picture)
    assert result.exit_code == 0, result.output
    assert str(picture) in result.output.replace("\n", "").replace("    ", "")
    assert ET.parse(picture).getroot().tag == "{http://www.w3.org/2000/svg}svg"  # noqa: S314  # our own


def test_somebodys_own_picture_is_not_written_over(tmp_path: Path) -> None:
    """Refused before the run; one of ours is drawn anew."""
    own = tmp_path / "garden.svg"
    own.write_text("<svg>my garden</svg>", encoding="utf-8")
    result = rehearse(*COLD_DAY, "--fast", "--picture", own)
    assert isinstance(result.exception, ControllerError)
    assert "was not left by a rehearsal" in str(result.exception)
    assert own.read_text(encoding="utf-8") == "<svg>my garden</svg>"
    for _ in range(2):
        assert rehearse(*COLD_DAY, "--fast", "--picture", tmp_path / "ours.svg").exit_code == 0


def test_growers_who_slip_say_what_they_have_not_done(tmp_path: Path) -> None:
    """With every deed a slip the covers stay shut, whatever was told; two growers share a frame."""
    result = rehearse(
        "--from", "2027-02-13", "--days", "2", "--out", tmp_path, "--slips", "1", "--grower", "attentive",
        "--grower", "busy",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert {row["opening"] for row in rows(tmp_path / "trace.csv")} == {"shut"}
    summary = json.loads((tmp_path / "summary.json").read_text())
    assert (summary["growers"], summary["slips"]) == (["attentive", "busy"], 1.0)


def test_a_run_that_fails_leaves_no_summary_of_an_earlier_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What there is, under a summary that says that it is not whole."""
    (tmp_path / "breaks.py").write_text(
        "class Breaks:\n"
        "    steps = 0\n"
        "    def advance(self, dt_s, weather, heat_on, opening):\n"
        "        self.steps += 1\n"
        "        return {'air': 5.0 if self.steps < 100 else None, 'bed': 5.0, 'outside': weather.temp_c}\n"
        "def make(frame, start_utc):\n"
        "    return Breaks()\n",
        encoding="utf-8",
    )
    monkeypatch.chdir(tmp_path)
    assert rehearse(*COLD_DAY, "--out", "out").exit_code == 0
    result = rehearse(*COLD_DAY, "--out", "out", "--stand-in", "breaks:make")
    sys.modules.pop("breaks")
    assert isinstance(result.exception, ControllerError)
    assert "air is None" in str(result.exception)
    summary = json.loads((tmp_path / "out" / "summary.json").read_text())
    assert (summary["whole"], summary["stand_in"]) == (False, "breaks:make")
    assert 90 < len(rows(tmp_path / "out" / "trace.csv")) < 101


def test_a_picture_needs_a_folder_that_is_there(tmp_path: Path) -> None:
    """A slip of the hand makes no folder."""
    result = rehearse(*COLD_DAY, "--fast", "--picture", tmp_path / "nowhere" / "a.svg")
    assert "is no folder" in str(result.exception)
    assert not (tmp_path / "nowhere").exists()


def test_weather_from_elsewhere_is_said_and_growers_live_by_its_sun(tmp_path: Path) -> None:
    """Pittsburgh's sun over a site in Ireland: covers move by day there, five hours later than here."""
    result = rehearse(
        "--weather", PITTSBURGH, "--from", "2002-03-10", "--days", "2", "--out", tmp_path, "--step-s", "120"
    )  # fmt: skip
    assert "growers live by its sun" in " ".join(result.output.split())
    opened = [row["utc"][11:13] for row in rows(tmp_path / "trace.csv") if row["opening"] != "shut"]
    assert opened
    assert "12" <= min(opened) <= max(opened) <= "23"


def test_dates_past_the_end_of_a_file_are_said_to_be() -> None:
    """Not that they run backwards, which they do not."""
    result = rehearse("--fast", "--weather", PITTSBURGH, "--from", "2010-01-01")
    assert "choose dates inside it" in str(result.exception)
