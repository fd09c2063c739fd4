"""The form: cautions first, each no told what to do, nothing recorded but at its end."""

from __future__ import annotations

import fcntl
import json
import os
import signal
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from controller.commands import commission, relay_trial
from controller.commands.commission import command
from controller.config.records import Settings
from controller.errors import CommandRejected, ConfigError, HardwareError, StorageError
from controller.folders import KIND_FILE, FolderKind, Folders, claim_folders
from controller.heat.pins import GpioSwitch, RehearsalFactory
from controller.loop.commission import commission_states, stored_records
from controller.loop.safety_list import POINTS
from controller.record.lockouts import LockoutFiles
from controller.sense.inputs import BoardContacts
from controller.vocabulary import FrameName, Lockout, LockoutCause
from tests.controller.config.test_rules import SECOND
from tests.controller.config.texts import SMALL, read
from tests.fakes import W1Tree

BED = FrameName("bed")
WITH_ISOLATING = SMALL.replace(
    "relay_pin = 17", "relay_pin = 17\nisolating_pin = 27\nisolating_active_high = false"
)
PLUG_OUT, LIST, BOOT, RELAY, PROBES = "y\n", "y\n" * len(POINTS), "y\n", "y\ny\n", "y\ny\n"
ALL_YES = PLUG_OUT + LIST + BOOT + RELAY + PROBES


class Bench:
    """One board on a bench: settings, folders, probes."""

    def __init__(self, root: Path) -> None:
        self.config = root / "frameward.toml"
        self.config.write_text(SMALL)
        self.folders = Folders(state=root / "state", run=root / "run")
        self.tree = W1Tree(root / "w1")
        self.tree.add("28-000000000001", 4.5)
        self.tree.add("28-000000000002", 7.0)

    def run(self, answers: str, *more: str, pins: str = "--rehearsal") -> Result:
        """The command with these answers typed in."""
        args = ["--config", self.config, "--state", self.folders.state, "--run", self.folders.run]
        args += ["--w1", self.tree.folder, *more, *([pins] if pins else [])]
        return CliRunner().invoke(command, [str(arg) for arg in args], input=answers)

    def levels(self) -> list[tuple[int, int]]:
        """Every pin and level in the order driven."""
        lines = self.folders.rehearsal_pins.read_text().splitlines()
        return [(entry["pin"], entry["level"]) for entry in map(json.loads, lines)]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    monkeypatch.setattr(relay_trial, "PULSE_S", 0.0)
    return Bench(tmp_path)


def test_a_form_answered_with_yes_throughout_is_recorded(bench: Bench) -> None:
    result = bench.run(ALL_YES)
    assert result.exception is None, result.output
    state = commission_states(read(SMALL), bench.folders)[BED]
    assert state.done
    assert state.blind_duty
    record = stored_records(bench.folders)["bed"]
    assert set(record.answers) == {point.code for point in POINTS}
    assert record.checks["off_at_boot"] == "seen"
    assert record.checks["relay_polarity"] == "GPIO 17, on when high"
    assert record.checks["probe.air"] == "28-000000000001 read 4.5 °C"


def test_cautions_stand_before_the_first_question(bench: Bench) -> None:
    output = bench.run(ALL_YES).output
    first_question = output.index("[y/n]")
    for words in ("kills", "RCD", "GFCI", "not the protection", "licensed electrician", "thermal cut-out"):
        assert words in output[:first_question], words


def test_the_relay_goes_off_on_off_and_ends_off(bench: Bench) -> None:
    """R09: the pin's whole history, not only its last level."""
    bench.run(ALL_YES)
    assert bench.levels() == [(17, 0), (17, 1), (17, 0)]


def test_an_active_low_isolating_relay_is_tried_too_and_ends_off(bench: Bench) -> None:
    bench.config.write_text(WITH_ISOLATING)
    result = bench.run(PLUG_OUT + LIST + BOOT + RELAY + RELAY + PROBES)
    assert result.exception is None, result.output
    assert bench.levels() == [(17, 0), (17, 1), (17, 0), (27, 1), (27, 0), (27, 1)]
    assert stored_records(bench.folders)["bed"].checks["isolating_polarity"] == "GPIO 27, on when low"


@pytest.mark.parametrize("number", range(len(POINTS)), ids=[point.code for point in POINTS])
def test_a_no_to_an_essential_point_records_nothing_and_says_what_to_do(number: int, bench: Bench) -> None:
    point = POINTS[number]
    answers = PLUG_OUT + "".join("n\n" if each == number else "y\n" for each in range(len(POINTS)))
    result = bench.run(answers + BOOT + RELAY + PROBES)
    assert point.otherwise in result.output
    if point.essential:
        assert isinstance(result.exception, CommandRejected)
        assert point.otherwise in str(result.exception)
        assert "nothing is recorded" in str(result.exception)
        assert not bench.folders.commission.exists()
        assert not bench.folders.rehearsal_pins.exists()
    else:
        state = commission_states(read(SMALL), bench.folders)[BED]
        assert state.done
        assert not state.blind_duty
        assert "heat stays off, in frost too" in result.output


