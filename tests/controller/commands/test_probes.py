"""``frameward probes`` on a real folder of files."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from controller.commands import probes, whose
from controller.commands.probe_table import ProbeTable, WarmthWatch
from controller.commands.probes import command
from controller.errors import CommandRejected, HardwareError, StorageError
from controller.loop.calibration_file import Correction, save_correction
from controller.vocabulary import Place, ProbeId, Reading, Rejected, Rejection, Sample
from tests.fakes import W1Tree

EXAMPLE = Path(str(resources.files("controller"))) / "data" / "example.toml"
A = "28-00000000000a"
B = "28-00000000000b"


@pytest.fixture
def tree(tmp_path: Path) -> Iterator[W1Tree]:
    """Two probes that no settings know."""
    tree = W1Tree(tmp_path / "w1")
    tree.add(A, 0.1875)
    tree.add(B, 4.0)
    yield tree
    tree.release()


def invoke(tree: W1Tree, tmp_path: Path, *args: str, config: Path | None = None) -> Result:
    """Run one sub-command on the tree, with folders of its own."""
    folders = ["--w1", str(tree.folder)]
    folders += ["--state", str(tmp_path / "state"), "--run", str(tmp_path / "run")]
    if args[0] != "ice":
        folders += ["--config", str(config or tmp_path / "none.toml")]
    return CliRunner().invoke(command, [*args, *folders], color=True)


def test_list_works_before_any_settings(tree: W1Tree, tmp_path: Path) -> None:
    """Ids and readings first; places come later."""
    tree.set_c(B, 4.5, resolution_bits=9)
    result = invoke(tree, tmp_path, "list")
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert re.fullmatch(rf"{A}\s+no place yet\s+0\.2 °C  12 bits", lines[1])
    assert re.fullmatch(rf"{B}\s+no place yet\s+4\.5 °C  9 bits \(coarse: set it to 12\)", lines[2])
    assert "no settings yet" in result.stderr


def test_list_names_places_reasons_and_corrections(tree: W1Tree, tmp_path: Path) -> None:
    """Every probe of the settings has its line, answering or not; unknown ones are shown too (P22)."""
    text = EXAMPLE.read_text(encoding="utf-8")
    air = re.search(r"\[frame\.south\.probe\.air\][^\[]*?id = \"([^\"]+)\"", text)
    assert air is not None
    config = tmp_path / "settings.toml"
    config.write_text(text.replace(air[1], A), encoding="utf-8")
    state = tmp_path / "state"
    state.mkdir()
    entry = {"offset_k": -0.1875, "residual_k": 0.0, "date_utc": "2026-11-25"}
    (state / "calibration.json").write_text(json.dumps({"schema": 1, "probes": {A: entry}}))
    result = invoke(tree, tmp_path, "list", config=config)
    assert result.exit_code == 0, result.output
    assert re.search(rf"^{A}\s+south: air\s+0\.0 °C  12 bits, ice-corrected$", result.stdout, re.MULTILINE)
    assert re.search(r"^28-\w+\s+south: bed\s+none: does not answer", result.stdout, re.MULTILINE)
    assert re.search(rf"^{B}\s+no place yet\s+4\.0 °C", result.stdout, re.MULTILINE)
    assert all(len(line) <= 80 for line in result.stdout.splitlines())


def test_list_says_when_the_settings_cannot_be_used(tree: W1Tree, tmp_path: Path) -> None:
    """The list still comes."""
    config = tmp_path / "bad.toml"
    config.write_text("[site\n", encoding="utf-8")
    result = invoke(tree, tmp_path, "list", config=config)
    assert result.exit_code == 0, result.output
    assert "to mend" in result.stderr
    assert A in result.stdout


def test_other_families_on_the_bus_are_listed_as_of_no_use_here(tree: W1Tree, tmp_path: Path) -> None:
    """A probe that the settings would refuse is not offered for them, and cannot be corrected."""
    other = "10-00000000000f"
    tree.add(other, 4.0)
    result = invoke(tree, tmp_path, "list")
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert lines[-1] == f"{other}  not usable here: of the families 28, 22, 42 only"
    assert sum(other in line for line in lines) == 1
    assert isinstance(invoke(tree, tmp_path, "ice", "--probe", other, "--yes").exception, CommandRejected)


def test_a_bus_with_other_families_only_says_so(tmp_path: Path) -> None:
    tree = W1Tree(tmp_path / "w1")
    tree.add("10-00000000000f", 4.0)
    refused = invoke(tree, tmp_path, "list").exception
    assert isinstance(refused, HardwareError)
    assert "10-00000000000f: not usable here" in str(refused)


@pytest.mark.parametrize("kind", ["pipe", "folder", "huge"])
def test_list_waits_for_no_pipe_in_place_of_the_settings(tree: W1Tree, tmp_path: Path, kind: str) -> None:
    """It says what is wrong with them, and the list still comes."""
    config = tmp_path / "settings.toml"
    if kind == "pipe":
        os.mkfifo(config)
    elif kind == "folder":
        config.mkdir()
    else:
        config.write_bytes(b"#" * 300_000)
    result = invoke(tree, tmp_path, "list", config=config)
    assert result.exit_code == 0, result.output
    assert ("larger" if kind == "huge" else "not a regular file") in result.stderr
    assert A in result.stdout


def test_no_probe_and_no_folder_are_errors_that_say_what_to_do(tmp_path: Path) -> None:
    """The command line turns both into one text and exit code 1."""
    empty = W1Tree(tmp_path / "w1")
    assert isinstance(invoke(empty, tmp_path, "list").exception, HardwareError)
    empty.folder.rmdir()
    missing = invoke(empty, tmp_path, "watch", "--rounds", "1").exception
    assert isinstance(missing, HardwareError)
    assert "dtoverlay" in str(missing)


def test_watch_shows_each_round_and_ends(tree: W1Tree, tmp_path: Path) -> None:
    """Off a terminal one block follows another."""
    result = invoke(tree, tmp_path, "watch", "--rounds", "3", "--every-s", "0.02")
    assert result.exit_code == 0, result.output
    _, *blocks = result.stdout.removesuffix("\n").replace("ends.\n", "ends.\n\n").split("\n\n")
    assert len(blocks) == 3
    for block in blocks:
        head, *lines = block.splitlines()
        assert head.split() == ["probe", "place", "reading", "change", "since", "start"]
        assert [line.split()[0] for line in lines] == [A, B]
    assert "\x1b" not in result.stdout
    assert "warming" not in result.stdout


def test_watch_shows_corrected_readings_as_list_does(tree: W1Tree, tmp_path: Path) -> None:
    """Else a probe would seem to differ from itself."""
    path = tmp_path / "state" / "calibration.json"
    save_correction(path, ProbeId(B), Correction(offset_k=-0.4, residual_k=0.0, date_utc="2026-11-01"))
    for name, rounds in (("list", []), ("watch", ["--rounds", "1", "--every-s", "0.02"])):
        output = invoke(tree, tmp_path, name, *rounds).stdout
        assert re.search(rf"{B}\s+no place yet\s+3\.6 °C ", output), name


def test_corrections_that_this_user_may_not_read_are_said_and_readings_shown_all_the_same(
    tree: W1Tree, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody is sent to the ice bath again for want of a permission."""
    (tmp_path / "state").mkdir()
    monkeypatch.setattr(whose.os, "access", lambda _path, _mode: False)
    result = invoke(tree, tmp_path, "list")
    assert result.exit_code == 0
    assert "Readings are shown uncorrected" in result.stderr
    assert "4.0 °C" in result.stdout
    assert "probes ice" not in result.stderr


