"""What is understood, what answers, what would happen next; nothing is driven and nothing written."""

from __future__ import annotations

import sys
from importlib import resources
from pathlib import Path

import pytest
from click.testing import CliRunner

from controller import cli
from controller.commands import check, check_hardware, look
from controller.folders import Folders
from controller.heat.pins import RehearsalFactory
from controller.loop.commission import record_commission
from controller.loop.overlay import FrameOverlay, Overlay
from controller.loop.overlay_file import save_overlay
from controller.loop.safety_list import POINTS
from controller.record.lockouts import LockoutFiles
from controller.vocabulary import FrameName, Lockout, LockoutCause
from tests.controller.config.texts import EXAMPLE, SMALL, read, uncommented
from tests.fakes import W1Tree

BED = FrameName("bed")


class Bench:
    """One board on a bench, asked by the command itself."""

    def __init__(
        self, root: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        self.config = root / "frameward.toml"
        self.config.write_text(SMALL)
        self.folders = Folders(state=root / "state", run=root / "run")
        self.tree = W1Tree(root / "w1")
        self.tree.add("28-000000000001", 4.5)
        self.tree.add("28-000000000002", 7.0)
        self.factory = RehearsalFactory(None)
        self._patch, self._capture = monkeypatch, capsys
        monkeypatch.setattr(check_hardware, "open_factory", lambda _name, *, record: self.factory)

    def check(self) -> tuple[int, str]:
        """Exit code and everything printed."""
        args = ["--config", self.config, "--state", self.folders.state, "--run", self.folders.run]
        args += ["--w1", self.tree.folder]
        self._patch.setattr(sys, "argv", ["frameward", "check", *map(str, args)])
        code = 0
        try:
            cli.main()
        except SystemExit as leaving:
            code = int(leaving.code or 0)
        out, err = self._capture.readouterr()
        return code, out + err

    def commission(self) -> None:
        """Record the form as answered with yes throughout."""
        record_commission(
            self.folders,
            read(SMALL).frames[BED],
            answers={point.code: True for point in POINTS},
            checks={},
            date_utc="2026-11-01T10:00:00+00:00",
        )


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Bench:
    return Bench(tmp_path, monkeypatch, capsys)


def test_a_board_that_was_not_commissioned_is_told_what_heat_waits_for(bench: Bench) -> None:
    code, output = bench.check()
    assert code == 0, output
    assert "passes every check" in output
    assert "probe air 28-000000000001: 4.5 °C" in output
    assert "probe bed 28-000000000002: 7.0 °C" in output
    assert "relay: GPIO 17, on when high" in output
    assert "heat is off above: air 30.0 °C, roots 25.0 °C, no cable probe" in output
    assert "bed: heat is refused: the safety list has not been answered." in output
    assert "Next: frameward commission --frame bed" in output
    assert f"Looking in {bench.folders.state} and {bench.folders.run}." in output


def test_no_pin_is_driven_and_no_file_written(bench: Bench) -> None:
    bench.check()
    assert not bench.factory.pins
    assert not bench.folders.state.exists()
    assert not bench.folders.run.exists()


def test_after_commissioning_it_says_whether_it_would_heat(bench: Bench) -> None:
    bench.commission()
    _, output = bench.check()
    assert "commissioning: done 2026-11-01; bounded heat with no probe to watch it: allowed" in output
    assert "air 4.5 °C is not below 3.5 °C: heat would stay off" in output
    bench.tree.set_c("28-000000000001", 1.0)
    _, output = bench.check()
    assert "air 1.0 °C is below 3.5 °C: it would heat after" in output


def test_lost_probes_are_told_with_their_consequence(bench: Bench) -> None:
    bench.commission()
    bench.tree.remove("28-000000000001")
    code, output = bench.check()
    assert code == 0
    assert "probe air 28-000000000001: no reading" in output
    assert "it would heat by the bed" in output
    bench.tree.restore("28-000000000001", 4.0)
    bench.tree.remove("28-000000000002")
    code, output = bench.check()
    assert code == 0
    assert "no probe watches bed or cable, so it would heat in bounded spells" in output


def test_without_any_probe_to_keep_by_the_exit_code_is_1(bench: Bench) -> None:
    """G09."""
    bench.tree.remove("28-000000000001")
    bench.tree.short("28-000000000002")
    code, output = bench.check()
    assert code == 1
    assert "bed: there is nothing to keep it by, since no probe in its air or bed answers" in output


def test_pins_that_cannot_be_opened_give_exit_code_1(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_name: str, **_record: Path | None) -> None:
        raise check_hardware.PinRefused("the group gpio is not ours")

    monkeypatch.setattr(check_hardware, "open_factory", refuse)
    code, output = bench.check()
    assert code == 1
    assert "the group gpio is not ours" in output
    assert "it could not start, since the board's pins cannot be had; once they can:\n  bed: " in output


@pytest.mark.parametrize(
    ("written", "words"),
    [("N\n", "lets go of a dead program's outputs"), ("Y\n", "dtparam=strict_gpiod"), (None, "does not say")],
)
def test_the_kernels_own_word_on_dead_programs_is_shown(
    written: str | None, words: str, bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The kernel parameter that decides whether an output outlives its program."""
    switch = tmp_path / "persist_gpio_outputs"
    if written is not None:
        switch.write_text(written)
    monkeypatch.setattr(look.outputs_persist, "__defaults__", ((switch,),))
    assert words in bench.check()[1]


def test_a_lockout_is_shown_before_anything_else_that_holds_heat_back(bench: Bench) -> None:
    lockout = Lockout(
        frame=BED, cause=LockoutCause.LIVE_WHEN_OFF, detail="cable live for 20 s", raised_utc="2026-01-01"
    )
    LockoutFiles(bench.folders.lockouts, {BED: 17}).keep(lockout)
    _, output = bench.check()
    assert (
        "heat is locked: cable live for 20 s. Once the cause is found and gone: frameward clear-lockout bed"
        in output
    )


def test_every_fault_is_printed_with_exit_code_78(bench: Bench) -> None:
    bench.config.write_text(SMALL.replace("latitude = 50", "latitude = 89").replace("wall", "walls"))
    code, output = bench.check()
    assert code == 78
    for key in ("site.latitude", "frame.bed.wall: is missing", "frame.bed.walls"):
        assert key in output
    assert "last good copy" not in output


def test_faults_are_still_faults_beside_a_last_good_copy_which_is_named(bench: Bench) -> None:
    bench.folders.state.mkdir()
    bench.folders.last_good_settings.write_text(SMALL)
    bench.config.write_text("")
    code, output = bench.check()
    assert code == 78
    assert f"runs on its last good copy, {bench.folders.last_good_settings}" in output


def test_what_a_command_changed_is_shown_beside_what_the_file_says(bench: Bench) -> None:
    overlay = Overlay(frames={BED: FrameOverlay(keep_above_c=5.0, opening="ajar")})
    save_overlay(bench.folders.overlay, overlay)
    _, output = bench.check()
    assert "keeps the air above 5.0 °C" in output
    assert "the settings file says 2.0 °C" in output
    assert "no opening 'ajar'" in output


def test_an_unreadable_overlay_is_said_and_left_where_it_is(bench: Bench) -> None:
    bench.folders.state.mkdir()
    bench.folders.overlay.write_text("{")
    _, output = bench.check()
    assert "it is not JSON" in output
    assert bench.folders.overlay.read_text() == "{"


def test_a_secrets_file_that_others_may_read_is_said(bench: Bench, tmp_path: Path) -> None:
    """G07."""
    secrets = tmp_path / "secrets.toml"
    secrets.write_text('token = "x"\n')
    secrets.chmod(0o644)
    bench.config.write_text(SMALL.replace("longitude", f'secrets_file = "{secrets}"\nlongitude'))
    assert f"chmod 600 {secrets}" in bench.check()[1]


def test_temperatures_are_shown_in_the_owners_unit(bench: Bench) -> None:
    bench.config.write_text(SMALL.replace("longitude", 'units = "fahrenheit"\nlongitude'))
    _, output = bench.check()
    assert "probe air 28-000000000001: 40.1 °F" in output
    assert "air 86.0 °F" in output


def test_the_shipped_example_is_understood_whole(bench: Bench) -> None:
    bench.config.write_text(EXAMPLE)
    code, output = bench.check()
    assert code == 1  # none of its probes hangs here
    assert "openings: shut (0 m²), crack (0.05 m²), hand (0.2 m²), half (0.9 m²), off (2.24 m²)" in output
    assert "coverings: mat (0.3 m²K/W), fleece (0.02 m²K/W)" in output
    assert "electricity: 0.34 EUR per kWh" in output


def test_every_optional_setting_is_shown(bench: Bench) -> None:
    text = uncommented(EXAMPLE).replace("skins = 1", "skins = 2").replace("probe.bed]", "probe.bed]\n")
    text = text.replace("isolating_active_high = true", "isolating_active_high = false")
    bench.config.write_text(text.replace("leaf_allowance_k = 0", "leaf_allowance_k = 1.5"))
    for probe in read(text).frames[FrameName("south")].probes.values():
        bench.tree.add(probe, 3.0)
    code, output = bench.check()
    assert code == 0, output
    for words in (
        "all heat together: at most 400 W",
        "stop button: GPIO 21",
        "two skins",
        "above 2.0 °C + 1.5 K for the leaves",
        "keeps the bed at 16.0 °C from 02-20 to 04-10",
        "cable 45.0 °C",
        "isolating relay: GPIO 27, on when low; needs its own pull-up",
        "feedback GPIO 22, supply GPIO 23, cut-out GPIO 24, covers GPIO 20",
    ):
        assert words in output, words


def test_a_frame_without_heat_is_watched(bench: Bench) -> None:
    bench.config.write_text(
        SMALL[: SMALL.index("[frame.bed.heat]")] + SMALL[SMALL.index("[frame.bed.probe.air]") :]
    )
    code, output = bench.check()
    assert code == 0
    assert "bed: watched and told about; it has no heat" in output


def test_a_hung_probe_does_not_hang_the_command(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """P24: the bound is shortened here, the waiting is real."""
    monkeypatch.setattr(look, "READ_DEADLINE_S", 0.2)
    monkeypatch.setattr(look, "_WAIT_PER_PROBE_S", 0.1)
    bench.tree.hang("28-000000000001")
    try:
        _, output = bench.check()
    finally:
        bench.tree.release()
    assert "probe air 28-000000000001: no reading" in output
    assert "probe bed 28-000000000002: 7.0 °C" in output


def test_the_example_is_printed_as_it_ships() -> None:
    shown = CliRunner().invoke(check.command, ["--example"])
    assert shown.exit_code == 0
    assert shown.output == resources.files("controller").joinpath("data/example.toml").read_text("utf-8")