def test_every_no_of_the_list_is_gathered_before_it_refuses(bench: Bench) -> None:
    """One visit to the electrician, not eight."""
    result = bench.run(PLUG_OUT + "n\n" * len(POINTS))
    for point in POINTS:
        assert (point.otherwise in str(result.exception)) is point.essential


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ("n\n", "Pull it out"),
        (PLUG_OUT + LIST + "n\n", "resistor"),
        (PLUG_OUT + LIST + BOOT + "n\n", "Pull the plug"),
        (PLUG_OUT + LIST + BOOT + "y\nn\n", "relay_active_high"),
        (PLUG_OUT + LIST + BOOT + RELAY + "n\n", "probe.air"),
        (PLUG_OUT + LIST + BOOT + RELAY + "y\nn\n", "probe.bed"),
    ],
    ids=["plug", "boot", "plug again", "polarity", "air", "bed"],
)
def test_a_no_to_any_check_records_nothing(answers: str, words: str, bench: Bench) -> None:
    result = bench.run(answers)
    assert isinstance(result.exception, CommandRejected), result.output
    assert words in str(result.exception)
    assert not bench.folders.commission.exists()


def test_no_relay_moves_before_the_plug_is_confirmed_twice(bench: Bench) -> None:
    bench.run(PLUG_OUT + LIST + BOOT + "n\n")
    assert not bench.folders.rehearsal_pins.read_text()