def test_on_a_terminal_watch_draws_over_its_last_round_heading_and_all(
    tree: W1Tree, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(probes, "_can_overwrite", lambda: True)
    output = invoke(tree, tmp_path, "watch", "--rounds", "3", "--every-s", "0.02").stdout
    assert output.count("\x1b[3A\x1b[J") == 2
    assert "\n\n" not in output


def test_the_change_is_counted_from_the_first_reading() -> None:
    """Up and down, however long ago it was; the mark goes by the last half minute only."""
    watch = WarmthWatch(table())
    shown = [
        [line.split("°C")[1].strip() for line in watch.lines(both(a_c, b_c), now_s)[1:]]
        for a_c, b_c, now_s in ((10.0, 10.0, 0.0), (10.5, 9.5, 100.0), (10.03, 9.5, 200.0))
    ]
    assert shown == [["0.0 K", "0.0 K"], ["+0.5 K", "−0.5 K"], ["0.0 K", "−0.5 K"]]


def test_watch_ends_quietly_with_control_c(
    tree: W1Tree, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A person ends it; that is no failure."""

    def interrupt(_self: WarmthWatch, _readings: object, _now_s: float) -> list[str]:
        raise KeyboardInterrupt

    monkeypatch.setattr(WarmthWatch, "lines", interrupt)
    assert invoke(tree, tmp_path, "watch").exit_code == 0


def table() -> ProbeTable:
    return ProbeTable(
        probes=(ProbeId(A), ProbeId(B)),
        places={ProbeId(A): [("south", Place.AIR)]},
        corrected=frozenset(),
        units="celsius",
    )


def both(a_c: float, b_c: float) -> dict[ProbeId, Sample]:
    return {
        ProbeId(A): Sample(temp_c=a_c, taken_at_s=0.0),
        ProbeId(B): Sample(temp_c=b_c, taken_at_s=0.0),
    }


def marked(lines: list[str]) -> list[str]:
    return [line.split()[0] for line in lines if "<== warming" in line]


def test_the_probe_in_the_hand_is_the_marked_one() -> None:
    """One at most, only after a clear rise, and the next one once the first has passed half a minute."""
    watch = WarmthWatch(table())
    assert marked(watch.lines(both(10.0, 10.0), 0.0)) == []
    assert marked(watch.lines(both(10.4, 10.1), 2.0)) == []
    assert marked(watch.lines(both(12.0, 10.6), 4.0)) == [A]
    for now_s in (20.0, 34.5, 36.0):
        watch.lines(both(24.0, 10.6), now_s)
    assert marked(watch.lines(both(24.0, 14.0), 52.0)) == [B]


def test_a_probe_without_reading_is_never_marked() -> None:
    """Its reason stands in its line instead."""
    watch = WarmthWatch(table())
    watch.lines(both(10.0, 10.0), 0.0)
    gone: dict[ProbeId, Reading] = {
        **both(10.0, 10.0),
        ProbeId(A): Rejected(reason=Rejection.ABSENT, since_at_s=1.0),
    }
    lines = watch.lines(gone, 2.0)
    assert marked(lines) == []
    assert "does not answer" in lines[1]


def test_ice_stores_a_dated_correction_with_its_residual(tree: W1Tree, tmp_path: Path) -> None:
    """Steady at +0.1875 gives -0.1875."""
    result = invoke(tree, tmp_path, "ice", "--probe", A, "--every-s", "0.02", "--yes")
    assert result.exit_code == 0, result.output
    stored = json.loads((tmp_path / "state" / "calibration.json").read_text())["probes"][A]
    assert (stored["offset_k"], stored["residual_k"]) == (-0.1875, 0.0)
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", stored["date_utc"])


@pytest.mark.parametrize(
    ("temp_c", "rounds", "words"),
    [(0.75, "90", "data sheet"), (18.0, "90", "data sheet"), (0.1875, "5", "wait longer")],
)
def test_ice_refuses_and_stores_nothing(
    tree: W1Tree, tmp_path: Path, temp_c: float, rounds: str, words: str
) -> None:
    """Beyond the data sheet, or too few readings."""
    tree.set_c(A, temp_c)
    result = invoke(tree, tmp_path, "ice", "--probe", A, "--every-s", "0.02", "--rounds", rounds, "--yes")
    assert isinstance(result.exception, CommandRejected)
    assert words in str(result.exception)
    assert not (tmp_path / "state" / "calibration.json").exists()


def test_ice_says_before_the_bath_that_it_could_not_store(
    tree: W1Tree, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "state").mkdir()
    monkeypatch.setattr(whose.os, "access", lambda _path, _mode: False)
    result = invoke(tree, tmp_path, "ice", "--probe", A, "--yes")
    assert isinstance(result.exception, StorageError)
    assert "crush" not in result.output


def test_ice_asks_first_and_leaves_when_the_bath_is_not_ready(tree: W1Tree, tmp_path: Path) -> None:
    """The way to make the bath is told before the question."""
    result = invoke(tree, tmp_path, "ice", "--probe", A)
    assert result.exit_code == 1
    assert "crush clean ice" in result.output
    assert not (tmp_path / "state" / "calibration.json").exists()


def test_ice_says_what_failed_reads_were(tree: W1Tree, tmp_path: Path) -> None:
    """A probe that gives checksum errors only is not corrected."""
    tree.break_crc(A)
    result = invoke(tree, tmp_path, "ice", "--probe", A, "--every-s", "0.02", "--rounds", "4", "--yes")
    assert isinstance(result.exception, CommandRejected)
    assert "no reading: crc" in result.output


def test_ice_knows_only_probes_that_are_there(tree: W1Tree, tmp_path: Path) -> None:
    """A slip in the id is answered with the ids there are."""
    result = invoke(tree, tmp_path, "ice", "--probe", "28-00000000000c", "--yes")
    assert isinstance(result.exception, CommandRejected)
    assert A in str(result.exception)


@pytest.mark.parametrize("name", ["list", "watch", "ice"])
def test_every_sub_command_explains_itself_with_an_example(name: str) -> None:
    """``--help`` ends with a line to copy, and the list of them cuts none short."""
    overview = CliRunner().invoke(command, ["--help"]).output
    assert re.search(rf"^  {name} .*[^.]\.$", overview, re.MULTILINE)
    result = CliRunner().invoke(command, [name, "--help"])
    assert result.exit_code == 0
    assert f"Example: frameward probes {name}" in result.output