@pytest.mark.parametrize("kept", range(len(ALL_YES) // 2))
def test_walking_away_at_any_question_records_nothing_and_leaves_the_relay_off(
    kept: int, bench: Bench
) -> None:
    result = bench.run("y\n" * kept)
    assert result.exit_code != 0
    assert not bench.folders.commission.exists()
    if bench.folders.rehearsal_pins.exists() and bench.levels():
        assert bench.levels()[-1] == (17, 0)


def test_an_answer_must_be_given_and_enter_alone_is_none(bench: Bench) -> None:
    assert bench.run("\n\n\n").exit_code != 0
    assert not bench.folders.commission.exists()


def test_a_silent_probe_refuses_before_the_first_question_and_is_named(bench: Bench) -> None:
    """Nobody answers ten questions to learn that a lead is out."""
    bench.tree.remove("28-000000000002")
    result = bench.run(ALL_YES)
    assert isinstance(result.exception, CommandRejected)
    assert "probe.bed (28-000000000002)" in str(result.exception)
    assert "[y/n]" not in result.output
    assert not bench.folders.commission.exists()


def test_a_probe_that_falls_silent_meanwhile_refuses_too(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is looked at again when its place is asked for."""

    def lose(*_args: object, **_named: object) -> None:
        bench.tree.remove("28-000000000002")

    monkeypatch.setattr(commission, "pulse_relay", lose)
    result = bench.run(ALL_YES)
    assert "probe.bed (28-000000000002)" in str(result.exception)
    assert not bench.folders.commission.exists()


REPEATED_NO = [
    *(
        (PLUG_OUT + "".join("n\n" if each == number else "y\n" for each in range(number + 1)), point.code)
        for number, point in enumerate(POINTS)
        if point.essential
    ),
    (PLUG_OUT + LIST + "n\n", "boot"),
    (PLUG_OUT + LIST + BOOT + "y\nn\n", "polarity"),
    (PLUG_OUT + LIST + BOOT + RELAY + "n\n", "air"),
    (PLUG_OUT + LIST + BOOT + RELAY + "y\nn\n", "bed"),
]


@pytest.mark.parametrize("answers", [pair[0] for pair in REPEATED_NO], ids=[pair[1] for pair in REPEATED_NO])
def test_a_no_in_a_repeated_form_withdraws_the_earlier_record_at_once(answers: str, bench: Bench) -> None:
    """The answers end right after the no, as for a person who then walks away."""
    assert bench.run(ALL_YES).exception is None
    result = bench.run(answers)
    assert result.exception is not None
    assert "earlier record of bed is withdrawn" in result.output
    assert not commission_states(read(SMALL), bench.folders)[BED].done


@pytest.mark.parametrize(
    "answers",
    ["n\n", "", PLUG_OUT + "y\n", PLUG_OUT + LIST + BOOT + "n\n"],
    ids=["plug", "", "list", "again"],
)
def test_a_form_that_is_only_put_off_leaves_the_earlier_record(answers: str, bench: Bench) -> None:
    """A plug that is still in speaks against going on, not against the installation."""
    bench.run(ALL_YES)
    result = bench.run(answers)
    assert result.exception is not None
    assert commission_states(read(SMALL), bench.folders)[BED].done
    assert "heat stays refused" not in str(result.exception)


def test_stopped_by_the_keyboard_it_says_how_things_stand(bench: Bench) -> None:
    result = bench.run(PLUG_OUT)
    assert result.output.endswith("Stopped. Nothing new is recorded. The relay is off.\nAborted!\n")


def test_a_rehearsed_form_needs_folders_of_its_own(bench: Bench) -> None:
    """It could else mark a real keeper's folders as a rehearsal's."""
    for left_out in ("--state", "--run"):
        args = ["--config", str(bench.config), "--rehearsal"]
        args += [part for name in ("--state", "--run") if name != left_out for part in (name, "x")]
        result = CliRunner().invoke(command, args)
        assert result.exit_code == 2
        assert "needs --state and --run" in result.output


def test_folders_are_marked_only_when_something_is_recorded(bench: Bench) -> None:
    """A rehearsed form broken off leaves folders that a real keeper may still have."""
    bench.run(PLUG_OUT)
    claim_folders(bench.folders, kind=FolderKind.LIVE)
    assert (bench.folders.state / KIND_FILE).read_text() == "live\n"
    assert isinstance(bench.run(ALL_YES).exception, StorageError)


def test_it_says_which_folders_it_looks_in(bench: Bench) -> None:
    assert f"Looking in {bench.folders.state} and {bench.folders.run}." in bench.run("").output


def test_a_running_keeper_refuses_and_is_named(bench: Bench) -> None:
    """X07 and R08: the pins have one owner."""
    bench.folders.run.mkdir()
    with bench.folders.lock.open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        lock.write("4711")
        lock.flush()
        result = bench.run(ALL_YES)
    assert isinstance(result.exception, HardwareError)
    assert "4711" in str(result.exception)
    assert "[y/n]" not in result.output


def test_another_frames_damaged_lockout_is_no_lockout_of_this_one(bench: Bench) -> None:
    """Lockouts are judged by the pins of all frames, as the keeper judges them."""
    bench.config.write_text(SMALL + SECOND)
    bench.folders.lockouts.mkdir(parents=True)
    (bench.folders.lockouts / "north.first.json").write_text("{")
    result = bench.run(ALL_YES, "--frame", "bed")
    assert result.exception is None, result.output
    refused = bench.run(ALL_YES, "--frame", "north")
    assert "north is locked" in str(refused.exception)


def test_a_locked_frame_is_not_tried(bench: Bench) -> None:
    """A lockout keeps the relay off until a person has cleared it; the form is no way round."""
    lockout = Lockout(frame=BED, cause=LockoutCause.LIVE_WHEN_OFF, detail="cable live", raised_utc="")
    LockoutFiles(bench.folders.lockouts, {BED: 17}).keep(lockout)
    result = bench.run(ALL_YES)
    assert isinstance(result.exception, CommandRejected)
    assert "clear-lockout bed" in str(result.exception)
    assert not bench.folders.rehearsal_pins.exists()


def test_settings_that_are_only_the_last_good_copy_are_not_commissioned(bench: Bench) -> None:
    bench.folders.state.mkdir()
    bench.folders.last_good_settings.write_text(SMALL)
    bench.config.write_text("")
    result = bench.run(ALL_YES)
    assert isinstance(result.exception, ConfigError)


def test_a_rehearsal_never_writes_beside_a_live_keepers_files(bench: Bench) -> None:
    bench.folders.state.mkdir()
    (bench.folders.state / "frameward-folder-kind").write_text("live\n")
    assert isinstance(bench.run(ALL_YES).exception, StorageError)


def test_real_pins_are_never_replaced_by_pretended_ones(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """X23."""
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "mock")
    result = bench.run(ALL_YES, pins="")
    assert isinstance(result.exception, HardwareError)
    assert "[y/n]" not in result.output
    assert not bench.folders.commission.exists()


def test_among_several_heated_frames_one_is_asked_for(bench: Bench) -> None:
    bench.config.write_text(SMALL + SECOND)
    assert "bed, north" in str(bench.run(ALL_YES).exception)
    assert "bed, north" in str(bench.run(ALL_YES, "--frame", "south").exception)
    assert bench.run(ALL_YES, "--frame", "bed").exception is None
    states = commission_states(read(SMALL + SECOND), bench.folders)
    assert [state.done for state in states.values()] == [True, False]


def test_show_prints_the_record_and_what_has_changed_and_asks_nothing(bench: Bench) -> None:
    assert "heat is refused: the safety list has not been answered" in bench.run("", "--show").output
    bench.run(ALL_YES)
    output = bench.run("", "--show").output
    assert "bed: commissioned" in output
    assert "lay = sand" in output
    bench.config.write_text(SMALL.replace("= 17", "= 22"))
    output = bench.run("", "--show").output
    assert "relay_pin: was 17, is 22" in output
    bench.folders.commission.write_text("{")
    assert isinstance(bench.run("", "--show").exception, CommandRejected)


WITH_CONTACTS = SMALL.replace("relay_pin = 17", "relay_pin = 17\nsupply_pin = 23\nfeedback_pin = 22")


def _pulse(factory: RehearsalFactory, sleep: Any = lambda _s: None) -> None:
    settings = read(WITH_CONTACTS)
    relay_trial.pulse_relay(settings, settings.frames[BED], factory, pin=17, active_high=True, sleep=sleep)


@pytest.mark.parametrize("pin", [22, 23])
def test_a_contact_that_shows_mains_refuses_before_the_relay_moves(
    pin: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The plug is asked for and, where a contact can tell, checked."""
    factory = RehearsalFactory(None)

    class Wired(BoardContacts):
        """Contacts of which one is closed as soon as they are looked at."""

        def __init__(self, settings: Settings, pin_factory: Any) -> None:
            super().__init__(settings, pin_factory)
            pin_factory.pin(pin).drive_low()

    monkeypatch.setattr(relay_trial, "BoardContacts", Wired)
    with pytest.raises(CommandRejected, match="pull"):
        _pulse(factory)
    assert all(not state.state for state in factory.pin(17).states)


@pytest.mark.parametrize("pin", [22, 23])
def test_mains_that_comes_during_the_pulse_ends_it_with_the_relay_off(pin: int) -> None:
    factory = RehearsalFactory(None)
    slept: list[float] = []

    def sleep(dt_s: float) -> None:
        slept.append(dt_s)
        if len(slept) == 3:
            factory.pin(pin).drive_low()

    with pytest.raises(CommandRejected, match="pull"):
        _pulse(factory, sleep)
    assert len(slept) == 3
    levels = [state.state for state in factory.pin(17).states]
    assert True in levels
    assert levels[-1] is False


@pytest.mark.parametrize("error", [KeyboardInterrupt, SystemExit, RuntimeError])
def test_whatever_ends_the_pulse_the_relay_is_driven_off(error: type[BaseException]) -> None:
    factory = RehearsalFactory(None)

    def sleep(_dt_s: float) -> None:
        raise error

    with pytest.raises(error):
        _pulse(factory, sleep)
    assert [state.state for state in factory.pin(17).states][-1] is False


def test_the_pulse_lasts_two_seconds() -> None:
    slept: list[float] = []
    _pulse(RehearsalFactory(None), slept.append)
    assert sum(slept) == pytest.approx(2.0)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_during_the_pulse_leaves_with_the_relay_off(number: int) -> None:
    """R13: what would kill at once unwinds through everything that drives off."""
    factory = RehearsalFactory(None)
    before = signal.getsignal(number)
    with pytest.raises(SystemExit) as leaving:
        _pulse(factory, lambda _s: os.kill(os.getpid(), number))
    assert leaving.value.code == 128 + number
    assert [state.state for state in factory.pin(17).states][-1] is False
    assert signal.getsignal(number) is before


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_an_impatient_second_signal_does_not_come_between_the_first_and_off(
    number: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """R13: sent while the relay is on, and again in the moment in which it is let go of."""
    factory = RehearsalFactory(None)
    close = GpioSwitch.close

    def interrupted_close(switch: GpioSwitch) -> None:
        os.kill(os.getpid(), number)
        close(switch)

    monkeypatch.setattr(GpioSwitch, "close", interrupted_close)
    with pytest.raises(KeyboardInterrupt if number == signal.SIGINT else SystemExit):
        _pulse(factory, lambda _s: os.kill(os.getpid(), number))
    levels = [state.state for state in factory.pin(17).states]
    assert True in levels
    assert levels[-1] is False


def test_a_pin_that_does_not_follow_is_an_error() -> None:
    """A short holds the line low though it is driven high."""
    factory = RehearsalFactory(None)
    with pytest.raises(HardwareError, match="short"):
        _pulse(factory, lambda _s: factory.pin(17)._change_state(state=False))


def test_a_pin_that_is_taken_is_an_error() -> None:
    factory = RehearsalFactory(None)
    held = GpioSwitch(17, active_high=True, factory=factory)
    with pytest.raises(HardwareError, match="GPIO17"):
        _pulse(factory)
    held.close()


def test_contacts_are_let_go_of_after_each_pulse() -> None:
    """A second relay can be tried, and the keeper can claim the lines afterwards."""
    factory = RehearsalFactory(None)
    _pulse(factory)
    _pulse(factory)
    assert not [reserved for reserved in factory._reservations.values() if reserved]
